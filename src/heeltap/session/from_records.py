"""What a record of the engine means to the session.

Inside: `events_of`, `Presses`, `NO_OUTPUT`, `NO_ENGINE`, `unwritten_words`.
"""

from heeltap.engine import records
from heeltap.files.takes.disk import KEPT_BYTES, unwritten_reason
from heeltap.session import session
from heeltap.session.handsfree import Controls, press_of
from heeltap.session.session import Event

__all__ = ["NO_ENGINE", "NO_OUTPUT", "Presses", "events_of", "unwritten_words"]


NO_OUTPUT = "The output is gone: nothing sounds. What you play is still kept."
"""What the player is told when the click's device went."""


def unwritten_words(code: int) -> str:
    """What the player is told when the take cannot be written: why, and that the take goes on; empty when it can again.

    Parameters
    ----------
    code : int
        The system's number of the reason; 0 for none.

    Returns
    -------
    str
    """
    if not code:
        return ""
    reason = unwritten_reason(code)
    return f"{reason[0].upper()}{reason[1:]}: the take goes on, {KEPT_BYTES >> 20} MB of it in memory. Make room now."


NO_ENGINE = "the engine process ended unexpectedly"
"""Why the take ended when the engine was killed."""


class Presses:
    """Tells the controls among what the engine reports; one for a take, or for the wait before one."""

    def __init__(self, controls: Controls) -> None:
        self._controls = controls
        self._down: frozenset[int] = frozenset()

    def take(self, record: records.Record) -> session.Press | None:
        """The press that a record is; one without actions is a control's release. None for anything else."""
        if not self._controls or record.kind not in (records.NOTE_ON, records.NOTE_OFF, records.CONTROL):
            return None
        kind = "cc" if record.kind == records.CONTROL else "key"
        value = 0 if record.kind == records.NOTE_OFF else record.value
        pressed = press_of(self._controls, self._down, kind, record.number, value)
        if pressed is None:
            return None
        self._down = pressed.down
        return session.Press(record.at_us, pressed.actions)


def events_of(record: records.Record, presses: Presses) -> list[Event]:
    """The session's events for one record; a hands-free control is a press and never a note."""
    at_us = record.at_us
    press = presses.take(record)
    if press is not None:
        return [press] if press.actions else []
    match record.kind:
        case records.NOTE_ON:
            return [session.Note(at_us, record.number, record.value, record.which)]
        case records.CLICK:
            return [session.Click(at_us, record.other_us)]
        case records.PORT_LOST:
            return [session.Lost(at_us, record.which)]
        case records.PORT_BACK:
            return [session.Back(at_us, record.which)]
        case records.GAP:
            return [session.Lost(at_us, -1), session.Back(record.other_us, -1)]
        case records.OUT_LOST:
            return [session.Say(NO_OUTPUT, "output")]
        case records.OUT_BACK:
            return [session.Say("", "output")]
        case records.DROPPED:
            return [session.Dropped(at_us, record.which)]
        case records.UNWRITTEN:
            return [session.Say(unwritten_words(record.which), "disk")]
        case records.DONE:
            return [session.Elapsed(at_us), session.Stop(at_us, "the engine stopped")]
        case records.DIED:
            return [session.Stop(-(2**62), NO_ENGINE)]
    return []
