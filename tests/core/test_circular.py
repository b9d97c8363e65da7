"""Circular statistics against published worked examples and against SciPy and astropy."""

import numpy as np
import pytest
from scipy import stats

from heeltap.core.circular import (
    angular_deviation,
    circular_mean,
    circular_median,
    circular_sd,
    mean_interval,
    rayleigh,
    resultant,
    v_test,
    von_mises_kappa,
    watson_williams,
)

ZAR_26_4 = [45, 55, 81, 96, 110, 117, 132, 154]
"""Zar (2010), Biostatistical Analysis, 5th ed., examples 26.4 and 27.1, degrees."""

ZAR_27_2 = [66, 75, 86, 88, 88, 93, 97, 101, 118, 130]
"""The same, example 27.2."""

ZAR_27_7 = ([94, 65, 45, 52, 38, 47, 73, 82, 90, 40, 87], [77, 70, 61, 45, 50, 35, 48, 65, 36])
"""The same, example 27.7."""

TURTLES = (
    "8 9 13 13 14 18 22 27 30 34 38 38 40 44 45 47 48 48 48 48 50 53 56 57 58 58 61 63 64 64 64 65 65 68 70 73 78 78 "
    "78 83 83 88 88 88 90 92 92 93 95 96 98 100 103 106 113 118 138 153 153 155 204 215 223 226 237 238 243 244 250 "
    "251 257 268 285 319 343 350"
)
"""Fisher (1993), Statistical Analysis of Circular Data, appendix B.3: directions of 76 turtles, degrees."""

TWENTY = [
    -0.94904375, 0.26575165, -0.03226759, 1.98389239, 2.0084918, 0.56965871, -0.19199522, -0.33080002, -0.03141245,
    1.18560637, 4.31138236, 4.84776075, 2.10336819, 3.45465972, 4.64572697, 5.80976322, 6.27160926, 0.67979652,
    1.33776004, 0.58059308,
]  # fmt: skip
"""Twenty angles in radians from the test suite of a published circular-statistics package, with its z and p."""


def test_zar_example_26_4() -> None:
    """Mean 98.988, R .82522, angular deviation 34, circular SD 35.51 degrees (Zar 2010, example 26.4)."""
    mean, length = resultant(ZAR_26_4, 360)

    assert mean == pytest.approx(98.988, abs=5e-4)
    assert length == pytest.approx(0.82522, abs=5e-6)
    assert round(angular_deviation(ZAR_26_4, 360)) == 34
    assert circular_sd(ZAR_26_4, 360) == pytest.approx(35.51, abs=5e-3)


def test_zar_example_26_4_interval_and_median() -> None:
    """95 % interval 68 to 130 degrees, median 103 (Zar 2010, examples 26.4 and 26.5 of the same data)."""
    mean, half = circular_mean(ZAR_26_4, 360), mean_interval(ZAR_26_4, 360)

    assert (round(mean - half), round(mean + half)) == (68, 130)
    assert circular_median(ZAR_26_4, 360) == pytest.approx(103.0)


def test_zar_example_27_1() -> None:
    """Rayleigh z 5.448, .001 < p < .002; .00185 by Zar's formula, .00164 by Wilkie's (Zar 2010, example 27.1)."""
    found = rayleigh(ZAR_26_4, 360)

    assert found.z == pytest.approx(5.448, abs=5e-4)
    assert found.p_zar == pytest.approx(0.00185, abs=5e-6)
    assert found.p_wilkie == pytest.approx(0.00164, abs=5e-6)
    assert 0.001 < found.p < 0.002


def test_zar_example_26_5_grouped() -> None:
    """Counts in 30-degree groups: mean 161.565, R .55064 uncorrected (Zar 2010, example 26.5)."""
    centres, counts = np.arange(15, 360, 30), [0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0]
    mean, length = resultant(centres, 360, weights=counts)

    assert mean == pytest.approx(161.565, abs=5e-4)
    assert length == pytest.approx(0.55064, abs=5e-6)


def test_zar_example_27_2() -> None:
    """V 9.498, u 4.248, p < .0005, mean 94.05, R .95214 (Zar 2010, example 27.2)."""
    mean, length = resultant(ZAR_27_2, 360)
    v, u, p = v_test(ZAR_27_2, 90, 360)

    assert (mean, length) == (pytest.approx(94.05, abs=5e-3), pytest.approx(0.95214, abs=5e-6))
    assert v == pytest.approx(9.498, abs=5e-4)
    assert u == pytest.approx(4.248, abs=6e-4)  # the book multiplies the rounded V
    assert p < 0.0005


def test_zar_example_27_7() -> None:
    """F(1, 18) 1.6128, p .2203, kappa 10.79, K 1.0348 (Zar 2010, example 27.7: F 1.61, p .22)."""
    found = watson_williams(ZAR_27_7, 360)

    assert found.f == pytest.approx(1.6128, abs=5e-4)
    assert found.p == pytest.approx(0.2203, abs=5e-5)
    assert found.kappa == pytest.approx(10.79, abs=5e-3)
    assert found.correction == pytest.approx(1.0348, abs=5e-5)


def test_values_printed_in_astropys_documentation() -> None:
    """Mean, variance, Rayleigh and V tests and von Mises fit as astropy.stats prints them in its own examples."""
    mean, length = resultant([51, 67, 40, 109, 31, 358], 360)
    few = [130, 90, 0, 145]

    assert mean == pytest.approx(48.62718088722989, rel=1e-12)
    assert 1 - length == pytest.approx(0.16356352748437508, rel=1e-12)
    assert rayleigh(few, 360).p == pytest.approx(0.2563487733797317, rel=1e-12)
    assert v_test(few, 0, 360).p == pytest.approx(0.6223678199713766, rel=1e-12)
    assert circular_mean(few, 360) == pytest.approx(101.16894320013179, rel=1e-12)
    # astropy uses Best & Fisher's approximation, which is 0.4 % under the root of the likelihood equation here.
    assert von_mises_kappa(resultant(few, 360)[1]) == pytest.approx(1.49358958737054, rel=5e-3)


def test_values_printed_in_scipys_documentation() -> None:
    """circmean of 20, 30 and 330 degrees is 7.294976657784009."""
    assert circular_mean([20, 30, 330], 360) == pytest.approx(7.294976657784009, rel=1e-12)


def test_twenty_angles_of_a_published_package() -> None:
    """z 3.1678 and p .0400878 (by Zar's formula) for the twenty angles."""
    found = rayleigh(TWENTY)

    assert found.z == pytest.approx(3.1678, abs=5e-5)
    assert found.p_zar == pytest.approx(0.0400878, abs=5e-8)


def test_fishers_turtles() -> None:
    """Mean 64.17 degrees, R .49709, p about 2e-9 (data: Fisher 1993, B.3; result computed for this project)."""
    angles = [int(word) for word in TURTLES.split()]
    mean, length = resultant(angles, 360)

    assert len(angles) == 76
    assert mean == pytest.approx(64.17, abs=5e-3)
    assert length == pytest.approx(0.49709, abs=5e-6)
    assert rayleigh(angles, 360).p == pytest.approx(2e-9, rel=0.3)


@pytest.mark.parametrize("period", [125.0, 360.0, 2 * np.pi])
def test_scipy_agrees(period: float, rng: np.random.Generator) -> None:
    """Mean and standard deviation equal SciPy's on random offsets of any period."""
    values = rng.normal(0.1 * period, 0.15 * period, 200)

    assert circular_mean(values, period) == pytest.approx(
        float(stats.circmean(values, high=period / 2, low=-period / 2)), rel=1e-9
    )
    assert circular_sd(values, period) == pytest.approx(float(stats.circstd(values, high=period)), rel=1e-9)


def test_astropy_agrees(rng: np.random.Generator) -> None:
    """Rayleigh's and the V test equal astropy's on random angles."""
    circ = pytest.importorskip("astropy.stats.circstats")
    for n in (8, 30, 49):
        angles = rng.vonmises(0.3, 0.5, n)

        assert rayleigh(angles).p == pytest.approx(float(circ.rayleightest(angles)), rel=1e-9)
        assert v_test(angles).p == pytest.approx(float(circ.vtest(angles, mu=0.0)), rel=1e-9)


@pytest.mark.parametrize("kappa", [0.01, 0.5, 2.0, 10.0, 300.0])
def test_kappa_is_the_root_of_the_bessel_ratio(kappa: float) -> None:
    """The resultant length expected at kappa gives kappa back."""
    from scipy.special import ive

    assert von_mises_kappa(float(ive(1, kappa) / ive(0, kappa))) == pytest.approx(kappa, rel=1e-6)


def test_rayleigh_is_uniform_without_a_direction(rng: np.random.Generator) -> None:
    """On uniform angles 5 % of the p-values lie under .05, to three standard errors."""
    low = np.mean([rayleigh(rng.uniform(0, 2 * np.pi, 24)).p < 0.05 for _ in range(2000)])

    assert low == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 2000))


def test_no_values_have_no_direction() -> None:
    """An empty sample gives nan, not an error."""
    assert np.isnan(circular_mean([]))
