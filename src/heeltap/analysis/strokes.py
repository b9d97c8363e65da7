"""From raw note-ons to strokes: double triggers folded away, notes meant together put together.

Conventions: times are whole microseconds; notes are in time order, so the notes of a stroke are neighbours and a stroke
is a range of rows (`Strokes.first`, `Strokes.size`). A key is a pitch on a channel of a track (of a port, live).
The windows are ours, within what pad modules offer (1 to 60 ms).

Inside: `fold_retriggers` (one hit that a pad reported twice), `stroke_window_us` (how far a stroke reaches), `strokes`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import BoolArray, IntArray, freeze_columns
from heeltap.model.notes import Notes

__all__ = ["RETRIGGER_US", "Folded", "Strokes", "fold_retriggers", "stroke_window_us", "strokes"]

RETRIGGER_US = 30_000
"""Default fold window: pads ring for 5-25 ms, flams on one pad lie at 40-50 ms. Common practice, no source."""

WINDOW_US = 30_000
"""Notes further apart than this read as a spread, not as one event."""

CHORD_WINDOW_US = 60_000
"""Reach of a stroke that the plan says is a chord: slow arpeggiating hands spread that far."""

SURE_US = 10_000
"""Closer than this is one event however fast the part is, short of the next stroke itself."""


class Folded(NamedTuple):
    """Notes without double triggers."""

    notes: Notes
    """What is left, in time order."""
    folded_count: int
    """How many note-ons were taken for retriggers: shown to people."""
    kept: IntArray
    """Row in the original table of each note that is left."""


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Strokes in time order; all columns but the last have one row a stroke; read-only."""

    at_us: IntArray
    """Time of the stroke: the median of its notes, rounded down, microseconds."""
    spread_us: IntArray
    """Last minus first note; 0 for a single note."""
    first: IntArray
    """Row of its first note."""
    size: IntArray
    """Number of its notes, 1 or more."""
    pitch: IntArray
    """Lowest key."""
    velocity: IntArray
    """Loudest note, 1-127."""
    stroke_of_note: IntArray
    """For each note the index of its stroke."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length."""
        freeze_columns(self, ("at_us", "spread_us", "first", "size", "pitch", "velocity"))
        freeze_columns(self, ("stroke_of_note",))

    def __len__(self) -> int:
        return int(self.at_us.size)


def fold_retriggers(
    notes: Notes, *, retrigger_us: int = RETRIGGER_US, retrigger_of: Mapping[int, int] | None = None
) -> Folded:
    """The notes without retriggers, how many were folded, and the rows that stayed.

    A retrigger is a note-on of the same key, at most ``retrigger_us`` after a hit and softer than it. The hit keeps its
    own time: the first message counts. Two different pads close together are a flam and stay; so does a louder second
    note, and one as loud as the first.

    Parameters
    ----------
    notes : Notes
        Raw note-ons.
    retrigger_us : int
        Reach in microseconds, measured from the hit, not from the retrigger before; 0 folds nothing.
    retrigger_of : mapping, optional
        The same for single pitches.

    Returns
    -------
    Folded
    """
    size = len(notes)
    every = np.arange(size, dtype=np.int64)
    reach = np.full(128, retrigger_us, np.int64)
    for pitch, own_us in (retrigger_of or {}).items():
        reach[pitch] = own_us
    if np.all(reach <= 0) or size < 2:
        return Folded(notes, 0, every)
    key = _keys(notes)
    order = np.lexsort((every, key))
    at, loud, same = notes.onset_us[order], notes.velocity[order], np.diff(key[order]) == 0
    window = reach[notes.pitch[order]]
    near = np.flatnonzero(same & (np.diff(at) <= window[1:]) & (window[1:] > 0)) + 1
    keep = np.ones(size, dtype=np.bool_)
    hit = -1
    for row in near.tolist():  # only the few close pairs, so a Python loop costs nothing
        if hit < 0 or keep[row - 1]:
            hit = row - 1
        keep[row] = at[row] - at[hit] > window[row] or loud[row] >= loud[hit]
    kept = np.sort(order[keep])
    return Folded(notes.pick(kept), size - int(kept.size), kept)


def stroke_window_us(
    planned_gap_us: npt.ArrayLike | None, *, chord: npt.ArrayLike = False, onset_us: IntArray | None = None
) -> IntArray:
    """How far a stroke reaches from its first note, in microseconds.

    With a plan: min(30 ms, a quarter of the planned gap); where the plan says chord min(60 ms, half the gap). Without
    one: a quarter of the lower quartile of the played gaps over 30 ms, between 10 and 30 ms. Ours.

    Parameters
    ----------
    planned_gap_us : int, scalar or shape (n,), or None
        Planned time between neighbouring strokes around each note; None without a plan.
    chord : bool, scalar or shape (n,)
        The plan has several notes here.
    onset_us : int64, shape (n,), optional
        Played onsets, read only without a plan.

    Returns
    -------
    int64, scalar or shape (n,)
    """
    chords = np.asarray(chord, dtype=np.bool_)
    if planned_gap_us is not None:
        gap = np.asarray(planned_gap_us, dtype=np.int64)
        return np.where(chords, np.minimum(CHORD_WINDOW_US, gap // 2), np.minimum(WINDOW_US, gap // 4))
    gaps = np.diff(onset_us) if onset_us is not None else np.zeros(0, np.int64)
    apart = gaps[gaps > WINDOW_US]
    usual = int(np.quantile(apart, 0.25)) // 4 if apart.size else WINDOW_US
    return np.where(chords, CHORD_WINDOW_US, min(max(usual, SURE_US), WINDOW_US)).astype(np.int64)


def strokes(
    notes: Notes,
    *,
    window_us: npt.ArrayLike | None = None,
    planned_gap_us: npt.ArrayLike | None = None,
    chord: npt.ArrayLike = False,
) -> Strokes:
    """Group notes that sound together into strokes.

    A stroke starts with a note and takes every later one within the window of that first note; a key that comes a
    second time starts a new stroke, because one key cannot be struck twice at once.

    Parameters
    ----------
    notes : Notes
        Note-ons of one part (one player's hands), double triggers folded.
    window_us : int, scalar or shape (n,), optional
        Reach from the first note; given, it replaces the rule of `stroke_window_us`. 0 makes every note a stroke
        unless the times are equal.
    planned_gap_us, chord
        Passed on to `stroke_window_us`.

    Returns
    -------
    Strokes
        Times in whole microseconds.
    """
    if window_us is None:
        window_us = stroke_window_us(planned_gap_us, chord=chord, onset_us=notes.onset_us)
    reach = np.broadcast_to(np.asarray(window_us, dtype=np.int64), notes.onset_us.shape)
    return _table(notes, _starts(notes, reach))


def _starts(notes: Notes, reach: IntArray) -> BoolArray:
    """Flag of each note that begins a stroke."""
    at = notes.onset_us
    start = np.ones(at.size, dtype=np.bool_)
    if at.size < 2:
        return start
    # A gap wider than any reach always parts; only the runs between such gaps need a note-by-note look.
    start[1:] = np.diff(at) > np.maximum(reach[:-1], reach[1:])
    first = np.flatnonzero(start)
    last = np.append(first[1:], at.size)
    key = _keys(notes)
    wide = at[last - 1] - at[first] > reach[first]
    crowded = last - first > 1
    suspect = crowded & (wide | _repeats(key, np.cumsum(start) - 1, first.size))
    for begin, end in zip(first[suspect].tolist(), last[suspect].tolist(), strict=True):
        _walk(at, key, reach, start, begin, end)
    return start


def _keys(notes: Notes) -> IntArray:
    """A number for each key of each channel of each track: two pads of two devices are two keys."""
    return (notes.track * 16 + notes.channel) * 128 + notes.pitch


def _repeats(key: IntArray, run: IntArray, runs: int) -> BoolArray:
    """Flag of each run in which some key occurs twice."""
    order = np.lexsort((key, run))
    twice = (np.diff(key[order]) == 0) & (np.diff(run[order]) == 0)
    return np.bincount(run[order][1:][twice], minlength=runs) > 0


def _walk(at: IntArray, key: IntArray, reach: IntArray, start: BoolArray, begin: int, end: int) -> None:
    """Set the starts inside one run, note by note."""
    head, seen = begin, {int(key[begin]): int(at[begin])}
    for row in range(begin + 1, end):
        now, this = int(at[row]), int(key[row])
        # A duplicate at the same microsecond is a doubled layer, not a second strike.
        if now - at[head] > reach[head] or seen.get(this, now) != now:
            start[row] = True
            head, seen = row, {}
        seen[this] = now


def _table(notes: Notes, start: BoolArray) -> Strokes:
    """The table of strokes from the flags of their first notes."""
    first = np.flatnonzero(start).astype(np.int64)
    if first.size == 0:
        none = np.zeros(0, dtype=np.int64)
        return Strokes(*(none.copy() for _ in range(7)))
    size = np.diff(np.append(first, len(notes)))
    at = notes.onset_us
    return Strokes(
        (at[first + (size - 1) // 2] + at[first + size // 2]) // 2,
        at[first + size - 1] - at[first],
        first,
        size,
        np.minimum.reduceat(notes.pitch, first),
        np.maximum.reduceat(notes.velocity, first),
        np.cumsum(start).astype(np.int64) - 1,
    )
