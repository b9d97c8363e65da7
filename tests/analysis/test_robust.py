"""Robust and plain statistics against published worked examples and against SciPy."""

import numpy as np
import pytest
from scipy import stats

from heeltap.analysis.statistics.robust import (
    bca,
    hodges_lehmann,
    hodges_lehmann_shift,
    mad_scale,
    paired,
    theil_sen,
    welch,
)

SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
"""Student (1908), Biometrika 6, 1-25: extra hours of sleep with two drugs, as printed in R's ``sleep``."""

SPATIAL_A = [48, 36, 20, 29, 42, 42, 20, 42, 22, 41, 45, 14, 6, 0, 33, 28, 34, 4, 32, 24, 47, 41, 24, 26, 30, 41]
"""Efron & Tibshirani (1993), An Introduction to the Bootstrap, table 14.1: spatial test, first task."""


def test_students_sleep_by_welch() -> None:
    """t -1.8608, df 17.776, p .07939, interval -3.36548 to .20548 (known results for these data, from memory)."""
    found = welch(SLEEP_1, SLEEP_2)

    assert found.t == pytest.approx(-1.8608, abs=5e-5)
    assert found.df == pytest.approx(17.776, abs=5e-4)
    assert found.p == pytest.approx(0.07939, abs=5e-6)
    assert found.ci95 == (pytest.approx(-3.36548, abs=5e-6), pytest.approx(0.20548, abs=5e-6))


def test_students_sleep_paired() -> None:
    """Mean 1.58, t 4.0621, p .002833, interval .70011 to 2.45989 (known results for these data, from memory)."""
    found = paired(SLEEP_2, SLEEP_1)

    assert found.mean == pytest.approx(1.58)
    assert found.t == pytest.approx(4.0621, abs=5e-5)
    assert found.p == pytest.approx(0.002833, abs=5e-7)
    assert found.ci95 == (pytest.approx(0.70011, abs=5e-6), pytest.approx(2.45989, abs=5e-6))


def test_students_sleep_robustly() -> None:
    """One-sample centre of the differences 1.3, shift 1.35, MAD .4 scaled to .59304 (computed for this project)."""
    difference = np.subtract(SLEEP_2, SLEEP_1)

    assert hodges_lehmann(difference) == pytest.approx(1.3)
    assert hodges_lehmann_shift(SLEEP_1, SLEEP_2) == pytest.approx(1.35)
    assert mad_scale(difference) == pytest.approx(0.59304, abs=5e-6)


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


def test_scipys_t_tests_agree(rng: np.random.Generator) -> None:
    """Welch's and the paired test equal SciPy's."""
    a, b = rng.normal(0, 1, 12), rng.normal(1, 3, 12)

    assert welch(a, b).p == pytest.approx(stats.ttest_ind(a, b, equal_var=False).pvalue)
    assert paired(a, b).p == pytest.approx(stats.ttest_rel(a, b).pvalue)
    assert mad_scale(a) == pytest.approx(stats.median_abs_deviation(a, scale="normal"))


def variance(rows: np.ndarray) -> np.ndarray:
    """Plug-in variance of each row."""
    return np.asarray(rows.var(axis=1))


def test_efrons_spatial_test() -> None:
    """Variance 171.534, a .061, 90 % BCa about (115.8, 259.6), exact (118.4, 305.2).

    Efron & Tibshirani (1993), chapter 14 (from memory). SciPy's own BCa gives (115.7, 261.8); ours must lie within 3 of
    both below and 4 above, which is what 20,000 draws scatter by.
    """
    data = np.asarray(SPATIAL_A, dtype=np.float64)
    found = bca(data, variance, rng=np.random.default_rng(5), level=0.90, draws=20_000)
    peer = stats.bootstrap(
        (data,), np.var, confidence_level=0.90, n_resamples=20_000, method="BCa", rng=np.random.default_rng(6)
    ).confidence_interval

    assert float(data.var()) == pytest.approx(171.534, abs=5e-4)
    assert found.acceleration == pytest.approx(0.061, abs=5e-4)
    assert (found.low, found.high) == (pytest.approx(115.8, abs=3), pytest.approx(259.6, abs=4))
    assert (found.low, found.high) == (pytest.approx(peer.low, abs=3), pytest.approx(peer.high, abs=4))


def test_bca_covers(rng: np.random.Generator) -> None:
    """On skewed values of known mean a 90 % interval covers between 0.84 and 0.94."""
    hits = 0
    for _ in range(300):
        found = bca(rng.exponential(1.0, 60), lambda rows: np.asarray(rows.mean(axis=1)), rng=rng, level=0.9, draws=600)
        hits += found.low <= 1.0 <= found.high

    assert 0.84 <= hits / 300 <= 0.94


def test_nothing_gives_nan() -> None:
    """Empty input is nan where a number makes no sense."""
    assert np.isnan(
        [mad_scale([]), hodges_lehmann([]), hodges_lehmann_shift([], [1.0]), theil_sen([1], [1]).slope]
    ).all()


def test_no_scatter_is_certain_and_one_value_is_unknown() -> None:
    """Equal differences have p 0 (or 1 for none); a single value has no test."""
    assert (paired([3, 4, 5], [1, 2, 3]).p, paired([1, 2], [1, 2]).p) == (0.0, 1.0)
    assert welch([2, 2], [1, 1]).ci95 == (1.0, 1.0)
    assert np.isnan([welch([1], [1, 2]).p, paired([1], [2]).p]).all()
