"""Chords in another octave or voicing: which notes of a take belong to a planned chord although their keys do not.

A chord is a stroke of three or more note names (pitch classes). A player may place its notes in any octave and double any
of them; what counts is that every name sounds. Keys of drums (channel 10) are no note names. Ours.

Inside: `voiced`, `is_chord`.
"""

from collections.abc import Iterable

import numpy as np

from heeltap.analysis.strokes import CHORD_WINDOW_US
from heeltap.model.arrays import BoolArray, IntArray
from heeltap.model.notes import Notes
from heeltap.model.parts import DRUM_CHANNEL
from heeltap.model.plan import Plan

__all__ = ["is_chord", "voiced"]

_NAMES = 3
"""A stroke of fewer note names is an interval or a melody in octaves: its keys are meant."""


def is_chord(pitches: Iterable[int]) -> bool:
    """Whether these keys of one stroke are a chord: three or more note names.

    Parameters
    ----------
    pitches : iterable of int
        Negative for any key, which has no name.

    Returns
    -------
    bool
    """
    return len({pitch % 12 for pitch in pitches if pitch >= 0}) >= _NAMES


def voiced(plan: Plan, notes: Notes, match: IntArray) -> tuple[BoolArray, BoolArray]:
    """Which planned notes a take plays in another octave, and which of its notes double a chord.

    Parameters
    ----------
    plan : Plan
    notes : Notes
        The take.
    match : int64, shape (len(plan),)
        Row in ``notes`` of each planned note, -1 where none was played.

    Returns
    -------
    right : bool, shape (len(plan),)
        A note of a chord for which another key of a name that the chord still lacks was played.
    doubled : bool, shape (len(notes),)
        A note that belongs to no planned note, but has a name of a chord that sounded close by.
    """
    right, doubled = np.zeros(len(plan), bool), np.zeros(len(notes), bool)
    free = np.ones(len(notes), bool)
    free[match[match >= 0]] = False
    free &= notes.channel != DRUM_CHANNEL
    other = (match >= 0) & (plan.pitch >= 0)
    other[other] = notes.pitch[match[other]] != plan.pitch[other]
    for first, last in _chords(plan, match, other, free.any()):
        rows = np.arange(first, last)
        rows = rows[(match[first:last] >= 0)]
        if rows.size and notes.channel[match[rows[0]]] != DRUM_CHANNEL:
            _one(plan, notes, match, (rows, np.arange(first, last)), right)
            _double(plan.pitch[first:last], notes, match[rows], free, doubled)
    return right, doubled


def _chords(plan: Plan, match: IntArray, other: BoolArray, some_free: np.bool_) -> list[tuple[int, int]]:
    """First and last row of the chords in which a key differs; of all that were played where notes are left over."""
    starts = np.flatnonzero(np.diff(plan.stroke, prepend=-1))
    ends = np.append(starts[1:], len(plan))
    wanted = np.maximum.reduceat((match >= 0) if some_free else other, starts) if starts.size else np.zeros(0, bool)
    long = wanted & (ends - starts >= _NAMES)
    pairs = zip(starts[long].tolist(), ends[long].tolist(), strict=True)
    return [(first, last) for first, last in pairs if is_chord(plan.pitch[first:last].tolist())]


def _one(plan: Plan, notes: Notes, match: IntArray, rows: tuple[IntArray, IntArray], right: BoolArray) -> None:
    """Mark the notes of one chord whose names the take plays; ``rows``: those that were played, and all of it."""
    played, whole = rows
    names = (plan.pitch[whole] % 12).tolist()
    other = [row for row in played.tolist() if notes.pitch[match[row]] != plan.pitch[row]]
    for row in played.tolist():
        if row not in other:
            names.remove(int(plan.pitch[row] % 12))
    for row in other:
        name = int(notes.pitch[match[row]] % 12)
        if name in names:
            names.remove(name)
            right[row] = True


def _double(pitches: IntArray, notes: Notes, played: IntArray, free: BoolArray, doubled: BoolArray) -> None:
    """Mark the left-over notes that sound with a chord and bear one of its names."""
    at = notes.onset_us[played]
    begin = int(np.searchsorted(notes.onset_us, at.max() - CHORD_WINDOW_US))
    end = int(np.searchsorted(notes.onset_us, at.min() + CHORD_WINDOW_US, side="right"))
    near = np.arange(begin, end)
    doubled[near[free[near] & np.isin(notes.pitch[near] % 12, pitches % 12)]] = True
