"""A player in a process of its own: sends notes at known times over a real MIDI port and says when each really left.

Run as ``python -m tests.engine.jack_player``. Reads one JSON line ``{"at_ns": [...], "pitch": [...], "until_ns": 0}``
with times on `time.perf_counter_ns`, and answers with one JSON line ``{"sent_ns": [...], "heard": [[at_ns, [bytes]],
...]}`` when all are sent; ``heard`` is what came in at its own input meanwhile (the click). Before that it prints
``ready``.
"""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from typing import Any

from heeltap.devices.rtmidi import prefer_own_jack
from tests.engine.timing import nap, now_ns

__all__ = ["Player"]

TAIL_S = 0.4
"""How long it keeps its ports after the last note: messages need a turn of the server."""

SILENCE_S = 2.5
"""A player that waited for the first click stays until the click has been silent for so long."""


class Player:
    """The other end, for whoever starts the process."""

    def __init__(self, environment: dict[str, str], *, port: str = "robot") -> None:
        """Start the process and wait until its ports exist: ``NAME:out`` to play, ``NAME-ear:in`` to be played to."""
        self.port = port
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.engine.jack_player", port],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=os.environ | environment,
        )
        assert self._process.stdout is not None
        if self._process.stdout.readline().strip() != "ready":
            raise RuntimeError("the player did not start")

    def play(
        self, at_ns: Sequence[int], pitch: Sequence[int], *, until_ns: int = 0, from_first_click: bool = False
    ) -> None:
        """Let it play, and listen until then at least; returns at once.

        With ``from_first_click`` the times count from the moment at which it first hears something.
        """
        assert self._process.stdin is not None
        self._process.stdin.write(
            json.dumps(
                {
                    "at_ns": list(at_ns),
                    "pitch": list(pitch),
                    "until_ns": until_ns,
                    "from_first_click": from_first_click,
                }
            )
            + "\n"
        )
        self._process.stdin.flush()

    def finish(self) -> tuple[list[int], list[tuple[int, bytes]]]:
        """Wait for the end: when each note left, and what was heard."""
        out, _ = self._process.communicate(timeout=120)
        answer = json.loads(out)
        return answer["sent_ns"], [(at, bytes(data)) for at, data in answer["heard"]]

    def stop(self) -> None:
        """End it, whatever it does."""
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()


def main() -> None:
    """The player's own process."""
    name = sys.argv[1]
    out, ear = clients(name)
    out.open_virtual_port("out")
    ear.ignore_types(True, False, False)
    ear.open_virtual_port("in")
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(49))
    except OSError:
        os.nice(0)
    print("ready", flush=True)
    task = json.loads(sys.stdin.readline())
    sent: list[int] = []
    heard: list[tuple[int, list[int]]] = []
    while task["from_first_click"] and not heard:
        listen(ear, heard)
        nap(0.0005)
    begun_ns = heard[0][0] if task["from_first_click"] else 0
    for at_ns, pitch in zip([begun_ns + at for at in task["at_ns"]], task["pitch"], strict=True):
        while (left := at_ns - now_ns()) > 300_000:
            listen(ear, heard)
            nap(min(left - 200_000, 1_000_000) / 1e9)
        while now_ns() < at_ns:
            pass
        sent.append(now_ns())
        send(out, (0x90, pitch, 90))
    until = max(task["until_ns"], now_ns()) + round(TAIL_S * 1e9)
    while now_ns() < until:
        listen(ear, heard)
        if task["from_first_click"]:
            until = max(until, heard[-1][0] + round(SILENCE_S * 1e9))
        nap(0.001)
    print(json.dumps({"sent_ns": sent, "heard": heard}), flush=True)


def clients(name: str) -> tuple[Any, Any]:
    """An output and an input of whichever library this Python has."""
    prefer_own_jack()
    try:
        import rtmidi
    except ImportError:
        import rtmidi2

        api = rtmidi2.API_UNIX_JACK
        return rtmidi2.MidiOut(name, api), rtmidi2.MidiIn(f"{name}-ear", 4096, api)
    return rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name), rtmidi.MidiIn(rtmidi.API_UNIX_JACK, f"{name}-ear", 4096)


def send(out: Any, message: tuple[int, ...]) -> None:
    """Send one message now."""
    if hasattr(out, "send_raw"):
        out.send_raw(*message)
    else:
        out.send_message(message)


def listen(ear: Any, heard: list[tuple[int, list[int]]]) -> None:
    """Take what has come in; python-rtmidi gives message and delta, rtmidi2 the message."""
    while got := ear.get_message():
        heard.append((now_ns(), list(got[0] if isinstance(got, tuple) else got)))


if __name__ == "__main__":
    main()
