"""Notes with a pitch as samples: a decaying tone of our own for each key, and where each is let go. Pure arithmetic.

Inside: `tone`, `tone_hz`, `fade`, `FADE_S`, `is_tone`, `released_us`.
"""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from heeltap.model.arrays import FloatArray
from heeltap.model.messages import PLAYED, Schedule
from heeltap.model.mix import is_part, voice_of
from heeltap.sound.percussion import CHANNEL

__all__ = ["FADE_S", "fade", "is_tone", "released_us", "tone", "tone_hz"]

FADE_S = 0.025
"""From let go to silence: longer than a period of the lowest keys of a bass (41 Hz), so it is no click of its own."""

_DECAY_S = 0.5
"""To 1/e: a chord is heard through a slow beat, and a held one does not cover what follows. Ours."""

_DECAYS = 5.0
"""A tone that nobody lets go is over after so many decays, at 0.7 % of its beginning."""

_PARTIALS = (1.0, 0.6, 0.4, 0.25)
"""Of the harmonics, each dying so many times faster as its number says: small loudspeakers have little below 150 Hz,
and the steep beginning of the upper ones is what makes a moment heard. Ours."""


def tone_hz(key: int) -> float:
    """Frequency of a key in equal temperament, A4 (69) at 440 Hz (ISO 16:1975).

    >>> tone_hz(81)
    880.0
    """
    return float(440.0 * 2.0 ** ((key - 69) / 12))


def tone(key: int, rate_hz: int) -> FloatArray:
    """The sound of a key with a pitch, never beyond full scale; it begins at 0 and rises at once.

    Harmonics that the rate cannot hold are left out.
    """
    size = round(_DECAYS * _DECAY_S * rate_hz)
    t = np.arange(size) / rate_hz
    wave = np.zeros(size)
    for number, level in enumerate(_PARTIALS, start=1):
        if number * tone_hz(key) < rate_hz / 2:
            wave += level * np.sin(2 * np.pi * number * tone_hz(key) * t) * np.exp(-number * t / _DECAY_S)
    return wave / sum(_PARTIALS)


def fade(rate_hz: int) -> FloatArray:
    """The factors with which a tone is let go, from 1 to almost 0."""
    size = round(FADE_S * rate_hz)
    return np.asarray(np.cos(np.pi / 2 * np.arange(1, size + 1) / (size + 1)) ** 2)


def is_tone(kind: str, message: bytes) -> bool:
    """Whether a note-on is heard with its pitch: what is played, by you or by another part of the song, and no percussion."""
    return (kind == PLAYED or is_part(kind)) and message[0] & 0x0F != CHANNEL


_Note = tuple[str, int]
"""A voice of the mix, empty for none, and a key."""


@dataclass(slots=True)
class _Channel:
    """What sounds on one channel."""

    sounding: dict[_Note, list[int]] = field(default_factory=lambda: defaultdict(list))
    """By note the rows whose note-off has not come, the oldest first."""
    held: dict[_Note, list[int]] = field(default_factory=lambda: defaultdict(list))
    """By note the rows that only the pedal holds."""
    down: bool = False

    def held_by(self, note: _Note) -> list[int]:
        """The rows that a note-off may end: of its own voice, or, where it has none, of any."""
        if self.sounding[note] or note[0]:
            return self.sounding[note]
        return next((rows for (_, key), rows in self.sounding.items() if key == note[1] and rows), [])


def released_us(schedule: Schedule) -> dict[int, int]:
    """When each note-on is let go, by its row; rows that nothing lets go are not in it.

    A note-off ends the oldest stroke of its key; while the sustain pedal is down, the pedal's coming up does. A stroke on
    a key that still sounds, be it by the pedal, ends the one before. Voices of a mix do not end each other's notes.
    """
    channels: dict[int, _Channel] = defaultdict(_Channel)
    found: dict[int, int] = {}
    rows_of = zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
    for row, (due, message, kind) in enumerate(rows_of):
        if len(message) != 3:
            continue
        code, one = message[0] & 0xF0, channels[message[0] & 0x0F]
        note = voice_of(kind) if is_part(kind) else "", message[1]
        if code == 0x90 and message[2]:
            for before in (*one.sounding[note], *one.held.pop(note, [])):
                found.setdefault(before, due)
            one.sounding[note].append(row)
        elif code in (0x80, 0x90) and (ends := one.held_by(note)):
            ended = ends.pop(0)
            if one.down and ended not in found:
                one.held[note].append(ended)
            else:
                found.setdefault(ended, due)
        elif code == 0xB0 and message[1] == 64:
            one.down = message[2] >= 64
            if not one.down:
                for rows in one.held.values():
                    found.update(dict.fromkeys(rows, due))
                one.held.clear()
    return found
