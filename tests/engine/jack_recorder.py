"""Recording what another JACK client plays, each sample on the clock of the engine, in a process of its own.

Run as ``python -m tests.engine.jack_recorder CLIENT FILE``: prints ``ready``, records until a line comes in, and writes the
samples and the moments of the blocks to FILE. Python in the sound system's thread waits for the interpreter's lock, so
nothing else runs in this process.
"""

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np

from heeltap.model.arrays import FloatArray
from heeltap.sound.stream_time import StreamTime
from tests.engine.timing import now_ns

__all__ = ["RATE_HZ", "Recorder", "library_missing", "onsets"]

RATE_HZ = 48_000


def library_missing() -> str:
    """Why nothing can be recorded here; empty when it can."""
    try:
        import sounddevice  # noqa: F401
    except (ImportError, OSError):
        return "needs sounddevice and PortAudio (Debian: libportaudio2)"
    return ""


class Recorder:
    """The recording process, as seen by whoever starts it."""

    def __init__(self, client: str, environment: dict[str, str], folder: Path) -> None:
        """Record the first channel of this client from now on."""
        self._file = folder / "recording.npz"
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.engine.jack_recorder", client, str(self._file)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=environment,
        )
        assert self._process.stdout is not None
        if self._process.stdout.readline().strip() != "ready":
            raise RuntimeError("the recorder did not start")

    def stop(self) -> tuple[FloatArray, float, int]:
        """Everything heard, when its first sample was (ns), and how often samples were lost."""
        self._process.communicate("stop\n", timeout=20)
        kept = np.load(self._file)
        time = StreamTime(RATE_HZ)
        for frame, at in zip(kept["frame"].tolist(), kept["at_ns"].tolist(), strict=True):
            time.hear(frame, at, 0)
        return kept["wave"].astype(np.float64), time.start_ns, int(kept["holes"]) + time.restarts

    def kill(self) -> None:
        """End it, whatever it does."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.communicate()


def onsets(wave: FloatArray, *, quiet_s: float = 0.05, share: float = 0.1) -> FloatArray:
    """The samples at which sounds begin: a tenth of the loudest is passed after a silence."""
    loud = np.flatnonzero(np.abs(wave) > share * np.max(np.abs(wave)))
    return np.asarray(loud[np.diff(loud, prepend=-RATE_HZ) > quiet_s * RATE_HZ], dtype=np.float64)


def main() -> None:
    """The recorder's own process."""
    import gc

    import sounddevice

    frames, moments, blocks, holes = [0], [], [], [0]

    def keep(block: Any, count: int, _time: Any, status: Any) -> None:
        moments.append((frames[0], now_ns()))
        blocks.append(block[:, 0].copy())
        frames[0] += count
        holes[0] += bool(status.input_overflow)

    stream = sounddevice.InputStream(
        device=sys.argv[1], channels=1, samplerate=RATE_HZ, dtype="float32", latency="low", callback=keep
    )
    gc.disable()
    stream.start()
    print("ready", flush=True)
    sys.stdin.readline()
    stream.stop()
    stream.close()
    frame, at_ns = (np.array([moment[k] for moment in moments]) for k in (0, 1))
    np.savez(sys.argv[2], wave=np.concatenate(blocks), frame=frame, at_ns=at_ns, holes=holes[0])


if __name__ == "__main__":
    main()
