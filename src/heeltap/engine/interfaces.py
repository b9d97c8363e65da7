"""What the engine's loop needs of the world, and what it reports when it has ended.

Inside: `Journaling`, `ToScreen`, `EngineReport`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from heeltap.engine.records import Record

__all__ = ["EngineReport", "Journaling", "ToScreen"]


class Journaling(Protocol):
    """Where the raw take is kept (`heeltap.files.takes.journal.JournalWriter` is one)."""

    @property
    def fault(self) -> str | None:
        """Why something could not be written; None when all was."""

    @property
    def fault_code(self) -> int:
        """The system's number of why the journal cannot be written now; 0 while it can."""

    def message(self, arrival_ns: int, delta_s: float, data: Iterable[int], port: str = "") -> None:
        """Keep one message as the driver gave it."""

    def click(self, index: int, due_us: int, sent_us: int, key: int = -1) -> None:
        """Keep when a click was due and when it was sent, and which key it was."""

    def gap(self, kind: str, at_ns: int, port: str = "") -> None:
        """Keep that the stream broke or came back: of one port, or of all."""

    def moved(self, at_ns: int, zero_ns: int, cut_us: int) -> None:
        """Keep that the player resumed after a pause: when bar 1, beat 1 falls now, and from where on the earlier notes are
        played again."""

    def flush(self, now_ns: int | None = None) -> None:
        """Hand everything to the system."""

    def close(self) -> None:
        """Write the last lines."""


class ToScreen(Protocol):
    """The way to the screen and back (`heeltap.engine.channel.Channel` is one)."""

    dropped: int
    closed_by_peer: bool

    def send(self, record: Record) -> None:
        """Queue one record."""

    def flush(self) -> None:
        """Let go of what is queued, without waiting."""

    def receive(self) -> list[Record]:
        """What the screen asks for."""


@dataclass(frozen=True, slots=True)
class EngineReport:
    """What a run was like."""

    scheduler: str
    """In words: whether real-time scheduling was granted."""
    messages: int
    """Taken from all inputs, clock and sensing included."""
    clicks: int
    """Sent, count-in included."""
    clicks_late: int
    """Left more than 2 ms late."""
    worst_click_us: int
    """Largest lateness of a click that was sent."""
    dropped: int
    """Records that the screen did not get. The journal has them."""
    clicks_unsent: int = 0
    """Never left: they would have been 50 ms late, or the output was away."""
    cycles_dropped: int = 0
    """Cycles that the MIDI system did not finish in time."""
    unwritten: str = ""
    """Why the journal is not whole on the disk; empty when it is."""
    fault: str = ""
    """What went wrong while playing; empty when nothing did."""
