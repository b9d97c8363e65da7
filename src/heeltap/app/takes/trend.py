"""Am I better? The figures of each exercise over the days on which it was played.

Inside: `ExerciseTrend`, `trends`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from heeltap.analysis.compare.trend import DayTrend, trend_over_days
from heeltap.model.past_take import PastTake

__all__ = ["ExerciseTrend", "trends"]

_LEAST_STROKES = 24
"""A take of fewer has no spread worth a trend. Ours."""


@dataclass(frozen=True, slots=True)
class ExerciseTrend:
    """One grade of the course, or one plan from elsewhere, over all its seeds and tempi."""

    name: str
    """``anchor backbeat``, or the plan's name."""
    title: str
    takes: int
    days: int
    first_date: str
    """ISO date of the first take, and of the last."""
    last_date: str
    spread: DayTrend | None
    """Milliseconds at the tempo that was usual; None with too few days."""
    average: DayTrend | None
    """Milliseconds, from takes whose delay is known; None where those are too few."""
    held: DayTrend | None
    """Share of the planned strokes in the pocket, 0-1."""


def trends(takes: Iterable[PastTake]) -> tuple[ExerciseTrend, ...]:
    """The trend of each exercise, that which was played last first.

    Parameters
    ----------
    takes : iterable of PastTake
        In the order played. Takes with few strokes are left out.

    Returns
    -------
    tuple of ExerciseTrend
    """
    groups: dict[str, list[PastTake]] = {}
    for take in takes:
        if take.n >= _LEAST_STROKES and take.spread_ms is not None and take.spread_ms > 0:
            groups.setdefault(f"{take.family} {take.grade}".strip() or take.exercise, []).append(take)
    found = [_of(name, rows) for name, rows in groups.items()]
    return tuple(sorted(found, key=lambda one: one.last_date, reverse=True))


def _of(name: str, rows: Sequence[PastTake]) -> ExerciseTrend:
    """One exercise."""
    known = [take for take in rows if take.method != "none" and take.bias_ms is not None]
    counted = [take for take in rows if take.held is not None]
    usual_ms = sorted(60_000.0 / take.tempo_bpm for take in rows)[len(rows) // 2]
    # A spread grows with the beat; takes at other tempi count as if they had been played at the usual one.
    spreads = [(take.spread_ms or 0.0) * usual_ms * take.tempo_bpm / 60_000.0 for take in rows]
    return ExerciseTrend(
        name=name,
        title=rows[-1].title,
        takes=len(rows),
        days=len({_day(take) for take in rows}),
        first_date=rows[0].date[:10],
        last_date=rows[-1].date[:10],
        spread=trend_over_days([_day(take) for take in rows], spreads, ratio=True),
        average=trend_over_days([_day(take) for take in known], [abs(_aside(take)) for take in known]),
        held=trend_over_days([_day(take) for take in counted], [take.held or 0.0 for take in counted]),
    )


def _aside(take: PastTake) -> float:
    """How far the average lies from the lean, ms."""
    return (take.bias_ms or 0.0) - take.lean_ms


def _day(take: PastTake) -> int:
    return datetime.fromisoformat(take.date).date().toordinal()
