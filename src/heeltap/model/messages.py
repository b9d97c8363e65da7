"""Messages with the times at which they are due: what the engine sends, and what a scripted player plays.

Inside: `Schedule`, `merge`, `song_position`, `is_note_on`, `is_clock_message`, `ALL_NOTES_OFF`, the kinds that are no
clicks: `OFF`, `CLOCK`, `START`, `PEDAL`, `UNHEARD`, and `PLAYED`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import IntArray, as_ints, freeze_columns

__all__ = [
    "ALL_NOTES_OFF",
    "CLOCK",
    "CONTINUE",
    "OFF",
    "PEDAL",
    "PLAYED",
    "START",
    "STOP_CLOCK",
    "UNHEARD",
    "Schedule",
    "is_clock_message",
    "is_note_on",
    "merge",
    "song_position",
]

OFF, CLOCK, START, PEDAL = "off", "clock", "start", "pedal"
"""Kinds of messages that make no sound: note-off, MIDI clock, what sets a receiver going, and the sustain pedal."""

PLAYED = "played"
"""Kind of a note that a player played or is to play, in place of a click: it has a pitch wherever it is no percussion."""

UNHEARD = (OFF, CLOCK, START, PEDAL)
"""These are no clicks: they are not counted, and sent however late they are, or a receiver would lose its place."""

STOP_CLOCK = b"\xfc"
"""Ends what `START` began."""

CONTINUE = b"\xfb"
"""Sets a receiver going again from where it is in its song (MIDI 1.0)."""

ALL_NOTES_OFF = tuple(bytes((0xB0 | channel, control, 0)) for channel in range(16) for control in (64, 120, 123))
"""Silence: pedal up, all sound off, all notes off, on every channel."""


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """Messages in time order; columns are equally long."""

    due_us: IntArray
    """When, microseconds from bar 1, beat 1; the count-in is negative. Not decreasing."""
    messages: tuple[bytes, ...]
    """One whole MIDI message each."""
    kind: tuple[str, ...]
    """What each is: ``click``, ``accent``, ``drum``, ``off``, ...; a word for readers, the engine tells only `UNHEARD`
    apart."""
    end_us: int
    """When the last bar ends."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length or time runs backwards."""
        rows = freeze_columns(self, ("due_us",))
        if rows != len(self.messages) or rows != len(self.kind):
            raise ValueError("Schedule: due_us, messages and kind differ in length")
        if np.any(np.diff(self.due_us) < 0):
            raise ValueError("Schedule.due_us must not decrease")
        if not all(self.messages):
            raise ValueError("Schedule.messages holds an empty message")

    def __len__(self) -> int:
        return len(self.messages)


def song_position(sixteenths: int) -> bytes:
    """The message that tells a receiver its place in the song (MIDI 1.0: song position pointer, low seven bits first).

    Parameters
    ----------
    sixteenths : int
        From the beginning of the song, 0 to 16,383; beyond that the last one that can be said.

    Returns
    -------
    bytes
    """
    place = min(max(sixteenths, 0), 0x3FFF)
    return bytes((0xF2, place & 0x7F, place >> 7))


def merge(*schedules: Schedule) -> Schedule:
    """All schedules as one, in time order.

    Parameters
    ----------
    *schedules : Schedule
        Of messages due together the earlier argument's come first.

    Returns
    -------
    Schedule
        It ends with the longest.
    """
    due = np.concatenate([as_ints([]), *(s.due_us for s in schedules)])
    messages = [m for s in schedules for m in s.messages]
    kinds = [k for s in schedules for k in s.kind]
    order = np.argsort(due, kind="stable")
    return Schedule(
        due[order],
        tuple(messages[i] for i in order),
        tuple(kinds[i] for i in order),
        max((s.end_us for s in schedules), default=0),
    )


def is_note_on(message: bytes) -> bool:
    """Whether a whole message strikes a note: a note-on of velocity 0 is a note-off (MIDI 1.0).

    Parameters
    ----------
    message : bytes
        One message.

    Returns
    -------
    bool
    """
    return len(message) == 3 and message[0] & 0xF0 == 0x90 and message[2] > 0


def is_clock_message(message: bytes) -> bool:
    """Whether a message tells another machine's time or position: clock, start, continue, stop, song position.

    Parameters
    ----------
    message : bytes
        One message, not empty.

    Returns
    -------
    bool
    """
    return message[0] in (0xF8, 0xFA, 0xFB, 0xFC, 0xF2)
