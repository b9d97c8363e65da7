"""What the strokes do between themselves, and how plausible each noise model is for one take.

A player's offsets are not independent: they wander, and an interval that ignores this is far too narrow. So
`heeltap.analysis.statistics.estimates` and `heeltap.analysis.findings` average over a family
(`heeltap.analysis.statistics.noise_family`), by plausibility.

Strokes count as equally spaced (one step a stroke). A model is an autocorrelation ``r[h]`` with ``r[0] = 1``. All models
share one basis, the cosines of the type-II transform (`heeltap.analysis.statistics.cosines`), in which a slowly wandering
series is nearly uncorrelated. There a model is one variance for each coefficient, computed exactly from its autocorrelation.

Ours, where no source is named.

Inside: `variances` (one row for each model), `Noise`, `products_under`, `fit_noise`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from heeltap.analysis.statistics.cosines import from_cosines, to_cosines
from heeltap.analysis.statistics.noise_family import MODELS, NoiseModel
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints, freeze_columns

__all__ = [
    "Noise",
    "autocorrelations",
    "correlations",
    "fit_noise",
    "lag_products",
    "log_determinants",
    "products_under",
    "variances",
]


def autocorrelations(n: int, models: Sequence[NoiseModel] = MODELS) -> FloatArray:
    """Autocorrelation of each model at lags 0 to n-1, shape (models, n).

    Parameters
    ----------
    n : int
        Strokes.
    models : NoiseModel, any number

    Returns
    -------
    float64, shape (models, n)
        1 at lag 0.

    Notes
    -----
    ``short``: wander * memory ** h. ``long``: fractional Gaussian noise, wander * (|h+1|^2H - 2 |h|^2H + |h-1|^2H) /
    2 (Mandelbrot & Van Ness 1968, SIAM Review 10:422-437; from memory).
    """
    lag = np.arange(n, dtype=np.float64)
    rows = np.empty((len(models), n))
    for row, model in zip(rows, models, strict=True):
        if model.kind == "short":
            row[:] = model.wander * np.power(model.memory, lag)
        else:
            twice = 2 * model.memory
            row[:] = (lag + 1) ** twice - 2 * lag**twice + np.abs(lag - 1) ** twice
            row *= model.wander / 2
        row[:1] = 1.0
    return rows


def _variances(correlation: FloatArray) -> FloatArray:
    """Variance of each cosine coefficient under one autocorrelation; exact, for any length.

    With c_k the k-th basis vector, var_k = r_0 + 2 sum_h r_h a_k(h), and the sum over time of c_k(t) c_k(t+h) has the
    closed form a_k(h) = (1 - h/n) cos(pi k h / n) - sin(pi k h / n) / (n sin(pi k / n)), for k = 0 just 1 - h/n.
    Ours.
    """
    n = correlation.size
    lag = np.arange(n)
    tail = np.where(lag > 0, correlation, 0.0)
    # Two real series in one transform: the even part is the first one's cosine sum, the odd part the second one's sine sum.
    both = np.fft.fft(tail * (1 - lag / n) + 1j * tail, 2 * n)
    mirrored = np.concatenate((both[:1], both[:n:-1]))
    level = (both[:n].real + mirrored.real) / 2
    edge = (both[:n].real - mirrored.real) / 2
    sine = n * np.sin(np.pi * lag / n)
    sine[:1] = np.inf
    return np.asarray(np.maximum(correlation[:1] + 2 * (level - edge / sine), 1e-9))


@lru_cache(maxsize=2)
def correlations(n: int) -> FloatArray:
    """`autocorrelations` of `MODELS`, kept; read-only.

    Parameters
    ----------
    n : int
        Strokes.

    Returns
    -------
    float64, shape (models, n)
    """
    table = autocorrelations(n)
    table.setflags(write=False)
    return table


@lru_cache(maxsize=2)
def variances(n: int) -> FloatArray:
    """Variance of each cosine coefficient of n strokes under each of `MODELS`, kept; read-only.

    Parameters
    ----------
    n : int
        Strokes.

    Returns
    -------
    float64, shape (models, n)
        In units of one stroke's variance.
    """
    # Row by row: all at once would take 16 bytes a model and stroke, twice over, for nothing.
    table = np.stack([_variances(row) for row in correlations(n)])
    table.setflags(write=False)
    return table


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """How plausible each model is for one take, and the variance of the strokes under it."""

    n: int
    """Strokes."""
    freedom: int
    """Degrees of freedom: strokes minus the regressors taken out."""
    mean_weight: FloatArray
    """Probability of each model given the take, for intervals of means; sums to one."""
    weight: FloatArray
    """The same for all other intervals: more careful about long memory."""
    variance_ms2: FloatArray
    """Variance of one stroke under each model, ms squared."""

    def __post_init__(self) -> None:
        """Make the columns read-only."""
        freeze_columns(self, ("mean_weight", "weight", "variance_ms2"))

    def error_variance(self, weights: FloatArray) -> FloatArray:
        """Variance of ``sum(weights * offsets)`` under each model, ms squared, exact.

        Parameters
        ----------
        weights : float64, shape (n,)
            One for each stroke.

        Returns
        -------
        float64, shape (models,)
        """
        return np.asarray(self.variance_ms2 * np.maximum(correlations(self.n) @ lag_products(weights), 1e-12))

    def whitened(self, offset_ms: FloatArray) -> FloatArray:
        """Offsets about their mean, made nearly independent by the most plausible model; unit variance if it is right.

        Parameters
        ----------
        offset_ms : float64, shape (n,)

        Returns
        -------
        float64, shape (n,)
            Without a unit.
        """
        best = int(np.argmax(self.weight))
        scale = np.sqrt(variances(self.n)[best] * self.variance_ms2[best])
        return from_cosines(to_cosines(offset_ms - offset_ms.mean()) / scale)


@lru_cache(maxsize=64)
def _next_fast_length(least: int) -> int:
    """Smallest length from ``least`` on without a prime factor above 5; other lengths transform several times slower.

    Equals ``scipy.fft.next_fast_len(least, real=True)``; why it is not called stands at `to_cosines`.
    """
    length = least
    while True:
        rest = length
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return length
        length += 1


def lag_products(weights: FloatArray) -> FloatArray:
    """Sums of ``weights[t] * weights[t + h]`` by lag h, both signs of h together.

    Parameters
    ----------
    weights : float64, shape (n,)

    Returns
    -------
    float64, shape (n,)
    """
    n = weights.size
    size = _next_fast_length(2 * n)
    spectrum = np.fft.rfft(weights, size)
    sums = np.fft.irfft(spectrum * spectrum.conj(), size)[:n]
    sums[1:] *= 2
    return np.asarray(sums)


def products_under(columns: FloatArray, models: BoolArray | None = None) -> FloatArray:
    """Products of the columns with themselves under each model, shape (models, k, k).

    Equals ``np.stack([(columns / row[:, None]).T @ columns for row in variances(n)])`` to two parts in a thousand at
    worst: beyond coefficient 32 the products are first summed over bands 4 % wide, in which no model's variance changes
    by more than a tenth, and each band is weighed by the mean of the model's inverse variances. At 1,500 strokes and 60
    columns that is eight times as fast.

    Parameters
    ----------
    columns : float64, shape (n, k)
        In the cosine basis.
    models : bool, shape (models,), optional
        The models that are wanted; all where not given.

    Returns
    -------
    float64, shape (models, k, k)
    """
    n, k = columns.shape
    start, weight, _ = _bands(n)
    count = np.diff(start, append=n)
    if models is not None:
        weight = weight[models]
    inner = np.empty((start.size, k, k))
    for band, (first, size) in enumerate(zip(start.tolist(), count.tolist(), strict=True)):
        part = columns[first : first + size]
        np.matmul(part.T, part, out=inner[band])
    return np.asarray((weight @ inner.reshape(start.size, k * k)).reshape(-1, k, k))


@lru_cache(maxsize=2)
def _bands(n: int) -> tuple[IntArray, FloatArray, FloatArray]:
    """First coefficient of each band (one by one up to 32, then 4 % wide), the mean inverse variance in it under each model,
    and the logarithm of the determinant of each model."""
    edges = list(range(min(n, 32)))
    while edges[-1] + 1 < n and len(edges) >= 32:
        edges.append(edges[-1] + max(1, round(0.04 * edges[-1])))
    start = as_ints(edge for edge in edges if edge < n)
    table = variances(n)
    weight = np.add.reduceat(1.0 / table, start, axis=1) / np.diff(start, append=n)
    return start, weight, np.sum(np.log(table), axis=1)


def log_determinants(n: int) -> FloatArray:
    """Logarithm of the determinant of each model's covariance of n strokes.

    Parameters
    ----------
    n : int
        Strokes.

    Returns
    -------
    float64, shape (models,)
    """
    return _bands(n)[2]


def fit_noise(offset_ms: FloatArray, regressors: FloatArray | None = None) -> Noise:
    """Plausibility of each noise model, the mean and any ``regressors`` taken out under each of them.

    Parameters
    ----------
    offset_ms : float64, shape (n,)
        In time order, without gaps of NaN.
    regressors : float64, shape (n, k), optional
        What is not noise: group memberships, a slope. The mean is always taken out; columns that are combinations of
        others do no harm.

    Returns
    -------
    Noise
        Weights are marginal likelihoods (flat prior on the coefficients, 1/sigma on the scale: the restricted
        likelihood of Patterson & Thompson 1971, Biometrika 58:545-554, from memory) times the priors.
    """
    n = offset_ms.size
    columns = np.ones((n, 1)) if regressors is None else np.column_stack((np.ones(n), regressors))
    basis = to_cosines(_independent(columns))
    both = np.column_stack((basis, to_cosines(offset_ms)))
    freedom = max(n - basis.shape[1], 1)
    products = products_under(both)
    inner, cross = products[:, :-1, :-1], products[:, :-1, -1:]
    fitted = np.sum(cross * np.linalg.solve(inner, cross), axis=(1, 2))
    # At least a billionth of the whole: identical strokes leave nothing but rounding.
    left = np.maximum(products[:, -1, -1] - fitted, 1e-9 * np.maximum(products[:, -1, -1], 1e-9))
    likely = -0.5 * (np.linalg.slogdet(inner)[1] + log_determinants(n) + freedom * np.log(left))
    mean_weight = _normed(likely + np.log([model.mean_prior for model in MODELS]))
    weight = _normed(likely + np.log([model.interval_prior for model in MODELS]))
    return Noise(n, freedom, mean_weight, weight, left / freedom)


def _normed(log_weight: FloatArray) -> FloatArray:
    """Weights that sum to one."""
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _independent(columns: FloatArray) -> FloatArray:
    """A basis of the columns' span, orthonormal up to rounding: by their products, which are few where strokes are many."""
    size, turn = np.linalg.eigh(columns.T @ columns)
    keep = size > 1e-10 * max(float(size[-1]), 1e-300)
    return np.asarray(columns @ (turn[:, keep] / np.sqrt(size[keep])))
