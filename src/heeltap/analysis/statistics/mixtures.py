"""Intervals from mixtures: one distribution a noise model, weighed by how plausible the model is.

Inside: `half_width` (centred Student's t), `chi_mixture` (scaled inverse chi-squares).
"""

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray

__all__ = ["chi_mixture", "half_width"]


def half_width(scale: FloatArray, weight: FloatArray, freedom: float, level: float = 0.95) -> float:
    """Half-width of the central interval of a mixture of centred Student's t, by bisection to a ten-thousandth.

    Ours.

    Parameters
    ----------
    scale : float64, shape (models,)
        Standard error under each noise model (the root of `Noise.error_variance`).
    weight : float64, shape (models,)
        Probability of each model (`Noise.weight`).
    freedom : float
        Degrees of freedom.
    level : float
        Confidence, 0-1.

    Returns
    -------
    float
        In the unit of ``scale``.
    """
    from scipy.special import stdtr, stdtrit

    plausible = _plausible(weight)
    scale, weight = np.maximum(scale[plausible], 1e-12), weight[plausible]
    widest = float(stdtrit(freedom, 0.5 + level / 2))
    low, high = widest * float(scale.min()), widest * float(scale.max())
    while high - low > 1e-4 * high:
        middle = (low + high) / 2
        if float(weight @ stdtr(freedom, middle / scale)) < 0.5 + level / 2:
            low = middle
        else:
            high = middle
    return high


def chi_mixture(variance: FloatArray, freedom: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Central 95 % of a mixture of scaled inverse chi-squares, as standard deviations.

    Ours.

    Parameters
    ----------
    variance : float64, shape (models,)
        Variance that each noise model estimates.
    freedom : float64, shape (models,)
        Degrees of freedom under each.
    weight : float64, shape (models,)
        Probability of each model.

    Returns
    -------
    low, high : float
        Roots of the variance's bounds.
    """
    from scipy.special import chdtrc

    plausible = _plausible(weight)
    variance, freedom, weight = variance[plausible], freedom[plausible], weight[plausible]
    found = []
    for level in (0.025, 0.975):
        low, high = np.log(float(variance.min()) / 100), np.log(float(variance.max()) * 1e6)
        while high - low > 2e-4:
            middle = (low + high) / 2
            below = float(weight @ chdtrc(freedom, freedom * variance / np.exp(middle)))
            low, high = (middle, high) if below < level else (low, middle)
        found.append(float(np.exp(high / 2)))
    return found[0], found[1]


def _plausible(weight: FloatArray) -> BoolArray:
    """Models that matter: those left out weigh less than a hundred-thousandth together, and cost as much as the others."""
    order = np.argsort(weight)
    out = np.zeros(weight.size, dtype=np.bool_)
    out[order[np.cumsum(weight[order]) > 1e-5 * weight.sum()]] = True
    return out
