"""Writing a file whole or not at all: the one edge at which heeltap puts a file on the disk.

Inside: `write_whole`.
"""

import os
from pathlib import Path

from heeltap.errors import InputFileError

__all__ = ["write_whole"]


def write_whole(path: str | Path, data: bytes, *, make_folder: bool = False) -> Path:
    """Write a file whole or not at all; the path that was written.

    The bytes go into a draft beside the file, reach the disk, and take the file's name in one step. A crash or a full disk
    leaves the old file as it was, or none.

    Parameters
    ----------
    path : path
        Where the file goes; a file that is there is replaced.
    data : bytes
        All of it.
    make_folder : bool
        Make the folder where it is missing.

    Raises
    ------
    InputFileError
        The file cannot be written there; the message says why.
    """
    target = Path(path)
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        if make_folder:
            target.parent.mkdir(parents=True, exist_ok=True)
        try:
            with open(draft, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(draft, target)
        finally:
            draft.unlink(missing_ok=True)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        raise InputFileError(str(target), f"cannot be written: {_reason(target, error)}") from error
    return target


def _reason(target: Path, error: OSError | ValueError) -> str:
    """Why a file could not be written, in words."""
    if isinstance(error, FileNotFoundError) and not target.parent.is_dir():
        return f"there is no folder '{target.parent}'"
    return str(getattr(error, "strerror", None) or error)
