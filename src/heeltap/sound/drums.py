"""The drummer that you play with, as MIDI: a pattern of our own, or the drum part of a song.

Inside: `hits_schedule`, `part_schedule`.
"""

import numpy as np

from heeltap.course.drum_patterns import Hits
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.model.notes import Notes
from heeltap.model.timeline import TempoMap
from heeltap.sound.percussion import CHANNEL
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["DRUM", "hits_schedule", "part_schedule"]

DRUM = "drum"
"""``kind`` of a stroke in a schedule."""

_RING_US = 40_000
"""Until the note-off of a stroke: percussion rings on regardless."""

_LONGEST_US = 2_000_000
"""A note of a part whose end is not known, or lies further away, is let go after this."""


def hits_schedule(hits: Hits, tempo: TempoMap, end_us: int, *, channel: int = CHANNEL, loudest: int = 110) -> Schedule:
    """Strokes of a pattern as messages.

    Parameters
    ----------
    hits : Hits
    tempo : TempoMap
        Of the plan; each stroke's time is worked out once from it.
    end_us : int
        Where the plan ends, microseconds from bar 1, beat 1.
    channel : int
        0-15 as on the wire.
    loudest : int
        Velocity of a stroke of strength 1.
    """
    at_us = np.rint(tempo.us_at_quarter(hits.at_tick / TICKS_PER_QUARTER)).astype(np.int64)
    velocity = np.clip(np.rint(hits.strength * loudest), 1, 127).astype(np.int64)
    rows = zip(at_us.tolist(), hits.key.tolist(), velocity.tolist(), [_RING_US] * len(at_us), strict=True)
    return _messages(list(rows), channel, end_us)


def part_schedule(part: Notes, end_us: int, *, channel: int = CHANNEL, level: np.ndarray | None = None) -> Schedule:
    """A song's own part as messages.

    Parameters
    ----------
    part : Notes
        Onsets in microseconds from bar 1, beat 1.
    end_us : int
        Notes from here on are left out.
    channel : int
        0-15 as on the wire, whatever the part has.
    level : float array, optional
        Factor on each note's velocity; a note of 0 or less is left out.
    """
    strength = np.ones(len(part)) if level is None else np.asarray(level, dtype=np.float64)
    rows = []
    for at, key, velocity, length, factor in zip(
        part.onset_us.tolist(),
        part.pitch.tolist(),
        part.velocity.tolist(),
        part.duration_us.tolist(),
        strength.tolist(),
        strict=True,
    ):
        if at < end_us and factor > 0:
            length = length if 0 < length < _LONGEST_US else _RING_US if length <= 0 else _LONGEST_US
            rows.append((at, key, min(127, max(1, round(velocity * factor))), length))
    return _messages(rows, channel, end_us)


def _messages(notes: list[tuple[int, int, int, int]], channel: int, end_us: int) -> Schedule:
    """(due, key, velocity, length) rows as messages; what is let go at the moment of a stroke is let go first, and a
    stroke on a key that still sounds lets it go."""
    by_key: dict[int, list[tuple[int, int, int]]] = {}
    for at, key, velocity, length in sorted(notes):
        by_key.setdefault(key, []).append((at, velocity, length))
    rows: list[tuple[int, int, bytes, str]] = []
    for key, strokes in by_key.items():
        following = [at for at, _, _ in strokes[1:]] + [2**62]
        for (at, velocity, length), after in zip(strokes, following, strict=True):
            rows.append((at, 1, bytes((0x90 | channel, key, velocity)), DRUM))
            if after > at:
                rows.append((min(at + length, after), 0, bytes((0x80 | channel, key, 0)), "off"))
    rows.sort(key=lambda row: row[:3])
    return Schedule(as_ints(r[0] for r in rows), tuple(r[2] for r in rows), tuple(r[3] for r in rows), end_us)
