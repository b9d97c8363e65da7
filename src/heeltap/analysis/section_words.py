"""A word for each section, said only where its interval carries it, and what the delay's own uncertainty does to that.

Inside: `section_verdict`, `unsure_ms`, `widened`, `delay_share`.
"""

import math

from heeltap.model.result import Calibration, Interval, SectionRow

__all__ = ["delay_share", "section_verdict", "unsure_ms", "widened"]

_WIDER = 1.5
"""A section scatters when its spread is half as much again as the take's: F(31, 200) = 2.25 has p < 0.001."""

_FEWEST = 32
"""Strokes below which a spread is known no better than to a fifth (chi-square, 32 strokes), so nothing is called wide."""


def unsure_ms(calibration: Calibration) -> float:
    """What every absolute statement is less sure by, a 95 % half-width; 0 where no delay is known and none is made."""
    return (calibration.uncertainty_ms or 0.0) if calibration.known else 0.0


def widened(value_ms: float, ci95_ms: Interval, delay_uncertainty_ms: float) -> Interval:
    """The interval of an average when the delay that was taken away is itself uncertain.

    The strokes' error and the calibration's are independent, so the half-widths add in quadrature (the usual
    propagation of uncertainty, JCGM 100:2008, 5.1.2, from memory). ``delay_uncertainty_ms`` is a 95 % half-width, like
    those of the interval.
    """
    if not delay_uncertainty_ms:
        return ci95_ms
    low, high = (math.hypot(edge - value_ms, delay_uncertainty_ms) for edge in ci95_ms)
    return value_ms - low, value_ms + high


def delay_share(delay_uncertainty_ms: float) -> str:
    """The words behind a widened interval, or "" where nobody said how sure the delay is."""
    return f", with the delay's {delay_uncertainty_ms:.1f} ms give or take" if delay_uncertainty_ms else ""


def section_verdict(
    row: SectionRow,
    missed: int,
    *,
    centre_ms: float,
    spread_ms: float,
    audible_ms: float,
    delay_uncertainty_ms: float = 0.0,
) -> str:
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
    delay_uncertainty_ms : float
        95 % half-width of the delay, where the centre is the lean; 0 where it is the take's own average.
    """
    if missed > row.n:
        return "missing"
    if row.bias_ms is None or row.bias_ci95_ms is None:
        return ""
    low, high = (edge - centre_ms for edge in widened(row.bias_ms, row.bias_ci95_ms, delay_uncertainty_ms))
    if abs(row.bias_ms - centre_ms) >= audible_ms and (high < 0 or low > 0):
        return "early" if high < 0 else "late"
    if row.n >= _FEWEST and row.spread_ms is not None and row.spread_ms > _WIDER * spread_ms:
        return "scattered"
    within = -2 * audible_ms <= low and high <= 2 * audible_ms
    return "held" if within else ""
