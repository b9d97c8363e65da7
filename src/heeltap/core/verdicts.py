"""A word for each section, said only where its interval carries it.

Inside: `section_verdict`.
"""

from heeltap.core.result import SectionRow

__all__ = ["section_verdict"]

_WIDER = 1.5
"""A section scatters when its spread is half as much again as the take's: F(31, 200) = 2.25 has p < 0.001."""

_FEWEST = 32
"""Strokes below which a spread is known no better than to a fifth (chi-square, 32 strokes), so nothing is called wide."""


def section_verdict(row: SectionRow, missed: int, *, centre_ms: float, spread_ms: float, audible_ms: float) -> str:
    """``missing``, ``early``, ``late``, ``scattered``, ``held``, or empty where the numbers do not say.

    Parameters
    ----------
    row : SectionRow
    missed : int
        Planned strokes of the section that were not played.
    centre_ms : float
        The lean, or the take's own average when the route's delay is not known.
    spread_ms : float
        Spread of the whole take.
    audible_ms : float
        Just-noticeable difference of the beat: a smaller distance is never called early or late.
    """
    if missed > row.n:
        return "missing"
    if row.bias_ms is None or row.bias_ci95_ms is None:
        return ""
    low, high = (edge - centre_ms for edge in row.bias_ci95_ms)
    if abs(row.bias_ms - centre_ms) >= audible_ms and (high < 0 or low > 0):
        return "early" if high < 0 else "late"
    if row.n >= _FEWEST and row.spread_ms is not None and row.spread_ms > _WIDER * spread_ms:
        return "scattered"
    within = -2 * audible_ms <= low and high <= 2 * audible_ms
    return "held" if within else ""
