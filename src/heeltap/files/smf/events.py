"""The inside of a track: bytes to events.

One tight loop reads channel messages; rare ones (system messages, metas, damage) go to methods. The loop keeps a note
message as one whole number, ``tick << 24 | status << 16 | key << 8 | velocity``, and one append for each makes the
reader fast.

Conventions: if a track loses its place, the reader stops there and keeps what it has read, because every time after a
lost delta would be wrong and nobody would notice. Inside: `RawTrack` (what came out), `TrackReader`.
"""

from array import array
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from heeltap.files.smf.notices import Notices

__all__ = ["LAST_TICK", "MOST_RARE", "MOST_TEXTS", "Meta", "RawTrack", "TrackReader"]

LAST_TICK = 1 << 38
"""Positions end here: 9 years at 480 ticks and 120 bpm. Times the longest tempo (2**24) it still fits an int64."""

MOST_TEXTS = 20_000
"""Kept texts of a track: the rest of a file made of markers is skipped. Ours."""

MOST_RARE = 600_000
"""Metas, sysex and system messages of a file; each costs ten times what a note does. Two hours of clock bytes at 120
bpm are 345,600. Ours.
"""

_NONE = 256
"""Running status before the first status byte; a status plus 256 is one that a meta or sysex has cancelled."""

_LONGEST_DELTA = 0x0FFFFFFF
"""The largest number that four bytes of seven bits hold: the standard's limit."""

_META_LENGTH = {0x00: 2, 0x20: 1, 0x21: 1, 0x51: 3, 0x54: 5, 0x58: 4, 0x59: 2}
"""Payload bytes of the metas that have a fixed length (SMF 1.0, section "Meta-Events"; 0x20 and 0x21 common
practice)."""

_META_NAME = {
    0x00: "sequence number",
    0x20: "channel prefix",
    0x21: "port",
    0x51: "tempo",
    0x54: "SMPTE offset",
    0x58: "time signature",
    0x59: "key signature",
}

_SYSTEM_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1}
"""Data bytes of the system common messages that have any; they have no place in a file, but occur."""

_TEXTS = (0x03, 0x04, 0x06, 0x07)
"""Track name, instrument name, marker, cue point."""


class Meta(NamedTuple):
    """One meta event that matters."""

    tick: int
    kind: int
    payload: bytes
    byte: int
    """Where it starts in the file."""


@dataclass(slots=True)
class RawTrack:
    """What one track holds, in file order."""

    notes: "array[int]" = field(default_factory=lambda: array("q"))
    """Note-ons and note-offs, packed as the module says."""
    pedal: "array[int]" = field(default_factory=lambda: array("q"))
    """Controller 64, packed the same way."""
    programs: dict[int, int] = field(default_factory=dict)
    """First program of each channel."""
    metas: list[Meta] = field(default_factory=list)
    """Names, markers, tempi, time signatures."""
    ports: list[tuple[int, int]] = field(default_factory=list)
    """Number of notes read before each port event, and the port."""
    prefix_names: dict[int, bytes] = field(default_factory=dict)
    """Names given to single channels by a channel prefix."""
    end_tick: int = 0
    """Position of the last event."""
    stop_byte: int = 0
    """The first byte that was not read."""
    ended: bool = False
    """An end-of-track was found."""
    rare: int = 0
    """How many events were no channel messages in good order."""
    damaged: str = ""
    """Why reading stopped early, or empty."""


class TrackReader:
    """Reads one track: make it, call `read` once."""

    def __init__(
        self,
        data: bytes,
        start: int,
        limit: int,
        index: int,
        notices: Notices,
        *,
        boundaries: Sequence[int] = (),
        rare_left: int = MOST_RARE,
    ) -> None:
        self._boundaries = boundaries
        self._data, self._limit, self._index, self._notices = data, limit, index, notices
        self._track = RawTrack()
        self._pos, self._tick, self._running = start, 0, _NONE
        self._end = limit
        self._status = _NONE
        self._prefix = (-1, 0)
        self._texts = 0
        self._rare_left = rare_left

    def read(self) -> RawTrack:
        """Everything up to end-of-track, the limit, the next track, or damage."""
        track = self._track
        try:
            self._end = self._next_boundary(self._pos)
            self._run()
            if not (track.ended or track.damaged):
                self._meet_boundary()
        except IndexError:
            what = "the track" if self._limit < len(self._data) else "the file"
            self._damage(f"{what} ends at byte {self._limit} inside an event")
            self._pos = self._limit
        track.end_tick = self._tick
        track.stop_byte = min(self._pos, len(self._data))
        return track

    def _next_boundary(self, at: int) -> int:
        """The next place where a track header interrupts this track, or its limit."""
        row = bisect_left(self._boundaries, at)
        return min(self._boundaries[row], self._limit) if row < len(self._boundaries) else self._limit

    def _meet_boundary(self) -> None:
        """Say that the limit or the next header came before end-of-track; undo a note whose bytes reach across it."""
        track, end = self._track, self._end
        if self._pos > end:
            if self._status & 0xFF < 0xA0 and track.notes:
                track.notes.pop()
            self._damage(f"the track ends at byte {end} inside an event")
        elif end == len(self._data):
            self._say(f"the file ends at byte {end} without end-of-track", "kept what was read")
        else:
            self._say("no end-of-track", "kept what was read", end)
        self._pos = end

    def _run(self) -> None:
        """Read events up to the boundary; channel messages here, everything else through `_rare`.

        Longer than our functions are: a call an event would cost as much as the event (0.1 us).
        """
        data, end, pos, tick, running = self._data, self._end, self._pos, self._tick, self._running
        add_note, add_pedal, programs = self._track.notes.append, self._track.pedal.append, self._track.programs
        status = _NONE
        while pos < end:
            delta = data[pos]
            if delta < 128:
                tick += delta
                pos += 1
            elif data[pos + 1] < 128:
                tick += ((delta & 127) << 7) | data[pos + 1]
                pos += 2
            else:
                self._tick = tick
                pos, tick = self._long_delta(pos)
                if self._track.damaged:
                    return
            status = data[pos]
            if status < 128:
                status = running
            else:
                pos += 1
            if status < 0xA0:
                key, velocity = data[pos], data[pos + 1]
                if key < 128 and velocity < 128:
                    add_note(tick << 24 | status << 16 | key << 8 | velocity)
                    running = status
                    pos += 2
                    continue
            elif status < 0xC0 or 0xE0 <= status < 0xF0:
                first, second = data[pos], data[pos + 1]
                if first < 128 and second < 128:
                    if first == 64 and 0xB0 <= status < 0xC0:
                        add_pedal(tick << 24 | status << 16 | 64 << 8 | second)
                    running = status
                    pos += 2
                    continue
            elif status < 0xF0 and data[pos] < 128:
                if status < 0xD0:
                    programs.setdefault(status & 15, data[pos])
                running = status
                pos += 1
                continue
            self._pos, self._tick, self._running = pos, tick, running
            self._rare(status)
            if self._track.ended or self._track.damaged:
                return
            pos, running, end = self._pos, self._running, self._end
        self._pos, self._tick, self._running, self._status = pos, tick, running, status

    def _long_delta(self, pos: int) -> tuple[int, int]:
        """Position and tick after a delta of three bytes or more."""
        start = pos
        delta, pos = self._number(pos)
        tick = self._tick + delta
        if pos - start > 4:
            self._say("a delta time of more than four bytes", "read by its value", start)
        if delta > _LONGEST_DELTA or tick > LAST_TICK:
            self._pos = pos
            self._damage(f"a delta time of {delta} ticks leads beyond what can be timed", start)
            return pos, self._tick
        return pos, tick

    def _number(self, pos: int) -> tuple[int, int]:
        """A variable-length number (seven bits a byte, the top bit says that more follow) and the position after it."""
        value = 0
        while True:
            byte = self._data[pos]
            pos += 1
            value = min((value << 7) | (byte & 127), 1 << 48)  # a megabyte of FF must not become one huge number
            if byte < 128:
                return value, pos

    def _rare(self, status: int) -> None:
        """Whatever the loop left: damage, a cancelled running status, metas, sysex, system messages."""
        self._track.rare += 1
        if self._track.rare > self._rare_left:
            self._damage(f"more than {MOST_RARE} metas, system messages and damaged events", self._pos)
        elif status == _NONE:
            self._damage(f"a data byte ({self._data[self._pos]:02x}) without a status before it", self._pos)
        elif status > _NONE:
            self._say("running status after a meta or sysex event", "read on with the last channel status", self._pos)
            self._message(status - _NONE)
        elif status < 0xF0:
            self._message(status)
        elif status == 0xFF:
            self._meta()
        elif status in (0xF0, 0xF7):
            length, start = self._number(self._pos)
            self._skip_to(start + length, "a sysex event")
            self._running |= _NONE
        else:
            self._say(f"a system message ({status:02x}) inside a track", "ignored", self._pos - 1)
            self._pos += _SYSTEM_BYTES.get(status, 0)

    def _message(self, status: int) -> None:
        """A channel message with a data byte above 127: that byte is data all the same, read as 127."""
        self._running = status
        size = 1 if 0xC0 <= status < 0xE0 else 2
        values: list[int] = []
        for _ in range(size):
            if self._is_clock(len(values), size):
                self._say("a clock byte inside a message", "ignored", self._pos)
                self._pos += 1
            value = self._data[self._pos]
            if value > 127:
                self._say("a data byte above 127", "read as 127", self._pos)
            values.append(min(value, 127))
            self._pos += 1
        packed = self._tick << 24 | status << 16 | values[0] << 8 | values[-1]
        if status < 0xA0:
            self._track.notes.append(packed)
        elif 0xB0 <= status < 0xC0 and values[0] == 64:
            self._track.pedal.append(packed)

    def _is_clock(self, read: int, size: int) -> bool:
        """Whether the byte here is a real-time byte between the data bytes of a message, rather than damaged data.

        It is when the events after it make sense with the byte left out and make none with it counted as data.
        """
        if not 0xF8 <= self._data[self._pos] < 0xFF:
            return False
        after = self._pos + size - read
        return self._sensible_events(after + 1) > self._sensible_events(after)

    def _sensible_events(self, pos: int) -> int:
        """How many of the next events read without a data byte above 127; looks at eight."""
        data, running = self._data, self._running & 0xFF
        for count in range(8):
            try:
                _, pos = self._number(pos)
                if data[pos] >= 0xF0:
                    return 8 if data[pos] == 0xFF and data[pos + 1] < 128 else count
                if data[pos] > 127:
                    running, pos = data[pos], pos + 1
                size = 1 if 0xC0 <= running < 0xE0 else 2
                if max(data[pos : pos + size]) > 127:
                    return count
                pos += size
            except (IndexError, ValueError):
                return count
        return 8

    def _skip_to(self, stop: int, what: str) -> None:
        """Go on after a payload; one that reaches over the limit ends the track, over a header is no boundary."""
        if stop > self._limit:
            self._damage(f"{what} declares {stop - self._pos} bytes, beyond the end of the track", self._pos)
            self._pos = self._limit
            return
        self._pos = stop
        if stop > self._end:
            self._end = self._next_boundary(stop)

    def _meta(self) -> None:
        """A meta event: kept where it matters, always skipped by its declared length, its delta always counted."""
        at, kind = self._pos - 1, self._data[self._pos]
        length, start = self._number(self._pos + 1)
        if (kind > 127 or start + length > self._limit) and kind != 0x2F and self._sensible_events(self._pos) > 3:
            self._say("a system message (ff) inside a track", "ignored", at)  # on the wire FF is a reset, without data
            return
        self._running |= _NONE
        if kind == 0x2F:
            self._track.ended = True
            self._pos = min(start + length, self._limit) if length < 128 else start
            return
        self._skip_to(start + length, f"meta event {kind:02x}")
        if self._track.damaged:
            return
        due = _META_LENGTH.get(kind, length)
        if length != due:
            done = "ignored" if length < due else "the rest was ignored"
            self._say(f"a {_META_NAME[kind]} of {length} bytes (expected {due})", done, at)
        if length >= due:
            self._keep(kind, self._data[start : start + due], at)

    def _keep(self, kind: int, payload: bytes, at: int) -> None:
        """Store a meta whose payload is long enough."""
        track = self._track
        if kind in (0x51, 0x58) or (kind in _TEXTS and self._texts < MOST_TEXTS):
            if kind in (0x03, 0x04) and self._prefix == (self._prefix[0], len(track.notes)) and self._prefix[0] >= 0:
                track.prefix_names.setdefault(self._prefix[0], payload)
            else:
                track.metas.append(Meta(self._tick, kind, payload, at))
                self._texts += kind in _TEXTS
        elif kind == 0x20:
            self._prefix = (payload[0], len(track.notes))
        elif kind == 0x21:
            track.ports.append((len(track.notes), payload[0]))
        elif kind == 0x59 and (not -7 <= int.from_bytes(payload[:1], signed=True) <= 7 or payload[1] > 1):
            self._say("an impossible key signature", "ignored", at)

    def _say(self, what: str, done: str, byte: int = -1) -> None:
        self._notices.add(what, done, track=self._index, byte=byte)

    def _damage(self, what: str, byte: int = -1) -> None:
        """Stop the track here and say why."""
        self._track.damaged = what if byte < 0 else f"{what} (byte {byte})"
        self._say(what, "kept what came before it in this track", byte)
