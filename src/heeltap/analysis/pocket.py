"""The pocket: how far from the aim a stroke may lie and still be heard as right there.

A stroke is held against something that sounds: the click, the kick and snare, the other hand. Two sounds are heard as
one up to some 10 ms apart and as two from 20 to 30 ms (Hirsh 1959, as told by Watson 2004, Semin. Hear. 25, 219-227;
19 to 24 ms for drums inside a groove, preprint doi 10.31234/osf.io/jsg94_v3), and a regular listener hears a share of
the beat (Friberg & Sundberg 1995). So the half-width is 4 % of the beat, never under 12 nor over 25 ms; what lies between
the beats has half as much again, because the big beats come first. In runs so fast that this would take in half of
all random strokes it is a quarter of the way to the neighbour. Ours, within those sources.

Conventions: milliseconds, half-widths to either side; offsets are played minus reference, negative is early.

Inside: `beat_half_width_ms`, `half_width_ms`, `pocket_of`, `in_pocket`, `centre_of`, `held_share`.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import BoolArray, FloatArray, as_ints
from heeltap.model.offsets import Offsets
from heeltap.model.result import NoteRow
from heeltap.model.subdivisions import BEAT, DIVISIONS

__all__ = ["beat_half_width_ms", "centre_of", "half_width_ms", "held_share", "in_pocket", "pocket_of"]

SHARE_OF_BEAT = 0.04
LEAST_MS, MOST_MS = 12.0, 25.0
"""Half-width on a beat: what a good band does not hear, what everybody hears as two. Ours, see the head."""

BETWEEN = 1.5
"""Between the beats the pocket is so many times as wide."""

MOST_OF_INTERVAL = 0.25
"""Of the way to the neighbour: a wider pocket would hold more than half of all strokes at random times."""

_SAME_STROKE_MS = 1.0
"""Planned notes closer than this are one stroke: planned chords differ by rounding only."""

_PLANNED = ("matched", "wrong_pitch", "missed")
"""Statuses of notes that stand for a planned one."""


def beat_half_width_ms(beat_ms: npt.ArrayLike) -> FloatArray:
    """Half-width of the pocket on a beat, ms, for beats of that length: 4 % of it, 12 to 25 ms.

    >>> beat_half_width_ms([1000.0, 500.0, 250.0]).tolist()
    [25.0, 20.0, 12.0]

    Parameters
    ----------
    beat_ms : float, any shape

    Returns
    -------
    float64, the same shape
    """
    return np.clip(SHARE_OF_BEAT * np.asarray(beat_ms, dtype=np.float64), LEAST_MS, MOST_MS)


def half_width_ms(
    beat_ms: npt.ArrayLike, division: npt.ArrayLike, interval_ms: npt.ArrayLike, pocket_ms: float | None = None
) -> FloatArray:
    """Half-width of the pocket of each stroke, ms.

    Parameters
    ----------
    beat_ms, interval_ms : float, broadcastable
        Length of the beat, and time to the nearer planned neighbour.
    division : int
        Code into `heeltap.model.subdivisions.DIVISIONS`: everything but a beat lies between the beats.
    pocket_ms : float, optional
        The user's own half-width, the same for every stroke.

    Returns
    -------
    float64, the broadcast shape
    """
    beat, code, interval = np.broadcast_arrays(
        np.asarray(beat_ms, dtype=np.float64), np.asarray(division), np.asarray(interval_ms, dtype=np.float64)
    )
    if pocket_ms is not None:
        return np.full(beat.shape, float(pocket_ms))
    strong = beat_half_width_ms(beat)
    return np.where(code == BEAT, strong, np.minimum(BETWEEN * strong, MOST_OF_INTERVAL * interval))


def pocket_of(offsets: Offsets, pocket_ms: float | None = None) -> FloatArray:
    """Half-width of the pocket of each row of the table, ms.

    Parameters
    ----------
    offsets : Offsets
    pocket_ms : float, optional
        The user's own half-width.

    Returns
    -------
    float64, shape (strokes,)
    """
    return half_width_ms(offsets.beat_ms, offsets.division, offsets.interval_ms, pocket_ms)


def in_pocket(offsets: Offsets, *, centre_ms: float = 0.0, pocket_ms: float | None = None) -> BoolArray:
    """Flag of each stroke that lies within its pocket around the centre; the edge counts as inside.

    Parameters
    ----------
    offsets : Offsets
    centre_ms : float
        See `centre_of`.
    pocket_ms : float, optional
        The user's own half-width.

    Returns
    -------
    bool, shape (strokes,)
    """
    return np.asarray(np.abs(offsets.offset_ms - centre_ms) <= pocket_of(offsets, pocket_ms))


def centre_of(offsets: Offsets, lean_ms: float, *, delay_known: bool) -> float:
    """What strokes are held against, ms: the lean, or the take's own median where the delay of the route is not known.

    A keyboard that speaks 30 ms late must not make every stroke late.

    Parameters
    ----------
    offsets : Offsets
    lean_ms : float
    delay_known : bool

    Returns
    -------
    float
    """
    if delay_known or len(offsets) == 0:
        return lean_ms
    return float(np.median(offsets.offset_ms))


def held_share(
    rows: Sequence[NoteRow],
    offsets: Offsets,
    *,
    centre_ms: float = 0.0,
    pocket_ms: float | None = None,
    delay_ms: float = 0.0,
) -> float | None:
    """Share of the planned strokes that lie in the pocket, 0-1; None where nothing was planned or played.

    Unlike the share of the played strokes it counts a missed stroke as not held, and a chord by its worst note. Ours.

    Parameters
    ----------
    rows : sequence of NoteRow
        Every note of the take, played or missed.
    offsets : Offsets
        The take's table, for the length of the beat in each bar.
    centre_ms : float
        See `centre_of`.
    pocket_ms : float, optional
        The user's own half-width.
    delay_ms : float
        What was taken away from every offset.

    Returns
    -------
    float or None
    """
    planned = [row for row in rows if row.status in _PLANNED and (row.status == "missed" or row.offset_ms is not None)]
    played = np.array([row.status != "missed" for row in planned], dtype=np.bool_)
    if not played.any():
        return 0.0 if planned else None
    offset = np.array([np.inf if row.offset_ms is None else row.offset_ms for row in planned])
    moved = np.where(played, np.where(played, offset, 0.0) + delay_ms, 0.0)
    due = np.array([1000.0 * row.time_s for row in planned]) - moved
    order = np.argsort(due, kind="stable")
    starts = np.flatnonzero(np.diff(due[order], prepend=-np.inf) > _SAME_STROKE_MS)
    gap = np.diff(due[order][starts])
    interval = np.minimum(np.append(gap, np.inf), np.insert(gap, 0, np.inf))
    bar = as_ints(row.bar or 1 for row in planned)[order][starts]
    division = as_ints(DIVISIONS.index(row.division or "beat") for row in planned)[order][starts]
    beat_ms = np.interp(bar, offsets.bar, offsets.beat_ms) if len(offsets) else np.full(bar.size, 500.0)
    worst = np.maximum.reduceat(np.abs(offset[order] - centre_ms), starts)
    return float(np.mean(worst <= half_width_ms(beat_ms, division, interval, pocket_ms)))
