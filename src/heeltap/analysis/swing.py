"""The swing of a take: how much longer the first eighth of a beat is than the second.

Definition: the ratio of the first interval to the second inside one beat; ratios are averaged as logarithms, so that
2:1 and 1:2 balance. Source of the ratio and of 3.5:1 as its upper end: Friberg & Sundström (2002), Music Perception
19, 333-349. The averaging as logarithms and the interval are ours.

Inside: `pair_ratios`, `swing_of`, `swing_by_section`.
"""

from collections.abc import Iterable

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.plan import Section
from heeltap.model.result import Swing

__all__ = ["pair_ratios", "swing_by_section", "swing_of"]

_LEAST_PAIRS = 4
"""Fewer pairs give no ratio."""


def pair_ratios(pulse: IntArray, on_us: FloatArray, off_us: FloatArray) -> tuple[IntArray, FloatArray]:
    """Log ratio of long to short for each beat whose own stroke, off-beat and next beat were all played.

    Parameters
    ----------
    pulse : int64, shape (n,)
        Running number of each beat, increasing.
    on_us, off_us : float64, shape (n,)
        When its beat and its off-beat were played, microseconds; nan where they were not.

    Returns
    -------
    rows : int64, shape (m,)
        Rows of the input that gave a ratio.
    log_ratio : float64, shape (m,)
        Natural logarithm of long over short.
    """
    follows = np.append(np.diff(pulse) == 1, False)
    end = np.append(on_us[1:], np.nan)
    long, short = off_us - on_us, end - off_us
    with np.errstate(invalid="ignore"):
        good = follows & (long > 0) & (short > 0)
    rows = np.flatnonzero(good)
    return rows, np.log(long[rows] / short[rows])


def swing_of(log_ratio: FloatArray) -> Swing | None:
    """The ratio with its 95 % interval; None from fewer than four pairs.

    The centre is the mean of the logarithms without those further than 3.5 robust spreads from their median (a slip is
    not swing). The interval is Student's, widened by the lag-one correlation of neighbouring pairs where that is
    positive.

    Parameters
    ----------
    log_ratio : float64, shape (pairs,)
        As from `pair_ratios`.

    Returns
    -------
    Swing or None
        First interval over second.
    """
    values = log_ratio
    if values.size < _LEAST_PAIRS:
        return None
    middle = np.median(values)
    robust = 1.4826 * np.median(np.abs(values - middle))
    values = values[np.abs(values - middle) <= max(3.5 * robust, 1e-9)]
    n = int(values.size)
    if n < _LEAST_PAIRS:
        return None
    mean = float(values.mean())
    rest = values - mean
    power = float(rest @ rest)
    lag = float(rest[1:] @ rest[:-1]) / power if power > 0 else 0.0
    widen = (1 + min(max(lag, 0.0), 0.9)) / (1 - min(max(lag, 0.0), 0.9))
    half = _student_975(n - 1) * np.sqrt(power / (n - 1) / n * widen)
    low, high = float(np.exp(mean - half)), float(np.exp(mean + half))
    return Swing(float(np.exp(mean)), (low, high), n)


def _student_975(freedom: int) -> float:
    """The 97.5 % point of Student's t, from its expansion about the normal (Abramowitz & Stegun 1964, 26.7.5)."""
    z, v = 1.959963984540054, float(freedom)
    g1 = (z**3 + z) / 4
    g2 = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    g3 = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    g4 = (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160
    return z + g1 / v + g2 / v**2 + g3 / v**3 + g4 / v**4


def swing_by_section(sections: Iterable[Section], bar: IntArray, log_ratio: FloatArray) -> tuple[Swing | None, ...]:
    """The swing of each section from the pairs that begin in its bars; None where there are too few.

    Parameters
    ----------
    sections : iterable of Section
    bar : int64, shape (pairs,)
        Bar in which each pair begins, from 1.
    log_ratio : float64, shape (pairs,)

    Returns
    -------
    tuple of Swing or None
        One for each section.
    """
    return tuple(swing_of(log_ratio[(bar >= one.first_bar) & (bar <= one.last_bar)]) for one in sections)
