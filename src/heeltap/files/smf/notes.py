"""Columns of notes from the packed messages of all tracks: onsets in time order, each with its release.

Inside: `NoteColumns`, `note_columns`.
"""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.files.smf.events import RawTrack
from heeltap.model.arrays import BoolArray, IntArray

__all__ = ["NoteColumns", "note_columns", "unpack"]


@dataclass(frozen=True, slots=True, eq=False)
class NoteColumns:
    """Note-ons by tick; ties by track, then file order."""

    tick: IntArray
    release_tick: IntArray
    """Position of the note-off that ends it; -1 when it never came."""
    pitch: IntArray
    velocity: IntArray
    channel: IntArray
    track: IntArray
    port: IntArray
    repeats: int
    """Note-ons that repeat a note of the same key on the same tick."""
    blank: int
    """Messages of key 0 and velocity 0: no instrument sends them, a run of zero bytes reads as them."""


def unpack(tracks: "Sequence[array[int]]") -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
    """Tick, status, first and second data byte, and track of packed messages, in track and file order."""
    counts = np.array([len(events) for events in tracks], np.int64)
    packed = np.frombuffer(b"".join(tracks), np.int64)
    track = np.repeat(np.arange(counts.size, dtype=np.int64), counts)
    return packed >> 24, packed >> 16 & 0xFF, packed >> 8 & 0xFF, packed & 0xFF, track


def _ports(tracks: Sequence[RawTrack]) -> IntArray:
    """The port of each note message: the last port event before it in its track."""
    columns = []
    for track in tracks:
        starts = [0, *(start for start, _ in track.ports), len(track.notes)]
        numbers = [0, *(number for _, number in track.ports)]
        columns.append(np.repeat(np.array(numbers, np.int64), np.diff(starts)))
    return np.concatenate(columns)


def note_columns(tracks: Sequence[RawTrack]) -> NoteColumns:
    """All note-ons. A note-off ends the oldest note that is sounding on its key (first in, first out)."""
    tick, status, pitch, velocity, track = unpack([track.notes for track in tracks])
    port = _ports(tracks) if any(track.ports for track in tracks) else np.zeros_like(tick)
    channel = status & 0x0F
    is_on = (status >= 0x90) & (velocity > 0)
    key = ((track << 8 | port) << 4 | channel) << 7 | pitch
    order = np.argsort(key, kind="stable")
    release_tick, repeats = _release_ticks(tick, key[order], is_on[order], order)
    blank = int(np.count_nonzero((pitch | velocity) == 0))
    rows = np.flatnonzero(is_on)
    rows = rows[np.argsort(tick[rows], kind="stable")]
    return NoteColumns(
        tick[rows],
        release_tick[rows],
        pitch[rows],
        velocity[rows],
        channel[rows],
        track[rows],
        port[rows],
        repeats,
        blank,
    )


def _release_ticks(tick: IntArray, key: IntArray, on: BoolArray, order: IntArray) -> tuple[IntArray, int]:
    """Tick of the note-off that ends each note-on, and how many note-ons repeat the one before on their key and tick.

    ``key`` and ``on`` are sorted by key, then file order; ``order`` leads from there to the rows of ``tick``. Rows that
    are no note-on, and notes that never end, have -1. Within a key the number of sounding notes is a walk of +1 and -1
    that cannot fall below zero: a note-off that would make a new minimum ends nothing. The n-th note-off that ends
    something then ends the n-th note-on.
    """
    release_tick = np.full(tick.size, -1, np.int64)
    if tick.size == 0:
        return release_tick, 0
    new_key = np.append(True, np.diff(key) != 0)
    group = np.cumsum(new_key, dtype=np.int64) - 1
    starts = np.flatnonzero(new_key)
    walk = np.cumsum(np.where(on, 1, -1))
    walk -= (walk[starts] - np.where(on[starts], 1, -1))[group]
    # Each key starts below every minimum of the key before it, so that one running minimum serves them all.
    floor = group * -(tick.size + 1)
    lowest = np.minimum.accumulate(np.minimum(walk, 0) + floor)
    before = np.where(new_key, floor, np.append(0, lowest[:-1]))
    ends = np.flatnonzero(~on & (lowest >= before))
    on_rows = order[on]
    ends_before = np.searchsorted(ends, starts)
    on_before = np.searchsorted(np.flatnonzero(on), starts)
    nth = np.arange(ends.size) - ends_before[group[ends]]
    release_tick[on_rows[on_before[group[ends]] + nth]] = tick[order[ends]]
    repeats = np.sum((np.diff(tick[on_rows]) == 0) & (np.diff(key[on]) == 0))
    return release_tick, int(repeats)
