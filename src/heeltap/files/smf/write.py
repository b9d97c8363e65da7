"""Write MIDI files: exercises, takes, and notes moved to where they belong.

Plain bytes that every program reads: format 1 (or 0), no running status, texts in UTF-8, tempo and metre in the first
track. heeltap reads back exactly what it wrote: it rounds positions once, to the nearest tick of the tempo map.

Inside: `TrackOut` (what one track holds), `midi_bytes`, `write_midi`.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.files.smf.text import plain
from heeltap.files.smf.types import Pedal
from heeltap.model.notes import Notes
from heeltap.model.timeline import MetreMap, TempoMap, steady_metre
from heeltap.write import write_whole

__all__ = ["TrackOut", "midi_bytes", "write_midi"]

_Event = tuple[int, int, bytes]
"""Tick, rank among the events of a tick, message."""

_META, _SETUP, _OFF, _ON, _OFF_AT_ONCE, _END = range(6)
"""Ranks on one tick: what ends a note comes before what starts the next, but not before the note's own start."""

_LONGEST_DELTA = 0x0FFFFFFF


@dataclass(frozen=True, slots=True, eq=False)
class TrackOut:
    """One track to write."""

    notes: Notes
    """Note-ons in microseconds from tick 0; one with a duration of -1 gets no note-off."""
    name: str = ""
    """Track name; control characters are left out."""
    channel: int | None = None
    """0-15 for all notes; None keeps each note's own."""
    program: int | None = None
    """Program change at the start, 0-127, on every channel of the track."""
    pedal: Pedal | None = None
    """Sustain pedal."""


def write_midi(
    path: str | os.PathLike[str],
    tracks: Sequence[TrackOut],
    *,
    tempo: TempoMap,
    metre: MetreMap | None = None,
    markers: Sequence[tuple[int, str]] = (),
    name: str = "",
    format: int = 1,
    end_us: int | None = None,
) -> None:
    """Write a MIDI file, whole or not at all: a crash leaves the old file or none. Arguments as for `midi_bytes`.

    Raises
    ------
    ValueError
        When something does not fit the format.
    InputFileError
        When the file cannot be written there.
    """
    data = midi_bytes(tracks, tempo=tempo, metre=metre, markers=markers, name=name, format=format, end_us=end_us)
    write_whole(Path(path), data)


def midi_bytes(
    tracks: Sequence[TrackOut],
    *,
    tempo: TempoMap,
    metre: MetreMap | None = None,
    markers: Sequence[tuple[int, str]] = (),
    name: str = "",
    format: int = 1,
    end_us: int | None = None,
    text: str = "",
) -> bytes:
    """A MIDI file as bytes.

    Parameters
    ----------
    tracks : sequence of TrackOut
        One a player.
    tempo : TempoMap
        Its resolution becomes the file's (at most 32,767 ticks per quarter); tempi below 2**24 us per quarter.
    metre : MetreMap, optional
        4/4 where not given.
    markers : sequence of (int, str)
        Microseconds and text of section names.
    name : str
        Name of the piece.
    format : int
        1: a first track with tempo, metre and markers, then one a player. 0: everything in one track; players are told
        apart by channel.
    end_us : int, optional
        Where the piece ends when that is after its last event.
    text : str
        A line for who opens the file, at its beginning.

    Raises
    ------
    ValueError
        When something does not fit the format; names it.
    """
    _check(tempo, tracks, format)
    end_tick = 0 if end_us is None else int(tempo.tick_at(end_us))
    bodies = [_conductor(tempo, metre or steady_metre(), markers, name, text)]
    bodies += [_player(track, tempo, prefixed=format == 0 and len(tracks) > 1) for track in tracks]
    if format == 0:
        bodies = [[event for body in bodies for event in body]]
    head = b"".join(value.to_bytes(2, "big") for value in (format, len(bodies), tempo.ticks_per_quarter))
    return b"MThd" + (6).to_bytes(4, "big") + head + b"".join(_track_bytes(body, end_tick) for body in bodies)


def _check(tempo: TempoMap, tracks: Sequence[TrackOut], format: int) -> None:
    """Raise `ValueError` for what the format cannot hold."""
    if format not in (0, 1):
        raise ValueError(f"format {format}; expected 0 or 1")
    if not 1 <= tempo.ticks_per_quarter <= 0x7FFF:
        raise ValueError(f"{tempo.ticks_per_quarter} ticks per quarter do not fit a MIDI file; expected 1..32767")
    if np.any(tempo.us_per_quarter >= 1 << 24):
        raise ValueError("a tempo slower than 3.58 bpm does not fit a MIDI file")
    for track in tracks:
        notes = track.notes
        ranges = (
            (notes.pitch, 0, 127, "pitch"),
            (notes.velocity, 1, 127, "velocity"),
            (notes.channel, 0, 15, "channel"),
        )
        for column, low, high, what in ranges:
            if column.size and not (low <= column.min() and column.max() <= high):
                raise ValueError(f"track {track.name!r}: {what} {column.min()}..{column.max()}; expected {low}..{high}")
        if not (0 <= (track.channel or 0) <= 15 and 0 <= (track.program or 0) <= 127):
            place = f"channel {track.channel}, program {track.program}"
            raise ValueError(f"track {track.name!r}: {place}; expected 0..15, 0..127")


def _text(kind: int, text: str) -> bytes:
    payload = plain(text).encode("utf-8")
    return bytes([0xFF, kind]) + _number(len(payload)) + payload


def _number(value: int) -> bytes:
    """A variable-length number: seven bits a byte, the top bit says that more follow."""
    digits = [value & 127]
    while value := value >> 7:
        digits.append(128 | value & 127)
    return bytes(reversed(digits))


def _conductor(
    tempo: TempoMap, metre: MetreMap, markers: Sequence[tuple[int, str]], name: str, note: str
) -> list[_Event]:
    """Name, a line of text, tempi, time signatures and markers."""
    events: list[_Event] = [(0, _META, _text(kind, said)) for kind, said in ((0x03, name), (0x01, note)) if said]
    at_tick = np.round(metre.at_quarter * tempo.ticks_per_quarter).astype(np.int64)
    for tick, kind in zip(at_tick.tolist(), metre.metres, strict=True):
        power = kind.unit.bit_length() - 1
        if kind.unit != 1 << power or not 1 <= kind.count <= 255:
            raise ValueError(f"time signature {kind} does not fit a MIDI file")
        clocks = min(max(round(24 * kind.beat_quarters), 1), 255)  # MIDI clocks between two clicks: 24 a quarter
        events.append((tick, _META, bytes([0xFF, 0x58, 4, kind.count, power, clocks, 8])))
    for tick, us in zip(tempo.at_tick.tolist(), tempo.us_per_quarter.tolist(), strict=True):
        events.append((tick, _META, b"\xff\x51\x03" + us.to_bytes(3, "big")))
    for tick, (_, text) in zip(tempo.tick_at([us for us, _ in markers]).tolist(), markers, strict=True):
        events.append((tick, _META, _text(0x06, text)))
    return events


def _player(track: TrackOut, tempo: TempoMap, *, prefixed: bool) -> list[_Event]:
    """Name, program, notes and pedal of one track."""
    notes = track.notes
    channel = notes.channel if track.channel is None else np.full_like(notes.channel, track.channel)
    used = sorted(set(channel.tolist()) or {track.channel or 0})
    events: list[_Event] = []
    if track.name and not prefixed:
        events.append((0, _META, _text(0x03, track.name)))
    for number in used:
        if track.name and prefixed:
            events.append((0, _META, bytes([0xFF, 0x20, 1, number]) + b"\x00" + _text(0x03, track.name)))
        if track.program is not None:
            events.append((0, _SETUP, bytes([0xC0 | number, track.program])))
    start = tempo.tick_at(notes.onset_us)
    stop = np.where(notes.duration_us < 0, -1, tempo.tick_at(notes.onset_us + notes.duration_us))
    rows = (start, stop, channel, notes.pitch, notes.velocity)
    for on, off, number, pitch, velocity in zip(*(column.tolist() for column in rows), strict=True):
        events.append((on, _ON, bytes([0x90 | number, pitch, velocity])))
        if off >= 0:
            events.append((off, _OFF if off > on else _OFF_AT_ONCE, bytes([0x80 | number, pitch, 64])))
    if track.pedal is not None:
        at_tick, pedal = tempo.tick_at(track.pedal.at_us).tolist(), track.pedal
        numbers = pedal.channel.tolist() if track.channel is None else [track.channel] * len(pedal)
        for tick, number, value in zip(at_tick, numbers, pedal.value.tolist(), strict=True):
            events.append((tick, _SETUP, bytes([0xB0 | number, 64, value])))
    return events


def _track_bytes(events: list[_Event], end_tick: int) -> bytes:
    """A track chunk of the events in time order, with its end-of-track."""
    ordered = sorted(events, key=lambda event: event[:2])
    last = max(end_tick, ordered[-1][0] if ordered else 0)
    body = bytearray()
    at = 0
    for tick, _, message in [*ordered, (last, _END, b"\xff\x2f\x00")]:
        if not 0 <= tick - at <= _LONGEST_DELTA:
            raise ValueError(f"a step from tick {at} to {tick} does not fit a MIDI file (nothing may lie before 0)")
        body += _number(tick - at) + message
        at = tick
    return b"MTrk" + len(body).to_bytes(4, "big") + bytes(body)
