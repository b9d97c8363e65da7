"""What to play next, from the takes so far, with the reason in one sentence.

Pure: the same history, course and moment give the same answer; nothing is kept but the takes themselves. Which single
change comes next inside a family is `heeltap.course.level`; here it is decided which family is due:

1. half an hour was played without a break of five minutes: rest;
2. something was good enough on an earlier day and was not shown since: that, once;
3. three minutes in one family are over: another one (Carter & Grahn 2016, Front. Psychol. 7, 1251: three-minute items
   in turn); the one that the findings point to comes every other time;
4. else on in the same family.

A new family is opened when what it begins with is about as hard as what the player does elsewhere.

Inside: `NextStep`, `next_step`, `levels_of`, `rest_due`, `weak_family`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from heeltap.analysis.advice.remedies import family_of
from heeltap.course.level import GOOD, Course, CourseLevel, GradeTempo, level_of, when
from heeltap.model.past_take import PastTake
from heeltap.model.result import Advice

__all__ = ["SEEDS", "NextStep", "levels_of", "next_step", "rest_due", "weak_family"]

REST_AFTER_S = 1800.0
"""Playing time after which rest is due, and `REST_S` of it: "five-minute break every half-hour" (advice of the British
Association for Performing Arts Medicine)."""

REST_S = 300.0

BLOCK_S = 180.0
"""Playing time in one family before another comes."""

OPEN_WITHIN = 0.3
"""Difficulty by which the start of a new family may lie above the easiest that is due elsewhere. Ours: with it, splits
begin after the second anchor and turns after the first split."""

SEEDS = 4
"""Exercises of one grade that advice draws on in turn: the figure stays, its order changes."""

_LOOK_BACK = 16
"""Takes among which findings are counted."""

_WITNESSES = 2
"""Exercises that must show a weakness before it steers; one song is enough, for it has ten times the strokes."""


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next."""

    action: str
    """``begin``, ``again``, ``faster``, ``harder``, ``slower``, ``simpler``, ``tomorrow``, ``retry``, ``forgotten``,
    ``retest``, ``done``, ``set`` or ``rest``."""
    reason: str
    """One sentence without its point."""
    family: str = ""
    """Empty when the advice is to rest or an exercise of a set."""
    grade: str = ""
    """Name of the grade."""
    title: str = ""
    tempo_bpm: float = 0.0
    seed: int = 1
    item: str = ""
    """An exercise of the set in use, such as ``first-week:2``; empty for one of the course."""

    @property
    def what(self) -> str:
        """What is to be drilled, without tempo and seed: ``split swing`` or ``first-week:2``.

        Returns
        -------
        str
            Empty for a rest.
        """
        return self.item or f"{self.family} {self.grade}".strip()

    @property
    def exercise(self) -> str | None:
        """What `heeltap drill` takes, as typed: ``split swing --tempo 84 --seed 2``.

        Returns
        -------
        str or None
            None for a rest.
        """
        if not self.what:
            return None
        seed = f" --seed {self.seed}" if self.seed != 1 and not self.item else ""
        return f"{self.what} --tempo {self.tempo_bpm:g}{seed}"

    def advice(self) -> Advice:
        """The same as a row of a Result.

        Returns
        -------
        Advice
        """
        if not self.what:
            return Advice(self.action, f"{self.reason}.", None)
        what = f"{self.what} at {self.tempo_bpm:g} bpm ({self.title})"
        return Advice(self.action, f"{what}: {self.reason}.", self.exercise)


def next_step(history: Sequence[PastTake], course: Course, now: datetime) -> NextStep:
    """What to play next.

    Parameters
    ----------
    history : sequence of PastTake
        All takes, oldest first; takes of songs count for what their findings say.
    course : mapping
        The grades of each family, families in the order in which they are learned.
    now : datetime
        This moment, with its offset.

    Returns
    -------
    NextStep
    """
    if (rest := rest_due(history, now)) is not None:
        return rest
    levels = levels_of(history, course, now)
    today = [take for take in history if when(take).date() == now.date() and take.family in course]
    for name, level in levels.items():
        if level.passed and level.retest_due(now) and not any(_is(take, level, level.passed) for take in today):
            return _retest(name, level)
    weak = weak_family(history)
    name = _family_due(levels, today, weak)
    return _step(name, levels[name], pointed=name == weak)


def rest_due(history: Sequence[PastTake], now: datetime) -> NextStep | None:
    """The advice to rest, after half an hour of playing without a break of five minutes.

    Parameters
    ----------
    history : sequence of PastTake
        Oldest first.
    now : datetime

    Returns
    -------
    NextStep or None
        None where no rest is due.
    """
    minutes = int(_playing_s(history, now) // 60)
    if 60 * minutes < REST_AFTER_S:
        return None
    return NextStep("rest", f"You have played for {minutes} minutes: rest for five first")


def levels_of(history: Sequence[PastTake], course: Course, now: datetime) -> dict[str, CourseLevel]:
    """Where the player stands in every family.

    Parameters
    ----------
    history : sequence of PastTake
        Oldest first.
    course : mapping
        The grades of each family.
    now : datetime

    Returns
    -------
    dict of str to CourseLevel
        In the order of the course.
    """
    return {
        name: level_of(steps, (take for take in history if take.family == name), now) for name, steps in course.items()
    }


def weak_family(history: Sequence[PastTake]) -> str:
    """The family that the findings of the last takes point to.

    Parameters
    ----------
    history : sequence of PastTake
        Oldest first.

    Returns
    -------
    str
        Empty where they point nowhere.
    """
    votes: dict[str, int] = {}
    # The newest first and the strongest first: of two that are named as often, that one wins.
    for take in reversed(history[-_LOOK_BACK:]):
        for name in dict.fromkeys(family_of(code, effect) for code, effect in _weaknesses(take)):
            votes[name] = votes.get(name, 0) + (1 if take.family else _WITNESSES)
    enough = {name: count for name, count in votes.items() if name and count >= _WITNESSES}
    return max(enough, key=lambda name: enough[name]) if enough else ""


def _weaknesses(take: PastTake) -> list[tuple[str, float]]:
    """Code and size of the findings that call for an exercise.

    Strokes between the beats may spread half as much again as those on them: the pocket is that much wider there. More
    spread between the beats counts from twice on, because the findings of one take show only the larger half of what
    chance gives. Ours.
    """
    spread_ms = take.spread_ms or 0.0
    return [(code, ms) for code, ms in take.findings if code != "scatter-off-beats" or ms > spread_ms - ms / 2]


def _family_due(levels: dict[str, CourseLevel], today: Sequence[PastTake], weak: str) -> str:
    """Whose turn it is."""
    current = today[-1].family if today else ""
    # A block ends where the next take would lie more beyond three minutes than within; a weakness gets them in full.
    beyond = 0.0 if not current or current == weak else today[-1].length_s / 2
    if current and _run_s(today) + beyond < BLOCK_S:
        return current
    hardness = {name: level.step(level.target.rank).difficulty for name, level in levels.items()}
    # Only what was begun says how far the player is; at the very start that is the first family alone.
    begun = [name for name, level in levels.items() if level.takes] or list(levels)[:1]
    reach = min(hardness[name] for name in begun) + OPEN_WITHIN
    open_ = [name for name in levels if name in begun or name == weak or hardness[name] <= reach]
    others = [name for name in open_ if name != current and levels[name].action != "done"]
    if weak in others:
        return weak
    if others:
        return min(others, key=lambda name: hardness[name])
    if current and levels[current].action != "done":
        return current
    # The course is done: what is left is keeping it, in turn.
    names = list(levels)
    return names[(names.index(current) + 1) % len(names)] if current else names[0]


def _run_s(today: Sequence[PastTake]) -> float:
    """Playing time of the last takes of one family in a row, seconds."""
    total = 0.0
    for take in reversed(today):
        if take.family != today[-1].family:
            break
        total += take.length_s
    return total


def _playing_s(history: Sequence[PastTake], now: datetime) -> float:
    """Playing time since the last break of five minutes, seconds; 0 during one."""
    total, edge = 0.0, now
    for take in reversed(history):
        begun = when(take)
        if begun > now:  # the machine's clock was set back
            continue
        if (edge - begun - timedelta(seconds=take.length_s)).total_seconds() >= REST_S:
            break
        total, edge = total + take.length_s, begun
    return total


def _is(take: PastTake, level: CourseLevel, setting: GradeTempo) -> bool:
    step = level.step(setting.rank)
    return (take.family, take.grade) == (step.family, step.grade) and abs(take.tempo_bpm - setting.tempo_bpm) < 0.5


def _retest(name: str, level: CourseLevel) -> NextStep:
    passed = level.passed or level.target
    step = level.step(passed.rank)
    return NextStep(
        "retest",
        "it sat well on an earlier day; if it still does, you have learned it",
        name,
        step.grade,
        step.title,
        passed.tempo_bpm,
        level.passed_seed or 1,
    )


def _step(name: str, level: CourseLevel, *, pointed: bool) -> NextStep:
    """The family's target in words."""
    step = level.step(level.target.rank)
    once_more = level.action == "again" and level.shares[-1:] >= [GOOD]
    said = _REASONS["once more" if once_more else level.action].format(
        share=f"{round(100 * (level.share or 0.0))} % of the strokes asked for were in the pocket",
        when="in your last take" if len(level.shares) < 2 else "over your last two takes",
        aim=_FIRST_AIM.get(name, ""),
    )
    if pointed:
        said += f", and your last takes point to the {name}s"
    # Another seed each time, so that it is read and not recited.
    seed = 1 + level.takes % SEEDS
    return NextStep(level.action, said, name, step.grade, step.title, level.target.tempo_bpm, seed)


_FIRST_AIM = {
    "anchor": "the strong beats come first, and everything else hangs on them",
    "split": "the strong beats carry something between them now",
    "turn": "people rush in fills, so you learn them by themselves",
}

_REASONS = {
    "begin": "{aim}",
    "again": "{share} {when} and 85 % is the aim, so the same once more",
    "once more": "{share}; play it as well once more, and you go on",
    "faster": "{share} {when}, so a little faster and nothing else",
    "harder": "{share} {when}, so the next grade",
    "slower": "{share} {when}, so the same a little slower",
    "simpler": "{share} {when}, so something simpler at the same tempo",
    "tomorrow": "{share} {when}; what is harder waits for tomorrow",
    "retry": "it was too much on an earlier day, and you have played well since, so try it again",
    "forgotten": "it sat well on an earlier day and does not now, so look at it once more",
    "done": "{share} {when}, at the end of this family: now keep it",
}
"""By action. A reason says what was heard and what follows; it never asks to play on."""
