"""Units, their names, and the conversions between them. No numpy here: the command line imports this.

Conventions: time is whole microseconds (``_us``), musical position is whole ticks (``_tick``) of
`TICKS_PER_QUARTER` per quarter note, and floats (``_ms``, ``_s``) appear in statistics and on screen only.
An *offset* is played minus reference: **negative is early (ahead), positive is late (behind)**.
"""

from typing import NewType

__all__ = ["TICKS_PER_QUARTER", "Tick", "Us", "auto_lean_ms", "bpm_from_us_per_quarter", "us_per_quarter_from_bpm"]

Us = NewType("Us", int)
"""A time or a duration in microseconds."""

Tick = NewType("Tick", int)
"""A musical position in ticks of `TICKS_PER_QUARTER` per quarter note."""

TICKS_PER_QUARTER = 10_080
"""The least common multiple of 32, 9, 5 and 7: every 32nd, triplet, quintuplet and septuplet is exact."""


def us_per_quarter_from_bpm(bpm: float) -> int:
    """Microseconds per quarter note, rounded to whole microseconds, for a tempo in quarter notes a minute."""
    return round(60_000_000 / bpm)


def bpm_from_us_per_quarter(us_per_quarter: int) -> float:
    """Quarter notes a minute for a quarter note of so many microseconds."""
    return 60_000_000 / us_per_quarter


def auto_lean_ms(beat_ms: float) -> float:
    """The lean that `auto` means, in ms: 4 % of the beat, never under 10 nor over 30.

    Ours; derived from the just-noticeable difference below and the limit at which two hits read as a flam above.

    >>> auto_lean_ms(500.0)
    20.0
    """
    return min(max(0.04 * beat_ms, 10.0), 30.0)
