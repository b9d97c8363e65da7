"""Numbers as a player reads them: signed milliseconds, "12 ms early", ranges, counts. No layout here.

Conventions: negative is early. Milliseconds are whole, because a tenth of one is finer than any way that a note takes
from your finger to the computer.

Inside: `ms`, `signed_ms`, `early_late`, `early_late_range`, `range_ms`, `count`, `bars`.
"""

from collections.abc import Iterable

__all__ = ["bars", "count", "early_late", "early_late_range", "ms", "range_ms", "signed_ms"]

Interval = tuple[float, float]


def ms(value: float) -> str:
    """A length of time, whole milliseconds: "12 ms", "under 1 ms"."""
    size = abs(value)
    return f"{size:.0f} ms" if round(size) >= 1 else "under 1 ms"


def signed_ms(value: float | None) -> str:
    """An offset for a table: "-12", "+4", "0", or "·" where there is none."""
    if value is None:
        return "·"
    return "0" if round(value) == 0 else f"{value:+.0f}"


def early_late(value: float) -> str:
    """An offset in words: "12 ms early", "4 ms late", "on the beat"."""
    if abs(value) < 0.5:
        return "on the beat"
    return f"{ms(value)} {'early' if value < 0 else 'late'}"


def early_late_range(interval: Interval) -> str:
    """An interval of offsets in words: "9 to 15 ms early", "3 ms early to 5 ms late"."""
    low, high = interval
    if low < 0 < high:
        return f"{ms(low)} early to {ms(high)} late"
    near, far = sorted((abs(low), abs(high)))
    return f"{near:.0f} to {far:.0f} ms {'early' if high <= 0 else 'late'}"


def range_ms(interval: Interval) -> str:
    """An interval of lengths: "12 to 17 ms"."""
    return f"{interval[0]:.0f} to {interval[1]:.0f} ms"


def count(number: int, noun: str) -> str:
    """ "1 stroke", "3 strokes"."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def bars(numbers: Iterable[int]) -> str:
    """Bar numbers in short: "bar 7", "bars 3-5, 9"."""
    ordered = sorted(set(numbers))
    runs: list[list[int]] = []
    for number in ordered:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    text = ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
    return f"{'bar' if len(ordered) == 1 else 'bars'} {text}"
