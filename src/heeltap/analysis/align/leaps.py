"""Leaps: offsets that a lost player may have gone to, a beat late, a bar dropped, the beat turned round.

Where a part repeats itself, the planned notes of a silence fit the notes played a bar or a phrase before as well as those
fit their own. So a leap needs both sides: a run of planned notes that fit better there than at home, and a run of played
notes of which the same is true. Played notes that fit at home with their neighbours stay there.

Inside: `find_leaps`.
"""

from itertools import pairwise

import numpy as np

from heeltap.analysis.align.delay_candidates import Leap, differences
from heeltap.analysis.align.inputs import NoteSequence
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["find_leaps"]

_LEAP_MS = 6000.0
"""The farthest leap that is looked for: a bar of four at 40 bpm, two bars at 80."""

_BIN_MS = 20.0
_BINS = round(2 * _LEAP_MS / _BIN_MS)
_BELL = np.array([0.5, 0.9, 1.0, 0.9, 0.5])
"""How much differences up to 50 ms from the middle of a bin count for it."""

_LEAST_LEAP_MS = 130.0
"""Nearer to home it is rushing, not a leap: half a beat at 230 bpm."""

_MOST_LEAPS = 8
"""Most offsets, beside home, that one take is searched at: time and memory grow with them."""

_WINDOWS = (8, 16)
"""Planned notes judged together when looking for a leap: few for a short one, more where chance fits are common."""

_RUN, _RUN_GAIN = 8, 3
"""Played notes judged together, and how many more of them have to fit at a leap than at home."""

_REACH_MS, _REACH_ANY_KEY_MS = 60.0, 40.0
"""How far from the leap's own offset a played note may fall: less where any key answers, because there extra notes fit by
chance (at 60 ms three in a run of eight did so in 1 of 60 silences)."""

_AT_ONCE = 500
"""Runs that are counted together: enough for speed, and no more than 10 MB."""

_LEAST_FREE = 5
"""Played notes that a leap has to explain."""


def find_leaps(
    plan: NoteSequence, take: NoteSequence, home_ms: float, clean: BoolArray, match: IntArray
) -> tuple[Leap, ...]:
    """Offsets away from home at which a run of planned notes and a run of played notes both fit much better than at home.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    home_ms : float
        The usual offset, ms.
    clean : bool, shape (n,)
        Planned notes that were found there on their own key.
    match : int64, shape (n,)
        Played note of each planned one in a first match at home, -1 for a miss.

    Returns
    -------
    tuple of Leap
        At most eight, the commonest first.

    Notes
    -----
    Ours.
    """
    found: list[tuple[float, int]] = []
    total = np.concatenate([[0], np.cumsum(clean)])
    # Chance fits grow with the number of runs looked at: half a note more for every doubling beyond 1,000 notes.
    margin = 3.5 + 0.5 * np.log2(max(len(plan) / 1000.0, 1.0))
    for window in _WINDOWS:
        starts = np.arange(0, max(len(plan) - window // 2, 1), window // 4)
        ends = np.minimum(starts + window, len(plan))
        good, size = total[ends] - total[starts], ends - starts
        bad = np.flatnonzero((good < 0.8 * size) & (size >= 6))
        need = np.maximum(0.6 * size[bad], good[bad] + np.maximum(margin, 0.25 * size[bad]))
        for some in np.array_split(np.arange(bad.size), 1 + bad.size // _AT_ONCE):
            found += _fits(plan, take, starts[bad[some]], window // 4, home_ms, need[some])
    claimed = _fitting(plan, take, home_ms)
    claimed[match[clean]] = True
    leaps = (Leap(offset, _free(plan, take, offset, claimed)) for offset in _agreed(found))
    return tuple(leap for leap in leaps if leap.free.sum() >= _LEAST_FREE)


def _free(plan: NoteSequence, take: NoteSequence, offset_ms: float, claimed: BoolArray) -> BoolArray:
    """Played notes in some run of which clearly more fit at the offset than at home."""
    fits = _fitting(plan, take, offset_ms)
    gain = fits.astype(np.int64) - claimed
    total = np.concatenate([[0], np.cumsum(gain)])
    low = np.clip(np.arange(len(take)) - _RUN // 2, 0, max(len(take) - _RUN, 0))
    sure = total[np.minimum(low + _RUN, len(take))] - total[low] >= _RUN_GAIN
    on = _carried(gain, sure)
    return on | _carried(gain[::-1], sure[::-1])[::-1]


def _fitting(plan: NoteSequence, take: NoteSequence, offset_ms: float) -> BoolArray:
    """Played notes that lie near some planned one of their key at an offset."""
    rows = np.arange(len(plan))
    planned, played, difference = differences(plan, take, rows, offset_ms - _REACH_MS, offset_ms + _REACH_MS)
    played = played[(plan.pitch[planned] >= 0) | (np.abs(difference - offset_ms) <= _REACH_ANY_KEY_MS)]
    fits = np.zeros(len(take), bool)
    fits[played] = True
    return fits


def _carried(gain: IntArray, sure: BoolArray) -> BoolArray:
    """Notes from each sure one on until so many more fit at home as made it sure; those that fit both ways change nothing."""
    left = 0
    out: list[bool] = []
    for more, certain in zip(gain.tolist(), sure.tolist(), strict=True):
        left = _RUN_GAIN if certain else min(max(left + more, 0), _RUN_GAIN)
        left = left if certain or (out and out[-1]) else 0
        out.append(left > 0)
    return np.array(out, bool)


def _agreed(found: list[tuple[float, int]]) -> tuple[float, ...]:
    """The offsets (of offset and first note of a run) that two runs near each other agree on, the commonest first."""
    if not found:
        return ()
    ordered = sorted(found)
    offset = np.array([one for one, _ in ordered])
    bounds = [0, *(np.flatnonzero(np.diff(offset) > 60.0) + 1).tolist(), offset.size]
    groups: list[tuple[int, float]] = []
    for low, high in pairwise(bounds):
        starts = np.sort([start for _, start in ordered[low:high]])
        support = int(np.sum(np.diff(starts) <= _WINDOWS[-1]))
        if support:
            groups.append((-support, float(np.median(offset[low:high]))))
    return tuple(offset for _, offset in sorted(groups)[:_MOST_LEAPS])


def _fits(
    plan: NoteSequence, take: NoteSequence, starts: IntArray, step: int, home_ms: float, need: FloatArray
) -> list[tuple[float, int]]:
    """The best two differences of each run, and its first note, where at least ``need`` of its notes have a played one.

    A run is four steps of planned notes. What fits is counted once a step and added up: runs overlap.
    """
    if starts.size == 0:
        return []
    steps = np.unique(starts[:, None] // step + np.arange(4))
    rows = (steps[:, None] * step + np.arange(step)).ravel()
    planned, _, difference = differences(plan, take, rows[rows < len(plan)], home_ms - _LEAP_MS, home_ms + _LEAP_MS)
    nth = np.minimum((difference - home_ms + _LEAP_MS) // _BIN_MS, _BINS - 1).astype(np.int64)
    cell = np.searchsorted(steps, planned // step) * _BINS + nth
    count = np.bincount(cell, minlength=steps.size * _BINS).reshape(steps.size, _BINS).astype(np.float64)
    of_run = count[np.searchsorted(steps, starts[:, None] // step + np.arange(4))].sum(axis=1)
    wide = np.zeros_like(of_run)
    for shift, share in enumerate(_BELL, -(_BELL.size // 2)):
        wide[:, max(shift, 0) : _BINS + min(shift, 0)] += share * of_run[:, max(-shift, 0) : _BINS - max(shift, 0)]
    wide[:, np.abs(np.arange(_BINS) + 0.5 - _BINS / 2) * _BIN_MS < _LEAST_LEAP_MS] = 0
    out: list[tuple[float, int]] = []
    for row in np.flatnonzero(wide.max(axis=1) >= need).tolist():
        out += [(home_ms + offset, int(starts[row])) for offset in _best_two(wide[row], float(need[row]))]
    return out


def _best_two(wide: FloatArray, need: float) -> list[float]:
    """The best difference, ms from home, and the next best that is apart from it, where they reach the need."""
    out: list[float] = []
    for _ in range(2):
        best = int(np.argmax(wide))
        if wide[best] < need:
            break
        out.append((best + 0.5) * _BIN_MS - _LEAP_MS)
        wide[max(best - 5, 0) : best + 6] = 0
    return out
