"""When a sample of a sound stream is heard, on our own clock.

The sound system asks for blocks of samples, each a known number of samples after the one before, but the moment at
which its question reaches us is late by however long we were held up, and never early. So the smallest ``moment -
samples / rate`` of the last ten seconds says where the stream lies, as with the deltas of a MIDI driver; what the system
says of its own delay until the sample is heard is added.

Inside: `StreamTime`.
"""

from collections import deque

__all__ = ["StreamTime"]

_WINDOW_NS = 10_000_000_000
"""Quartz in sound cards and computers differs by up to 100 ppm, 1 ms in this window."""

_JUMP_NS = 1_500_000
"""A rise of this size, less than the shortest usual block, that lasts ..."""

_LASTS_NS = 500_000_000
"""... as long as this is no hold-up: the device stood still, and everything after that is later. A JACK server that was
late by 11 ms at its start went unnoticed with a limit of 20 ms."""


class StreamTime:
    """The place of one stream on our clock."""

    def __init__(self, rate_hz: float) -> None:
        self._ns_per_frame = 1e9 / rate_hz
        self._lowest: deque[tuple[int, float]] = deque()
        self._risen_ns: int | None = None
        self._least_risen = 0.0
        self.restarts = 0
        """How often the stream lost so much that it was placed anew."""

    def hear(self, frame: int, asked_ns: int, lead_ns: float) -> None:
        """Take in that a block was asked for.

        Parameters
        ----------
        frame : int
            Samples of the stream before this block.
        asked_ns : int
            When the question reached us.
        lead_ns : float
            What the system says of the time until the block's first sample is heard.
        """
        start = asked_ns + lead_ns - frame * self._ns_per_frame
        if self._lowest and start > self._lowest[0][1] + _JUMP_NS:
            self._rise(asked_ns, start)
        else:
            self._risen_ns = None
        while self._lowest and self._lowest[-1][1] >= start:
            self._lowest.pop()
        self._lowest.append((asked_ns, start))
        while self._lowest[0][0] < asked_ns - _WINDOW_NS:
            self._lowest.popleft()

    def _rise(self, asked_ns: int, start: float) -> None:
        """Forget what was before once a rise has lasted."""
        if self._risen_ns is None:
            self._risen_ns, self._least_risen = asked_ns, start
        self._least_risen = min(self._least_risen, start)
        if asked_ns - self._risen_ns >= _LASTS_NS:
            self._lowest = deque(pair for pair in self._lowest if pair[0] >= self._risen_ns)
            self._risen_ns = None
            self.restarts += 1

    @property
    def start_ns(self) -> float:
        """When sample 0 of the stream was heard, or would have been; meaningless before the first `hear`."""
        return self._lowest[0][1] if self._lowest else 0.0

    def frame_at(self, at_ns: int) -> float:
        """The sample that is heard at a moment."""
        return (at_ns - self.start_ns) / self._ns_per_frame
