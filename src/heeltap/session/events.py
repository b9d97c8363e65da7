"""What a session hears of a drill and what it answers: events in, effects out.

Times are microseconds from bar 1, beat 1; the count-in lies before 0.

Inside: the events (`Begin` ... `Show`, together `Event`), the effects (`BarDone`, `Finished`, `Again`, together `Effect`), and
what they carry: `Extra`, `Interruption`, `BarResult`, `Feedback`; and `dropped_words`.
"""

from enum import StrEnum
from typing import NamedTuple

from heeltap.session.matcher import Stroke
from heeltap.session.plan_columns import BarColumns
from heeltap.wording import count

__all__ = [
    "Again",
    "Back",
    "BarDone",
    "BarResult",
    "Begin",
    "Click",
    "Dropped",
    "Effect",
    "Elapsed",
    "Event",
    "Extra",
    "Feedback",
    "Finished",
    "GoOn",
    "Interruption",
    "Lost",
    "Note",
    "Pause",
    "Press",
    "Resume",
    "Say",
    "Show",
    "Stop",
    "dropped_words",
]


class Feedback(StrEnum):
    """When the player sees numbers: after each bar, at each stroke, after the take, or less and less often."""

    BAR = "bar"
    STROKE = "stroke"
    AFTER = "after"
    FADE = "fade"

    def for_take(self, number: int) -> "Feedback":
        """What ``fade`` means in the n-th take (from 1): four takes with numbers, then every second, then every fourth.

        Numbers given on fewer and fewer takes teach more than numbers on each (Winstein & Schmidt, 1990, Journal of
        Experimental Psychology: Learning, Memory, and Cognition 16, 677-691); how fast they fade is ours.
        """
        if self is not Feedback.FADE:
            return self
        every = 1 if number <= 4 else 2 if number <= 12 else 4
        return Feedback.BAR if number % every == 0 else Feedback.AFTER


class Begin(NamedTuple):
    """The engine runs; the count-in starts."""


class Note(NamedTuple):
    """A note-on, as stamped."""

    at_us: int
    pitch: int
    velocity: int
    port: int = 0
    """Index of the input."""


class Elapsed(NamedTuple):
    """Time has come so far."""

    at_us: int


class Click(NamedTuple):
    """A click was sent."""

    due_us: int
    sent_us: int


class Lost(NamedTuple):
    """An input is gone."""

    at_us: int
    port: int = 0
    """Index of the input; -1 is all of them."""


class Back(NamedTuple):
    """That input is there again."""

    at_us: int
    port: int = 0


class Pause(NamedTuple):
    """The player, or the system, pauses the take: nothing counts from here on."""

    at_us: int
    stands: bool = False
    """Whether time stands still with it, because the click stops; else the plan goes on without the player."""


class Resume(NamedTuple):
    """The take counts again."""

    at_us: int
    from_us: int | None = None
    """After a pause in which time stood still: the bar line from which it goes on, behind a count that begins at
    ``at_us``. What was played from there on before is forgotten."""


class Stop(NamedTuple):
    """The take ends here."""

    at_us: int
    reason: str = "stopped"


class Press(NamedTuple):
    """The player pressed a hands-free control; of the actions that it has, the one that makes sense now is done."""

    at_us: int
    actions: tuple[str, ...]
    """Of `heeltap.session.handsfree.ACTIONS`."""


class Say(NamedTuple):
    """Something that the player must know, or, empty, need not know any more."""

    text: str
    about: str = ""
    """What it is about: it replaces what was said of that, and nothing else."""
    until_us: int | None = None
    """When the player has had time to read it; None where it lasts."""


class Dropped(NamedTuple):
    """The MIDI system dropped cycles: a note may be lost there."""

    at_us: int
    cycles: int = 1


class Show(NamedTuple):
    """The player wants numbers at other times."""

    feedback: Feedback


Event = Begin | Say | Note | Elapsed | Click | Lost | Back | Pause | Resume | Stop | Press | Show | Dropped


class Extra(NamedTuple):
    """A note that no stroke claimed."""

    at_us: int
    pitch: int
    bar: int


class Interruption(NamedTuple):
    """A stretch in which nothing could be heard or counted."""

    from_us: int
    to_us: int | None
    """None while it lasts."""
    why: str
    """``lost``, ``paused`` or ``dropped``."""
    port: int = 0
    """Of the input that was lost; -1 is all of them."""


class BarResult(NamedTuple):
    """A bar that is over."""

    bar: BarColumns
    strokes: tuple[Stroke, ...]
    extras: int


class BarDone(NamedTuple):
    """Effect: a bar is over and may be shown."""

    result: BarResult


class Finished(NamedTuple):
    """Effect: the take is over; stop the engine, keep the take, score it."""

    ending: str


class GoOn(NamedTuple):
    """The player asks for the end of a pause in which the click stands still."""


class Again(NamedTuple):
    """Effect: play the exercise, from its count-in, once this take (if there is one) is kept."""


Effect = BarDone | Finished | GoOn | Again


def dropped_words(cycles: int) -> str:
    """What the player is told of so many dropped cycles.

    Parameters
    ----------
    cycles : int

    Returns
    -------
    str
    """
    return f"The MIDI system dropped {count(cycles, 'cycle')}: a note may be lost there, and counts as ?."
