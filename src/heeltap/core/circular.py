"""Statistics on the circle, for offsets that can exceed a quarter of the grid's period.

A stroke 60 ms after one slot of 125 ms is also 65 ms before the next: a mean of such offsets lies, a circular mean does
not. Where offsets stay within a quarter of the period use `heeltap.core.stats` instead.

Conventions: values are in any unit with the given ``period`` (ms and a sixteenth's length, degrees and 360); results
come back in that unit, means in [-period / 2, period / 2), so negative is early.

Inside: `resultant`, `circular_mean`, `circular_sd`, `angular_deviation`, `circular_median`, `mean_interval`,
`rayleigh`, `v_test`, `von_mises_kappa`, `watson_williams`.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from heeltap.core.arrays import FloatArray

__all__ = [
    "Rayleigh",
    "VTest",
    "WatsonWilliams",
    "angular_deviation",
    "circular_mean",
    "circular_median",
    "circular_sd",
    "mean_interval",
    "rayleigh",
    "resultant",
    "v_test",
    "von_mises_kappa",
    "watson_williams",
]

TURN = 2.0 * np.pi


class Rayleigh(NamedTuple):
    """Test of "no direction is preferred": for a take, "these strokes follow no grid of this period"."""

    z: float
    """n R squared."""
    p: float
    """By the better approximation at this size: Wilkie's under 50 values, Zar's from there."""
    p_zar: float
    """exp(sqrt(1 + 4n + 4(n^2 - (nR)^2)) - (1 + 2n)); Zar (2010), Biostatistical Analysis, 5th ed., section 27.1."""
    p_wilkie: float
    """exp(-z) times a series in 1/n; Wilkie (1983), Appl. Statist. 32, 311-312."""


class VTest(NamedTuple):
    """Test of "no direction is preferred" against a direction named beforehand."""

    v: float
    """n R cos(mean - named direction)."""
    u: float
    """v sqrt(2 / n)."""
    p: float
    """One-sided; normal tail with a series in 1/n (Jammalamadaka & SenGupta 2001, Topics in Circular Statistics)."""


class WatsonWilliams(NamedTuple):
    """Test of equal mean directions of several samples."""

    f: float
    """Ratio with (k - 1, N - k) degrees of freedom."""
    p: float
    """Upper tail."""
    kappa: float
    """Concentration common to the samples."""
    correction: float
    """1 + 3 / (8 kappa)."""


def resultant(
    values: npt.ArrayLike, period: float = TURN, *, weights: npt.ArrayLike | None = None
) -> tuple[float, float]:
    """Mean direction in [-period / 2, period / 2) and resultant length R, 0 (no direction) to 1 (all alike).

    ``weights`` are counts, for grouped data; no grouping correction is made. nan, nan without values.
    """
    angle = np.asarray(values, dtype=np.float64) * (TURN / period)
    share = np.ones(angle.shape) if weights is None else np.asarray(weights, dtype=np.float64)
    total = float(share.sum())
    if total == 0.0:
        return float("nan"), float("nan")
    c, s = float(share @ np.cos(angle)) / total, float(share @ np.sin(angle)) / total
    return _wrap(float(np.arctan2(s, c)) * period / TURN, period), min(float(np.hypot(c, s)), 1.0)


def _wrap(value: float, period: float) -> float:
    """The value in [-period / 2, period / 2)."""
    return float((value + period / 2) % period - period / 2)


def circular_mean(values: npt.ArrayLike, period: float = TURN) -> float:
    """Mean direction: of offsets on a grid, the bias, negative early."""
    return resultant(values, period)[0]


def circular_sd(values: npt.ArrayLike, period: float = TURN) -> float:
    """Circular standard deviation sqrt(-2 ln R), in the values' unit; inf where no direction is preferred."""
    length = resultant(values, period)[1]
    return float(np.sqrt(max(-2.0 * np.log(length), 0.0)) * period / TURN) if length > 0 else float("inf")


def angular_deviation(values: npt.ArrayLike, period: float = TURN) -> float:
    """Angular deviation sqrt(2 (1 - R)), in the values' unit."""
    return float(np.sqrt(2.0 * (1.0 - resultant(values, period)[1])) * period / TURN)


def circular_median(values: npt.ArrayLike, period: float = TURN) -> float:
    """Value (or middle of two neighbours) with the smallest mean distance round the circle to all others.

    Grows as the square of the number of values.
    """
    data = np.sort(np.asarray(values, dtype=np.float64) % period)
    gap = np.diff(data, append=data[:1] + period)
    candidates = np.concatenate([data, data + gap / 2]) if data.size % 2 == 0 else data
    away = np.abs((candidates[:, None] - data[None, :] + period / 2) % period - period / 2).mean(axis=1)
    best = candidates[away <= away.min() + 1e-9 * period]
    return resultant(best, period)[0]


def mean_interval(values: npt.ArrayLike, period: float = TURN, *, level: float = 0.95) -> float:
    """Half-width of the confidence interval of the mean direction; nan where the values are too scattered for one.

    Independent values only. Source: Upton (1986), quoted as equations 26.23-26.24 in Zar (2010), Biostatistical
    Analysis, 5th ed. (equation numbers from memory).
    """
    from scipy.special import chdtri

    n = np.size(values)
    length = resultant(values, period)[1]
    chi = float(chdtri(1, 1.0 - level))
    if length <= 0.9:
        inner = 2.0 * n * (2.0 * (n * length) ** 2 - n * chi) / (4.0 * n - chi)
    else:
        inner = n**2 - (n**2 - (n * length) ** 2) * np.exp(chi / n)
    cosine = float(np.sqrt(max(inner, 0.0))) / (n * length) if inner > 0 else float("nan")
    return float(np.arccos(min(cosine, 1.0)) * period / TURN) if cosine == cosine else float("nan")


def rayleigh(values: npt.ArrayLike, period: float = TURN, *, weights: npt.ArrayLike | None = None) -> Rayleigh:
    """Rayleigh's test for a preferred direction, with both usual approximations of its p-value."""
    n = float(np.size(values) if weights is None else np.sum(weights))
    length = resultant(values, period, weights=weights)[1]
    z = n * length**2
    zar = float(np.exp(np.sqrt(1 + 4 * n + 4 * (n**2 - (n * length) ** 2)) - (1 + 2 * n)))
    series = 1 + (2 * z - z**2) / (4 * n) - (24 * z - 132 * z**2 + 76 * z**3 - 9 * z**4) / (288 * n**2)
    wilkie = float(np.exp(-z) * series)
    return Rayleigh(z, wilkie if n < 50 else zar, zar, wilkie)


def v_test(values: npt.ArrayLike, towards: float = 0.0, period: float = TURN) -> VTest:
    """Whether the values prefer the direction ``towards``, chosen before they were seen."""
    from scipy.special import ndtr

    n = np.size(values)
    mean, length = resultant(values, period)
    v = n * length * float(np.cos((mean - towards) * TURN / period))
    u = v * float(np.sqrt(2.0 / n))
    density = np.exp(-(u**2) / 2) / np.sqrt(TURN)
    series = (3 * u - u**3) / (16 * n) + (15 * u + 305 * u**3 - 125 * u**5 + 9 * u**7) / (4608 * n**2)
    return VTest(v, u, float(1.0 - ndtr(u) + density * series))


def von_mises_kappa(length: float) -> float:
    """Maximum-likelihood concentration of a von Mises distribution: the root of I1(k) / I0(k) = R (Newton)."""
    from scipy.special import ive

    if not 0.0 <= length < 1.0:
        return 0.0 if length <= 0 else float("inf")
    # Start: Best & Fisher (1981), Commun. Stat. B 10, 493-502 (from memory); good to a few per cent everywhere.
    kappa = length * (2.0 - length**2) / (1.0 - length**2)
    for _ in range(50):
        ratio = float(ive(1, kappa) / ive(0, kappa))
        step = (ratio - length) / (1.0 - ratio / kappa - ratio**2) if kappa > 0 else 0.0
        kappa -= step
        if abs(step) <= 1e-12 * max(kappa, 1.0):
            break
    return kappa


def watson_williams(samples: Sequence[npt.ArrayLike], period: float = TURN) -> WatsonWilliams:
    """Whether several samples share their mean direction; wants R above about 0.7 and at least 5 values a sample.

    Source: Watson & Williams (1956), Biometrika 43, 344-352 (from memory).
    """
    from scipy.special import fdtrc

    sizes = np.array([np.size(sample) for sample in samples], dtype=np.float64)
    own: FloatArray = sizes * np.array([resultant(sample, period)[1] for sample in samples])
    together = np.concatenate([np.asarray(sample, dtype=np.float64).ravel() for sample in samples])
    n, groups = float(sizes.sum()), len(samples)
    kappa = von_mises_kappa(float(own.sum()) / n)
    correction = 1.0 + 3.0 / (8.0 * kappa)
    between = float(own.sum()) - n * resultant(together, period)[1]
    f = correction * (n - groups) * between / ((groups - 1) * (n - float(own.sum())))
    return WatsonWilliams(f, float(fdtrc(groups - 1, n - groups, f)), kappa, correction)
