"""What a record of the engine means to the session.

Inside: `events_of`.
"""

from heeltap.app.drill.player_setup import Presses
from heeltap.engine import records
from heeltap.session import session
from heeltap.session.session import Event

__all__ = ["events_of"]


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
        case records.DONE:
            return [session.Clock(at_us), session.Stop(at_us, "the engine stopped")]
        case records.DIED:
            return [session.Stop(-(2**62), "the engine process ended unexpectedly")]
    return []
