"""Read a file that nobody vouches for: a regular one of a sane size, or an error of one line; nothing is waited for.

Inside: `read_regular`, `read_text`.
"""

import os
import stat
from pathlib import Path

from heeltap.errors import InputFileError

__all__ = ["read_regular", "read_text"]


def read_regular(
    path: Path, error: type[InputFileError], most_bytes: int, what: str, *, links: bool = True, hint: str = ""
) -> bytes:
    """The bytes of a regular file.

    A pipe would never end and a device may be endless, so heeltap opens neither for reading.

    Parameters
    ----------
    path : Path
    error : type
        Raised where the file cannot be used.
    most_bytes : int
        Of a larger file nothing is kept.
    what : str
        What the file should be, for messages.
    links : bool
        Whether a link is followed.
    hint : str
        For messages about a file that cannot be opened.

    Returns
    -------
    bytes

    Raises
    ------
    InputFileError
        Of the type ``error``: no such file, no regular one, or too large.
    """
    where = str(path)
    if not links and path.is_symlink():  # asked first, because not every system can refuse to follow one while opening
        raise error(where, "is a link", what)
    flags = getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0) | (0 if links else getattr(os, "O_NOFOLLOW", 0))
    try:
        with os.fdopen(os.open(path, os.O_RDONLY | flags), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise error(where, "is no regular file", what)
            data = file.read(most_bytes + 1)
    except (OSError, ValueError) as reason:  # ValueError: a name with a null character
        if isinstance(reason, InputFileError):
            raise
        told = getattr(reason, "strerror", None) or str(reason)
        raise error(where, f"cannot be read: {told}", what, hint) from reason
    if len(data) > most_bytes:
        size = f"{most_bytes >> 20} MB" if most_bytes >> 20 else f"{most_bytes:,} bytes"
        raise error(where, f"is larger than {size}", what)
    return data


def read_text(path: Path, error: type[InputFileError], most_bytes: int, what: str, *, hint: str = "") -> str:
    """The text of a regular UTF-8 file, without a byte order mark, lines ended by line feeds; arguments and errors as above."""
    data = read_regular(path, error, most_bytes, what, hint=hint)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as reason:
        raise error(str(path), "is not UTF-8 text", what, hint) from reason
    return text.replace("\r\n", "\n").replace("\r", "\n")
