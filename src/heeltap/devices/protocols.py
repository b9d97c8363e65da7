"""The border to MIDI devices: what an input, an output and a system of devices are.

We poll inputs. A callback into Python waits for the interpreter lock inside the driver's thread, and where anything
draws it loses 2-9 % of the notes (measured).

Inside: the protocols `InPort`, `OutPort` and `MidiSystem`.
"""

from collections.abc import Mapping
from typing import Protocol

from heeltap.model.messages import Schedule

__all__ = ["InPort", "MidiSystem", "OutPort"]


class InPort(Protocol):
    """Where notes come from."""

    name: str
    """As shown and kept in the journal."""
    stamped_ns: int | None
    """When the message that `poll` gave last was played, on the engine's own clock, where the port knows; else None."""

    @property
    def dropped(self) -> int:
        """How many cycles the system did not finish in time since the port was opened, a message perhaps lost in each; 0 where
        it does not say."""

    def begin(self, zero_ns: int) -> None:
        """Bar 1, beat 1 falls at this moment of the engine's clock. Real devices do not care."""

    def poll(self) -> tuple[bytes, float] | None:
        """The oldest waiting message and the driver's own time since the message before, seconds; None when none
        waits."""

    def connected(self) -> bool:
        """Whether the device is still there. Costs up to a millisecond: ask once a second, not between two clicks."""

    def returned(self) -> bool:
        """Whether a device of this name is listed, perhaps under another number: after a loss, worth opening again."""

    def close(self) -> None:
        """Let go of the device; a second call does nothing."""


class OutPort(Protocol):
    """Where clicks go."""

    name: str

    @property
    def lag_us(self) -> int:
        """How much later than it was sent the next message is heard, where the port knows; else 0."""

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Bar 1, beat 1 falls at this moment of the engine's clock, and what will be sent is this from now on; None is what
        it was. MIDI devices do not care."""

    def mix(self, levels: Mapping[str, int]) -> None:
        """Each voice of `heeltap.model.mix` sounds at so many per cent from now on. MIDI devices do not care: what they are
        sent is softer already."""

    def send(self, message: bytes) -> None:
        """Send one message now."""

    def connected(self) -> bool:
        """Whether the device is still there; as costly as an input's."""

    def returned(self) -> bool:
        """Whether a device of this name is listed, perhaps under another number."""

    def close(self) -> None:
        """Let go of the device; a second call does nothing."""


class MidiSystem(Protocol):
    """A library that reaches real devices."""

    def names(self, *, inputs: bool) -> list[str]:
        """Full names in the system's order."""

    def open_in(self, wanted: str, *, virtual: bool = False) -> InPort:
        """Open an input, or make a port of that name for others to connect to."""

    def open_out(self, wanted: str, *, virtual: bool = False) -> OutPort:
        """Open an output, or make a port of that name for others to connect to."""
