"""Time for tests that really wait: the engine's own clock, so that moments can be compared with its stamps."""

from heeltap.clock import SystemClock

__all__ = ["nap", "now_ns"]

now_ns = SystemClock.now_ns


def nap(seconds: float) -> None:
    """Wait."""
    SystemClock().sleep_until_ns(now_ns() + round(seconds * 1e9))
