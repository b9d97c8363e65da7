"""The computer's own sound, as far as calibrating needs it: a recording of one microphone, and which buffer is in use.

The recording comes through sounddevice, which is installed with us where it can be; nothing is imported before it is used.

Inside: `Recorder`, `Recording`, `Microphone`, `record`, `sound_buffer`.
"""

import multiprocessing
import os
import re
import shutil
import signal
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from heeltap.errors import PortError, sentence
from heeltap.model.arrays import FloatArray

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

__all__ = ["Microphone", "Recorder", "Recording", "record", "sound_buffer"]

_ANSWER_S = 20.0
"""How long the process that records may take: it loads a library and opens a device."""

_ASK_S = 2.0
"""How long the JACK server may take to answer."""


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What a microphone heard."""

    wave: FloatArray
    """One channel, full scale is 1."""
    rate_hz: float
    holes: tuple[float, ...]
    """Where the system lost some of it, seconds from the start: what comes after a hole is too early by its length."""


class Recorder(Protocol):
    """Something that records (`Microphone` is one)."""

    name: str
    """As the system calls it."""

    def start(self) -> None:
        """Begin."""

    def stop(self) -> Recording:
        """End, and return everything since `start`."""


class Microphone:
    """A recorder on a real sound device, in a process of its own: nothing else there keeps its callback waiting."""

    def __init__(self, device: str | None = None) -> None:
        """Open it.

        Parameters
        ----------
        device : str, optional
            Name or part of the name of a sound input; the system's own choice where not given.

        Raises
        ------
        PortError
            The extra ``audio`` is not installed, there is no such device, or it cannot be opened.
        """
        self._wire = _in_process(device)
        self.name, self._rate_hz = self._answer()

    def start(self) -> None:
        """Begin; raises `PortError` when the device refuses."""
        self._wire.send("start")
        self._answer()

    def stop(self) -> Recording:
        """End, let go of the device, and return everything since `start`; raises `PortError` when it went away."""
        self._wire.send("stop")
        data, holes = self._answer()
        wave = np.frombuffer(data, dtype=np.float32).astype(np.float64)
        return Recording(wave, self._rate_hz, tuple(frame / self._rate_hz for frame in holes))

    def _answer(self) -> Any:
        """What the other process says; raises `PortError` with its words."""
        try:
            if self._wire.poll(_ANSWER_S):
                kind, what = self._wire.recv()
                if kind == "error":
                    raise PortError(what)
                return what
        except (EOFError, ConnectionError):
            pass
        raise PortError(sentence("microphone", "the process that records does not answer"))


def _in_process(device: str | None) -> "Connection":
    """Start the process that records; our end of the wire to it."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    context.Process(target=_process, args=(device, theirs), name="heeltap microphone", daemon=True).start()
    theirs.close()
    return ours


def _process(device: str | None, wire: "Connection") -> None:
    """What the process of `Microphone` runs: Ctrl-C is meant for whoever started it, who then closes the wire."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    record(device, wire)


def record(device: str | None, wire: "Connection") -> None:
    """Record between the words ``start`` and ``stop``.

    Answers each with ``(kind, what)``: ``("ready", (name, rate))``, ``("started", None)``, ``("done", (bytes, holes))``,
    or ``("error", sentence)`` and ends.
    """
    try:
        library = _library()
    except PortError as error:
        wire.send(("error", str(error)))
        return
    try:
        _record(library, device, wire)
    except (EOFError, ConnectionError):  # nobody is left to record for
        pass
    except (ValueError, OSError, library.PortAudioError) as error:
        where = f"microphone '{device}'" if device else "microphone"
        hint = "python -m sounddevice lists what there is"
        wire.send(("error", sentence(where, f"cannot be used: {error}", "a sound input", hint)))


def _record(library: Any, device: str | None, wire: "Connection") -> None:
    """Open, say so, record, hand over."""
    blocks: list[bytes] = []
    holes: list[int] = []
    frames = [0]

    def keep(block: Any, count: int, _time: Any, status: Any) -> None:
        """Keep one block; runs in the sound system's thread."""
        if status.input_overflow:
            holes.append(frames[0])
        blocks.append(block.tobytes())
        frames[0] += count

    found = library.query_devices(device, "input")
    rate_hz = float(found["default_samplerate"])
    stream = library.InputStream(
        device=device, channels=1, samplerate=rate_hz, dtype="float32", latency="high", callback=keep
    )
    try:
        wire.send(("ready", (str(found["name"]), rate_hz)))
        wire.recv()
        stream.start()
        wire.send(("started", None))
        wire.recv()
        stream.stop()
        wire.send(("done", (b"".join(blocks), holes)))
    finally:
        stream.close()


def _library() -> Any:
    """The module sounddevice; raises `PortError` with the way to install it."""
    try:
        import sounddevice
    except ImportError:
        hint = "pip install sounddevice"
        raise PortError(sentence("microphone", "sounddevice is not installed", hint=hint)) from None
    except OSError as error:  # the Python half is there, the C library is not
        hint = "on Debian: apt install libportaudio2"
        raise PortError(sentence("microphone", f"no sound library: {error}", "PortAudio", hint)) from None
    return sounddevice


def sound_buffer() -> str:
    """The buffer of the JACK server that runs, such as ``128 frames at 48000 Hz``; empty where none answers.

    Other systems give every program a buffer of its own, which cannot be asked for.
    """
    frames = _asked("jack_bufsize")
    if not frames:
        return ""
    rate_hz = _asked("jack_samplerate")
    return f"{frames} frames" + (f" at {rate_hz} Hz" if rate_hz else "")


def _asked(tool: str) -> str:
    """The first number that one of JACK's small tools prints; empty where there is no tool, server or answer."""
    path = shutil.which(tool)
    if path is None:
        return ""
    try:
        done = subprocess.run(
            [path],
            env=os.environ | {"JACK_NO_START_SERVER": "1"},
            capture_output=True,
            text=True,
            timeout=_ASK_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    found = re.search(r"\d+", done.stdout) if done.returncode == 0 else None
    return found[0] if found else ""
