"""Opening a port by the name that a person gives: a device, ``fake:PATH``, or ``keys``.

Inside: `open_input`, `open_output`, `reopen_input`, `reopen_output`, `script_from_file`.
"""

from pathlib import Path

import numpy as np

from heeltap.clock import Clock
from heeltap.devices.computer_keys import KeysInPort
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.devices.protocols import InPort, OutPort, open_in, open_out
from heeltap.engine.stamping import is_note_on, restamp
from heeltap.errors import PortError
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.model.notes import Notes

__all__ = ["FAKE", "KEYS_NAME", "open_input", "open_output", "reopen_input", "reopen_output", "script_from_file"]

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
        What a ``fake:`` port plays, instead of a file.
    api, virtual
        As in `heeltap.devices.protocols.open_in`, for devices.

    Raises
    ------
    PortError
        No such device, or no MIDI system.
    InputFileError
        The scripted player's file cannot be used.
    """
    if name == KEYS_NAME:
        return KeysInPort()
    if name.startswith(FAKE):
        path = Path(name.removeprefix(FAKE))
        return FakeInPort(script_from_file(path) if script is None else script, clock.now_ns, name=f"fake:{path.name}")
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


def script_from_file(path: Path) -> Schedule:
    """What a MIDI file, a take's folder or a take's journal (``.jsonl``) plays.

    Zero is bar 1, beat 1: tick 0 of a MIDI file, behind the count-in of a take's. Raises `InputFileError`.
    """
    if path.suffix == ".jsonl":
        return _script_from_journal(path)
    from heeltap.files.smf import read_midi  # the reader is not needed by an engine that plays devices
    from heeltap.files.takes.folder import MIDI
    from heeltap.files.takes.take_midi import count_in_of

    midi = read_midi(path / MIDI if path.is_dir() else path)
    onset_us = midi.onset_us - count_in_of(midi)
    return script_from_notes(Notes(onset_us, midi.pitch, midi.velocity, midi.channel, midi.track, midi.duration_us))


def _script_from_journal(path: Path) -> Schedule:
    """Every note-on and note-off of a journal at its final stamp, from the journal's zero; each port stamped by
    itself."""
    from heeltap.files.takes.journal import read_journal

    journal = read_journal(path)
    stamp_ns = np.empty_like(journal.arrival_ns)
    ports = np.array(journal.port, dtype=object)
    for port in set(journal.port):
        rows = np.flatnonzero(ports == port)
        stamp_ns[rows] = restamp(journal.arrival_ns[rows], journal.delta_s[rows])
    rows_of = [
        ((at - journal.zero_ns + 500) // 1000, data, "on" if is_note_on(data) else "off")
        for at, data in zip(stamp_ns.tolist(), journal.data, strict=True)
        if len(data) == 3 and data[0] & 0xE0 == 0x80
    ]
    rows_of.sort(key=lambda row: row[0])
    end_us = max((row[0] for row in rows_of), default=0)
    return Schedule(as_ints(r[0] for r in rows_of), tuple(r[1] for r in rows_of), tuple(r[2] for r in rows_of), end_us)
