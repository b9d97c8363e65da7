"""A short song as a MIDI file at any resolution: a pick-up, a change of tempo in the middle of a bar, a repeated figure."""

from pathlib import Path

import mido

__all__ = ["BARS", "COUNT", "SONG_US", "write_song"]

BARS = 6
"""The pick-up is bar 1."""

_US = 500_000
"""A quarter at 120 bpm ..."""

_FASTER_US = 400_000
"""... and at 150 bpm, from the third beat of bar 4 on."""

_CHANGE_QUARTER = 1 + 2 * 4 + 2
"""The pick-up is one quarter long."""

_STROKES = (0.0, *(1 + 4 * bar + at for bar in range(BARS - 1) for at in (0.0, 1.5, 2.0, 3.0)))
"""Quarter notes from the pick-up; every bar has the same figure."""

COUNT = len(_STROKES)


def _us(quarter: float) -> int:
    """Time of a position."""
    late = max(0.0, quarter - _CHANGE_QUARTER)
    return round((quarter - late) * _US + late * _FASTER_US)


SONG_US = tuple(_us(at) for at in _STROKES)
"""When each stroke is planned, microseconds from the beginning of the pick-up."""


def write_song(path: Path, ticks_per_quarter: int, *, drums: bool = True) -> Path:
    """Write the song: the part ``keys`` and, if wanted, ``drums`` on every quarter; 1/4, then 4/4."""
    file = mido.MidiFile(ticks_per_beat=ticks_per_quarter)
    head = [
        (0, mido.MetaMessage("time_signature", numerator=1, denominator=4)),
        (0, mido.MetaMessage("set_tempo", tempo=_US)),
        (1, mido.MetaMessage("time_signature", numerator=4, denominator=4)),
        (_CHANGE_QUARTER, mido.MetaMessage("set_tempo", tempo=_FASTER_US)),
    ]
    file.tracks.append(_track("song", head, ticks_per_quarter))
    keys = [row for at in _STROKES for row in _note(at, 0, 60, 0.25)]
    file.tracks.append(_track("keys", keys, ticks_per_quarter))
    if drums:
        beats = [row for at in range(1 + 4 * (BARS - 1)) for row in _note(float(at), 9, 36 if at % 2 else 38, 0.25)]
        file.tracks.append(_track("drums", beats, ticks_per_quarter))
    file.save(path)
    return path


def _note(at: float, channel: int, key: int, length: float) -> list[tuple[float, mido.Message]]:
    return [
        (at, mido.Message("note_on", channel=channel, note=key, velocity=80)),
        (at + length, mido.Message("note_off", channel=channel, note=key, velocity=0)),
    ]


def _track(name: str, rows: list[tuple[float, mido.Message]], ticks_per_quarter: int) -> mido.MidiTrack:
    track, before = mido.MidiTrack([mido.MetaMessage("track_name", name=name)]), 0
    for at, message in sorted(rows, key=lambda row: row[0]):
        tick = round(at * ticks_per_quarter)
        track.append(message.copy(time=tick - before))
        before = tick
    return track
