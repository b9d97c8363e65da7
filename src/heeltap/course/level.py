"""Where a player stands in one family, from the takes of it, and which single change comes next.

Rules (sources and what is ours in `docs/decisions/0076`)
--------------------------------------------------------
The aim is about 85 % of the strokes in the pocket. One thing is made harder at a time, tempo by 4-5 % or the next grade,
when the share was 92 or twice at least 83; one thing is made easier, tempo or grade, never both, when it was below 75
or three times below 83. What failed today is not tried again today. What was good enough is asked for again after a day, and
only then counts as learned.

Inside: `Step`, `GradeTempo`, `CourseLevel`, `level_of`, and the thresholds.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from heeltap.model.past_take import PastTake
from heeltap.model.tempo_step import faster, slower

__all__ = [
    "EASY",
    "FAILED",
    "GOOD",
    "KEPT",
    "LEAST_STROKES",
    "RETEST_AFTER",
    "Course",
    "CourseLevel",
    "GradeTempo",
    "Step",
    "level_of",
    "when",
]

EASY, GOOD, FAILED, LOST = 0.92, 0.83, 0.75, 0.55
"""Shares: one take is enough to go on; two in a row are; the take failed; so far that the exercise is the wrong one.
The first and the third lie one and a half and two standard errors of 60 strokes (5 of 100) from `AIM`, the second just
below it. Ours: with 90, 80, 70 and 50 simulated learners settled at 80 to 82 of 100."""

KEPT = 0.79
"""Share from which a retest counts: `GOOD` less one standard error, for it is asked for once, and cold. Ours."""

LEAPS = 0.95
"""Share from which the way up to the grade's own tempo is left out. Ours."""

RETEST_AFTER = timedelta(hours=24)
"""Simmons (2012), J. Res. Music Educ. 59, 357-368: accuracy gained after 24 hours, not after 5 minutes or 6 hours."""

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
    grade: int
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

    grade: int
    tempo_bpm: float


@dataclass(slots=True)
class CourseLevel:
    """Where a player stands in one family. Grown take by take by `level_of`."""

    steps: Sequence[Step]
    target: GradeTempo
    """What comes next."""
    action: str = "begin"
    """How ``target`` differs from what was played: begin, again, faster, harder, slower, simpler, tomorrow, done."""
    share: float | None = None
    """Share of the planned strokes in the pocket, in the take that led here, 0-1."""
    passed: GradeTempo | None = None
    """The hardest that was good enough to go on from."""
    passed_at: datetime | None = None
    passed_seed: int | None = None
    learned: bool = False
    """Whether ``passed`` was good enough once more, at least a day later."""
    takes: int = 0
    good: int = 0
    """Takes in a row at this grade and tempo that were good enough."""
    weak: int = 0
    """Takes in a row at this grade and tempo that were not."""
    slowed: int = 0
    """Times in a row that the tempo was taken back."""
    failed_on: dict[GradeTempo, str] = field(default_factory=dict)
    """Day on which a grade at a tempo was last given up."""

    def retest_due(self, now: datetime) -> bool:
        """Whether to ask for it once more: a day has passed since it went well, and nobody has asked since.

        Parameters
        ----------
        now : datetime
            This moment, with its offset.

        Returns
        -------
        bool
        """
        return self.passed is not None and not self.learned and now - (self.passed_at or now) >= RETEST_AFTER

    def step(self, grade: int) -> Step:
        """The grade's row.

        Parameters
        ----------
        grade : int
            Number of the grade.

        Returns
        -------
        Step
        """
        return self.steps[self.rank(grade)]

    def rank(self, grade: int) -> int:
        """How many grades of the family come before this one.

        Parameters
        ----------
        grade : int
            Number of the grade.

        Returns
        -------
        int
            From 0.
        """
        return [step.grade for step in self.steps].index(grade)


def level_of(steps: Sequence[Step], takes: Iterable[PastTake]) -> CourseLevel:
    """Where a player stands after these takes of one family.

    Parameters
    ----------
    steps : sequence of Step
        The grades of the family, easiest first.
    takes : iterable of PastTake
        Oldest first; takes that are too short or of an unknown grade do not count.

    Returns
    -------
    CourseLevel
    """
    level = CourseLevel(steps, GradeTempo(steps[0].grade, steps[0].tempo_bpm))
    known = {step.grade for step in steps}
    for take in takes:
        if take.held is None or max(take.n, take.planned) < LEAST_STROKES or take.grade not in known:
            continue
        level.takes += 1
        _take_in(level, GradeTempo(take.grade, take.tempo_bpm), take)
    return level


def _take_in(level: CourseLevel, played: GradeTempo, take: PastTake) -> None:
    """One take: what the player chose to play counts where it tells more than the plan did."""
    share, at = float(take.held or 0.0), when(take)
    if _retested(level, played, share, at):
        return
    side = _compare(level, played, level.target)
    # Playing something easier than was due well, or failing at something harder, says nothing new; at first all is new.
    if (side < 0 and share >= FAILED and level.action != "begin") or (side > 0 and share < GOOD):
        return
    if side:
        level.good = level.weak = level.slowed = 0
    level.share = share
    if share >= GOOD:
        level.good, level.weak = level.good + 1, 0
        if share >= EASY or level.good > 1:
            level.passed, level.passed_at, level.passed_seed, level.learned = played, at, take.seed, False
            _go_on(level, played, at.date().isoformat())
        else:
            level.target, level.action = played, "again"
        return
    level.good, level.weak = 0, level.weak + 1
    if share < FAILED or level.weak > 2:
        _ease(level, played, at.date().isoformat())
    else:
        level.target, level.action = played, "again"


def _retested(level: CourseLevel, played: GradeTempo, share: float, at: datetime) -> bool:
    """Whether this was the test of what was good enough before; it then counts as that and as nothing else."""
    if level.passed is None or not level.retest_due(at) or _compare(level, played, level.passed):
        return False
    level.share = share
    if share >= KEPT:
        level.learned = True
        if not _compare(level, level.target, played):
            _go_on(level, played, at.date().isoformat())
    else:
        # What does not stay overnight was not learned: back to it.
        level.target, level.action, level.passed = played, "forgotten", None
        level.good = level.weak = level.slowed = 0
    return True


def _go_on(level: CourseLevel, played: GradeTempo, day: str) -> None:
    """One thing harder, unless that failed today."""
    level.slowed = 0
    wanted, action = _harder(level, played)
    if action != "done" and any(
        on == day and _compare(level, wanted, gone) >= 0 for gone, on in level.failed_on.items()
    ):
        wanted, action = played, "tomorrow"
    if wanted != played:
        level.good = 0
    level.target, level.action = wanted, action


def _harder(level: CourseLevel, played: GradeTempo) -> tuple[GradeTempo, str]:
    own = level.step(played.grade).tempo_bpm
    near = played.tempo_bpm >= own * (1 - _SAME_TEMPO)
    rank = level.rank(played.grade)
    if rank + 1 == len(level.steps):
        return (played, "done") if near else (GradeTempo(played.grade, faster(played.tempo_bpm, own)), "faster")
    above = level.steps[rank + 1]
    # Far above the aim the tempo may be taken along as it is: the next grade is change enough.
    leaps = (level.share or 0.0) >= LEAPS and played.tempo_bpm >= _SLOWEST * above.tempo_bpm
    if near or leaps:
        return GradeTempo(above.grade, min(played.tempo_bpm, above.tempo_bpm)), "harder"
    return GradeTempo(played.grade, faster(played.tempo_bpm, own)), "faster"


def _ease(level: CourseLevel, played: GradeTempo, day: str) -> None:
    """One thing easier: the tempo, or the grade where the tempo did not help or was not the matter."""
    level.failed_on[played] = day
    own = level.step(played.grade).tempo_bpm
    slow = slower(played.tempo_bpm)
    lost = (level.share or 0.0) < LOST
    # The grade below at this very tempo, or nothing: never both.
    below = level.steps[max(level.rank(played.grade) - 1, 0)]
    simpler = below.grade != played.grade and below.fastest_bpm >= played.tempo_bpm
    if simpler and (lost or level.slowed > 1 or slow < own * _SLOWEST):
        level.target, level.action = GradeTempo(below.grade, played.tempo_bpm), "simpler"
        level.slowed = 0
    elif slow >= own * _SLOWEST:
        level.target, level.action = GradeTempo(played.grade, slow), "slower"
        level.slowed += 1
    else:
        level.target, level.action = played, "again"
    level.good = level.weak = 0


def _compare(level: CourseLevel, one: GradeTempo, other: GradeTempo) -> int:
    """-1, 0 or 1 where the first is easier, the same, harder: by grade, then by tempo."""
    if one.grade != other.grade:
        return -1 if level.rank(one.grade) < level.rank(other.grade) else 1
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
        With its offset.
    """
    try:
        found = datetime.fromisoformat(take.date)
    except ValueError:
        return _LONG_AGO
    return found if found.tzinfo else found.replace(tzinfo=_LONG_AGO.tzinfo)


_LONG_AGO = datetime.fromisoformat("1970-01-01T00:00:00+00:00")
