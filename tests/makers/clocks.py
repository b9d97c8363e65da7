"""MIDI clocks of other devices, whose true times are known, and players who keep to them."""

from collections.abc import Sequence

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.messages import Schedule, merge

__all__ = ["KINDS", "clock_messages", "clock_times", "notes_on_clock"]

KINDS = ("steady", "drift", "step", "wave")


def clock_times(kind: str, count: int, *, us_per_quarter: float = 500_000.0) -> FloatArray:
    """When each of so many clocks is meant, microseconds from the first.

    ``drift`` becomes 10 % faster over its length, ``step`` 5 % faster in the middle, ``wave`` goes 2 % up and down every
    16 quarters.
    """
    period = np.full(count, us_per_quarter / 24)
    if kind == "drift":
        period *= np.linspace(1.0, 0.9, count)
    elif kind == "step":
        period[count // 2 :] *= 0.95
    elif kind == "wave":
        period *= 1 + 0.02 * np.sin(2 * np.pi * np.arange(count) / (24 * 16))
    return np.concatenate([np.zeros(1), np.cumsum(period)[:-1]])


def clock_messages(at_us: FloatArray, *, start_us: int | None = None) -> Schedule:
    """Clocks as a device sends them, and its start just before the first at or after ``start_us``."""
    due = np.sort(np.rint(at_us)).astype(np.int64)
    clock = Schedule(due, (b"\xf8",) * due.size, ("clock",) * due.size, int(due[-1]))
    if start_us is None:
        return clock
    at = int(due[np.searchsorted(due, start_us)]) - 1
    return merge(Schedule(as_ints([at]), (b"\xfa",), ("start",), at), clock)


def notes_on_clock(at_us: FloatArray, clocks: IntArray, offset_ms: Sequence[float]) -> Schedule:
    """A player's notes at offsets from the clocks of those numbers."""
    due = np.rint(at_us[clocks] + np.asarray(offset_ms) * 1000).astype(np.int64)
    order = np.argsort(due, kind="stable")
    return Schedule(due[order], (b"\x90\x3c\x50",) * due.size, ("on",) * due.size, int(due.max()))
