"""What a scripted player plays: the notes of a MIDI file, of a kept take, or of a take's journal.

Inside: `script_of`, `script_from_file`.
"""

from pathlib import Path

import numpy as np

from heeltap.devices.fake import script_from_notes
from heeltap.devices.inputs import FAKE
from heeltap.engine.stamping import restamp
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule, is_note_on
from heeltap.model.notes import Notes

__all__ = ["script_from_file", "script_of"]


def script_of(name: str) -> Schedule | None:
    """The script of an input called ``fake:PATH``; None for every other input. Raises as `script_from_file`."""
    return script_from_file(Path(name.removeprefix(FAKE))) if name.startswith(FAKE) else None


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
