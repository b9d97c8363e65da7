"""A take at free tempo brought onto the part's own time: first which stroke each note belongs to, then when each stroke was.

Ours.

Inside: `StrokeSequence` (the part as strokes), `read_strokes`, `best_path` (notes to strokes), `stroke_times` (strokes to
milliseconds).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.align.inputs import NoteSequence
from heeltap.analysis.align.player_model import KEYS
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["StrokeSequence", "best_path", "broken_times", "read_strokes", "stroke_times"]

_BAND = 160
"""Strokes that are held possible at a time."""

_BACK = 48
"""How many of them lie behind the likeliest one."""

_AHEAD = 6
"""Most strokes that one note may advance: up to five strokes missed in a row are bridged in one step."""

_HIT, _NEAR, _MISS, _STRAY, _JUMP = 3.0, -0.5, -2.5, -2.0, -16.0
"""Gain in nats of a note on a key of its stroke, on one within two semitones, of a stroke passed over, of an unplanned
note, of going on anywhere later. With -1.2 for a stroke passed over 2 in 48 spoilt performances ran ahead and were lost;
with -2 to -3 none."""

_PASSED = _MISS * np.maximum(np.arange(_AHEAD + 1) - 1.0, 0.0)
"""Cost of each way of advancing, 0 to `_AHEAD` strokes."""

_HEARD_AGAIN, _LEAVE = 2.5, 0.6
"""Cost in nats of a key that its stroke has been heard with already, and of leaving a stroke for each note not yet heard."""

_BROKEN = 1.0
"""Most that a further note of the same stroke costs: a chord may be broken over seconds."""

_TEMPO_RATE = 0.2
"""Share of each new beat length in the running one."""

_NEIGHBOURS = 4
"""Strokes on each side that tell whether a stroke's time is believable."""


@dataclass(frozen=True, slots=True, eq=False)
class StrokeSequence:
    """A part as strokes."""

    beat: FloatArray
    """Position of each stroke in beats, increasing."""
    has: BoolArray
    """Keys of each stroke, shape (128, strokes)."""
    near: BoolArray
    """Keys within two semitones of those."""
    size: FloatArray
    """Keys of each stroke, 0 where it accepts any."""


def read_strokes(plan: NoteSequence, first: IntArray) -> StrokeSequence:
    """The strokes of a part whose times stand for beats; a stroke that accepts any key has all of them.

    Parameters
    ----------
    plan : NoteSequence
        Times stand for beats.
    first : int64, shape (strokes,)
        First note of each stroke.

    Returns
    -------
    StrokeSequence
        Keys by stroke.
    """
    stroke = np.repeat(np.arange(first.size), np.diff(first, append=len(plan)))
    has = np.zeros((KEYS, first.size), bool)
    keyed = plan.pitch >= 0
    has[plan.pitch[keyed], stroke[keyed]] = True
    has[:, stroke[~keyed]] = True
    near = np.zeros_like(has)
    for up in (1, 2):
        near[up:] |= has[:-up]
        near[:-up] |= has[up:]
    size = np.where(has.all(axis=0), 0.0, has.sum(axis=0))
    return StrokeSequence(plan.at_ms[first], has, near, size)


@dataclass(slots=True)
class _Beam:
    """The best way to have arrived at each stroke of the band."""

    low: int
    """First stroke of the band."""
    gain: FloatArray
    """Its gain so far, nats."""
    hit_ms: FloatArray
    """When its last planned note was played."""
    period: FloatArray
    """Its running beat length, ms."""
    heard: BoolArray
    """Which keys of its stroke it has been heard with, shape (128, strokes of the band)."""
    left: FloatArray
    """How many of its stroke's keys it has not been heard with."""


def best_path(score: StrokeSequence, take: NoteSequence) -> tuple[IntArray, BoolArray]:
    """Stroke of each played note, and whether its key belongs there: the best path that never goes back.

    A Viterbi search over the strokes in a moving band; every path carries its own tempo.

    Parameters
    ----------
    score : StrokeSequence
        The part.
    take : NoteSequence
        The take.

    Returns
    -------
    stroke : int64, shape (m,)
        Stroke of each played note.
    fits : bool, shape (m,)
        The played key is one of that stroke's.

    Notes
    -----
    Viterbi (1967, from memory) with a beam; the costs are ours.
    """
    strokes = score.beat.size
    width = min(_BAND, strokes)
    period = float(np.ptp(take.at_ms)) / max(float(np.ptp(score.beat)), 1e-9)
    start = -0.4 * np.arange(width, dtype=np.float64)
    beam = _Beam(
        0,
        start,
        np.full(width, np.nan),
        np.full(width, max(period, 1.0)),
        np.zeros((KEYS, width), bool),
        np.zeros(width),
    )
    came = np.zeros((len(take), width), np.int16)
    lows = np.empty(len(take), np.int64)
    for row in range(len(take)):
        _slide(beam, strokes)
        lows[row] = beam.low
        came[row] = _step(beam, score, int(take.pitch[row]), float(take.at_ms[row]), period)
    return _trace(beam, came, lows, score, take)


def _slide(beam: _Beam, strokes: int) -> None:
    """Move the band so that its likeliest stroke has `_BACK` behind it."""
    width = beam.gain.size
    shift = min(int(np.argmax(beam.gain)) - _BACK, strokes - width - beam.low)
    if shift <= 0:
        return
    beam.low += shift
    beam.gain = np.concatenate([beam.gain[shift:], np.full(shift, -np.inf)])
    beam.hit_ms = np.concatenate([beam.hit_ms[shift:], np.full(shift, np.nan)])
    beam.period = np.concatenate([beam.period[shift:], np.full(shift, beam.period[-1])])
    beam.heard = np.concatenate([beam.heard[:, shift:], np.zeros((KEYS, shift), bool)], axis=1)
    beam.left = np.concatenate([beam.left[shift:], np.zeros(shift)])


def _step(beam: _Beam, score: StrokeSequence, pitch: int, at_ms: float, usual: float) -> IntArray:
    """Take in one note; returns how many strokes each path advanced, -1 where the note is unplanned."""
    width = beam.gain.size
    band = slice(beam.low, beam.low + width)
    # Row k of each table holds what lies k strokes before: every way of advancing at once.
    gain, hit_ms, period = _shifted(beam.gain, -np.inf), _shifted(beam.hit_ms, np.nan), _shifted(beam.period, usual)
    span = score.beat[band] - _shifted(score.beat[band], np.nan)
    since, wait = at_ms - hit_ms, span * period
    late = np.abs(since - wait) / np.maximum(40.0, 0.2 * wait)
    timing = np.minimum(0.5 * late * late, 3.0 + 0.2 * late)
    timing[0] = np.minimum(timing[0], _BROKEN)
    again = beam.heard[pitch]
    left = _shifted(beam.left, 0.0)
    ways = gain - np.where(np.isnan(timing), 0.0, timing) + _PASSED[:, None] - _LEAVE * left
    ways[0] += _LEAVE * left[0] - _HEARD_AGAIN * again
    best = np.argmax(ways, axis=0)
    column = np.arange(width)
    found = ways[best, column]
    jump, source = _jumps(beam.gain)
    best, found = np.where(jump > found, column - source, best), np.maximum(jump, found)
    found = found + np.where(score.has[pitch, band], _HIT, np.where(score.near[pitch, band], _NEAR, -np.inf))
    planned = found > beam.gain + _STRAY
    row = np.minimum(best, _AHEAD)
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.clip(since[row, column] / span[row, column], 0.4 * usual, 2.5 * usual)
    old = period[row, column]
    rate = np.where((best > 0) & (best <= _AHEAD) & ~np.isnan(seen), _TEMPO_RATE, 0.0)
    beam.period = np.where(planned, old + rate * (np.nan_to_num(seen) - old), beam.period)
    beam.gain = np.where(planned, found, beam.gain + _STRAY)
    beam.hit_ms = np.where(planned, at_ms, beam.hit_ms)
    _remember(beam, score, pitch, planned & (best > 0), planned)
    return np.where(planned, best, -1)


def _remember(beam: _Beam, score: StrokeSequence, pitch: int, entered: BoolArray, planned: BoolArray) -> None:
    """Keep which keys each path's stroke has been heard with."""
    band = slice(beam.low, beam.low + beam.gain.size)
    beam.heard[:, entered] = False
    beam.left = np.where(entered, score.size[band], beam.left)
    fresh = planned & score.has[pitch, band] & (score.size[band] > 0) & ~beam.heard[pitch]
    beam.heard[pitch] |= fresh
    beam.left = np.maximum(beam.left - fresh, 0.0)


def _shifted(values: FloatArray, fill: float) -> FloatArray:
    """Table whose row k is the values moved right by k, shape (ways, values)."""
    padded = np.concatenate([np.full(_AHEAD, fill), values])
    return np.lib.stride_tricks.sliding_window_view(padded, values.size)[::-1]


def _jumps(gain: FloatArray) -> tuple[FloatArray, IntArray]:
    """Gain of coming to each stroke from the best one anywhere before it, and which that is."""
    best = np.maximum.accumulate(gain)
    column = np.arange(gain.size)
    source = np.maximum.accumulate(np.where(gain >= best, column, 0))
    return best + _JUMP, source


def _trace(
    beam: _Beam, came: npt.NDArray[np.int16], lows: IntArray, score: StrokeSequence, take: NoteSequence
) -> tuple[IntArray, BoolArray]:
    """Walk the best path back."""
    stroke = np.empty(len(take), np.int64)
    fits = np.zeros(len(take), bool)
    at = beam.low + int(np.argmax(beam.gain))
    for row in range(len(take) - 1, -1, -1):
        stroke[row] = at
        advance = int(came[row, at - lows[row]])
        if advance >= 0:
            fits[row] = score.has[take.pitch[row], at]
            at -= advance
    return stroke, fits


def stroke_times(beat: FloatArray, stroke: IntArray, at_ms: FloatArray) -> FloatArray:
    """When each stroke was played, ms, from notes known to belong to strokes; believable times are kept, others made.

    A time is believable when it lies within 150 ms or half the gap of a line (the medians of slopes and heights) through
    its neighbours on both sides, on the left or on the right: the last two so that a hole in the take costs nothing
    beside it. At the ends of the take two and a half times that is allowed, because people begin and end slower. A
    stroke without a believable time gets its place on the line through both sides, between those that have one.

    Parameters
    ----------
    beat : float64, shape (strokes,)
        Positions, beats.
    stroke : int64, shape (k,)
        Stroke of each note that is known.
    at_ms : float64, shape (k,)
        Its time, ms.

    Returns
    -------
    float64, shape (strokes,)
        Milliseconds, not decreasing.

    Notes
    -----
    Lines by Theil and Sen (Sen 1968, J. Am. Stat. Assoc. 63); the limits are ours.
    """
    order = np.lexsort((at_ms, stroke))
    known, begin, many = np.unique(stroke[order], return_index=True, return_counts=True)
    middle = 0.5 * (at_ms[order[begin + (many - 1) // 2]] + at_ms[order[begin + many // 2]])
    kept = _believable(beat[known], middle)
    if kept.sum() < 2:
        kept[:] = True
    known, middle = known[kept], middle[kept]
    times, _ = _lines(beat[known], middle, beat, _NEIGHBOURS, _NEIGHBOURS)
    after = np.searchsorted(known, np.arange(beat.size))
    ends = np.concatenate([[-np.inf], middle, [np.inf]])
    times = np.clip(times, ends[after], ends[after + 1])
    times[known] = middle
    return np.maximum.accumulate(times)


_BROKEN_MS, _BROKEN_NOTES = 150.0, 4
"""A stroke is broken if its keys, the first and the last left out, were heard over longer than this, and were so many: an
unplanned note on one of its keys stretches a chord at one end only."""


def broken_times(
    stroke: IntArray, at_ms: FloatArray, key: IntArray, of_note: IntArray, planned: IntArray
) -> FloatArray:
    """When each note of a broken stroke was played, ms; nan for notes of strokes struck together, and for unknown ones.

    Parameters
    ----------
    stroke : int64, shape (k,)
        Stroke of each note that is known.
    at_ms : float64, shape (k,)
        Its time, ms.
    key : int64, shape (k,)
        Its key.
    of_note : int64, shape (n,)
        Stroke of each planned note, not decreasing.
    planned : int64, shape (n,)
        Keys of the planned notes.

    Returns
    -------
    float64, shape (n,)
        Milliseconds.

    Notes
    -----
    Ours. A key that was played twice within its stroke counts the first time.
    """
    strokes = int(of_note[-1]) + 1
    name, first = np.unique(np.stack([stroke * KEYS + key, np.arange(stroke.size)]), axis=1)
    begin = np.flatnonzero(np.diff(name, prepend=-1) != 0)
    name, when = name[begin], at_ms[first[begin]]
    in_order = when[np.lexsort((when, name // KEYS))]
    count = np.bincount(name // KEYS, minlength=strokes)
    start = np.cumsum(count) - count
    enough = np.flatnonzero(count >= _BROKEN_NOTES)
    inner_ms = in_order[start[enough] + count[enough] - 2] - in_order[start[enough] + 1]
    broken = np.zeros(strokes, bool)
    broken[enough] = inner_ms > _BROKEN_MS
    wanted = of_note * KEYS + planned
    row = np.minimum(np.searchsorted(name, wanted), name.size - 1)
    known = broken[of_note] & (planned >= 0) & (name[row] == wanted)
    return np.where(known, when[row], np.nan)


def _believable(beat: FloatArray, at_ms: FloatArray) -> BoolArray:
    """Which times lie near a line through their neighbours, and after all believable ones before them."""
    gap = np.minimum(np.diff(beat, prepend=-np.inf), np.diff(beat, append=np.inf))
    out = np.zeros(beat.size, bool)
    for left, right in ((_NEIGHBOURS, _NEIGHBOURS), (_NEIGHBOURS, 0), (0, _NEIGHBOURS)):
        line, slope = _lines(beat, at_ms, beat, left, right)
        allowed = np.maximum(150.0, 0.5 * slope * gap)
        allowed[:2] *= 2.5
        allowed[-2:] *= 2.5
        out |= np.abs(at_ms - line) < allowed
    latest = np.maximum.accumulate(np.where(out, at_ms, -np.inf))
    out[1:] &= at_ms[1:] > latest[:-1]
    return out


def _lines(
    at: FloatArray, height: FloatArray, wanted: FloatArray, left: int, right: int
) -> tuple[FloatArray, FloatArray]:
    """Height and slope at each wanted place of the median line through known places beside it (its own left out).

    Near the ends of the take the places come from the other side.
    """
    reach = min(left + right + 1, at.size)
    if at.size < 3:
        slope = (height[-1] - height[0]) / (at[-1] - at[0]) if at.size == 2 else 1.0
        return height[0] + slope * (wanted - at[0]), np.full(wanted.size, slope)
    begin = np.clip(np.searchsorted(at, wanted) - left, 0, at.size - reach)
    rows = begin[:, None] + np.arange(reach)[None, :]
    x, y = at[rows], height[rows]
    x = np.where(x == wanted[:, None], np.nan, x)
    one, two = np.triu_indices(reach, 1)
    slope = np.nanmedian((y[:, two] - y[:, one]) / (x[:, two] - x[:, one]), axis=1)
    return np.nanmedian(y - slope[:, None] * (x - wanted[:, None]), axis=1), slope
