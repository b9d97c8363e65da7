"""A take as the history remembers it: one row of figures, all that lists, trends and advice need.

Conventions: offsets are played minus reference, ms, negative is early; None where there is no number.

Inside: `PastTake`, `held_share`, `past_of`, `codes_text`, `codes_from`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.findings.catalogue import NOTHING
from heeltap.analysis.score import pocket_of
from heeltap.model.result import Result

__all__ = ["PastTake", "codes_from", "codes_text", "held_share", "past_of"]

_SAME_STROKE_MS = 1.0
"""Planned notes closer than this are one stroke: planned chords differ by rounding only."""

_JUDGED = ("matched", "wrong_pitch")
"""Statuses of notes that stand for a planned one."""


@dataclass(frozen=True, slots=True)
class PastTake:
    """One take in the history."""

    folder: str
    """Name of its folder among the takes: what it is found again by."""
    date: str
    """When it began, ISO 8601 with the local offset."""
    exercise: str
    """Short name of the exercise or the plan's file."""
    title: str
    family: str
    """``anchor``, ``split``, ``turn``; empty for a plan from elsewhere."""
    grade: int
    """0 where there is no family."""
    seed: int | None
    tempo_bpm: float
    """At its start, quarter notes a minute."""
    lean_ms: float
    length_s: float
    """How long it was played, count-in left out."""
    ending: str
    """``played``, or why it ended early."""
    n: int
    """Strokes that the figures rest on."""
    bias_ms: float | None
    spread_ms: float | None
    in_pocket: float | None
    """Share of the played strokes in the pocket around the lean, 0-1."""
    held: float | None
    """Share of the planned strokes that were held, 0-1 (see `held_share`): what advice goes by."""
    score: float | None
    planned: int
    missed: int
    extra: int
    method: str
    """How the delay of the route is known; ``none`` when it is not."""
    findings: tuple[tuple[str, float], ...]
    """Code and size in ms (negative is earlier) of each finding, strongest first."""
    scored_by: str = ""
    """Version of heeltap whose figures these are."""


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


def codes_text(findings: tuple[tuple[str, float], ...]) -> str:
    """Findings as one word each: ``fills:-12.5 off-beats:8.25``; sizes to the last digit."""
    return " ".join(f"{code}:{effect!r}" for code, effect in findings)


def codes_from(text: str) -> tuple[tuple[str, float], ...]:
    """The findings back from `codes_text`; raises `ValueError` for another text."""
    pairs = (word.rpartition(":") for word in text.split())
    return tuple((code, float(effect)) for code, _, effect in pairs)
