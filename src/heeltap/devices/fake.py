"""A scripted player in place of a device: messages at known times, the same at every run.

Each message comes out when the engine's clock reaches it, with the exact time since the message before. The port knows
when each was played (`FakeInPort.stamped_ns`), so what is measured does not depend on when the engine came round to
asking: a drill played through it gives the same numbers as scoring the file that the script was made of.

Inside: `script_from_notes`, `FakeInPort`, `FakeOutPort`.
"""

from collections.abc import Callable, Mapping

import numpy as np

from heeltap.model.messages import Schedule
from heeltap.model.notes import Notes

__all__ = ["FakeInPort", "FakeOutPort", "script_from_notes"]


def script_from_notes(notes: Notes) -> Schedule:
    """The messages that a device would have sent for these notes: note-ons, and note-offs where the table knows them.

    ``notes.onset_us`` counts from bar 1, beat 1. A note-off that falls on the next note-on of its key goes out before
    it.
    """
    rows = []
    for at, pitch, velocity, channel, length in zip(
        notes.onset_us.tolist(),
        notes.pitch.tolist(),
        notes.velocity.tolist(),
        notes.channel.tolist(),
        notes.duration_us.tolist(),
        strict=True,
    ):
        rows.append((at, 1, bytes((0x90 | channel, pitch, velocity)), "on"))
        if length >= 0:
            # An off of a zero-length note stays behind its own on.
            rows.append((at + length, 0 if length else 2, bytes((0x80 | channel, pitch, 0)), "off"))
    rows.sort(key=lambda row: row[:2])
    return Schedule(
        np.array([row[0] for row in rows], dtype=np.int64),
        tuple(row[2] for row in rows),
        tuple(row[3] for row in rows),
        max((row[0] for row in rows), default=0),
    )


class FakeInPort:
    """Plays a script against the engine's clock."""

    def __init__(self, script: Schedule, now_ns: Callable[[], int], *, name: str = "fake") -> None:
        """Nothing is due before `begin` says when zero is.

        Parameters
        ----------
        script : Schedule
            Due times are microseconds from bar 1, beat 1.
        now_ns : callable
            The engine's clock.
        name : str
            For the journal and the screen.
        """
        self.name = name
        self.stamped_ns: int | None = None
        self.dropped = 0
        """Cycles that the system dropped; a test counts them up."""
        self._due_ns = [due * 1000 for due in script.due_us.tolist()]
        self._messages, self._now_ns = script.messages, now_ns
        self._next, self._zero_ns, self._begun = 0, 0, False
        self._lost = False

    def begin(self, zero_ns: int) -> None:
        """Bar 1, beat 1 falls at this moment. Moved in the middle of a take, the script goes on from where the plan then is:
        what is played again is played again."""
        if self._begun:
            now_us = (self._now_ns() - zero_ns) // 1000
            self._next = next(
                (i for i, due_ns in enumerate(self._due_ns) if due_ns >= now_us * 1000), len(self._due_ns)
            )
        self._zero_ns, self._begun = zero_ns, True

    def poll(self) -> tuple[bytes, float] | None:
        """The next message whose time has come, with the exact seconds since the one before (0 for the first)."""
        i = self._next
        if not self._begun or self._lost or i >= len(self._due_ns):
            return None
        at_ns = self._zero_ns + self._due_ns[i]
        if at_ns > self._now_ns():
            return None
        self._next = i + 1
        self.stamped_ns = at_ns
        return self._messages[i], (self._due_ns[i] - self._due_ns[i - 1]) / 1e9 if i else 0.0

    def connected(self) -> bool:
        """True, unless a test pulled the cable with `lose`."""
        return not self._lost

    def returned(self) -> bool:
        """Whether the cable is back."""
        return not self._lost

    def lose(self, lost: bool = True) -> None:
        """Pull the cable, or put it back; what was due in between is gone, as with a real one."""
        if self._lost and not lost:
            now = self._now_ns() - self._zero_ns
            while self._next < len(self._due_ns) and self._due_ns[self._next] <= now:
                self._next += 1
        self._lost = lost

    def close(self) -> None:
        """Nothing to let go of."""


class FakeOutPort:
    """Keeps what was sent, and when."""

    def __init__(self, now_ns: Callable[[], int], *, name: str = "fake") -> None:
        self.name = name
        self.sent: list[tuple[int, bytes]] = []
        """Moment in ns on the engine's clock, and the message."""
        self.closed = self.lost = False
        self.lag_us = 0
        self._now_ns = now_ns

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Nothing to do."""

    def mix(self, levels: Mapping[str, int]) -> None:
        """Nothing to do."""

    def send(self, message: bytes) -> None:
        """Keep one message."""
        self.sent.append((self._now_ns(), message))

    def connected(self) -> bool:
        """True, unless a test set ``lost``."""
        return not self.lost

    def returned(self) -> bool:
        """True, unless a test set ``lost``."""
        return not self.lost

    def close(self) -> None:
        """Remember that it was closed."""
        self.closed = True
