"""Keep what C libraries write to descriptor 2 off the screen, which is drawn there.

Inside: `quiet_stderr`.
"""

import contextlib
import os
import sys
import threading
from collections.abc import Iterator

__all__ = ["quiet_stderr"]


@contextlib.contextmanager
def quiet_stderr() -> Iterator[None]:
    """Keep what C libraries write to descriptor 2 off the screen while this lasts.

    Threads may be in it at the same time: the first one turns the descriptor away, the last one gives it back. (Each on its
    own would keep what another had turned away, and give back nothing: a screen that is drawn through it would be dead.)
    """
    _STDERR.turn_away()
    try:
        yield
    finally:
        _STDERR.give_back()


class _Stderr:
    """Descriptor 2, and how many threads want it quiet."""

    def __init__(self) -> None:
        self._lock, self._threads = threading.Lock(), 0
        self._kept: int | None = None

    def turn_away(self) -> None:
        """It leads nowhere from now on."""
        with self._lock:
            self._threads += 1
            if self._threads > 1:
                return
            with contextlib.suppress(OSError, ValueError, AttributeError):  # no such descriptor: nothing is written
                sys.stderr.flush()
                self._kept = os.dup(2)
                with open(os.devnull, "wb") as nowhere:
                    os.dup2(nowhere.fileno(), 2)

    def give_back(self) -> None:
        """The last thread that turned it away gives it back."""
        with self._lock:
            self._threads -= 1
            if not self._threads and self._kept is not None:
                os.dup2(self._kept, 2)
                os.close(self._kept)
                self._kept = None


_STDERR = _Stderr()
