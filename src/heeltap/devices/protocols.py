"""The border to MIDI devices: what a port is, which there are, and how one is opened by name.

Input is polled, never called back: a callback into Python waits for the interpreter lock inside the driver's thread,
and where anything draws it loses 2-9 % of the notes (measured). Names are stable ones (`heeltap.devices.names`).

Inside: the protocols `InPort`, `OutPort` and `MidiSystem`; `PortName`; `midi_system`, `list_ports`, `open_in`,
`open_out`.
"""

import contextlib
import os
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

from heeltap.devices.names import stable_names
from heeltap.errors import PortError, sentence

__all__ = [
    "APIS",
    "InPort",
    "MidiSystem",
    "OutPort",
    "PortName",
    "list_ports",
    "midi_system",
    "open_in",
    "open_out",
    "quiet_stderr",
]

APIS = ("", "alsa", "jack", "core", "windows")
"""Names of the systems that can be asked for; empty takes what the library finds first, or ``HEELTAP_MIDI_API``."""


class InPort(Protocol):
    """Where notes come from."""

    name: str
    """As shown and kept in the journal."""
    stamped_ns: int | None
    """When the message that `poll` gave last was played, on the engine's own clock, where the port knows; else None."""

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

    def begin(self, zero_ns: int) -> None:
        """Bar 1, beat 1 falls at this moment of the engine's clock. MIDI devices do not care."""

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


@dataclass(frozen=True, slots=True)
class PortName:
    """One port that there is."""

    full: str
    """As the system says it now."""
    stable: str
    """The same without the numbers that change between starts: the one to keep."""


@contextlib.contextmanager
def quiet_stderr() -> Iterator[None]:
    """Keep what C libraries write to descriptor 2 off the screen while this lasts.

    Threads may be in it at the same time: the first one turns the descriptor away, the last one gives it back. (Each on its
    own would keep what another had turned away, and give back nothing: a screen that is drawn through it would be dead.)
    """
    _STDERR.turn_away()
    try:
        yield
    finally:
        _STDERR.give_back()


class _Stderr:
    """Descriptor 2, and how many threads want it quiet."""

    def __init__(self) -> None:
        self._lock, self._threads = threading.Lock(), 0
        self._kept: int | None = None

    def turn_away(self) -> None:
        """It leads nowhere from now on."""
        with self._lock:
            self._threads += 1
            if self._threads > 1:
                return
            with contextlib.suppress(OSError, ValueError, AttributeError):  # no such descriptor: nothing is written
                sys.stderr.flush()
                self._kept = os.dup(2)
                with open(os.devnull, "wb") as nowhere:
                    os.dup2(nowhere.fileno(), 2)

    def give_back(self) -> None:
        """The last thread that turned it away gives it back."""
        with self._lock:
            self._threads -= 1
            if not self._threads and self._kept is not None:
                os.dup2(self._kept, 2)
                os.close(self._kept)
                self._kept = None


_STDERR = _Stderr()


def midi_system(api: str = "") -> MidiSystem:
    """The library for real devices that this Python has.

    Parameters
    ----------
    api : str
        One of `APIS`; empty asks the environment variable ``HEELTAP_MIDI_API``, then lets the library choose.

    Raises
    ------
    PortError
        No library is installed, or the name is not one of `APIS`.
    """
    name = api or os.environ.get("HEELTAP_MIDI_API", "")
    if name not in APIS:
        raise PortError(sentence("MIDI system", f"'{name}'", "one of " + ", ".join(a for a in APIS if a)))
    from heeltap.devices.rtmidi import load_system  # rtmidi is a compiled module: not at import

    return load_system(name)


def list_ports(api: str = "") -> tuple[list[PortName], list[PortName]]:
    """Inputs and outputs that there are now; raises `PortError` where the machine has no MIDI system."""
    system = midi_system(api)
    both = []
    for inputs in (True, False):
        names = system.names(inputs=inputs)
        both.append([PortName(full, short) for full, short in zip(names, stable_names(names), strict=True)])
    return both[0], both[1]


def open_in(wanted: str, *, api: str = "", virtual: bool = False) -> InPort:
    """A real input by its stable name or a beginning that only one has; raises `PortError`."""
    return midi_system(api).open_in(wanted, virtual=virtual)


def open_out(wanted: str, *, api: str = "", virtual: bool = False) -> OutPort:
    """A real output by its stable name or a beginning that only one has; raises `PortError`."""
    return midi_system(api).open_out(wanted, virtual=virtual)
