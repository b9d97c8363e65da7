"""What the engine tells the screen: records of one fixed size, so that a full pipe drops whole ones and nothing else.

The screen's copy only: the journal keeps everything. Times are microseconds from bar 1, beat 1; the count-in is
negative.

Inside: `Record`, the kinds (`NOTE_ON`, ...), the states (`COUNT_IN`, ...), `pack`, `unpack`.
"""

import struct
from typing import NamedTuple

__all__ = [
    "ALIVE",
    "CLICK",
    "CONTROL",
    "COUNT_IN",
    "DIED",
    "DONE",
    "DROPPED",
    "ENDED",
    "GAP",
    "KEY",
    "KINDS",
    "MIX",
    "MOVED",
    "NOTE_OFF",
    "NOTE_ON",
    "NOT_SENT_US",
    "OUT_BACK",
    "OUT_LOST",
    "PAUSE",
    "PAUSED",
    "PLAYING",
    "PORT_BACK",
    "PORT_LOST",
    "RESUME",
    "SIZE",
    "STATE",
    "STATES",
    "STOP",
    "STOPPED",
    "TICK",
    "UNWRITTEN",
    "Record",
    "pack",
    "unpack",
]

KINDS = (
    "",
    "note-on",
    "note-off",
    "control",
    "click",
    "state",
    "port-lost",
    "port-back",
    "gap",
    "done",
    "died",
    "stop",
    "key",
    "tick",
    "pause",
    "resume",
    "moved",
    "out-lost",
    "out-back",
    "alive",
    "mix",
    "dropped",
    "unwritten",
)
"""Names by code. ``stop``, ``key``, ``pause``, ``resume`` and ``mix`` go from the screen to the engine; ``died`` is made by the
screen's side when the engine is gone."""

(
    NOTE_ON,
    NOTE_OFF,
    CONTROL,
    CLICK,
    STATE,
    PORT_LOST,
    PORT_BACK,
    GAP,
    DONE,
    DIED,
    STOP,
    KEY,
    TICK,
    PAUSE,
    RESUME,
    MOVED,
    OUT_LOST,
    OUT_BACK,
    ALIVE,
    MIX,
    DROPPED,
    UNWRITTEN,
) = range(1, 23)

NOT_SENT_US = 2**53
"""``other_us`` of a click that never left because its output was away: later than any click can be."""

STATES = ("count-in", "playing", "ended", "stopped", "paused")
"""Names by the ``which`` of a `STATE` record."""

COUNT_IN, PLAYING, ENDED, STOPPED, PAUSED = range(5)

_LAYOUT = struct.Struct("<BBBBIIqq")

SIZE = _LAYOUT.size
"""Bytes: 28."""


class Record(NamedTuple):
    """One thing that happened."""

    kind: int
    """Code into `KINDS`."""
    channel: int = 0
    """0-15 as on the wire, for notes and controls."""
    number: int = 0
    """Key, or number of the control; for a click the velocity with which it was sent; for `RESUME` the beats of a bar."""
    value: int = 0
    """Velocity, or value of the control. For `CLICK` 1 when it was not sent: too late, or the output was away; for
    `TICK` the message of the other device's clock, its status byte; for `RESUME` the beats that are counted; for
    `MIX` the level of the voice, per cent."""
    which: int = 0
    """Of the port for notes and for a port lost or back, of the row in the schedule for clicks, of the state for
    `STATE`; for `RESUME` the length of the count in microseconds; for `MIX` the number of the voice; for `DROPPED` how many
    cycles; for `UNWRITTEN` the system's number of why the journal cannot be written, 0 when it can again."""
    sequence: int = 0
    """Counts all records of a run from 0: a hole is a dropped record."""
    at_us: int = 0
    """When it was played; for `CLICK` when it was due; for `GAP` when it began; for `RESUME` and `MOVED` the bar line from
    which the take goes on."""
    other_us: int = 0
    """For notes how long it waited to be drained; for `CLICK` when it was sent; for `GAP` when it ended; for
    `TICK` the sixteenths of a song position; for `RESUME` where the notes of the first go are cut off; for `MOVED` when
    bar 1, beat 1 falls now, nanoseconds on the engine's clock."""


def pack(record: Record) -> bytes:
    """`SIZE` bytes."""
    return _LAYOUT.pack(*record)


def unpack(data: bytes) -> list[Record]:
    """The records in whole multiples of `SIZE` bytes."""
    return [Record(*row) for row in _LAYOUT.iter_unpack(data)]
