"""Whether a JACK server still lives, and how often it dropped a cycle.

The MIDI library does not say: the port list of a client whose server was killed stays as it was. A client of our own,
without ports, is told by JACK itself (`jack_on_shutdown`, `jack_set_xrun_callback` of jack/jack.h).

Inside: `JackWatch`, `watch_server`.
"""

import ctypes
from collections.abc import Callable
from typing import Any

from heeltap.devices.quiet import quiet_stderr

__all__ = ["JackWatch", "watch_server"]

_NO_START = 1
"""JackNoStartServer of jack/types.h: a server is never started by asking for one."""

_Ended = ctypes.CFUNCTYPE(None, ctypes.c_void_p)
_Dropped = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)


class JackWatch:
    """A client without ports; several ports of a run share it."""

    def __init__(self, library: Any, client: int) -> None:
        """Made by `watch_server`."""
        self._library, self._client = library, ctypes.c_void_p(client)
        self.alive = True
        """Whether the server that was there at the beginning still is."""
        self.dropped = 0
        """How many cycles the server did not finish in time (an "xrun"): a message may be lost in each."""
        self._users = 0
        # Python must keep both, or the library calls what is no longer there.
        self._callbacks: tuple[Callable[..., Any], ...] = (_Ended(self._end), _Dropped(self._drop))
        library.jack_on_shutdown(self._client, self._callbacks[0], None)
        library.jack_set_xrun_callback(self._client, self._callbacks[1], None)
        library.jack_activate(self._client)

    def _end(self, _: int | None) -> None:
        self.alive = False

    def _drop(self, _: int | None) -> int:
        self.dropped += 1
        return 0

    def take(self) -> None:
        """One more port needs it."""
        self._users += 1

    def leave(self) -> None:
        """One port less needs it; with the last one it is gone from the server."""
        self._users -= 1
        if self._users == 0:
            with quiet_stderr():  # also of a dead server: its thread would call what is gone
                self._library.jack_client_close(self._client)
            _WATCHES.discard(self)


_WATCHES: set[JackWatch] = set()


def watch_server(library: Any) -> JackWatch | None:
    """A watch over the server that answers now.

    Parameters
    ----------
    library : ctypes.CDLL or None
        The JACK library, from `heeltap.devices.rtmidi.prefer_own_jack`.

    Returns
    -------
    JackWatch or None
        The one that this process has already, while its server lives; None where no server answers or there is no library.
    """
    living = next((watch for watch in _WATCHES if watch.alive), None)
    if living is not None or library is None:
        return living
    library.jack_client_open.restype = ctypes.c_void_p
    status = ctypes.c_int()
    with quiet_stderr():
        client = library.jack_client_open(b"heeltap watch", _NO_START, ctypes.byref(status))
        if not client:
            return None
        watch = JackWatch(library, client)
    _WATCHES.add(watch)
    return watch
