"""Stand-ins for what sounds: a room where playbacks are written down instead of heard, without an engine."""

import threading
from collections.abc import Callable
from pathlib import Path

from heeltap.app.listen.playback import heard
from heeltap.app.takes.load_scored_inputs import score_inputs, scored_inputs_of
from heeltap.errors import PortError
from heeltap.files.takes.folder import load_take
from heeltap.model.messages import Schedule

__all__ = ["Heard", "Room", "heard_take", "settled"]


def heard_take(folder: Path, *, moved: bool = False) -> Schedule:
    """A kept take from its folder, as it was played or with every stroke where it belongs."""
    take = load_take(folder)
    return heard(take, score_inputs(scored_inputs_of(take)) if moved else None)


class Heard:
    """One stand-in playback; a test moves its time and ends it."""

    def __init__(
        self, room: "Room", schedule: Schedule, out_port: str | None, from_us: int | None, *, moved: bool
    ) -> None:
        self._room, self.moved = room, moved
        self.schedule, self.out_port, self.from_us = schedule, out_port, from_us
        self.now_us = -2_000_000 if from_us is None else from_us
        self.over, self.problem, self.stops, self.turns = False, "", 0, 0

    def turn(self) -> None:
        """As the real one."""
        self.turns += 1

    def hear(self, *, moved: bool) -> None:
        """Go over to the other version."""
        self.moved = moved

    def stop(self) -> None:
        """Silence; counted, and the output is free from now on."""
        self.stops += 1
        if self.stops == 1:
            with self._room.lock:
                self._room.open_now -= 1


class Room:
    """Opens stand-ins in place of `heeltap.app.listen.playback.Playback`: ``monkeypatch.setattr(..., "Playback", room.open)``."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        """What was opened, in order."""
        self.most = 0
        """Most that were open at one time."""
        self.open_now = 0
        self.broken = ""
        """The words of the `PortError` that opening raises; empty for none."""
        self.takes_none = False
        """Whether no output will do: for a drill whose takes are to sound nowhere."""
        self.gate = threading.Event()
        """Opening waits for it."""
        self.gate.set()
        self.waiting = threading.Event()
        """Set as soon as something is being opened."""
        self.lock = threading.Lock()

    def open(
        self, schedule: Schedule, out_port: str | None, *, from_us: int | None = None, moved: bool = False
    ) -> Heard:
        """As the real one starts."""
        self.waiting.set()
        assert self.gate.wait(10.0)
        if self.broken or (out_port is None and not self.takes_none):
            raise PortError(self.broken or "listening: no output")
        heard = Heard(self, schedule, out_port, from_us, moved=moved)
        with self.lock:
            self.open_now += 1
            self.most = max(self.most, self.open_now)
        self.heard.append(heard)
        return heard

    @property
    def last(self) -> Heard:
        """What was opened last."""
        return self.heard[-1]


def settled(met: Callable[[], bool], seconds: float = 10.0) -> None:
    """Wait for something that a thread does; fails where it never happens."""
    pause = threading.Event()
    for _ in range(int(seconds / 0.005)):
        if met():
            return
        pause.wait(0.005)
    raise AssertionError("it never happened")
