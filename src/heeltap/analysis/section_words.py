"""A word for each section of a take, and what the delay's own uncertainty does to an average.

The words and when they fall are ours.

Inside: `section_word`, `unsure_ms`, `widened`, `delay_share`.
"""

import math

from heeltap.model.result import Calibration, Interval, SectionRow

__all__ = ["delay_share", "section_word", "unsure_ms", "widened"]

HELD_SHARE = 0.75
"""Share of a section's strokes in the pocket from which it is held. Ours."""


def unsure_ms(calibration: Calibration) -> float:
    """How much less sure the delay makes every early or late, a 95 % half-width; 0 where no delay is known.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    float
        Milliseconds.
    """
    return (calibration.uncertainty_ms or 0.0) if calibration.known else 0.0


def widened(value_ms: float, ci95_ms: Interval, delay_uncertainty_ms: float) -> Interval:
    """The interval of an average when the delay that was taken away is itself uncertain.

    The strokes' error and the calibration's are independent, so the half-widths add in quadrature (the usual
    propagation of uncertainty, JCGM 100:2008, 5.1.2, from memory). ``delay_uncertainty_ms`` is a 95 % half-width, like
    those of the interval.

    Parameters
    ----------
    value_ms : float
    ci95_ms : (float, float)
        Without the delay.
    delay_uncertainty_ms : float
        95 % half-width; 0 widens nothing.

    Returns
    -------
    (float, float)
        Milliseconds.
    """
    if not delay_uncertainty_ms:
        return ci95_ms
    low, high = (math.hypot(edge - value_ms, delay_uncertainty_ms) for edge in ci95_ms)
    return value_ms - low, value_ms + high


def delay_share(delay_uncertainty_ms: float) -> str:
    """The words behind a widened interval, or "" where nobody said how sure the delay is.

    Parameters
    ----------
    delay_uncertainty_ms : float
        95 % half-width; 0 is not said.

    Returns
    -------
    str
    """
    return f", with the delay's {delay_uncertainty_ms:.1f} ms give or take" if delay_uncertainty_ms else ""


def section_word(
    row: SectionRow, missed: int, *, centre_ms: float, heard_ms: float, delay_uncertainty_ms: float = 0.0
) -> str:
    """``missing``, ``early``, ``late``, ``uneven`` or ``held``: where the section lies on this recording.

    The same rule as for bars to play again: early or late is what lies as far off as is heard. What is nearer is held
    where three strokes in four are in the pocket; where they are not, early or late when that is more than the section
    spreads, else uneven. Empty where the delay is not known well enough to say.

    Parameters
    ----------
    row : SectionRow
        With its share in the pocket.
    missed : int
        Planned strokes of the section that were not played.
    centre_ms : float
        The lean, or the take's own median when the route's delay is not known.
    heard_ms : float
        `heeltap.analysis.weak_bars.heard_ms` of the take's beat.
    delay_uncertainty_ms : float
        95 % half-width of the delay, where the centre is the lean; 0 where it is the take's own.

    Returns
    -------
    str
    """
    if missed > row.n:
        return "missing"
    if row.bias_ms is None or row.n == 0:
        return ""
    off = row.bias_ms - centre_ms
    if delay_uncertainty_ms >= max(heard_ms, abs(off)):
        return ""
    loose = (row.in_pocket or 0.0) < HELD_SHARE
    if abs(off) >= heard_ms or (loose and abs(off) > (row.spread_ms or 0.0)):
        return "early" if off < 0 else "late"
    return "uneven" if loose else "held"
