"""An output that comes back as an input: what a self-test listens to.

Through the system's MIDI: an input of our own making, which the output then connects to like to any device. Inside this
process only: a queue, whose driver's delta is the time between sends. The second knows nothing of drivers; it is for
systems without virtual ports, and tests the engine alone.

Inside: `VIRTUAL`, `INSIDE`, `open_loop`.
"""

import os
from collections import deque
from collections.abc import Callable, Mapping

from heeltap.devices.protocols import InPort, OutPort
from heeltap.devices.systems import midi_system, open_in, open_out
from heeltap.errors import PortError, sentence
from heeltap.model.messages import Schedule

__all__ = ["INSIDE", "VIRTUAL", "open_loop"]

VIRTUAL, INSIDE = "virtual", "inside"


def open_loop(kind: str, now_ns: Callable[[], int], *, api: str = "") -> tuple[InPort, OutPort]:
    """The two ends of a loop.

    Parameters
    ----------
    kind : str
        `VIRTUAL` or `INSIDE`.
    now_ns : callable
        The engine's clock.
    api : str
        One of `heeltap.devices.systems.APIS`.

    Raises
    ------
    PortError
        The system has no MIDI, or no virtual ports.
    """
    if kind == INSIDE:
        loop = _Inside(now_ns)
        return loop, loop
    name = f"heeltap loop {os.getpid()}"
    ear = open_in(name, api=api, virtual=True)
    try:
        listed = [full for full in midi_system(api).names(inputs=False) if name in full]
        if not listed:
            raise PortError(sentence(f"MIDI port '{name}'", "was made, but is not listed", "it to be listed"))
        return ear, open_out(listed[0], api=api)
    except PortError:
        ear.close()
        raise


class _Inside:
    """Both ends in one: what is sent waits to be polled."""

    def __init__(self, now_ns: Callable[[], int]) -> None:
        self.name = "inside heeltap"
        self.stamped_ns: int | None = None
        self.lag_us = self.dropped = 0
        self._now_ns = now_ns
        self._waiting: deque[tuple[bytes, int]] = deque()
        self._before_ns: int | None = None

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Nothing to do."""

    def mix(self, levels: Mapping[str, int]) -> None:
        """Nothing to do."""

    def send(self, message: bytes) -> None:
        """Let a message wait."""
        self._waiting.append((message, self._now_ns()))

    def poll(self) -> tuple[bytes, float] | None:
        """The oldest waiting message and the seconds between its sending and the one before (0 for the first)."""
        if not self._waiting:
            return None
        message, at_ns = self._waiting.popleft()
        delta_s = 0.0 if self._before_ns is None else (at_ns - self._before_ns) / 1e9
        self._before_ns = at_ns
        return message, delta_s

    def connected(self) -> bool:
        """Always."""
        return True

    def returned(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""
