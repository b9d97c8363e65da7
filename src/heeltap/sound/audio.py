"""The computer's own sound, as far as calibrating needs it: a recording of one microphone, and which buffer is in use.

The recording comes through sounddevice, which the extra ``audio`` installs; nothing is imported before it is used.

Inside: `Recorder`, `Recording`, `Microphone`, `sound_buffer`.
"""

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from heeltap.core.arrays import FloatArray
from heeltap.errors import PortError, sentence

__all__ = ["Microphone", "Recorder", "Recording", "sound_buffer"]

_ASK_S = 2.0
"""How long the JACK server may take to answer."""


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What a microphone heard."""

    wave: FloatArray
    """One channel, full scale is 1."""
    rate_hz: float
    device: str
    holes: int
    """How often the system lost some of it: times after a hole are wrong."""


class Recorder(Protocol):
    """Something that records (`Microphone` is one)."""

    def start(self) -> None:
        """Begin."""

    def stop(self) -> Recording:
        """End, and return everything since `start`."""


class Microphone:
    """A recorder on a real sound device."""

    def __init__(self, device: str | None = None) -> None:
        """Open it.

        Parameters
        ----------
        device : str, optional
            Name or beginning of a name of a sound input; the system's own choice where not given.

        Raises
        ------
        PortError
            The extra ``audio`` is not installed, there is no such device, or it cannot be opened.
        """
        library = _library()
        self._blocks: list[FloatArray] = []
        self._holes = 0
        where = f"microphone '{device}'" if device else "microphone"
        try:
            found = library.query_devices(device, "input")
            self.name = str(found["name"])
            """As the system calls it."""
            self._stream = library.InputStream(
                device=device,
                channels=1,
                samplerate=found["default_samplerate"],
                dtype="float32",
                callback=self._keep,
            )
        except (ValueError, library.PortAudioError) as error:
            hint = "python -m sounddevice lists what there is"
            raise PortError(sentence(where, f"cannot be opened: {error}", "a sound input", hint)) from error

    def _keep(self, block: Any, _frames: int, _time: Any, status: Any) -> None:
        """Keep one block; runs in the sound system's thread."""
        self._blocks.append(block[:, 0].astype(np.float64))
        self._holes += bool(status.input_overflow)

    def start(self) -> None:
        """Begin."""
        self._stream.start()

    def stop(self) -> Recording:
        """End, let go of the device, and return everything since `start`."""
        self._stream.stop()
        rate_hz = float(self._stream.samplerate)
        self._stream.close()
        wave = np.concatenate(self._blocks) if self._blocks else np.zeros(0)
        return Recording(wave, rate_hz, self.name, self._holes)


def _library() -> Any:
    """The module sounddevice; raises `PortError` with the way to install it."""
    try:
        import sounddevice
    except ImportError:
        hint = "pip install 'heeltap[audio]'"
        raise PortError(sentence("microphone", "sounddevice is not installed", "the extra 'audio'", hint)) from None
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
