"""What you played, or will play, as MIDI: note-ons, the note-offs that belong to them, and the sustain pedal.

Inside: `played_schedule`, `MIDDLING`.
"""

import numpy as np

from heeltap.files.smf.types import Pedal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import OFF, PEDAL, PLAYED, Schedule
from heeltap.model.notes import Notes

__all__ = ["MIDDLING", "played_schedule"]

MIDDLING = 80
"""Velocity of a note whose loudness nobody wrote down. Common practice, no source."""

_RING_US = 300_000
"""Length of a note whose end is not known: pads and the computer's keyboard send none."""


def played_schedule(notes: Notes, end_us: int, *, pedal: Pedal | None = None) -> Schedule:
    """Notes as messages of kind ``played``, on the channels that they have.

    What is let go at the moment of a stroke is let go first; a stroke on a key that still sounds lets it go, so every
    note-off ends the stroke before it and none that came later. Of two strokes of one key at one moment the louder is
    heard.

    Parameters
    ----------
    notes : Notes
        Onsets in microseconds from bar 1, beat 1; a length of -1 is not known.
    end_us : int
        Where the last bar ends; the schedule ends with it or with its last message.
    pedal : Pedal, optional
        On the same clock.
    """
    by_key: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
    columns = (notes.onset_us, notes.velocity, notes.duration_us, notes.channel, notes.pitch)
    for at, velocity, length, channel, key in zip(*(column.tolist() for column in columns), strict=True):
        length = _RING_US if length < 0 else length
        by_key.setdefault((channel, key), []).append((at, velocity, length))
    rows: list[tuple[int, int, bytes, str]] = []
    for (channel, key), strokes in by_key.items():
        strokes.sort()
        following = [at for at, _, _ in strokes[1:]] + [2**62]
        for (at, velocity, length), after in zip(strokes, following, strict=True):
            if after > at:
                rows.append((at, 2, bytes((0x90 | channel, key, velocity)), PLAYED))
                # 1 us at least: an off at the moment of its own on would be sorted before it.
                rows.append((min(at + max(length, 1), after), 0, bytes((0x80 | channel, key, 0)), OFF))
    if pedal is not None:
        feet = zip(pedal.at_us.tolist(), pedal.channel.tolist(), pedal.value.tolist(), strict=True)
        rows += [(at, 1, bytes((0xB0 | channel, 64, value)), PEDAL) for at, channel, value in feet]
    rows.sort(key=lambda row: row[:2])
    due = as_ints(row[0] for row in rows)
    last = int(np.max(due, initial=end_us))
    return Schedule(due, tuple(row[2] for row in rows), tuple(row[3] for row in rows), last)
