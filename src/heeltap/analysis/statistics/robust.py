"""Statistics that a few wild values cannot pull, for independent values: calibration taps, figures over weeks.

Strokes within a take are not independent: their intervals come from `heeltap.analysis.statistics.estimates`.

Inside: `mad_scale`, `theil_sen`.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray

__all__ = ["MAD_TO_SD", "Slope", "mad_scale", "theil_sen"]

MAD_TO_SD = 1.482602218505602
"""1 / (0.75 quantile of the normal distribution): makes the median absolute deviation estimate a standard deviation."""


class Slope(NamedTuple):
    """A trend."""

    slope: float
    """Units of y for each unit of x; nan without two different x."""
    ci95: tuple[float, float]
    """Interval of the slope at the level asked for."""
    intercept: float
    """Median of y minus slope times the median of x."""


def _data(values: npt.ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64).ravel()


def mad_scale(values: npt.ArrayLike) -> float:
    """1.4826 times the median absolute deviation: the standard deviation of normal values, blind to a few wild ones.

    Source: Rousseeuw & Croux (1993), J. Am. Stat. Assoc. 88, 1273-1283 (from memory).

    Parameters
    ----------
    values : float, any shape

    Returns
    -------
    float
        In the unit of the values; nan without values.
    """
    data = _data(values)
    return MAD_TO_SD * float(np.median(np.abs(data - np.median(data)))) if data.size else float("nan")


def theil_sen(x: npt.ArrayLike, y: npt.ArrayLike, *, level: float = 0.95) -> Slope:
    """Median of the slopes of all pairs, with the interval of Kendall's statistic.

    Source: Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389 (from memory).

    Parameters
    ----------
    x, y : float, shape (n,)
        Independent y; ties are allowed in both.
    level : float
        Confidence, 0-1.

    Returns
    -------
    Slope
        In units of y for each unit of x; all nan without two different x.
    """
    from scipy.special import ndtri

    at, value = _data(x), _data(y)
    i, j = np.triu_indices(at.size, 1)
    apart = at[i] != at[j]
    slopes = np.sort((value[j] - value[i])[apart] / (at[j] - at[i])[apart])
    if slopes.size == 0:
        nan = float("nan")
        return Slope(nan, (nan, nan), nan)
    sigma = float(np.sqrt(max(_kendall_variance(at, value), 0.0)))
    reach = float(ndtri(0.5 + level / 2.0)) * sigma
    high = min(int(np.round((slopes.size + reach) / 2.0)), slopes.size - 1)
    low = max(int(np.round((slopes.size - reach) / 2.0)) - 1, 0)
    slope = float(np.median(slopes))
    intercept = float(np.median(value) - slope * np.median(at))
    return Slope(slope, (float(slopes[low]), float(slopes[high])), intercept)


def _kendall_variance(x: FloatArray, y: FloatArray) -> float:
    """Variance of Kendall's S with no trend, ties taken off (Sen 1968, equation 2.6, from memory)."""

    def part(count: npt.NDArray[np.int64]) -> float:
        return float(np.sum(count * (count - 1) * (2 * count + 5)))

    ties = part(np.unique(x, return_counts=True)[1]) + part(np.unique(y, return_counts=True)[1])
    n = x.size
    return (n * (n - 1) * (2 * n + 5) - ties) / 18.0
