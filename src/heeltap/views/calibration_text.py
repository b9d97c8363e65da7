"""Calibration in words, for the command line and the screens: what you do, and what heeltap found.

Inside: `TAP_HOW`, `MICROPHONE_STEPS`, `MICROPHONE_HOW`, `words`.
"""

from heeltap.files.calibrations import Calibrated
from heeltap.gear.delay import FEEL, SAME_PATH
from heeltap.safe_text import safe_line

__all__ = ["MICROPHONE_HOW", "MICROPHONE_STEPS", "TAP_HOW", "words"]

TAP_HOW = "Tap once with every click; it takes half a minute."
"""What you do while heeltap measures your taps."""

MICROPHONE_STEPS = (
    "Lay the microphone half-way between the loudspeaker and your pad or key, and switch the pad's own sound off.",
    "After each click knock once, firmly, well before the next one; it takes half a minute.",
)
"""What you do before and while the microphone listens, a line each."""

MICROPHONE_HOW = " ".join(MICROPHONE_STEPS)
"""The same in one text."""


def words(row: Calibrated, *, plus_minus: str) -> list[str]:
    """Two lines on one calibration: route and result, then its date and buffer; ``plus_minus`` is the mark to write."""
    route = safe_line(f"in {row.in_port}, out {row.out_port or 'silent'}")
    kept = safe_line(f"  {row.date[:10]}" + (f", buffer {row.buffer}" if row.buffer else ", unknown buffer"))
    sure = f"{plus_minus} {row.uncertainty_ms:.1f} ms"
    if row.method == SAME_PATH:
        return [f"{route}: same output for click and player, nothing to take away ({sure})", kept]
    spread = "" if row.spread_ms is None else f", with a spread of {row.spread_ms:.1f} ms"
    if row.method == FEEL:
        told = f"feel offset {row.delay_ms:+.1f} ms {sure} (minus is before the click), {row.n} taps{spread}"
        return [f"{route}: {told}", f"{kept}; heeltap never judges early or late by it"]
    return [f"{route}: delay {row.delay_ms:.1f} ms {sure}, by microphone, {row.n} knocks{spread}", kept]
