"""Where a player stands in one family, from the takes of it, and which single change comes next.

Rules (sources and what is ours in `docs/decisions/0076`)
--------------------------------------------------------
The aim is about 85 % of the strokes in the pocket. One thing is made harder at a time, tempo by 4-5 % or the next grade,
when the share was 92 or twice at least 83; one thing is made easier, tempo or grade, never both, when it was below 75
or three times below 83. What failed today is not tried again today. What was held is asked for again after a day, and
only then counts as learned.

Inside: `Step`, `Setting`, `Place`, `place_of`, `faster`, `slower`, and the thresholds.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from heeltap.model.past_take import PastTake

__all__ = [
    "EASY",
    "FAILED",
    "HELD",
    "KEPT",
    "LEAST_STROKES",
    "RETEST_AFTER",
    "Course",
    "Place",
    "Setting",
    "Step",
    "faster",
    "place_of",
    "slower",
    "when",
]

EASY, HELD, FAILED, LOST = 0.92, 0.83, 0.75, 0.55
"""Shares: one take is enough to go on; two in a row are; the take failed; so far that the exercise is the wrong one.
The first and the third lie one and a half and two standard errors of 60 strokes (5 of 100) from `AIM`, the second just
below it. Ours: with 90, 80, 70 and 50 simulated learners settled at 80 to 82 of 100."""

KEPT = 0.79
"""Share from which a retest counts: `HELD` less one standard error, for it is asked for once, and cold. Ours."""

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
class Setting:
    """A grade at a tempo."""

    grade: int
    tempo_bpm: float


@dataclass(slots=True)
class Place:
    """Where a player stands in one family. Grown take by take by `place_of`."""

    steps: Sequence[Step]
    target: Setting
    """What comes next."""
    action: str = "begin"
    """How ``target`` differs from what was played: begin, again, faster, harder, slower, simpler, tomorrow, done."""
    share: float | None = None
    """Share held in the take that led here."""
    held: Setting | None = None
    """The hardest that was held."""
    held_at: datetime | None = None
    held_seed: int | None = None
    learned: bool = False
    """Whether ``held`` was held again at least a day later."""
    takes: int = 0
    good: int = 0
    """Takes in a row at this setting that held."""
    weak: int = 0
    """Takes in a row at this setting that did not."""
    slowed: int = 0
    """Times in a row that the tempo was taken back."""
    failed_on: dict[Setting, str] = field(default_factory=dict)
    """Day on which a setting was last given up."""

    def retest_due(self, now: datetime) -> bool:
        """Whether what was held is to be shown again: a day has passed, and it was not yet."""
        return self.held is not None and not self.learned and now - (self.held_at or now) >= RETEST_AFTER

    def step(self, grade: int) -> Step:
        """The grade's row."""
        return self.steps[grade - 1]


def place_of(steps: Sequence[Step], takes: Iterable[PastTake]) -> Place:
    """Where a player stands after these takes of one family, oldest first."""
    place = Place(steps, Setting(1, steps[0].tempo_bpm))
    for take in takes:
        if take.held is None or max(take.n, take.planned) < LEAST_STROKES or not 1 <= take.grade <= len(steps):
            continue
        place.takes += 1
        _take_in(place, Setting(take.grade, take.tempo_bpm), take)
    return place


def _take_in(place: Place, played: Setting, take: PastTake) -> None:
    """One take: what the player chose to play counts where it tells more than the plan did."""
    share, at = float(take.held or 0.0), when(take)
    if _retested(place, played, share, at):
        return
    side = _compare(played, place.target)
    # Holding something easier than was due, or failing at something harder, says nothing new; at first all is new.
    if (side < 0 and share >= FAILED and place.action != "begin") or (side > 0 and share < HELD):
        return
    if side:
        place.good = place.weak = place.slowed = 0
    place.share = share
    if share >= HELD:
        place.good, place.weak = place.good + 1, 0
        if share >= EASY or place.good > 1:
            place.held, place.held_at, place.held_seed, place.learned = played, at, take.seed, False
            _go_on(place, played, at.date().isoformat())
        else:
            place.target, place.action = played, "again"
        return
    place.good, place.weak = 0, place.weak + 1
    if share < FAILED or place.weak > 2:
        _ease(place, played, at.date().isoformat())
    else:
        place.target, place.action = played, "again"


def _retested(place: Place, played: Setting, share: float, at: datetime) -> bool:
    """Whether this was the test of what was held before; it then counts as that and as nothing else."""
    if place.held is None or not place.retest_due(at) or _compare(played, place.held):
        return False
    place.share = share
    if share >= KEPT:
        place.learned = True
        if not _compare(place.target, played):
            _go_on(place, played, at.date().isoformat())
    else:
        # What does not stay overnight was not learned: back to it.
        place.target, place.action, place.held = played, "forgotten", None
        place.good = place.weak = place.slowed = 0
    return True


def _go_on(place: Place, played: Setting, day: str) -> None:
    """One thing harder, unless that failed today."""
    place.slowed = 0
    wanted, action = _harder(place, played)
    if action != "done" and any(on == day and _compare(wanted, gone) >= 0 for gone, on in place.failed_on.items()):
        wanted, action = played, "tomorrow"
    if wanted != played:
        place.good = 0
    place.target, place.action = wanted, action


def _harder(place: Place, played: Setting) -> tuple[Setting, str]:
    own = place.step(played.grade).tempo_bpm
    near = played.tempo_bpm >= own * (1 - _SAME_TEMPO)
    if played.grade == len(place.steps):
        return (played, "done") if near else (Setting(played.grade, faster(played.tempo_bpm, own)), "faster")
    above = place.step(played.grade + 1)
    # Far above the aim the tempo may be taken along as it is: the next grade is change enough.
    leaps = (place.share or 0.0) >= LEAPS and played.tempo_bpm >= _SLOWEST * above.tempo_bpm
    if near or leaps:
        return Setting(above.grade, min(played.tempo_bpm, above.tempo_bpm)), "harder"
    return Setting(played.grade, faster(played.tempo_bpm, own)), "faster"


def _ease(place: Place, played: Setting, day: str) -> None:
    """One thing easier: the tempo, or the grade where the tempo did not help or was not the matter."""
    place.failed_on[played] = day
    own = place.step(played.grade).tempo_bpm
    slow = slower(played.tempo_bpm)
    lost = (place.share or 0.0) < LOST
    # The grade below at this very tempo, or nothing: never both.
    simpler = played.grade > 1 and place.step(played.grade - 1).fastest_bpm >= played.tempo_bpm
    if simpler and (lost or place.slowed > 1 or slow < own * _SLOWEST):
        place.target, place.action = Setting(played.grade - 1, played.tempo_bpm), "simpler"
        place.slowed = 0
    elif slow >= own * _SLOWEST:
        place.target, place.action = Setting(played.grade, slow), "slower"
        place.slowed += 1
    else:
        place.target, place.action = played, "again"
    place.good = place.weak = 0


def _compare(one: Setting, other: Setting) -> int:
    """-1, 0 or 1 where the first is easier, the same, harder: by grade, then by tempo."""
    if one.grade != other.grade:
        return -1 if one.grade < other.grade else 1
    if abs(one.tempo_bpm - other.tempo_bpm) <= _SAME_TEMPO * other.tempo_bpm:
        return 0
    return -1 if one.tempo_bpm < other.tempo_bpm else 1


def faster(tempo_bpm: float, limit_bpm: float) -> float:
    """The tempo one step up: 4-5 %, a whole number, no more than the limit. The step is convention, no source."""
    return min(float(round(tempo_bpm * 1.045)), limit_bpm)


def slower(tempo_bpm: float) -> float:
    """The tempo one step down: 4-5 %, a whole number."""
    return float(round(tempo_bpm * 0.955))


def when(take: PastTake) -> datetime:
    """When a take began; the beginning of time where its date is no date."""
    try:
        found = datetime.fromisoformat(take.date)
    except ValueError:
        return _LONG_AGO
    return found if found.tzinfo else found.replace(tzinfo=_LONG_AGO.tzinfo)


_LONG_AGO = datetime.fromisoformat("1970-01-01T00:00:00+00:00")
