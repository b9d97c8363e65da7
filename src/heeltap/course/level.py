"""Where a player stands in one family, from the takes of it, and which single change comes next.

Rules (sources and what is ours in `docs/decisions/0076`)
--------------------------------------------------------
* The aim is about 85 % of the strokes asked for in the pocket.
* One thing changes at a time: the tempo by 4-5 %, or the grade, never both in one direction.
* A single take opens no grade, however good: two takes of one grade and tempo must be good enough together. A very
  good one is enough for a step of tempo inside the grade.
* It gets easier when two takes together were poor, three were below the aim, or one was lost altogether.
* What was too hard waits for another day.
* What was good enough is asked for once more on another day, and only then counts as learned.

Inside: `Step`, `GradeTempo`, `CourseLevel`, `level_of`, `when`, and the thresholds.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from heeltap.model.past_take import PastTake
from heeltap.model.tempo_step import faster, slower

__all__ = [
    "EASY",
    "FAILED",
    "GOOD",
    "LEAST_STROKES",
    "RETEST_AFTER",
    "STAYED",
    "Course",
    "CourseLevel",
    "GradeTempo",
    "Step",
    "level_of",
    "when",
]

EASY, GOOD, FAILED, LOST = 0.90, 0.82, 0.79, 0.66
"""Shares of the strokes asked for: one take is enough for a step of tempo; two together are enough to go on; two
together are too few; so few that the exercise is the wrong one. Ours: so simulated learners settle at 83 to 89 of 100,
around `AIM` (`tests/course/test_learners.py`)."""

STAYED = 0.77
"""Share from which a retest counts: `GOOD` less one standard error, for it is asked for once, and cold. Ours."""

LEAPS = 0.93
"""Share of two takes of one grade, at whatever tempi, from which the rest of the way up to its own tempo is left out.
Ours."""

RETEST_AFTER = timedelta(hours=12)
"""Least time to a retest, which also lies on another day, so that a night is between. Simmons (2012), J. Res. Music Educ.
59, 357-368: accuracy gained after 24 hours, not after 5 minutes or 6 hours; 12 is ours, for nobody practises to the
minute."""

LEAST_STROKES = 16
"""Takes with fewer judged strokes move nothing: their share is known no better than to 9 of 100."""

_SLOWEST = 0.70
"""Share of its own tempo below which a grade is not slowed: then it is made simpler."""

_SAME_TEMPO = 0.02
"""Tempi closer than this are one tempo."""


@dataclass(frozen=True, slots=True)
class Step:
    """One grade of a family, as far as advice needs to know it."""

    family: str
    grade: str
    """Its name."""
    title: str
    tempo_bpm: float
    """Its own tempo, quarter notes a minute."""
    fastest_bpm: float
    """Beyond this it is not made."""
    difficulty: float


Course = Mapping[str, Sequence[Step]]
"""The grades of each family, in order."""


@dataclass(frozen=True, slots=True)
class GradeTempo:
    """A grade at a tempo."""

    rank: int
    """Which grade of the family, from 1: the order in which they are learned."""
    tempo_bpm: float


@dataclass(slots=True)
class CourseLevel:
    """Where a player stands in one family. Grown take by take by `level_of`."""

    steps: Sequence[Step]
    target: GradeTempo
    """What comes next."""
    action: str = "begin"
    """How ``target`` differs from what was played: begin, again, faster, harder, slower, simpler, tomorrow, retry,
    forgotten, done."""
    shares: list[float] = field(default_factory=list)
    """Share in the pocket of the strokes asked for, 0-1, of each take at the grade and tempo last played, in a row."""
    passed: GradeTempo | None = None
    """The last that two takes showed to be good enough."""
    passed_at: datetime | None = None
    passed_seed: int | None = None
    learned: bool = False
    """Whether ``passed`` was good enough once more, on another day."""
    learned_rank: int = 0
    """Every grade up to this one is learned."""
    takes: int = 0
    rank: int = 0
    """Of the grade last played."""
    strong: int = 0
    """Takes in a row of this grade, at whatever tempo, that reached `LEAPS`."""
    slowed: int = 0
    """Times in a row that the tempo was taken back."""
    waiting: GradeTempo | None = None
    """What was too hard today and comes tomorrow."""
    waiting_since: date | None = None
    failed_on: dict[GradeTempo, date] = field(default_factory=dict)
    """Day on which a grade at a tempo was last given up."""

    @property
    def share(self) -> float | None:
        """Mean share of the last takes that count together, two at most; None before the first.

        Returns
        -------
        float or None
            0-1.
        """
        last = self.shares[-2:]
        return sum(last) / len(last) if last else None

    def retest_due(self, now: datetime) -> bool:
        """Whether what was good enough is to be shown once more: a night has passed since.

        Parameters
        ----------
        now : datetime

        Returns
        -------
        bool
        """
        at = self.passed_at
        if self.passed is None or at is None or self.learned:
            return False
        return now - at >= RETEST_AFTER and now.astimezone(at.tzinfo).date() > at.date()

    def step(self, rank: int) -> Step:
        """The grade of a rank.

        Parameters
        ----------
        rank : int
            From 1.

        Returns
        -------
        Step
        """
        return self.steps[rank - 1]

    def standing(self, rank: int, now: datetime) -> str:
        """How the player stands with one grade, in a word for a list of all.

        Parameters
        ----------
        rank : int
            From 1.
        now : datetime

        Returns
        -------
        str
            ``learned``, ``due`` (to be shown once more today), ``passed`` (that comes another day), ``next`` or empty.
        """
        if rank <= self.learned_rank:
            return "learned"
        if self.passed is not None and rank == self.passed.rank:
            return "due" if self.retest_due(now) else "passed"
        return "next" if rank == self.target.rank else ""


def level_of(steps: Sequence[Step], takes: Iterable[PastTake], now: datetime) -> CourseLevel:
    """Where a player stands after these takes of one family.

    Parameters
    ----------
    steps : sequence of Step
        The family's grades in order.
    takes : iterable of PastTake
        Oldest first; those of a grade that the family has no longer count for nothing.
    now : datetime
        This moment: what waited for another day may be due.

    Returns
    -------
    CourseLevel
    """
    level = CourseLevel(steps, GradeTempo(1, steps[0].tempo_bpm))
    ranks = {step.grade: rank for rank, step in enumerate(steps, 1)}
    for take in takes:
        if take.held is None or max(take.n, take.planned) < LEAST_STROKES or take.grade not in ranks:
            continue
        level.takes += 1
        _take_in(level, GradeTempo(ranks[take.grade], take.tempo_bpm), take)
    since = level.waiting_since
    if level.action == "tomorrow" and level.waiting and since and now.date() > since:
        level.target, level.action = level.waiting, "retry"
    return level


def _take_in(level: CourseLevel, played: GradeTempo, take: PastTake) -> None:
    """One take: what the player chose to play counts where it tells more than the plan did."""
    share, at = float(take.held or 0.0), when(take)
    if _retested(level, played, share, at):
        return
    side = _compare(played, level.target)
    # Playing something easier than was due well, or failing at something harder, says nothing new; at first all is new.
    if (side < 0 and share >= FAILED and level.action != "begin") or (side > 0 and share < GOOD):
        return
    if side or level.action not in ("begin", "again"):
        level.shares = []
    if side:
        level.slowed = 0
    level.strong = (level.strong if played.rank == level.rank else 0) + 1 if share >= LEAPS else 0
    level.rank = played.rank
    level.shares.append(share)
    _decide(level, played, take.seed, at)


def _decide(level: CourseLevel, played: GradeTempo, seed: int | None, at: datetime) -> None:
    """On, back, or the same again, by the takes in a row at what was played."""
    both, three = level.shares[-2:], level.shares[-3:]
    share = level.shares[-1]
    if level.strong > 1 or (len(both) > 1 and sum(both) / 2 >= GOOD and share >= FAILED):
        level.passed, level.passed_at, level.passed_seed, level.learned = played, at, seed, False
        _go_on(level, played, at.date())
    elif share >= EASY and _below_own(level, played) and level.strong < 2:
        _go_on(level, played, at.date(), inside=True)
    elif share < LOST or (len(both) > 1 and sum(both) / 2 < FAILED) or (len(three) > 2 and sum(three) / 3 < GOOD):
        _ease(level, played, at.date())
    else:
        level.target, level.action = played, "again"


def _retested(level: CourseLevel, played: GradeTempo, share: float, at: datetime) -> bool:
    """Whether this was the test of what was good enough before; it then counts as that and as nothing else."""
    if level.passed is None or not level.retest_due(at) or _compare(played, level.passed):
        return False
    level.shares = [share]
    if share >= STAYED:
        level.learned, level.learned_rank = True, max(level.learned_rank, level.passed.rank)
        if not _compare(level.target, played):
            _go_on(level, played, at.date())
    else:
        # What does not stay overnight was not learned: back to it.
        level.target, level.action, level.passed, level.slowed = played, "forgotten", None, 0
    return True


def _go_on(level: CourseLevel, played: GradeTempo, day: date, *, inside: bool = False) -> None:
    """One thing harder, unless that was too hard today; ``inside`` changes the tempo only."""
    level.slowed = 0
    own = level.step(played.rank).tempo_bpm
    wanted, action = (
        (GradeTempo(played.rank, faster(played.tempo_bpm, own)), "faster") if inside else _harder(level, played)
    )
    if action != "done" and any(on == day and _compare(wanted, gone) >= 0 for gone, on in level.failed_on.items()):
        level.waiting, level.waiting_since, wanted, action = wanted, day, played, "tomorrow"
    level.target, level.action = wanted, action


def _below_own(level: CourseLevel, played: GradeTempo) -> bool:
    """Whether the grade is played slower than its own tempo."""
    return played.tempo_bpm < level.step(played.rank).tempo_bpm * (1 - _SAME_TEMPO)


def _harder(level: CourseLevel, played: GradeTempo) -> tuple[GradeTempo, str]:
    own = level.step(played.rank).tempo_bpm
    near = not _below_own(level, played)
    if played.rank == len(level.steps):
        return (played, "done") if near else (GradeTempo(played.rank, faster(played.tempo_bpm, own)), "faster")
    above = level.step(played.rank + 1)
    # Far above the aim the tempo may be taken along as it is: the next grade is change enough.
    leaps = level.strong > 1 and played.tempo_bpm >= _SLOWEST * above.tempo_bpm
    if near or leaps:
        return GradeTempo(played.rank + 1, min(played.tempo_bpm, above.tempo_bpm)), "harder"
    return GradeTempo(played.rank, faster(played.tempo_bpm, own)), "faster"


def _ease(level: CourseLevel, played: GradeTempo, day: date) -> None:
    """One thing easier: the tempo, or the grade where the tempo did not help or was not the matter."""
    level.failed_on[played] = day
    own = level.step(played.rank).tempo_bpm
    slow = slower(played.tempo_bpm)
    lost = level.shares[-1] < LOST
    # The grade below at this very tempo, or nothing: never both.
    simpler = played.rank > 1 and level.step(played.rank - 1).fastest_bpm >= played.tempo_bpm
    if simpler and (lost or level.slowed > 1 or slow < own * _SLOWEST):
        level.target, level.action = GradeTempo(played.rank - 1, played.tempo_bpm), "simpler"
        level.slowed = 0
    elif slow >= own * _SLOWEST:
        level.target, level.action = GradeTempo(played.rank, slow), "slower"
        level.slowed += 1
    else:
        level.target, level.action = played, "again"


def _compare(one: GradeTempo, other: GradeTempo) -> int:
    """-1, 0 or 1 where the first is easier, the same, harder: by grade, then by tempo."""
    if one.rank != other.rank:
        return -1 if one.rank < other.rank else 1
    if abs(one.tempo_bpm - other.tempo_bpm) <= _SAME_TEMPO * other.tempo_bpm:
        return 0
    return -1 if one.tempo_bpm < other.tempo_bpm else 1


def when(take: PastTake) -> datetime:
    """When a take began; the beginning of time where its date is no date.

    Parameters
    ----------
    take : PastTake

    Returns
    -------
    datetime
        With its offset from universal time.
    """
    try:
        found = datetime.fromisoformat(take.date)
    except ValueError:
        return _LONG_AGO
    return found if found.tzinfo else found.replace(tzinfo=_LONG_AGO.tzinfo)


_LONG_AGO = datetime.fromisoformat("1970-01-01T00:00:00+00:00")
