"""The only place that reads time or waits.

Every moment is a whole number of nanoseconds of one clock, `time.perf_counter_ns`: monotonic, and on Linux, macOS and
Windows the same in every process. The wall clock gives takes their date and is used for nothing else: it can be set
back an hour in the middle of a take.

Inside: `Clock` (protocol), `SystemClock`, `FakeClock`, `wall_now`.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Protocol

__all__ = ["SPIN_NS", "Clock", "FakeClock", "SystemClock", "wall_now"]

SPIN_NS = 400_000
"""The last stretch before a deadline is spent spinning. Waking from sleep costs 0.03-0.1 ms at p99 with real-time
scheduling, 0.1-0.4 without (1,500 sleeps of 1 ms, measured); 0.4 ms covers both and is 0.1 % of a core at 120 clicks a
minute."""


class Clock(Protocol):
    """What the engine knows of time."""

    def now_ns(self) -> int:
        """This moment, nanoseconds of a clock that never runs back."""

    def sleep_until_ns(self, due_ns: int) -> None:
        """Sleep until about then: never back earlier, mostly within 0.1 ms."""

    def wait_until_ns(self, due_ns: int) -> None:
        """Wait until then as exactly as the machine can, spinning at the end."""


class SystemClock:
    """The machine's own."""

    now_ns = staticmethod(time.perf_counter_ns)

    def sleep_until_ns(self, due_ns: int) -> None:
        """Sleep until about then.

        Since Python 3.11 `time.sleep` is itself an absolute `clock_nanosleep` on Linux; called directly through ctypes
        it was no more exact (p50 0.077 against 0.076 ms, p99 0.10 against 0.11, 1,500 sleeps).
        """
        left_ns = due_ns - time.perf_counter_ns()
        if left_ns > 0:
            time.sleep(left_ns / 1e9)

    def wait_until_ns(self, due_ns: int) -> None:
        """Sleep until `SPIN_NS` before then, and spin the rest."""
        self.sleep_until_ns(due_ns - SPIN_NS)
        while time.perf_counter_ns() < due_ns:
            pass


class FakeClock:
    """A clock that stands still until somebody waits on it; waiting costs no time."""

    def __init__(self, now_ns: int = 1_000_000_000_000, *, on_wait: Callable[[int], None] | None = None) -> None:
        """Start at a moment.

        Parameters
        ----------
        now_ns : int
            Where it stands.
        on_wait : callable, optional
            Called with the new time after every wait: a test's way to let things happen at a given moment.
        """
        self._now_ns, self._on_wait = now_ns, on_wait

    def now_ns(self) -> int:
        """Where it stands."""
        return self._now_ns

    def advance(self, by_ns: int) -> None:
        """Let time pass, as if the process had been held up."""
        self._now_ns += by_ns

    def sleep_until_ns(self, due_ns: int) -> None:
        """Be there at once."""
        self._now_ns = max(self._now_ns, due_ns)
        if self._on_wait is not None:
            self._on_wait(self._now_ns)

    wait_until_ns = sleep_until_ns


def wall_now() -> datetime:
    """Date and time of day with the local offset, for the date on a take."""
    return datetime.now(UTC).astimezone()
