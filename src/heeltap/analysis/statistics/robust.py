"""Plain and robust statistics of independent values: session medians over weeks, calibration taps, paired takes.

Strokes within a take are not independent: their intervals come from `heeltap.analysis.statistics.estimates`.

Inside: `mad_scale`, `hodges_lehmann`, `hodges_lehmann_shift`, `theil_sen`, `welch`, `paired`, `bca`.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray

__all__ = [
    "Bca",
    "Difference",
    "Slope",
    "bca",
    "hodges_lehmann",
    "hodges_lehmann_shift",
    "mad_scale",
    "paired",
    "theil_sen",
    "welch",
]

MAD_TO_SD = 1.482602218505602
"""1 / (0.75 quantile of the normal distribution): makes the median absolute deviation estimate a standard deviation."""


class Difference(NamedTuple):
    """A difference of means and how sure it is."""

    mean: float
    t: float
    df: float
    p: float
    """Two-sided."""
    ci95: tuple[float, float]


class Slope(NamedTuple):
    """A trend."""

    slope: float
    """Units of y per unit of x; nan without two different x."""
    ci95: tuple[float, float]
    intercept: float
    """Median of y minus slope times the median of x."""


class Bca(NamedTuple):
    """A bootstrap interval."""

    low: float
    high: float
    acceleration: float
    """How fast the standard error changes with the value."""
    z0: float
    """How far the bootstrap's median lies from the estimate, in normal units."""


_NAN = float("nan")
_UNKNOWN = Difference(_NAN, _NAN, _NAN, _NAN, (_NAN, _NAN))


def _data(values: npt.ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64).ravel()


def mad_scale(values: npt.ArrayLike) -> float:
    """1.4826 times the median absolute deviation: the standard deviation of normal values, blind to a few wild ones.

    nan without values. Source: Rousseeuw & Croux (1993), J. Am. Stat. Assoc. 88, 1273-1283.
    """
    data = _data(values)
    return MAD_TO_SD * float(np.median(np.abs(data - np.median(data)))) if data.size else float("nan")


def hodges_lehmann(values: npt.ArrayLike) -> float:
    """Median of all pairwise means (each value with itself too): a mean that a few wild values cannot pull.

    Memory grows as the square of the number of values. Source: Hodges & Lehmann (1963), Ann. Math. Stat. 34, 598-611.
    """
    data = _data(values)
    i, j = np.triu_indices(data.size)
    return float(np.median((data[i] + data[j]) / 2.0)) if data.size else float("nan")


def hodges_lehmann_shift(before: npt.ArrayLike, after: npt.ArrayLike) -> float:
    """Median of all differences ``after`` minus ``before``."""
    a, b = _data(before), _data(after)
    return float(np.median(b[:, None] - a[None, :])) if a.size and b.size else float("nan")


def theil_sen(x: npt.ArrayLike, y: npt.ArrayLike, *, level: float = 0.95) -> Slope:
    """Median of the slopes of all pairs, with the interval of Kendall's statistic.

    Source: Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389. Independent y; ties are allowed in both.
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


def welch(a: npt.ArrayLike, b: npt.ArrayLike) -> Difference:
    """Mean of ``a`` minus mean of ``b``, variances not assumed equal; all nan below two values on either side.

    Source: Welch (1947), Biometrika 34, 28-35.
    """
    one, two = _data(a), _data(b)
    if min(one.size, two.size) < 2:
        return _UNKNOWN
    share_one, share_two = float(np.var(one, ddof=1)) / one.size, float(np.var(two, ddof=1)) / two.size
    se2 = share_one + share_two
    if se2 == 0.0:
        return _student(float(one.mean() - two.mean()), 0.0, float(one.size + two.size - 2))
    df = se2**2 / (share_one**2 / (one.size - 1) + share_two**2 / (two.size - 1))
    return _student(float(one.mean() - two.mean()), float(np.sqrt(se2)), df)


def paired(a: npt.ArrayLike, b: npt.ArrayLike) -> Difference:
    """Mean of ``a`` minus ``b`` of values that belong together; all nan below two pairs.

    Source: Student (1908), Biometrika 6, 1-25. Raises `ValueError` for different lengths.
    """
    difference = _data(a) - _data(b)
    if difference.size < 2:
        return _UNKNOWN
    se = float(np.std(difference, ddof=1) / np.sqrt(difference.size))
    return _student(float(difference.mean()), se, float(difference.size - 1))


def _student(mean: float, se: float, df: float) -> Difference:
    """t, p and interval of a mean with a standard error."""
    from scipy.special import stdtr, stdtrit

    if se == 0.0:  # no scatter at all: certain, or certainly nothing
        return Difference(mean, float(np.sign(mean)) * np.inf if mean else 0.0, df, float(mean == 0.0), (mean, mean))
    t = mean / se
    reach = float(stdtrit(df, 0.975)) * se
    return Difference(mean, t, df, float(2.0 * stdtr(df, -abs(t))), (mean - reach, mean + reach))


def bca(
    values: npt.ArrayLike,
    statistic: Callable[[FloatArray], FloatArray],
    *,
    rng: np.random.Generator,
    level: float = 0.95,
    draws: int = 4000,
) -> Bca:
    """Bias-corrected and accelerated bootstrap interval of independent values.

    Parameters
    ----------
    values : float, shape (n,)
        Independent values, n >= 3.
    statistic : callable
        From an array of shape (m, n) to the m values of the statistic, one a row.
    rng : numpy.random.Generator
    level : float
        Confidence, 0-1.
    draws : int
        Bootstrap samples.

    Notes
    -----
    Source: Efron (1987), J. Am. Stat. Assoc. 82, 171-185; a and z0 as in Efron & Tibshirani (1993), section 14.3.
    """
    from scipy.special import ndtr, ndtri

    data = _data(values)
    n = data.size
    estimate = float(statistic(data[None, :])[0])
    boot = np.sort(statistic(data[rng.integers(0, n, (draws, n))]))
    # Half of the draws that equal the estimate lie below it: matters for medians and other steps.
    below = (np.searchsorted(boot, estimate, "left") + np.searchsorted(boot, estimate, "right")) / (2.0 * draws)
    z0 = float(ndtri(min(max(below, 0.5 / draws), 1.0 - 0.5 / draws)))
    without = np.broadcast_to(data, (n, n))[~np.eye(n, dtype=np.bool_)].reshape(n, n - 1)
    pull = statistic(without)
    pull = pull.mean() - pull
    power = float(np.sum(pull**2)) ** 1.5
    acceleration = float(np.sum(pull**3)) / (6.0 * power) if power > 0 else 0.0
    tail = z0 + ndtri(np.array([0.5 - level / 2.0, 0.5 + level / 2.0]))
    low, high = np.quantile(boot, ndtr(z0 + tail / (1.0 - acceleration * tail)))
    return Bca(float(low), float(high), acceleration, z0)
