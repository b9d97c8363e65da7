"""What an aligner is given, cleaned: one unit, time order, and strokes.

Conventions: inside the aligner time is float64 milliseconds in time order; ``order`` leads back to the caller's own
order. Ours.

Inside: `NoteSequence` (one side of an alignment), `read_notes`, `strokes_of`, `nearest_gap_ms`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.whole_us import whole_us
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["NoteSequence", "as_numbers", "in_ms", "nearest_gap_ms", "read_notes", "strokes_of"]

_SAME_STROKE_MS = 12.0
"""Planned notes nearer than this share one running offset; farther ones may differ by the little that a hand can move."""


@dataclass(frozen=True, slots=True, eq=False)
class NoteSequence:
    """Notes in time order."""

    at_ms: FloatArray
    """Times in milliseconds, not decreasing."""
    pitch: IntArray
    """Key numbers, or -1 for any key."""
    order: IntArray
    """Row of each note in the caller's own order."""
    velocity: IntArray | None = None
    """Loudness, 1-127, where it is known."""

    def __len__(self) -> int:
        return int(self.at_ms.size)


def in_ms(times_us: npt.ArrayLike, what: str) -> FloatArray:
    """Whole microseconds in milliseconds; raises `ValueError` for anything else (see `whole_us`).

    Parameters
    ----------
    times_us : array_like of int, shape (n,)
        Microseconds.
    what : str
        The parameter's name, for messages.

    Returns
    -------
    float64, shape (n,)
        Milliseconds.
    """
    at_ms: FloatArray = whole_us(times_us, what) / 1000.0
    return at_ms


def as_numbers(given: npt.ArrayLike, what: str) -> FloatArray:
    """The numbers as float64.

    Parameters
    ----------
    given : array_like, shape (n,)
        Numbers in any unit.
    what : str
        The parameter's name, for messages.

    Returns
    -------
    float64, shape (n,)
        In the unit given.

    Raises
    ------
    ValueError
        Anything but a one-dimensional array of finite numbers.
    """
    array = np.asarray(given)
    if array.ndim != 1:
        raise ValueError(f"{what}: shape {array.shape}; expected one dimension")
    if array.size == 0:
        return np.zeros(0)
    if array.dtype.kind not in "iuf":
        raise ValueError(f"{what}: type {array.dtype}; expected numbers")
    values = array.astype(np.float64)
    if not np.all(np.isfinite(values)):
        raise ValueError(f"{what}: note {int(np.argmin(np.isfinite(values)))} has no finite time; expected numbers")
    return values


def read_notes(at_ms: FloatArray, pitch: npt.ArrayLike, what: str, *, lowest: int = 0) -> NoteSequence:
    """The notes in time order (equal times by key).

    Parameters
    ----------
    at_ms : float64, shape (n,)
        Times, ms.
    pitch : array_like, shape (n,)
        Keys.
    what : str
        Plan or take, for messages.
    lowest : int
        -1 where any key may be asked for, else 0.

    Returns
    -------
    NoteSequence
        In time order.

    Raises
    ------
    ValueError
        Unequal lengths, or keys that are no numbers or out of range.
    """
    keys = np.asarray(pitch)
    if keys.shape != at_ms.shape:
        raise ValueError(f"{what}: {keys.size} pitches for {at_ms.size} times; expected as many of each")
    expected = "0-127" if lowest == 0 else "0-127, or -1 for any key"
    if keys.size and (keys.dtype.kind not in "iuf" or not np.all(np.isfinite(keys.astype(np.float64)))):
        raise ValueError(f"{what}: pitches hold something that is no key; expected {expected}")
    whole = keys.astype(np.int64) if keys.size else np.zeros(0, np.int64)
    if whole.size and (whole.min() < lowest or whole.max() > 127):
        raise ValueError(f"{what}: pitches run from {whole.min()} to {whole.max()}; expected {expected}")
    order = np.lexsort((whole, at_ms)).astype(np.int64)
    return NoteSequence(at_ms[order], whole[order], order)


def strokes_of(plan: NoteSequence, plan_stroke: npt.ArrayLike | None) -> IntArray:
    """Index of the first note of each stroke.

    Notes within 12 ms of the one before are one stroke, and neighbours that ``plan_stroke`` gives the same number.

    Parameters
    ----------
    plan : NoteSequence
        The part.
    plan_stroke : array_like, shape (n,), optional
        Equal numbers for notes of one stroke, in the caller's order.

    Returns
    -------
    int64, shape (strokes,)
        Rows of ``plan``.

    Raises
    ------
    ValueError
        ``plan_stroke`` is not as long as the plan.
    """
    if len(plan) == 0:
        return np.zeros(0, np.int64)
    apart = np.diff(plan.at_ms) > _SAME_STROKE_MS
    if plan_stroke is not None:
        named = np.asarray(plan_stroke)
        if named.shape != plan.at_ms.shape:
            raise ValueError(f"plan_stroke: {named.size} entries for {len(plan)} planned notes; expected as many")
        apart = np.diff(named[plan.order]) != 0
    return np.concatenate([[0], np.flatnonzero(apart) + 1]).astype(np.int64)


def nearest_gap_ms(plan: NoteSequence, first: IntArray) -> FloatArray:
    """Time from each stroke to the nearer one beside it, in milliseconds.

    Parameters
    ----------
    plan : NoteSequence
        The part.
    first : int64, shape (strokes,)
        First note of each stroke.

    Returns
    -------
    float64, shape (strokes,)
        Milliseconds; 0 for a single stroke.
    """
    gap = np.diff(plan.at_ms[first])
    if gap.size == 0:
        return np.zeros(first.size)
    nearest: FloatArray = np.minimum(np.append(gap, np.inf), np.append(np.inf, gap))
    return nearest
