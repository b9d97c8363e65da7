"""What the screen is told of a message that came in.

Inside: `told_of`.
"""

from heeltap.engine.records import CONTROL, NOTE_OFF, NOTE_ON, TICK, Record
from heeltap.model.messages import is_clock_message, is_note_on

__all__ = ["told_of"]


def told_of(message: bytes, port: int, at_us: int, waited_us: int, *, clock: bool) -> list[Record]:
    """The records of one message: of notes and controls; what else there is is in the journal only.

    Parameters
    ----------
    message : bytes
        Whole.
    port : int
        Index of the input.
    at_us : int
        When it was played, microseconds from bar 1, beat 1.
    waited_us : int
        How long it waited to be drained, microseconds.
    clock : bool
        Whether the clock of this input is followed: then its messages are told, too.

    Returns
    -------
    list of Record
    """
    kind, found = message[0] & 0xF0, []
    if clock and is_clock_message(message):
        place = message[1] | message[2] << 7 if len(message) == 3 else 0
        found.append(Record(TICK, value=message[0], which=port, at_us=at_us, other_us=place))
    if kind in (0x80, 0x90, 0xB0):
        code = CONTROL if kind == 0xB0 else NOTE_ON if is_note_on(message) else NOTE_OFF
        found.append(Record(code, message[0] & 15, message[1], message[2], port, at_us=at_us, other_us=waited_us))
    return found
