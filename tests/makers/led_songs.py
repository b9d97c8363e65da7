"""A song as a MIDI file whose drummer is early and late himself.

Inside: `BARS`, `QUARTER_US`, `wander_us`, `write_led_song`.
"""

from collections.abc import Callable
from pathlib import Path

import mido
import numpy as np

__all__ = ["BARS", "QUARTER_US", "wander_us", "write_led_song"]

BARS = 8

QUARTER_US = 500_000

_TICKS = 10_000
"""A tick is 50 us."""


def wander_us(quarter: float) -> int:
    """A drummer who goes 20 ms to either side within eight bars, slowly."""
    return round(20_000 * np.sin(2 * np.pi * quarter / 16))


def write_led_song(path: Path, late_us: Callable[[float], int]) -> Path:
    """Write the song: ``keys`` on every eighth, ``drums`` with kick, snare and hats, so late as the function of the quarter says.

    Parameters
    ----------
    path : Path
    late_us : callable
        Microseconds behind the click by position in quarter notes.

    Returns
    -------
    Path
    """
    file = mido.MidiFile(ticks_per_beat=_TICKS)
    head = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=QUARTER_US), mido.MetaMessage("time_signature")])
    eighths = [k / 2 for k in range(8 * BARS)]
    keys = [(round(at * _TICKS), 0, 60) for at in eighths]
    hits = [(at, 42) for at in eighths] + [(float(at), 38 if at % 2 else 36) for at in range(4 * BARS)]
    drums = [(max(0, round((at + late_us(at) / QUARTER_US) * _TICKS)), 9, key) for at, key in hits]
    file.tracks += [head, _track("keys", keys), _track("drums", drums)]
    file.save(path)
    return path


def _track(name: str, notes: list[tuple[int, int, int]]) -> mido.MidiTrack:
    ons = [(at, mido.Message("note_on", channel=channel, note=key, velocity=90)) for at, channel, key in notes]
    offs = [(at + _TICKS // 5, mido.Message("note_off", channel=channel, note=key)) for at, channel, key in notes]
    track, before = mido.MidiTrack([mido.MetaMessage("track_name", name=name)]), 0
    for tick, message in sorted([*ons, *offs], key=lambda row: row[0]):
        track.append(message.copy(time=tick - before))
        before = tick
    return track
