"""Take folders: one for each take, written once and never changed.

::

    takes/2026-01-31T20-15-04-anchor-2/
        journal.jsonl    every message as the driver gave it       (heeltap.files.takes.journal)
        take.mid         the same as a plain MIDI file, for any editor; bar 1 follows the count-in
        context.json     the plan, tempo, lean, ports, what broke  (heeltap.files.takes.metadata)
    takes/.open/...      takes that are being played now, or that a killed run left behind

While you play, the take lies under ``.open`` with a lock on it. The system lets go of the lock when the program dies, so
a later start knows which takes were left behind. One rename then gives the whole folder its name.

Inside: `OpenTake`, `open_take`, `save_take`, `open_takes`, `unfinished`, `set_aside`, `Take`, `load_take`, `read_context`,
`list_takes`, `take_of`, `files_of`, `readable`, `unreadable_in`, and the limits of the files.
"""

import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.errors import InputFileError, TakeFileError
from heeltap.files.lock import Lock, try_lock
from heeltap.files.regular import read_regular
from heeltap.files.smf import read_midi
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.left_out import leave_out
from heeltap.files.takes.metadata import Context, context_bytes, context_from, plan_from
from heeltap.files.takes.take_midi import write_take_midi
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.write import write_whole

__all__ = [
    "CONTEXT",
    "JOURNAL",
    "MIDI",
    "OpenTake",
    "Take",
    "files_of",
    "is_open",
    "list_takes",
    "load_take",
    "open_take",
    "open_takes",
    "read_context",
    "readable",
    "save_take",
    "set_aside",
    "take_of",
    "unfinished",
    "unreadable_in",
]

JOURNAL, MIDI, CONTEXT = "journal.jsonl", "take.mid", "context.json"
"""Names inside a take folder."""

_OPEN, _ASIDE = ".open", ".damaged"

MOST_CONTEXT = 32 << 20
"""Bytes: a plan of 100,000 notes has 3 MB."""


@dataclass(frozen=True, slots=True)
class OpenTake:
    """A take that is being played."""

    folder: Path
    """Under ``.open``; the engine writes its journal here."""
    name: str
    """What the folder will be called."""
    lock: Lock

    @property
    def journal(self) -> Path:
        """Where the journal goes."""
        return self.folder / JOURNAL


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """A take as it lies on the disk."""

    folder: Path
    context: Context
    plan: Plan
    """What should have been played, whole."""
    notes: Notes
    """What was played, microseconds from bar 1, beat 1; negative in the count-in."""
    pedal: Pedal
    """The sustain pedal, on the same clock."""
    warnings: tuple[str, ...]
    """What was odd about the file."""

    def judged(self) -> tuple[Notes, Plan]:
        """The notes and the plan that count: nothing after an early end, nothing that was nobody's fault."""
        return leave_out(self.notes, self.plan, self.context.left_out, self.context.judged_to_us)


def is_open(folder: Path) -> bool:
    """Whether a folder is that of a take that is not finished.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    bool
    """
    return folder.parent.name == _OPEN


def open_take(root: Path, context: Context) -> OpenTake:
    """Make and lock the folder of a take that begins now.

    Parameters
    ----------
    root : Path
        The folder of all takes; made when missing.
    context : Context
        As far as it is known; what a recovery will go by.

    Raises
    ------
    TakeFileError
        The folder cannot be made or written.
    """
    stem = "-".join(part for part in (_slug(context.date[:19]), _slug(context.name)[:40]) if part) or "take"
    try:
        (root / _OPEN).mkdir(parents=True, exist_ok=True)
        for number in range(1, 10_000):
            name = stem if number == 1 else f"{stem}-{number}"
            if (root / name).exists():
                continue
            try:
                (root / _OPEN / name).mkdir()
            except FileExistsError:
                continue
            break
        folder = root / _OPEN / name
        lock = try_lock(folder / "lock")
        if lock is None:  # nobody else can know of a folder that was made a moment ago
            raise TakeFileError(str(folder), "is locked", "a folder of our own")
        write_whole(folder / CONTEXT, context_bytes(context))
    except (OSError, InputFileError) as error:
        raise _unwritable(root, error) from error
    return OpenTake(folder, name, lock)


def save_take(take: OpenTake, context: Context, plan: Plan, notes: Notes, *, pedal: Pedal | None = None) -> Path:
    """Finish a take: write its MIDI file and its context, then let it appear under its own name.

    Parameters
    ----------
    take : OpenTake
        Its journal is closed.
    context : Context
        Complete.
    plan : Plan
        Gives the file its tempo, metre and section names.
    notes, pedal
        What was played, microseconds from bar 1, beat 1. What lies before the count-in stays in the journal only.

    Returns
    -------
    Path
        The finished folder.

    Raises
    ------
    TakeFileError
        It cannot be written; the open folder stays as it is, to be recovered.
    """
    root = take.folder.parent.parent
    try:
        write_take_midi(take.folder / MIDI, context, plan, notes, pedal)
        write_whole(take.folder / CONTEXT, context_bytes(context))
        take.lock.release()
        (take.folder / "lock").unlink(missing_ok=True)
        for number in range(1, 10_000):
            target = root / (take.name if number == 1 else f"{take.name}-{number}")
            if not target.exists():
                os.rename(take.folder, target)
                return target
    except (OSError, InputFileError) as error:
        raise _unwritable(take.folder, error) from error
    raise TakeFileError(str(take.folder), "ten thousand takes of this name", "fewer")


def open_takes(root: Path) -> list[Path]:
    """The folders of takes that are being played now, or were when their drill was killed; none where there is no such folder."""
    return sorted(_folders(root / _OPEN))


def unfinished(root: Path) -> list[OpenTake]:
    """The takes that a killed run left behind, each locked for us; those that are being played now are passed over."""
    found = []
    for folder in open_takes(root):
        try:
            lock = try_lock(folder / "lock")
        except OSError:
            continue
        if lock is not None:
            found.append(OpenTake(folder, folder.name, lock))
    return found


def set_aside(take: OpenTake, *, keep: bool) -> Path | None:
    """Get a take that cannot be finished out of the way; where it lies now, None when there was nothing to keep."""
    take.lock.release()
    (take.folder / "lock").unlink(missing_ok=True)
    if not keep:
        shutil.rmtree(take.folder, ignore_errors=True)
        return None
    aside = take.folder.parent.parent / _ASIDE
    try:
        aside.mkdir(exist_ok=True)
        target = next(
            path for n in range(10_000) if not (path := aside / f"{take.name}{f'-{n}' if n else ''}").exists()
        )
        os.rename(take.folder, target)
    except OSError:
        return take.folder
    return target


def load_take(path: Path, context: Context | None = None) -> Take:
    """A take from its folder, or from any file in it.

    Parameters
    ----------
    path : Path
    context : Context, optional
        Of the take, where the caller has read it already.

    Raises
    ------
    TakeFileError
        It is no take folder, or what is in it is damaged.
    MidiFileError
        Its ``take.mid`` cannot be read.
    """
    folder = take_of(path)
    if folder is None:
        raise TakeFileError(str(path), "no take", f"a folder with {CONTEXT} and {MIDI}")
    if context is None:
        context = read_context(folder)
    midi = read_midi(folder / MIDI)
    notes, foot = midi.notes, midi.pedal
    moved = Notes(
        notes.onset_us - context.count_in_us,
        notes.pitch,
        notes.velocity,
        notes.channel,
        np.maximum(notes.track - 1, 0),  # the file's first track holds the tempo, the next one the first port
        notes.duration_us,
    )
    pedal = Pedal(foot.at_us - context.count_in_us, foot.channel, foot.value, foot.track)
    return Take(folder, context, plan_from(context.plan, str(folder / CONTEXT)), moved, pedal, midi.warnings)


def read_context(folder: Path) -> Context:
    """The context of a take folder; raises `TakeFileError`."""
    where = folder / CONTEXT
    return context_from(read_regular(where, TakeFileError, MOST_CONTEXT, "a take's context"), str(where))


def list_takes(root: Path) -> list[Path]:
    """The folders of all finished takes, oldest first."""
    return sorted(folder for folder in _folders(root) if _is_take(folder))


def unreadable_in(root: Path) -> list[Path]:
    """The folders among the takes that nobody may look into: they may hold takes."""
    return sorted(folder for folder in _folders(root) if not readable(folder))


def readable(folder: Path) -> bool:
    """Whether one may look into a folder."""
    return os.access(folder, os.R_OK | os.X_OK)


def _is_take(folder: Path) -> bool:
    """Whether a folder holds a take, as far as one can see; unlike a path's own question this raises nothing."""
    return os.path.isfile(folder / CONTEXT) and os.path.isfile(folder / MIDI)


def take_of(path: Path) -> Path | None:
    """The take folder that a path is, or that the file is in; None for any other MIDI file."""
    folder = path if os.path.isdir(path) else path.parent if path.name in (JOURNAL, MIDI, CONTEXT) else None
    return folder if folder is not None and _is_take(folder) else None


def files_of(path: Path) -> list[Path]:
    """The files of the take that a path is or is in; for any other path the path itself."""
    folder = take_of(path)
    return [path] if folder is None else [folder / name for name in (JOURNAL, MIDI, CONTEXT)]


def _folders(root: Path) -> list[Path]:
    """Folders in a folder, hidden ones left out; empty where there is none."""
    try:
        return [path for path in root.iterdir() if os.path.isdir(path) and not path.name.startswith(".")]
    except OSError:
        return []


def _slug(text: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")


def _unwritable(path: Path, error: OSError | InputFileError) -> TakeFileError:
    if isinstance(error, TakeFileError):
        return error
    hint = "set HEELTAP_HOME to a folder that can be written"
    if isinstance(error, InputFileError):
        return TakeFileError(error.where, error.found, hint=hint)
    return TakeFileError(str(path), f"cannot be written: {error.strerror or error}", hint=hint)
