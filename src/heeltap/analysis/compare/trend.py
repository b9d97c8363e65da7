"""Better or worse over days: a straight line through the days, each of which holds some takes.

Takes of one day are not independent of each other, so the day is the unit. Its mean weighs by the variance between days and
that of the takes within one (a mixed model with a random day, its components by moments; textbook). Neighbouring days that
resemble each other widen the interval by (1 + r) / (1 - r), r being the residuals' correlation from day to day, corrected for
the few days (Kendall 1954, from memory). Spreads are compared as ratios.

Inside: `DayTrend`, `trend_over_days`, `LEAST_DAYS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import FloatArray

__all__ = ["LEAST_DAYS", "DayTrend", "trend_over_days"]

LEAST_DAYS = 4
"""With fewer, a line through days has hardly anything to be tested with. Ours."""

_MOST_MORE = 60
"""More days than that are no forecast."""


@dataclass(frozen=True, slots=True)
class DayTrend:
    """A figure over days, in its own unit."""

    first: float
    """Of the line on the first day."""
    last: float
    """Of the line on the last day."""
    change_ci95: tuple[float, float]
    """95 % interval of last minus first."""
    days: int
    takes: int
    more_days: int | None
    """So many more days would tell, if it goes on like this; None where it is told already, or nobody can say."""

    @property
    def told(self) -> bool:
        """Whether the change is surely no chance."""
        low, high = self.change_ci95
        return low > 0 or high < 0

    @property
    def least(self) -> float:
        """The size of the change that is sure; of one that is not told, what would have been seen."""
        low, high = self.change_ci95
        return min(abs(low), abs(high)) if self.told else (high - low) / 2


def trend_over_days(day: Sequence[int], value: Sequence[float], *, ratio: bool = False) -> DayTrend | None:
    """The trend of a figure.

    Parameters
    ----------
    day : sequence of int
        Of each take, such as its ordinal date.
    value : sequence of float
        Of each take.
    ratio : bool
        Compare ratios: for what is above 0 and varies in proportion, such as a spread.

    Returns
    -------
    DayTrend or None
        None with fewer than `LEAST_DAYS` days.

    Raises
    ------
    ValueError
        The two differ in length, or a ratio is asked of values that are not above 0.
    """
    at, raw = np.asarray(day, dtype=np.float64), np.asarray(value, dtype=np.float64)
    if at.shape != raw.shape:
        raise ValueError(f"trend_over_days: {at.size} days and {raw.size} values; expected as many of both")
    if ratio and raw.size and raw.min() <= 0:
        raise ValueError(f"trend_over_days: a value of {raw.min():g}; expected values above 0 where ratios are asked")
    days, group = np.unique(at, return_inverse=True)
    if days.size < LEAST_DAYS:
        return None
    y = np.log(raw) if ratio else raw
    count = np.bincount(group)
    mean = np.bincount(group, y) / count
    within = _within(y, group, mean)
    level, slope, error = _line(days - days[0], mean, count, within)
    span = float(days[-1] - days[0])
    half = error * span
    ends = np.array([level, level + slope * span])
    interval = np.array([slope * span - half, slope * span + half])
    more = _more_days(slope * span, half, days.size)
    if ratio:
        start = float(np.exp(ends[0]))
        low, high = (start * (np.exp(interval) - 1)).tolist()
        return DayTrend(start, float(np.exp(ends[1])), (low, high), int(days.size), int(y.size), more)
    return DayTrend(
        float(ends[0]), float(ends[1]), (float(interval[0]), float(interval[1])), int(days.size), int(y.size), more
    )


def _within(y: FloatArray, group: np.ndarray, mean: FloatArray) -> float:
    """Variance of the takes within a day; 0 where no day has two."""
    free = y.size - mean.size
    return float(np.sum((y - mean[group]) ** 2) / free) if free > 0 else 0.0


def _line(x: FloatArray, mean: FloatArray, count: np.ndarray, within: float) -> tuple[float, float, float]:
    """Level, slope, and half the width of the slope's 95 % interval."""
    from scipy.special import stdtrit

    between = 0.0
    for _ in range(20):  # the variance between days and the line depend on each other; settled long before
        weight = 1.0 / np.maximum(between + within / count, 1e-12)
        middle = float(np.average(x, weights=weight))
        slope = float(np.sum(weight * (x - middle) * mean) / np.sum(weight * (x - middle) ** 2))
        level = float(np.average(mean, weights=weight)) - slope * middle
        rest = mean - level - slope * x
        left = float(np.sum(rest**2) / (x.size - 2)) - within * float(np.mean(1.0 / count))
        between = max(left, 0.0)
    scale = max(float(np.sum(weight * rest**2) / (x.size - 2)), 1.0)  # never surer than the takes themselves allow
    error = np.sqrt(scale / float(np.sum(weight * (x - middle) ** 2))) * np.sqrt(_alike(rest))
    return level, slope, float(error * stdtrit(x.size - 2, 0.975))


def _alike(rest: FloatArray) -> float:
    """How much wider the interval is because neighbouring days resemble each other."""
    total = float(rest @ rest)
    if total <= 0:
        return 1.0
    r = float(rest[1:] @ rest[:-1]) / total
    r = min(max(r + (1.0 + 3.0 * r) / rest.size, 0.0), 0.7)
    return (1.0 + r) / (1.0 - r)


def _more_days(change: float, half: float, days: int) -> int | None:
    """How many more days would tell the change that the line has, the interval shrinking with the root of the days."""
    if abs(change) > half or change == 0:
        return None
    needed = int(np.ceil(days * (half / abs(change)) ** 2))
    more = max(needed - days, 1)
    return more if more <= _MOST_MORE else None
