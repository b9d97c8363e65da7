"""Deadlines: what is due when, and what came too late. Pure arithmetic, no clock.

A deadline is always computed from the one start, never from the deadline before, so nothing adds up: the click of
minute ten is as exact as the first.

Inside: `nth_due_ns`, `Pulse`, `late_clicks`, `LATE_US`, `DISTURBS_US`, `SKIP_US`.
"""

import numpy as np

from heeltap.model.arrays import BoolArray, IntArray

__all__ = ["DISTURBS_US", "LATE_US", "SKIP_US", "Pulse", "late_clicks", "nth_due_ns"]

LATE_US = 2_000
"""A click that left later than this is marked: 2 ms is a third of the least JND of timing."""

DISTURBS_US = 5_000
"""A click that left so late, and that the player plays to, may have moved the strokes beside it: they are left out. A shift of
less is not heard in a row of beats (Friberg & Sundberg, 1995, J. Acoust. Soc. Am. 98, 2524-2531: 6 ms at the least)."""

SKIP_US = 50_000
"""A click that could only leave later than this is not played: a wrong click is worse than none."""


def nth_due_ns(start_ns: int, k: int, *, us_per_quarter: int, clicks_per_quarter: int = 1) -> int:
    """When click ``k`` (from 0) of a steady tempo is due, rounded half up to the nanosecond, in whole numbers only.

    >>> nth_due_ns(0, 3, us_per_quarter=500_000, clicks_per_quarter=3)
    500000000
    """
    return start_ns + (2 * k * us_per_quarter * 1000 + clicks_per_quarter) // (2 * clicks_per_quarter)


class Pulse:
    """A place in a list of deadlines."""

    def __init__(self, due_us: IntArray, zero_ns: int) -> None:
        """Deadlines ``zero_ns + 1000 * due_us``, not decreasing."""
        self._due_ns = [zero_ns + due * 1000 for due in due_us.tolist()]
        self._next = 0

    @property
    def next_ns(self) -> int | None:
        """The next deadline; None after the last."""
        return self._due_ns[self._next] if self._next < len(self._due_ns) else None

    def take(self, now_ns: int) -> range:
        """Indices of everything due by now and not taken before."""
        first = self._next
        while self._next < len(self._due_ns) and self._due_ns[self._next] <= now_ns:
            self._next += 1
        return range(first, self._next)


def late_clicks(due_us: IntArray, sent_us: IntArray, *, limit_us: int = LATE_US) -> BoolArray:
    """Which clicks left more than ``limit_us`` after they were due, or never left."""
    return np.asarray(sent_us - due_us > limit_us, dtype=np.bool_)
