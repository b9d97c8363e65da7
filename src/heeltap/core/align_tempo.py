"""A take at free tempo brought onto the part's own time: first which stroke each note belongs to, then when each stroke was.

Inside: `Score` (the part as strokes), `read_score`, `follow` (notes to strokes), `stroke_times` (strokes to
milliseconds).
"""

from dataclasses import dataclass

import numpy as np

from heeltap.core.align_habits import KEYS
from heeltap.core.align_inputs import Line
from heeltap.core.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Score", "follow", "read_score", "stroke_times"]

_BAND = 160
"""Strokes that are held possible at a time."""

_BACK = 48
"""How many of them lie behind the likeliest one."""

_AHEAD = 6
"""Most strokes that one note may advance: up to five strokes missed in a row are bridged in one step."""

_HIT, _NEAR, _MISS, _STRAY = 3.0, -0.5, -1.2, -2.0
"""Gain in nats of a note on a key of its stroke, on one within two semitones, of a stroke passed over, of an unplanned note."""

_TEMPO_RATE = 0.25
"""Share of each new beat length in the running one."""

_NEIGHBOURS = 4
"""Strokes on each side that tell whether a stroke's time is believable."""


@dataclass(frozen=True, slots=True, eq=False)
class Score:
    """A part as strokes."""

    beat: FloatArray
    """Position of each stroke in beats, increasing."""
    has: BoolArray
    """Keys of each stroke, shape (128, strokes)."""
    near: BoolArray
    """Keys within two semitones of those."""


def read_score(plan: Line, first: IntArray) -> Score:
    """The strokes of a part whose times stand for beats; a stroke that accepts any key has all of them."""
    stroke = np.repeat(np.arange(first.size), np.diff(first, append=len(plan)))
    has = np.zeros((KEYS, first.size), bool)
    keyed = plan.pitch >= 0
    has[plan.pitch[keyed], stroke[keyed]] = True
    has[:, stroke[~keyed]] = True
    near = np.zeros_like(has)
    for up in (1, 2):
        near[up:] |= has[:-up]
        near[:-up] |= has[up:]
    return Score(plan.at_ms[first], has, near)


@dataclass(slots=True)
class _Front:
    """The best way to have arrived at each stroke of the band."""

    low: int
    """First stroke of the band."""
    gain: FloatArray
    """Its gain so far, nats."""
    hit_ms: FloatArray
    """When its last planned note was played."""
    period: FloatArray
    """Its running beat length, ms."""


def follow(score: Score, take: Line) -> tuple[IntArray, BoolArray]:
    """Stroke of each played note, and whether its key belongs there: the best path that never goes back.

    A Viterbi search over the strokes in a moving band; every path carries its own tempo.
    """
    strokes = score.beat.size
    width = min(_BAND, strokes)
    period = float(np.ptp(take.at_ms)) / max(float(np.ptp(score.beat)), 1e-9)
    start = -0.4 * np.arange(width, dtype=np.float64)
    front = _Front(0, start, np.full(width, np.nan), np.full(width, max(period, 1.0)))
    came = np.zeros((len(take), width), np.int8)
    lows = np.empty(len(take), np.int64)
    for row in range(len(take)):
        _slide(front, strokes)
        lows[row] = front.low
        came[row] = _step(front, score, int(take.pitch[row]), float(take.at_ms[row]), period)
    return _trace(front, came, lows, score, take)


def _slide(front: _Front, strokes: int) -> None:
    """Move the band so that its likeliest stroke has `_BACK` behind it."""
    width = front.gain.size
    shift = min(int(np.argmax(front.gain)) - _BACK, strokes - width - front.low)
    if shift <= 0:
        return
    front.low += shift
    front.gain = np.concatenate([front.gain[shift:], np.full(shift, -np.inf)])
    front.hit_ms = np.concatenate([front.hit_ms[shift:], np.full(shift, np.nan)])
    front.period = np.concatenate([front.period[shift:], np.full(shift, front.period[-1])])


def _step(front: _Front, score: Score, pitch: int, at_ms: float, usual: float) -> IntArray:
    """Take in one note; returns how many strokes each path advanced, -1 where the note is unplanned."""
    width = front.gain.size
    band = slice(front.low, front.low + width)
    beat = score.beat[band]
    value = np.where(score.has[pitch, band], _HIT, np.where(score.near[pitch, band], _NEAR, -np.inf))
    best, came = front.gain + _STRAY, np.full(width, -1, np.int64)
    hit_ms, period = front.hit_ms.copy(), front.period.copy()
    for ahead in range(min(_AHEAD, width - 1) + 1):
        here, there = slice(ahead, width), slice(0, width - ahead)
        since = at_ms - front.hit_ms[there]
        span = beat[here] - beat[there]
        wait = span * front.period[there]
        late = (since - wait) / np.maximum(40.0, 0.2 * wait)
        timing = -np.minimum(0.5 * late * late, 3.0 + 0.2 * np.abs(late))
        gain = front.gain[there] + value[here] + np.where(np.isnan(timing), 0.0, timing) + _MISS * max(ahead - 1, 0)
        better = np.flatnonzero(gain > best[here])
        best[here][better] = gain[better]
        came[here][better] = ahead
        hit_ms[here][better] = at_ms
        if ahead:
            seen = np.clip(since[better] / span[better], 0.4 * usual, 2.5 * usual)
            old = front.period[there][better]
            rate = np.where(np.isnan(seen), 0.0, _TEMPO_RATE)
            period[here][better] = old + rate * (np.nan_to_num(seen) - old)
        else:
            period[here][better] = front.period[there][better]
    front.gain, front.hit_ms, front.period = best, hit_ms, period
    return came


def _trace(front: _Front, came: IntArray, lows: IntArray, score: Score, take: Line) -> tuple[IntArray, BoolArray]:
    """Walk the best path back."""
    stroke = np.empty(len(take), np.int64)
    fits = np.zeros(len(take), bool)
    at = front.low + int(np.argmax(front.gain))
    for row in range(len(take) - 1, -1, -1):
        stroke[row] = at
        advance = int(came[row, at - lows[row]])
        if advance >= 0:
            fits[row] = score.has[take.pitch[row], at]
            at -= advance
    return stroke, fits


def stroke_times(beat: FloatArray, stroke: IntArray, at_ms: FloatArray) -> FloatArray:
    """When each stroke was played, ms, from notes known to belong to strokes; believable times are kept, others made.

    A time is believable when it lies within 150 ms or half the gap of the line through its neighbours (the medians of
    their slopes and heights), at the ends of the take two and a half times that, because people begin and end slower; a
    stroke without one gets its place on that line.
    """
    order = np.lexsort((at_ms, stroke))
    known, begin, many = np.unique(stroke[order], return_index=True, return_counts=True)
    middle = 0.5 * (at_ms[order[begin + (many - 1) // 2]] + at_ms[order[begin + many // 2]])
    line, slope = _lines(beat[known], middle, beat[known])
    gap = np.minimum(np.diff(beat[known], prepend=-np.inf), np.diff(beat[known], append=np.inf))
    allowed = np.maximum(150.0, 0.5 * slope * gap)
    allowed[:2] *= 2.5
    allowed[-2:] *= 2.5
    kept = np.abs(middle - line) < allowed
    kept[np.diff(middle, prepend=-np.inf) <= 0] = False
    if kept.sum() < 2:
        kept[:] = True
    times, _ = _lines(beat[known[kept]], middle[kept], beat)
    times[known[kept]] = middle[kept]
    return np.maximum.accumulate(times)


def _lines(at: FloatArray, height: FloatArray, wanted: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Height and slope at each wanted place of the median line through the nearest known places (its own left out)."""
    reach = min(2 * _NEIGHBOURS + 1, at.size)
    if at.size < 3:
        slope = (height[-1] - height[0]) / (at[-1] - at[0]) if at.size == 2 else 1.0
        return height[0] + slope * (wanted - at[0]), np.full(wanted.size, slope)
    begin = np.clip(np.searchsorted(at, wanted) - _NEIGHBOURS, 0, at.size - reach)
    rows = begin[:, None] + np.arange(reach)[None, :]
    x, y = at[rows], height[rows]
    x = np.where(x == wanted[:, None], np.nan, x)
    one, two = np.triu_indices(reach, 1)
    slope = np.nanmedian((y[:, two] - y[:, one]) / (x[:, two] - x[:, one]), axis=1)
    return np.nanmedian(y - slope[:, None] * (x - wanted[:, None]), axis=1), slope
