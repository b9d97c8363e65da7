"""A thread that writes a growing file, so that whoever makes the lines never waits for the disk.

Inside: `Disk`, `write_all`, `unwritten_reason`, `KEPT_BYTES`.
"""

import errno
import os
import threading

__all__ = ["KEPT_BYTES", "Disk", "unwritten_reason", "write_all"]

KEPT_BYTES = 16 << 20
"""What a writer keeps in memory while the disk is full: more than an hour of dense playing."""

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def unwritten_reason(code: int) -> str:
    """Why something cannot be written, in words, from the system's number."""
    return "the disk is full" if code in _FULL else f"the disk says '{os.strerror(code)}'"


class Disk(threading.Thread):
    """Writes what it is given to one open file, in order."""

    def __init__(self, file: int) -> None:
        super().__init__(name="journal", daemon=True)
        self.fault_code = 0
        self._lost = False
        self._file = file
        self._news = threading.Condition()
        self._data = bytearray()
        self._sync = self._stopped = False
        self._busy = False
        self.start()

    def take(self, data: bytes, *, sync: bool) -> None:
        """Have these bytes written after all that came before."""
        with self._news:
            if self.fault_code and len(self._data) + len(data) > KEPT_BYTES:
                self._lost, data = True, b""
            self._data += data
            self._sync = self._sync or sync
            self._busy = True
            self._news.notify_all()

    def wait(self) -> None:
        """Return when there is nothing left to try."""
        with self._news:
            self._news.wait_for(lambda: not self._busy)

    def stop(self) -> None:
        """Try to write what is left, sync, close, and end the thread."""
        with self._news:
            self._stopped = self._sync = self._busy = True
            self._news.notify_all()
        self.join()

    def run(self) -> None:
        """Write and sync whenever there is news; what could not be written waits for the next news."""
        while True:
            with self._news:
                self._news.wait_for(lambda: self._busy)
                data, sync, stopped = bytes(self._data), self._sync, self._stopped
                self._data.clear()
                self._sync = False
            left = self._write(data, sync=sync)
            with self._news:
                self._data[:0] = left
                self._busy = len(self._data) > len(left) or self._sync or self._stopped is not stopped
                self._news.notify_all()
            if stopped:
                os.close(self._file)
                return

    def _write(self, data: bytes, *, sync: bool) -> bytes:
        """What could not be written."""
        view = memoryview(data)
        try:
            while view:
                view = view[os.write(self._file, view) :]
            if sync:
                os.fsync(self._file)
        except OSError as error:
            self.fault_code = error.errno or errno.EIO
        else:
            self.fault_code = self.fault_code if self._lost else 0
        return bytes(view)


def write_all(file: int, data: bytes) -> None:
    """Write every byte; `os.write` may take only a part (a nearly full disk)."""
    view = memoryview(data)
    while view:
        view = view[os.write(file, view) :]
