"""Robust statistics against published worked examples and against SciPy."""

import numpy as np
import pytest
from scipy import stats

from heeltap.analysis.statistics.robust import mad_scale, theil_sen

SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
"""Student (1908), Biometrika 6, 1-25: extra hours of sleep with two drugs, as printed in R's ``sleep``."""


def test_scale_of_students_sleep() -> None:
    """Median absolute deviation .4, scaled to .59304 (computed for this project)."""
    assert mad_scale(np.subtract(SLEEP_2, SLEEP_1)) == pytest.approx(0.59304, abs=5e-6)


def test_theil_sen_shrugs_off_a_wild_value() -> None:
    """y 0 1 2 100: slope 17.1667 where least squares says 30.1; interval 1 to 98 (computed for this project)."""
    found = theil_sen([0, 1, 2, 3], [0, 1, 2, 100])

    assert found.slope == pytest.approx(17.1667, abs=5e-5)
    assert found.ci95 == (pytest.approx(1.0), pytest.approx(98.0))
    assert np.polyfit([0, 1, 2, 3], [0, 1, 2, 100], 1)[0] == pytest.approx(30.1)


def test_sens_own_example() -> None:
    """Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389 (data from memory): slope 4.0, interval 3.714 to 4.375."""
    found = theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])

    assert found.slope == pytest.approx(4.0)
    assert found.ci95 == (pytest.approx(3.714, abs=5e-4), pytest.approx(4.375))


def test_scipys_theil_sen_agrees(rng: np.random.Generator) -> None:
    """Slope, intercept and interval equal SciPy's, ties and repeated x included."""
    for _ in range(20):
        x, y = rng.integers(0, 15, 25), np.round(rng.normal(0, 3, 25))
        ours, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)

        assert (ours.slope, ours.intercept) == (pytest.approx(theirs.slope), pytest.approx(theirs.intercept))
        assert ours.ci95 == (pytest.approx(theirs.low_slope), pytest.approx(theirs.high_slope))


def test_scipys_median_deviation_agrees(rng: np.random.Generator) -> None:
    """The scale equals SciPy's."""
    a = rng.normal(0, 1, 12)

    assert mad_scale(a) == pytest.approx(stats.median_abs_deviation(a, scale="normal"))


def test_nothing_gives_nan() -> None:
    """Empty input is nan where a number makes no sense."""
    assert np.isnan([mad_scale([]), theil_sen([1], [1]).slope]).all()
