"""The row of figures that the history keeps of a take, made from its Result.

Conventions: offsets are played minus reference, ms, negative is early; None where there is no number.

Inside: `past_of`, `held_share`.
"""

import numpy as np

from heeltap.analysis.findings.catalogue import NOTHING
from heeltap.analysis.score import pocket_of
from heeltap.model.past_take import PastTake
from heeltap.model.result import Result

__all__ = ["held_share", "past_of"]

_SAME_STROKE_MS = 1.0
"""Planned notes closer than this are one stroke: planned chords differ by rounding only."""

_JUDGED = ("matched", "wrong_pitch")
"""Statuses of notes that stand for a planned one."""


def held_share(result: Result) -> float | None:
    """Share of the planned strokes that lie in the pocket, 0-1; None where nothing was planned or played.

    It differs from ``overall.in_pocket`` in two ways that matter to what comes next. A missed stroke was not held. And
    where the delay of the route is not known, the pocket lies around the take's own median: a keyboard that speaks
    30 ms late must not make every exercise a failure. Ours.
    """
    played = [note for note in result.notes if note.offset_ms is not None and note.status in _JUDGED]
    missed = [note for note in result.notes if note.status == "missed"]
    if not played:
        return None if not missed else 0.0
    offset = np.array([note.offset_ms for note in played], dtype=np.float64)
    hit_ms = np.array([1000.0 * note.time_s for note in played]) - offset - result.calibration.delay_ms
    missed_ms = np.array([1000.0 * note.time_s for note in missed])
    centre = result.lean_ms if result.calibration.known else float(np.median(offset))
    order = np.argsort(np.concatenate([hit_ms, missed_ms]), kind="stable")
    due = np.concatenate([hit_ms, missed_ms])[order]
    away = np.concatenate([np.abs(offset - centre), np.full(len(missed), np.inf)])[order]
    stroke = np.concatenate([[0], np.cumsum(np.diff(due) > _SAME_STROKE_MS)])
    starts = np.flatnonzero(np.diff(stroke, prepend=-1))
    gap = np.diff(due[starts])
    interval = np.minimum(np.append(gap, np.inf), np.insert(gap, 0, np.inf))
    interval[np.isinf(interval)] = 500.0  # a single stroke: no neighbour says how wide its pocket is
    worst = np.maximum.reduceat(away, starts)
    return float(np.mean(worst <= pocket_of(interval, result.pocket_ms)))


def past_of(
    result: Result,
    *,
    folder: str,
    date: str,
    exercise: str,
    title: str = "",
    family: str = "",
    grade: int = 0,
    seed: int | None = None,
    tempo_bpm: float,
    length_s: float,
    ending: str = "played",
    scored_by: str = "",
) -> PastTake:
    """The row of a scored take."""
    overall, counts = result.overall, result.counts
    return PastTake(
        folder=folder,
        date=date,
        exercise=exercise,
        title=title,
        family=family,
        grade=grade,
        seed=seed,
        tempo_bpm=tempo_bpm,
        lean_ms=result.lean_ms,
        length_s=length_s,
        ending=ending,
        n=overall.n,
        bias_ms=overall.bias_ms,
        spread_ms=overall.spread_ms,
        in_pocket=overall.in_pocket,
        held=held_share(result),
        score=overall.score,
        planned=counts.planned,
        missed=counts.missed,
        extra=counts.extra,
        method=result.calibration.method,
        findings=tuple((found.code, found.effect_ms) for found in result.findings if found.code != NOTHING),
        scored_by=scored_by,
    )
