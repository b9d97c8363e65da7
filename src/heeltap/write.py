"""Writing a file whole or not at all: the one edge at which heeltap puts a file on the disk.

A file that a person asked for goes through `write_asked`, which takes nothing away by surprise. heeltap's own files (takes,
settings, what was measured) go through `write_whole`.

Inside: `write_whole`, `write_asked`, `check_asked`, `MADE_BY`.
"""

import os
import re
import stat
from collections.abc import Iterable
from pathlib import Path

from heeltap.errors import InputFileError
from heeltap.safe_text import safe_file

__all__ = ["MADE_BY", "check_asked", "write_asked", "write_whole"]

MADE_BY = "made by heeltap"
"""Stands in the MIDI and WAV files that heeltap makes, so that it knows them again."""

_BINARY = (b"MThd", b"RIFF")
"""Beginnings of the files that say by `MADE_BY` where they come from."""

_MOST_OLD = 256 << 20
"""Bytes of a file that is looked into before it is written over: half an hour of sound. A larger one needs ``--force``."""

_FORMAT = re.compile(rb'"format": ?"(heeltap\.[a-z-]+)/\d+"')
_PDF = re.compile(rb"/Creator \((heeltap [a-z ]+)\)")
_PAGE = re.compile(rb'<meta name="generator" content="(heeltap [a-z ]+)">')


def write_whole(path: str | Path, data: bytes | Iterable[bytes], *, make_folder: bool = False) -> Path:
    """Write a file whole or not at all; the path that was written.

    The bytes go into a draft beside the file, reach the disk, and take the file's name in one step. A crash or a full disk
    leaves the old file as it was, or none. A link is followed; a device or a pipe takes the bytes as they come.

    Parameters
    ----------
    path : path
        Where the file goes; a file that is there is replaced.
    data : bytes or iterable of bytes
        All of it, or its pieces in order.
    make_folder : bool
        Make the folder where it is missing.

    Raises
    ------
    InputFileError
        The file cannot be written there; the message says why.
    """
    asked = Path(path)
    try:
        if make_folder:
            asked.parent.mkdir(parents=True, exist_ok=True)
        if _is_stream(asked):
            with open(asked, "wb") as stream:
                stream.writelines(_pieces(data))
        else:
            _replace(Path(os.path.realpath(asked)), data)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        raise InputFileError(str(asked), f"cannot be written: {_reason(asked, error)}") from error
    return asked


def _pieces(data: bytes | Iterable[bytes]) -> Iterable[bytes]:
    return [data] if isinstance(data, bytes) else data


def _replace(target: Path, data: bytes | Iterable[bytes]) -> None:
    """Put the bytes beside the file and move them into its place."""
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with open(draft, "wb") as file:
            file.writelines(_pieces(data))
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, target)
    finally:
        draft.unlink(missing_ok=True)


def write_asked(path: str | Path, data: bytes, *, inputs: Iterable[str | Path] = (), force: bool = False) -> Path:
    """Write a file that a person asked for, its text made safe; the path that was written. Arguments as for `check_asked`."""
    check_asked(path, data, inputs=inputs, force=force)
    return write_whole(path, safe_file(data))


def check_asked(path: str | Path, like: bytes, *, inputs: Iterable[str | Path] = (), force: bool = False) -> None:
    """Refuse to write where that would take away what nobody meant to lose; does nothing where it may be written.

    Parameters
    ----------
    path : path
        Where the file is to go.
    like : bytes
        What is to be written, or its beginning, as far as it says what kind of file it is.
    inputs : iterable of paths
        What the file is made from: never written over.
    force : bool
        Write over any other file.

    Raises
    ------
    InputFileError
        The file is an input; or it is there already and is another kind of file or none of heeltap's, and ``force`` is
        not given; or its folder is missing.
    """
    target = Path(path)
    try:
        if not target.parent.is_dir():
            raise InputFileError(str(target), f"cannot be written: there is no folder '{target.parent}'")
        if any(_same_file(target, Path(one)) for one in inputs):
            raise InputFileError(str(target), "is what heeltap reads for this", "another name to write to")
        if force or not target.is_file():
            return
        with open(target, "rb") as file:
            old = file.read(_MOST_OLD + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputFileError):
            raise
        raise InputFileError(str(target), f"cannot be written: {_reason(target, error)}") from error
    if len(old) > _MOST_OLD:
        old = b"?"  # of no known kind
    if old and old != like and (not _kind(old) or _kind(old) != _kind(like)):
        found = "is there already, and is another kind of file or none that heeltap made"
        raise InputFileError(str(target), found, "a name that is free", "--force writes over it")


def _kind(data: bytes) -> bytes:
    """What kind of heeltap's files this is; empty for TOML, which people write themselves, and for files of others."""
    if data[:4] in _BINARY:
        return data[:4] if MADE_BY.encode() in data else b""
    if data[:2] == b"PK":
        return b"PK" if b"manifest.json" in data[:64] else b""
    if data[:4] == b"%PDF":
        made = _PDF.search(data)
        return b"" if made is None else b"%PDF " + made[1]
    found = _FORMAT.search(data) or _PAGE.search(data[:2000])
    if found is not None:
        return found[1]
    # Text and tables: the title of the exercise, the names of the columns.
    return b"" if re.search(rb"^[a-z_]+ = ", data, re.MULTILINE) else data.split(b"\n", 1)[0].strip()


def _same_file(one: Path, other: Path) -> bool:
    """Whether two names lead to one file that is there."""
    try:
        return os.path.samefile(one, other)
    except OSError:
        return False


def _is_stream(path: Path) -> bool:
    """Whether there is a device or a pipe of that name, which cannot be replaced."""
    try:
        mode = os.stat(path).st_mode
    except OSError:
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def _reason(target: Path, error: OSError | ValueError) -> str:
    """Why a file could not be written, in words."""
    if isinstance(error, FileNotFoundError) and not target.parent.is_dir():
        return f"there is no folder '{target.parent}'"
    return str(getattr(error, "strerror", None) or error)
