"""Better or worse over days: what is told of simulated players, and how often it is chance."""

import numpy as np
import pytest

from heeltap.analysis.compare.trend import DayTrend, trend_over_days
from tests.makers.amounts import amount


def player(
    rng: np.random.Generator, days: int, *, change: float = 1.0, alike: float = 0.0, takes: int = 3
) -> DayTrend | None:
    """Spreads around 20 ms that end at ``change`` times that: 8 % from day to day, 12 % from take to take."""
    level = np.zeros(days)
    for day in range(days):
        fresh = rng.normal(0, 0.08)
        level[day] = fresh if day == 0 else alike * level[day - 1] + np.sqrt(1 - alike**2) * fresh
    when = np.repeat(np.cumsum(rng.integers(1, 3, days)), takes)
    spread = np.log(20.0) + np.repeat(np.linspace(0, 1, days) * np.log(change) + level, takes)
    return trend_over_days(when.tolist(), np.exp(spread + rng.normal(0, 0.12, when.size)).tolist(), ratio=True)


@pytest.mark.parametrize(("days", "alike"), [(4, 0.0), (6, 0.0), (10, 0.0), (20, 0.0), (6, 0.5), (10, 0.5)])
def test_who_does_not_change_is_called_better_in_one_of_twenty_at_most(days: int, alike: float) -> None:
    """On either side; a little more often where neighbouring days resemble each other by half."""
    rng = np.random.default_rng(days)
    runs = [player(rng, days, alike=alike) for _ in range(amount(1_000, fast=120))]
    better = np.mean([one.change_ci95[1] < 0 for one in runs if one is not None])
    worse = np.mean([one.change_ci95[0] > 0 for one in runs if one is not None])

    most = 0.065 if alike else 0.05
    assert max(better, worse) <= (most if len(runs) >= 1_000 else most + 0.03)


@pytest.mark.parametrize(("days", "share"), [(10, 0.7), (14, 0.85), (20, 0.93)])
def test_from_20_to_14_ms_is_found(days: int, share: float) -> None:
    """In three takes a day, with the interval holding the true change."""
    rng = np.random.default_rng(100 + days)
    runs = [player(rng, days, change=0.7) for _ in range(amount(600, fast=60))]
    found = np.mean([one.change_ci95[1] < 0 for one in runs if one is not None])
    held = np.mean([one.change_ci95[0] <= one.first * -0.3 <= one.change_ci95[1] for one in runs if one is not None])

    assert found >= (share if len(runs) >= 600 else share - 0.12)
    assert held >= (0.93 if len(runs) >= 600 else 0.88)


def test_a_straight_line_is_found_again() -> None:
    """From 30 to 12 without noise: both ends, and a change that is sure."""
    found = trend_over_days([1, 2, 3, 5, 7], [30 - 3.0 * day for day in (0, 1, 2, 4, 6)])

    assert found is not None
    assert (30.0, 12.0) == pytest.approx((found.first, found.last))
    assert (True, 5, 5) == (found.told, found.days, found.takes)


def test_more_days_are_named_where_a_few_would_tell() -> None:
    """What goes on as it does tells after the interval has shrunk below it; nothing at all never does."""
    found = trend_over_days([1, 2, 3, 4, 5], [20.0, 16.0, 19.5, 15.0, 17.0])
    flat = trend_over_days([1, 2, 3, 4], [20.0, 16.0, 16.0, 20.0])

    assert found is not None
    assert flat is not None
    assert not found.told
    assert found.more_days is not None
    assert 1 <= found.more_days <= 60
    assert flat.more_days is None


def test_three_days_are_too_few() -> None:
    """However many takes they hold."""
    assert trend_over_days([1, 1, 1, 2, 2, 3, 3], [5.0] * 7) is None


@pytest.mark.parametrize(
    ("day", "value", "said"), [([1], [1.0, 2.0], "1 days and 2 values"), ([1, 2], [1.0, 0.0], "a value of 0")]
)
def test_what_cannot_be_compared_is_refused(day: list[int], value: list[float], said: str) -> None:
    """Columns of different lengths; a ratio to nothing."""
    with pytest.raises(ValueError, match=said):
        trend_over_days(day, value, ratio=True)
