"""One tempo map and one metre map over all tracks of a file, built before any note is timed.

Defaults (SMF 1.0): 120 quarter notes a minute and 4/4 until the file says otherwise; the first event is not moved back
to 0. Two events on one tick: the last in track and file order counts.

Inside: `Rate` (the header's division), `read_rate`, `tempo_map`, `metre_map`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.errors import MidiFileError
from heeltap.files.smf.events import Meta
from heeltap.files.smf.notices import Notices
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.timeline import Metre, MetreMap, TempoMap

__all__ = ["DEFAULT_US_PER_QUARTER", "Rate", "metre_map", "read_rate", "tempo_map"]

DEFAULT_US_PER_QUARTER = 500_000
"""120 quarter notes a minute (SMF 1.0)."""

_SLOW_US, _FAST_US = 6_000_000, 60_000
"""10 and 1,000 quarter notes a minute: outside it a warning is due, the times stay exact. Ours."""

_FINEST_UNIT = 7
"""Largest power of two of a time signature's lower number: 128. Beyond it, somebody wrote 8 for "eighth". Ours."""

_FRAMES_US = {24: 1_000_000, 25: 1_000_000, 29: 1_001_000, 30: 1_000_000}
"""Microseconds that so many frames take; 29 stands for 30 drop-frame, 29.97 a second (SMF 1.0; 30000/1001 from
memory)."""


@dataclass(frozen=True, slots=True)
class Rate:
    """What a tick is worth."""

    ticks_per_quarter: int
    """Ticks per quarter note; with frames: ticks in `us_per_quarter`, since there are no quarters."""
    us_per_quarter: int
    """The default tempo; with frames: the fixed one."""
    frames: int
    """Frame rate as written (24, 25, 29, 30), or 0 when ticks count quarters."""


def read_rate(division: int, where: str, byte: int) -> Rate:
    """What the header's division means; raises `MidiFileError` when no time can be computed from it."""
    if division < 0x8000:
        if division == 0:
            raise MidiFileError(
                f"{where}, byte {byte}", "time division 0: cannot compute times", "at least 1 tick per quarter note"
            )
        return Rate(division, DEFAULT_US_PER_QUARTER, 0)
    frames, per_frame = 256 - (division >> 8), division & 0xFF
    if frames not in _FRAMES_US or per_frame == 0:
        raise MidiFileError(
            f"{where}, byte {byte}",
            f"invalid SMPTE time division ({division >> 8:02X} {per_frame:02X}): cannot compute times",
            "24, 25, 29 or 30 frames a second and at least 1 tick a frame",
        )
    return Rate((30 if frames == 29 else frames) * per_frame, _FRAMES_US[frames], frames)


def _last_of_tick(tick: Sequence[int], value: IntArray) -> tuple[IntArray, IntArray]:
    """Rows in time order, the last of each tick."""
    ticks = as_ints(tick)
    order = np.argsort(ticks, kind="stable")
    ticks, value = ticks[order], value[order]
    last = np.append(np.diff(ticks) > 0, np.ones(min(1, ticks.size), bool))
    return ticks[last], value[last]


def _tell_conflicts(name: str, events: Sequence[tuple[int, Meta]], notices: Notices) -> None:
    """Warn where two events on one tick disagree, and of tempi that the first track does not have."""
    first = {(meta.tick, meta.payload) for track, meta in events if track == 0}
    seen: dict[int, bytes] = {}
    for track, meta in events:
        if seen.setdefault(meta.tick, meta.payload) != meta.payload:
            notices.add(f"two {name}s on one tick", "the last one counts", track=track, tick=meta.tick, byte=meta.byte)
            seen[meta.tick] = meta.payload
        elif track > 0 and name == "tempo" and (meta.tick, meta.payload) not in first:
            notices.add("a tempo outside the first track", "used for all", track=track, tick=meta.tick, byte=meta.byte)


def tempo_map(rate: Rate, metas: Sequence[tuple[int, Meta]], notices: Notices) -> TempoMap:
    """The map of a file, from its tempo metas as (track, meta) in track and file order."""
    if rate.frames:
        shown = {29: "29.97"}.get(rate.frames, rate.frames)
        notices.add(f"ticks count frames ({shown} a second), not beats", "times are exact, bars and beats mean nothing")
        return TempoMap(rate.ticks_per_quarter, as_ints([0]), as_ints([rate.us_per_quarter]))
    events: list[tuple[int, Meta]] = []
    value: list[int] = []
    for track, meta in metas:
        us = int.from_bytes(meta.payload, "big")
        if us == 0:
            notices.add("tempo 0", "ignored", track=track, tick=meta.tick, byte=meta.byte)
            continue
        if not _FAST_US <= us <= _SLOW_US:
            what = f"an implausible tempo ({60_000_000 / us:.6g} bpm)"
            notices.add(what, "used as written", track=track, tick=meta.tick, byte=meta.byte)
        events.append((track, meta))
        value.append(us)
    _tell_conflicts("tempo", events, notices)
    tick, us_per_quarter = _last_of_tick([meta.tick for _, meta in events], as_ints(value))
    if tick.size == 0 or tick[0] > 0:
        tick = np.concatenate([as_ints([0]), tick])
        us_per_quarter = np.concatenate([as_ints([DEFAULT_US_PER_QUARTER]), us_per_quarter])
    return TempoMap(rate.ticks_per_quarter, tick, us_per_quarter)


def metre_map(rate: Rate, metas: Sequence[tuple[int, Meta]], notices: Notices) -> MetreMap:
    """The map of a file, from its time signature metas as (track, meta) in track and file order."""
    events: list[tuple[int, Meta]] = []
    for track, meta in metas:
        count, power = meta.payload[0], meta.payload[1]
        if count == 0 or power > _FINEST_UNIT:
            what = f"an impossible time signature ({count} over 2 to the power {power})"
            notices.add(what, "ignored", track=track, tick=meta.tick, byte=meta.byte)
        else:
            events.append((track, meta._replace(payload=meta.payload[:2])))
    _tell_conflicts("time signature", events, notices)
    values = as_ints([int.from_bytes(meta.payload, "big") for _, meta in events])
    tick, packed = _last_of_tick([meta.tick for _, meta in events], values)
    if tick.size == 0 or tick[0] > 0:
        tick, packed = np.concatenate([as_ints([0]), tick]), np.concatenate([as_ints([4 << 8 | 2]), packed])
    kinds = {value: Metre(value >> 8, 1 << (value & 0xFF)) for value in set(packed.tolist())}
    return MetreMap(tick / rate.ticks_per_quarter, tuple(kinds[value] for value in packed.tolist()))
