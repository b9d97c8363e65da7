"""A lock on a file. The system lets go of it when its holder dies, whatever killed it.

Inside: `Lock`, `try_lock`.
"""

import os
import sys
from pathlib import Path

__all__ = ["Lock", "try_lock"]


class Lock:
    """A held lock."""

    def __init__(self, file: int) -> None:
        self._file: int | None = file

    def release(self) -> None:
        """Let go; a second call does nothing."""
        if self._file is not None:
            os.close(self._file)
            self._file = None


def try_lock(path: Path) -> Lock | None:
    """The lock on a file, made when missing; None when another process, or another part of this one, holds it."""
    file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(file)
        return None
    return Lock(file)
