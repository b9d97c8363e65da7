"""A JACK server without sound hardware: a real MIDI route for tests and measurements on any Linux machine.

The dummy driver turns over on a timer. Real-time scheduling where it is granted, else synchronous mode without it
(which loses no note). Everything that takes part must see `Server.environment`. End it by `Server.stop`, or use it in a
``with``.
"""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from heeltap.files.lock import Lock, try_lock
from tests.engine.timing import nap, now_ns

__all__ = ["Server", "server_missing"]


def server_missing() -> str:
    """Why there can be no server here; empty when there can."""
    missing = [tool for tool in ("jackd", "jack_lsp") if shutil.which(tool) is None]
    return f"needs {' and '.join(missing)} (Debian: jackd2)" if missing else ""


def real_time_granted() -> bool:
    """Whether this user may run real-time threads."""
    chrt = shutil.which("chrt")
    return (
        chrt is not None
        and subprocess.run([chrt, "-f", "50", "true"], capture_output=True, check=False).returncode == 0
    )


def _free_name() -> tuple[str, Lock]:
    """A name that no running test uses, and the lock that keeps it.

    A server that ends after one of its clients was killed dies of SIGPIPE and leaves its name in a registry that holds
    eight; only a server of the same name clears it. So names are few and used again.
    """
    for number in range(6):
        name = f"heeltap-test-{number}"
        lock = try_lock(Path(tempfile.gettempdir()) / f"{name}.lock")
        if lock is not None:
            return name, lock
    raise RuntimeError("six test servers run already")


class Server:
    """One running server with a name of its own."""

    def __init__(self, *, period: int = 128) -> None:
        """Start it and wait until it answers, at most 10 s.

        Parameters
        ----------
        period : int
            Frames a turn at 48 kHz: 128 is 2.67 ms, 16 is 0.33 ms. Messages are moved once a turn.
        """
        self.name, self._lock = _free_name()
        self.real_time = real_time_granted()
        self.environment = {
            "JACK_DEFAULT_SERVER": self.name,
            "JACK_NO_AUDIO_RESERVATION": "1",
            "JACK_NO_START_SERVER": "1",
        }
        turns = ["-R", "-P", "70", "-S"] if self.real_time else ["--no-realtime", "-S"]
        driver = ["-d", "dummy", "-r", "48000", "-p", str(period)]
        self._process = subprocess.Popen(
            ["jackd", *turns, "--port-max", "64", "-n", self.name, *driver],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=os.environ | self.environment,
        )
        until = now_ns() + 10_000_000_000
        while not self._answers():
            if now_ns() > until or self._process.poll() is not None:
                self.stop()
                raise RuntimeError("jackd did not start")
            nap(0.05)

    def _answers(self) -> bool:
        done = subprocess.run(
            ["timeout", "2", "jack_lsp"], env=os.environ | self.environment, capture_output=True, check=False
        )
        return done.returncode == 0

    @property
    def pid(self) -> int:
        """Its process."""
        return self._process.pid

    def stop(self) -> None:
        """End it; a second call does nothing."""
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(5)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        self._lock.release()

    def __enter__(self) -> "Server":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
