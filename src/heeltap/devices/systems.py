"""Which MIDI devices there are, whatever system offers them, and how one is opened by name.

Linux has two systems: the ALSA sequencer and JACK. Both are asked, so nobody has to choose; a device that JACK shows
only because a bridge passes it on from ALSA is listed once. ``HEELTAP_MIDI_API`` narrows it to one of them.
Names are stable ones (`heeltap.devices.names`).

Inside: `APIS`, `PortName`, `load_system`, `midi_system`, `list_ports`, `open_in`, `open_out`.
"""

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.devices.names import find_port, stable_name, stable_names
from heeltap.devices.protocols import InPort, MidiSystem, OutPort
from heeltap.devices.rtmidi import PythonRtmidi, Rtmidi2, prefer_own_jack
from heeltap.errors import PortError, sentence

__all__ = ["APIS", "PortName", "list_ports", "load_system", "midi_system", "open_in", "open_out"]

APIS = ("", "alsa", "jack", "core", "windows")
"""Names of the systems that can be asked for; empty asks every system that this machine has."""

_BRIDGES = ("a2j:", "Midi-Bridge:")
"""How names begin under which a bridge shows ALSA's devices in JACK (a2jmidid's and PipeWire's own documentation)."""


@dataclass(frozen=True, slots=True)
class PortName:
    """One port that there is."""

    full: str
    """As the system says it now."""
    stable: str
    """The same without the numbers that change between starts: the one to keep."""


def load_system(api: str) -> MidiSystem:
    """The adapter over the MIDI library that is installed.

    Parameters
    ----------
    api : str
        One of `APIS`; empty leaves the choice to the library.

    Returns
    -------
    MidiSystem
        `PythonRtmidi`, or `Rtmidi2` where only that library is installed.

    Raises
    ------
    PortError
        Neither library is installed.
    """
    prefer_own_jack()
    try:
        import rtmidi  # imported late: a compiled module that a machine may lack
    except ImportError:
        rtmidi = None
    if rtmidi is not None:
        return PythonRtmidi(rtmidi, api)
    try:
        import rtmidi2
    except ImportError:
        hint = "pip install python-rtmidi, or rtmidi2 on Python 3.13 and later; recorded files can be scored without"
        raise PortError(sentence("MIDI devices", "no library to reach them", hint=hint)) from None
    return Rtmidi2(rtmidi2, api)


def midi_system(api: str = "") -> MidiSystem:
    """The system, or the systems together, that devices are looked for in.

    Parameters
    ----------
    api : str
        One of `APIS`; empty asks the environment variable ``HEELTAP_MIDI_API``, and where that is empty, too, every
        system of this machine.

    Returns
    -------
    MidiSystem
        Names of several systems follow each other, ALSA's first.

    Raises
    ------
    PortError
        No library is installed, or the name is not one of `APIS`.
    """
    name = api or os.environ.get("HEELTAP_MIDI_API", "")
    if name not in APIS:
        raise PortError(sentence("MIDI system", f"'{name}'", "one of " + ", ".join(a for a in APIS if a)))
    if name or not sys.platform.startswith("linux"):
        return load_system(name)
    return _Together([load_system(one) for one in ("alsa", "jack")])


class _Together:
    """Several systems as one."""

    def __init__(self, systems: Sequence[MidiSystem]) -> None:
        self._systems = systems

    def names(self, *, inputs: bool) -> list[str]:
        """Full names of every system that answers; raises `PortError` where none does."""
        return [name for _, name in self._rows(inputs)]

    def open_in(self, wanted: str, *, virtual: bool = False) -> InPort:
        """Open an input in the system that has it; raises `PortError`."""
        system, name = self._find(wanted, "MIDI input", inputs=True, virtual=virtual)
        return system.open_in(name, virtual=virtual)

    def open_out(self, wanted: str, *, virtual: bool = False) -> OutPort:
        """Open an output in the system that has it; raises `PortError`."""
        system, name = self._find(wanted, "MIDI output", inputs=False, virtual=virtual)
        return system.open_out(name, virtual=virtual)

    def _find(self, wanted: str, what: str, *, inputs: bool, virtual: bool) -> tuple[MidiSystem, str]:
        """The system that has the port, and its full name; for a port of our own the first system that answers."""
        if virtual:
            return self._answering(inputs)[0][0], wanted
        rows = self._rows(inputs)
        for system in self._systems:
            names = [name for owner, name in rows if owner is system]
            try:
                return system, names[find_port(wanted, names, what=what)]
            except PortError:
                continue
        return rows[find_port(wanted, [name for _, name in rows], what=what)]

    def _rows(self, inputs: bool) -> list[tuple[MidiSystem, str]]:
        """Every port with its system, without those that only a bridge repeats."""
        rows: list[tuple[MidiSystem, str]] = []
        for system, names in self._answering(inputs):
            before = [name for _, name in rows]
            rows += [(system, name) for name in names if not _is_bridged(name, before)]
        return rows

    def _answering(self, inputs: bool) -> list[tuple[MidiSystem, list[str]]]:
        """Each system that answers, with its names."""
        found, refused = [], []
        for system in self._systems:
            try:
                found.append((system, system.names(inputs=inputs)))
            except PortError as error:
                refused.append(error)
        if not found:
            what = "the system offers none: neither an ALSA sequencer nor a JACK server answers"
            hint = "recorded files can be scored all the same"
            raise PortError(sentence("MIDI devices", what, hint=hint)) from refused[0]
        return found


def _is_bridged(name: str, others: Sequence[str]) -> bool:
    """Whether a bridge's name is that of a device that is listed already, under ALSA's ``client:port``."""
    if not name.startswith(_BRIDGES):
        return False
    pairs = (stable_name(other).partition(":") for other in others)
    return any(colon and client in name and port in name for client, colon, port in pairs)


def list_ports(api: str = "") -> tuple[list[PortName], list[PortName]]:
    """Inputs and outputs that there are now.

    Parameters
    ----------
    api : str
        One of `APIS`.

    Returns
    -------
    tuple of two lists of PortName
        Inputs, outputs, each in the systems' order.

    Raises
    ------
    PortError
        This machine has no MIDI system.
    """
    system = midi_system(api)
    both = []
    for inputs in (True, False):
        names = system.names(inputs=inputs)
        both.append([PortName(full, short) for full, short in zip(names, stable_names(names), strict=True)])
    return both[0], both[1]


def open_in(wanted: str, *, api: str = "", virtual: bool = False) -> InPort:
    """A real input, open.

    Parameters
    ----------
    wanted : str
        Its stable name, or a beginning that only one has.
    api : str
        One of `APIS`.
    virtual : bool
        Make an input of that name for others to connect to, instead.

    Raises
    ------
    PortError
        There is no such input, or it cannot be opened.
    """
    return midi_system(api).open_in(wanted, virtual=virtual)


def open_out(wanted: str, *, api: str = "", virtual: bool = False) -> OutPort:
    """A real output, open; parameters and errors are those of `open_in`."""
    return midi_system(api).open_out(wanted, virtual=virtual)
