"""The computer's keyboard as a pad, for trying things out without an instrument.

A terminal says that a key went down, not when, nor how hard, nor when it was let go. Whoever reads the terminal stamps
the key on arrival and passes it on. What lies before that: the keyboard's own scanning and debouncing, the system, the
terminal program, the screen's event loop. Together tens of milliseconds, and not always the same (`UNCERTAINTY_MS`:
common experience, no source; not measured on your machine). Fine for finding your way about, not for judging your timing.

Inside: `KEYS`, `key_message`, `KeysInPort`, `UNCERTAINTY_MS`.
"""

from collections import deque

__all__ = ["KEYS", "UNCERTAINTY_MS", "KeysInPort", "key_message"]

UNCERTAINTY_MS = 20.0
"""Plus or minus. Shown beside every number that comes from these keys."""

_LOUDNESS = 80
"""Every key is equally loud: a terminal does not know."""

KEYS = {
    " ": 38,
    "f": 36,
    "j": 38,
    "d": 42,
    "k": 42,
    "s": 46,
    "l": 51,
    "a": 45,
    ";": 49,
}
"""Keys and the General MIDI percussion they play: space and j snare, f kick, d and k closed hat, s open hat, l ride,
..."""


def key_message(key: str) -> bytes | None:
    """The note-on that a key plays on channel 10; None for a key that plays nothing. There is never a note-off."""
    pitch = KEYS.get(key.lower())
    return None if pitch is None else bytes((0x99, pitch, _LOUDNESS))


class KeysInPort:
    """Messages that somebody else read and stamped; the stamps must not run backwards."""

    def __init__(self, *, name: str = "keys") -> None:
        self.name = name
        self.stamped_ns: int | None = None
        self.dropped = 0
        self._waiting: deque[tuple[bytes, int]] = deque()
        self._before_ns: int | None = None

    def feed(self, message: bytes, at_ns: int) -> None:
        """One key, stamped on the engine's clock by whoever read the terminal."""
        self._waiting.append((message, at_ns))

    def begin(self, zero_ns: int) -> None:
        """Nothing to do."""

    def poll(self) -> tuple[bytes, float] | None:
        """The oldest waiting key and the seconds since the one before (0 for the first), or None."""
        if not self._waiting:
            return None
        message, at_ns = self._waiting.popleft()
        delta_s = 0.0 if self._before_ns is None else (at_ns - self._before_ns) / 1e9
        self._before_ns = self.stamped_ns = at_ns
        return message, delta_s

    def connected(self) -> bool:
        """Always."""
        return True

    def returned(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""
