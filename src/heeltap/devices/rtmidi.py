"""Real devices through python-rtmidi, or through rtmidi2 on the Pythons that python-rtmidi has no wheels for.

Both wrap the same C++ library, which fixes a message's time before Python gets its turn and hands it over as the time
since the message before. mido's port layer drops that, so it is not used here. Messages wait in the library's own queue
(`QUEUE_LIMIT`) until they are polled.

Clock and sensing messages are *not* ignored in the library: its JACK input loses the time that lies before an ignored
message (2 s in 6 s were lost). They are let through and told apart later.

What the libraries say of an error is not shown to the player; it is the cause of ours, for ``--debug``.

Inside: `PythonRtmidi`, `Rtmidi2`, `prefer_own_jack`, `probe_in_child`.
"""

import contextlib
import ctypes
import functools
import importlib.util
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from heeltap.devices.jack_watch import watch_server
from heeltap.devices.names import find_port, stable_name
from heeltap.devices.protocols import InPort, OutPort
from heeltap.devices.quiet import quiet_stderr
from heeltap.errors import PortError, sentence
from heeltap.model.messages import Schedule

__all__ = ["QUEUE_LIMIT", "PythonRtmidi", "Rtmidi2", "prefer_own_jack", "probe_in_child"]

QUEUE_LIMIT = 4096
"""Messages. At 1 ms a poll even a stall of a second under a dense controller stays far below; the library's own 100
does not."""

_CLIENT = "heeltap"

_API_NAMES = {"alsa": "LINUX_ALSA", "jack": "UNIX_JACK", "core": "MACOSX_CORE", "windows": "WINDOWS_MM"}

_SYSTEMS = {"alsa": "ALSA sequencer", "jack": "JACK server"}
"""What runs, or does not, in words."""

_PROBE_S = 5.0
"""rtmidi2 ends the process where it makes a port and no server runs: it is tried in a child first, at most so long."""

_SEQUENCER = "/dev/snd/seq"
"""ALSA's sequencer; without this device rtmidi2 may end the process that asks."""

_JACK_LIBRARY = "libjack.so.0"
"""As every Linux system calls it, PipeWire's stand-in included."""


@functools.cache
def prefer_own_jack() -> ctypes.CDLL | None:
    """The system's own JACK library, loaded before the one that came with a wheel; None where the system has none.

    Both libraries' wheels bring a JACK library of their own. It knows nothing of PipeWire, and rtmidi2's saw no ports of
    Debian 12's server. Names that are loaded for everybody come first when a wheel's names are looked up, so what was
    loaded here is what the wheel then calls: as with ``LD_PRELOAD``, without a variable. Call it before the import.
    """
    if not sys.platform.startswith("linux"):
        return None
    try:
        return ctypes.CDLL(_JACK_LIBRARY, mode=ctypes.RTLD_GLOBAL)
    except OSError:
        return None


class _System:
    """What both libraries share: making clients quietly, finding ports, wording errors."""

    def __init__(self, library: Any, api: str) -> None:
        self.library, self.api = library, api

    def client(self, inputs: bool) -> Any:
        """A client object of the library; each says how."""
        raise NotImplementedError

    def port_names(self, client: Any) -> list[str]:
        """Names that a client sees; each library says how."""
        raise NotImplementedError

    def names(self, *, inputs: bool) -> list[str]:
        """Full names in the system's order; raises `PortError` where the machine has no MIDI system."""
        client = self.quiet_client(inputs)
        with quiet_stderr():  # rtmidi2 connects here only, and says on descriptor 2 that nobody is there
            found = self.port_names(client)
        self.drop(client)
        return found

    def quiet_client(self, inputs: bool) -> Any:
        """A client, with the C library's own complaints kept off the screen; raises `PortError` in one line."""
        try:
            with quiet_stderr():
                return self.client(inputs)
        except (OSError, RuntimeError) as error:
            what = f"the system offers none: no {_SYSTEMS.get(self.api, 'sequencer or server')} answers"
            hint = "recorded files can be scored all the same"
            raise PortError(sentence(f"MIDI devices ({self.api or 'default'})", what, hint=hint)) from error

    def open(self, client: Any, wanted: str, *, inputs: bool, virtual: bool) -> str:
        """Connect a client and return the port's full name; raises `PortError`."""
        what = "MIDI input" if inputs else "MIDI output"
        try:
            if virtual:
                with quiet_stderr():
                    client.open_virtual_port(wanted)
                return wanted
            with quiet_stderr():
                names = self.port_names(client)
                index = find_port(wanted, names, what=what)
                client.open_port(index)
        except PortError:
            self.drop(client)
            raise
        except (OSError, RuntimeError, NotImplementedError, ValueError) as error:
            self.drop(client)
            hint = "this system has no virtual ports" if virtual else "is another program using it?"
            raise PortError(sentence(f"{what} '{wanted}'", "cannot be opened", hint=hint)) from error
        return names[index]

    def drop(self, client: Any) -> None:
        """Close and forget a client."""
        client.close_port()

    def open_in(self, wanted: str, *, virtual: bool = False) -> InPort:
        """Open an input, or make one; raises `PortError`."""
        client = self.quiet_client(True)
        client.ignore_types(True, False, False)  # sysex away; clock and sensing stay, see the top of this module
        return self.in_port(client, self.open(client, wanted, inputs=True, virtual=virtual), virtual)

    def open_out(self, wanted: str, *, virtual: bool = False) -> OutPort:
        """Open an output, or make one; raises `PortError`."""
        client = self.quiet_client(False)
        return self.out_port(client, self.open(client, wanted, inputs=False, virtual=virtual), virtual)

    def in_port(self, client: Any, full: str, virtual: bool) -> InPort:
        """The port object around an opened client."""
        raise NotImplementedError

    def out_port(self, client: Any, full: str, virtual: bool) -> OutPort:
        """The port object around an opened client."""
        raise NotImplementedError


class _Port:
    """What inputs and outputs share."""

    def __init__(self, system: _System, client: Any, full: str, virtual: bool = False) -> None:
        self.name = stable_name(full)
        self.stamped_ns: int | None = None
        self.lag_us = 0
        self._system, self._client, self._full, self._virtual = system, client, full, virtual
        self._watch = watch_server(_any_jack()) if system.api == "jack" else None
        if self._watch is not None:
            self._watch.take()

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Nothing to do: a real device plays when it is played."""

    def mix(self, levels: Mapping[str, int]) -> None:
        """Nothing to do: what is sent is softer already."""

    def connected(self) -> bool:
        """Whether the system still lists the device; a port that we made ourselves is there while the system is."""
        if self._watch is not None and not self._watch.alive:
            return False
        return self._virtual or (self._client is not None and self._full in self._system.port_names(self._client))

    def returned(self) -> bool:
        """Whether the system lists a device of this name, under whatever number.

        Never after a JACK server died: the library ends the process that makes a client beside those of a dead server.
        """
        if self._client is None or (self._watch is not None and not self._watch.alive):
            return False
        return any(stable_name(name) == self.name for name in self._system.port_names(self._client))

    @property
    def dropped(self) -> int:
        """Cycles that the system did not finish in time since the port was opened; 0 where it does not say."""
        return 0 if self._watch is None else self._watch.dropped

    def close(self) -> None:
        """Let go of the device; a second call does nothing."""
        client, self._client = self._client, None
        if client is not None:
            with quiet_stderr():  # a client of a dead server complains
                self._system.drop(client)
            if self._watch is not None:
                self._watch.leave()


class PythonRtmidi(_System):
    """Adapter over python-rtmidi."""

    def client(self, inputs: bool) -> Any:
        """A client object; raises the library's own `OSError` where there is no MIDI system."""
        api = getattr(self.library, "API_" + _API_NAMES[self.api]) if self.api else self.library.API_UNSPECIFIED
        if inputs:
            return self.library.MidiIn(api, _CLIENT, QUEUE_LIMIT)
        return self.library.MidiOut(api, _CLIENT)

    def port_names(self, client: Any) -> list[str]:
        """Names that this client can connect to."""
        return list(client.get_ports())

    def drop(self, client: Any) -> None:
        """Close the port and free the client at once: the system's list keeps it otherwise until the object is
        collected."""
        client.close_port()
        client.delete()

    def in_port(self, client: Any, full: str, virtual: bool) -> InPort:
        """An input around an opened client."""
        return _PythonRtmidiIn(self, client, full, virtual)

    def out_port(self, client: Any, full: str, virtual: bool) -> OutPort:
        """An output around an opened client."""
        return _PythonRtmidiOut(self, client, full, virtual)


class _PythonRtmidiIn(_Port):
    """Polled input."""

    def poll(self) -> tuple[bytes, float] | None:
        """The oldest waiting message and the driver's delta in seconds, or None."""
        got = self._client.get_message()
        return None if got is None else (bytes(got[0]), got[1])


class _PythonRtmidiOut(_Port):
    """Output."""

    def send(self, message: bytes) -> None:
        """Send one message now."""
        self._client.send_message(message)


class Rtmidi2(_System):
    """Adapter over rtmidi2, which names and returns things otherwise."""

    def client(self, inputs: bool) -> Any:
        """A client object; raises `OSError` where making one, or a port on it, would end the process or find nobody."""
        _check_answers(self.api, self._api_code())
        if inputs:
            return self.library.MidiIn(_CLIENT, QUEUE_LIMIT, self._api_code())
        return self.library.MidiOut(_CLIENT, self._api_code())

    def _api_code(self) -> int:
        """The library's number of the wanted system."""
        return int(getattr(self.library, "API_" + (_API_NAMES[self.api] if self.api else "UNSPECIFIED")))

    def port_names(self, client: Any) -> list[str]:
        """Names that this client can connect to; the library gives None for a port that vanished while it counted."""
        return [name for name in client.ports if name]

    def in_port(self, client: Any, full: str, virtual: bool) -> InPort:
        """An input around an opened client."""
        return _Rtmidi2In(self, client, full, virtual)

    def out_port(self, client: Any, full: str, virtual: bool) -> OutPort:
        """An output around an opened client."""
        return _Rtmidi2Out(self, client, full, virtual)


class _Rtmidi2In(_Port):
    """Polled input."""

    def poll(self) -> tuple[bytes, float] | None:
        """The oldest waiting message and the driver's delta in seconds, or None."""
        message = self._client.get_message()
        return (bytes(message), self._client.deltatime) if message else None


class _Rtmidi2Out(_Port):
    """Output."""

    def send(self, message: bytes) -> None:
        """Send one message now."""
        self._client.send_raw(*message)


@functools.cache
def _any_jack() -> ctypes.CDLL | None:
    """A JACK library to ask with: the system's, else the one that rtmidi2's wheel brought; None where there is neither."""
    found = importlib.util.find_spec("rtmidi2")
    beside = [] if found is None or found.origin is None else Path(found.origin).parent.glob("rtmidi2.libs/libjack-*")
    for path in beside if prefer_own_jack() is None else ():
        with contextlib.suppress(OSError):
            return ctypes.CDLL(str(path))
    return prefer_own_jack()


def _check_answers(api: str, api_code: int) -> None:
    """Raise `OSError` where nobody answers: rtmidi2 itself then lists nothing, and ends the process when it makes a port."""
    if api == "alsa" and sys.platform.startswith("linux") and not os.path.exists(_SEQUENCER):
        raise OSError(f"there is no {_SEQUENCER}")
    jack = _any_jack() if api == "jack" else None
    if jack is None:
        _probe_once(api_code)
    elif not _server_answers(jack):
        raise OSError("no JACK server answers")


def _server_answers(jack: ctypes.CDLL) -> bool:
    """Whether a JACK server runs, asked by becoming its client for a moment (4 ms); it is never started by that."""
    jack.jack_client_open.restype = ctypes.c_void_p
    no_start, status = 1, ctypes.c_int()  # JackNoStartServer of jack/types.h
    client = jack.jack_client_open(b"heeltap probe", no_start, ctypes.byref(status))
    if client:
        jack.jack_client_close(ctypes.c_void_p(client))
    return bool(client)


@functools.cache
def _probe_once(api_code: int) -> None:
    """The child's answer if it is good, kept: asking costs 0.2 s, and a run opens several ports."""
    probe_in_child(api_code)


def probe_in_child(api_code: int) -> None:
    """Make an rtmidi2 client and a port on it in a child process.

    Raises
    ------
    OSError
        The child died of it, or took more than 5 s.
    """
    code = (
        "from heeltap.devices.rtmidi import prefer_own_jack; prefer_own_jack(); import rtmidi2; "
        f"rtmidi2.MidiIn('heeltap probe', 16, {api_code}).open_virtual_port('probe')"
    )
    try:
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=_PROBE_S, check=False)
    except subprocess.TimeoutExpired:
        raise OSError("asking for devices took more than 5 s") from None
    if done.returncode != 0:
        raise OSError("asking for devices ended the process that asked")
