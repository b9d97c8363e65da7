"""Calibration in words, for the command line and the screens: what to do before, and what was found.

Inside: `TAP_HOW`, `MICROPHONE_STEPS`, `MICROPHONE_HOW`, `words`.
"""

from heeltap.files.calibrations import Calibrated
from heeltap.gear.delay import FEEL, SAME_PATH

__all__ = ["MICROPHONE_HOW", "MICROPHONE_STEPS", "TAP_HOW", "words"]

TAP_HOW = "Tap once with every click; it takes half a minute."
"""What a person does while taps are measured."""

MICROPHONE_STEPS = (
    "Lay the microphone as far from the pad or key as from the loudspeaker, and switch the pad's own sound off.",
    "After each click knock once, firmly, some time before the next; it takes half a minute.",
)
"""What a person does before and while one microphone listens, a line each."""

MICROPHONE_HOW = " ".join(MICROPHONE_STEPS)
"""The same as one text."""


def words(row: Calibrated, *, plus_minus: str) -> list[str]:
    """One calibration for people: route and result, then when and with which buffer; ``plus_minus`` is the mark."""
    route = f"in {row.in_port}, out {row.out_port or 'silent'}"
    kept = f"  {row.date[:10]}" + (f", buffer {row.buffer}" if row.buffer else ", buffer not known")
    sure = f"{plus_minus} {row.uncertainty_ms:.1f} ms"
    if row.method == SAME_PATH:
        return [f"{route}: same path, nothing to correct ({sure})", kept]
    scatter = "" if row.spread_ms is None else f", each scatters by {row.spread_ms:.1f} ms"
    if row.method == FEEL:
        told = f"feel offset {row.delay_ms:+.1f} ms {sure} (minus is before the click), {row.n} taps{scatter}"
        return [f"{route}: {told}", f"{kept}; never used to judge early or late"]
    return [f"{route}: delay {row.delay_ms:.1f} ms {sure}, by microphone, {row.n} knocks{scatter}", kept]
