"""From the packed note messages of all tracks to columns: onsets in time order, each with its release.

Inside: `NoteColumns`, `note_columns`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from heeltap.core.arrays import BoolArray, IntArray
from heeltap.files.smf_events import RawTrack

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


def unpack(tracks: Sequence[list[int]]) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
    """Tick, status, first and second data byte, and track of packed messages, in track and file order."""
    counts = [len(events) for events in tracks]
    packed = np.fromiter(chain.from_iterable(tracks), np.int64, sum(counts))
    track = np.repeat(np.arange(len(counts), dtype=np.int64), counts)
    return packed >> 24, packed >> 16 & 0xFF, packed >> 8 & 0xFF, packed & 0xFF, track


def _ports(tracks: Sequence[RawTrack]) -> IntArray:
    """The port of each note message: the last port event before it in its track."""
    columns = []
    for track in tracks:
        port = np.zeros(len(track.notes), np.int64)
        for start, number in track.ports:
            port[start:] = number
        columns.append(port)
    return np.concatenate(columns)


def note_columns(tracks: Sequence[RawTrack]) -> NoteColumns:
    """All note-ons. A note-off ends the oldest note that is sounding on its key (first in, first out)."""
    tick, status, pitch, velocity, track = unpack([track.notes for track in tracks])
    port = _ports(tracks) if any(track.ports for track in tracks) else np.zeros_like(tick)
    channel = status & 0x0F
    is_on = (status >= 0x90) & (velocity > 0)
    key = ((track << 8 | port) << 4 | channel) << 7 | pitch
    release_tick = _release_ticks(tick, key, is_on)
    rows = np.flatnonzero(is_on)
    rows = rows[np.argsort(tick[rows], kind="stable")]
    return NoteColumns(*(column[rows] for column in (tick, release_tick, pitch, velocity, channel, track, port)))


def _release_ticks(tick: IntArray, key: IntArray, is_on: BoolArray) -> IntArray:
    """Tick of the note-off that ends each note-on; -1 for the other rows and for notes that never end.

    Within a key the number of sounding notes is a walk of +1 and -1 that cannot fall below zero: a note-off that would
    make a new minimum ends nothing. The n-th note-off that ends something then ends the n-th note-on.
    """
    release_tick = np.full(tick.size, -1, np.int64)
    if tick.size == 0:
        return release_tick
    order = np.argsort(key, kind="stable")
    on = is_on[order]
    new_key = np.append(True, np.diff(key[order]) != 0)
    group = np.cumsum(new_key) - 1
    walk = np.cumsum(np.where(on, 1, -1))
    walk -= (np.append(0, walk[:-1])[new_key])[group]
    # Each key starts below every minimum of the key before it, so that one running minimum serves them all.
    lowered = np.minimum(walk, 0) - group * (tick.size + 1)
    lowest = np.minimum.accumulate(lowered)
    before = np.where(new_key, -group * (tick.size + 1), np.append(0, lowest[:-1]))
    ends = ~on & (lowered >= before)
    starts = np.flatnonzero(new_key)
    on_rank = np.cumsum(on, dtype=np.int64)
    on_rank -= np.append(0, on_rank)[starts][group]
    end_rank = np.cumsum(ends, dtype=np.int64)
    end_rank -= np.append(0, end_rank)[starts][group]
    on_id = group[on] * (tick.size + 1) + on_rank[on]
    end_id = group[ends] * (tick.size + 1) + end_rank[ends]
    _, first, second = np.intersect1d(on_id, end_id, assume_unique=True, return_indices=True)
    release_tick[order[on][first]] = tick[order[ends][second]]
    return release_tick
