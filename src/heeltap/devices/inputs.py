"""Open a port by the name that you give: a device, ``fake:PATH``, or ``keys``.

Inside: `open_input`, `open_output`, `reopen_input`, `reopen_output`, `FAKE`, `KEYS_NAME`.
"""

from pathlib import Path

from heeltap.clock import Clock
from heeltap.devices.computer_keys import KeysInPort
from heeltap.devices.fake import FakeInPort, FakeOutPort
from heeltap.devices.protocols import InPort, OutPort
from heeltap.devices.systems import open_in, open_out
from heeltap.errors import PortError, sentence
from heeltap.model.messages import Schedule

__all__ = ["FAKE", "KEYS_NAME", "open_input", "open_output", "reopen_input", "reopen_output"]

FAKE = "fake:"
"""Beginning of the name of a scripted player: ``fake:PATH`` to a MIDI file, a take's folder or a take's journal."""

KEYS_NAME = "keys"
"""The computer's keyboard."""


def open_input(
    name: str, clock: Clock, *, script: Schedule | None = None, api: str = "", virtual: bool = False
) -> InPort:
    """The input of that name.

    Parameters
    ----------
    name : str
        A device's stable name or a beginning that only one has, ``fake:PATH``, ``fake:`` with a ``script``, or
        ``keys``.
    clock : Clock
        The engine's.
    script : Schedule, optional
        What a ``fake:`` port plays; the engine reads it from the file that the name gives.
    api, virtual
        As in `heeltap.devices.systems.open_in`, for devices.

    Raises
    ------
    PortError
        No such device, no MIDI system, or a scripted player without a script.
    """
    if name == KEYS_NAME:
        return KeysInPort()
    if name.startswith(FAKE):
        if script is None:
            raise PortError(sentence(name, "a scripted player without a script"))
        return FakeInPort(script, clock.now_ns, name=f"fake:{Path(name.removeprefix(FAKE)).name}")
    return open_in(name, api=api, virtual=virtual)


def open_output(name: str, clock: Clock, *, api: str = "", virtual: bool = False) -> OutPort:
    """The output of that name: a device, or ``fake:``, which only keeps what it is sent; raises `PortError`."""
    if name.startswith(FAKE):
        return FakeOutPort(clock.now_ns)
    return open_out(name, api=api, virtual=virtual)


def reopen_input(port: InPort, *, api: str = "") -> InPort | None:
    """A lost input again, by its name; None while it cannot be opened."""
    if isinstance(port, FakeInPort | KeysInPort):
        return port
    try:
        again = open_in(port.name, api=api)
    except PortError:
        return None
    port.close()
    return again


def reopen_output(port: OutPort, *, api: str = "") -> OutPort | None:
    """A lost output again, by its name; None while it cannot be opened."""
    if isinstance(port, FakeOutPort):
        return port
    try:
        again = open_out(port.name, api=api)
    except PortError:
        return None
    port.close()
    return again
