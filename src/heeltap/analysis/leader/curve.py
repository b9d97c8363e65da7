"""The leader's slow curve: a level, a curve that forgets, and white noise on every stroke; all fits averaged.

Model of the leader's offset from the click at position q (quarter notes)::

    y = m + c(q) + e,    c an Ornstein-Uhlenbeck curve,    e white

with ``m`` drawn to the click (`LEVEL_SD_MS`). The curve's memory and its share of the variance come from a grid of
`MODELS`; the scale and the level are solved in closed form for each, and every answer is averaged over the grid by
how plausible the hits find it. The filter runs over the hits once, for all models together; a second column of ones
carries what the level explains, so that no state is needed for it.

Conventions: milliseconds, negative is early; positions in quarter notes, not decreasing. Ours.

Inside: `MODELS`, `CurveFit`, `fit_curve`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import FloatArray

__all__ = ["LEVEL_SD_MS", "MODELS", "CurveFit", "fit_curve"]

LEVEL_SD_MS = 15.0
"""How far a leader's level lies from the click before anything was heard: standard deviation, ms. Ours."""

SCALE_MS = 12.0
"""How far hits stray about the level before anything was heard, ms; worth `SCALE_HITS` hits. Ours."""

SCALE_HITS = 4.0

_MEMORY = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
"""Quarter notes after which the curve has forgotten all but 1/e."""

_SHARE = (0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95)
"""Share of the variance about the level that the curve has; the rest is stroke noise."""

MODELS: tuple[tuple[float, float], ...] = tuple((memory, share) for memory in _MEMORY for share in _SHARE)
"""(memory in quarters, share) of each model; all equally plausible beforehand."""

_KEEP = 1e-3
"""Models less plausible than this share of the best are dropped after the filter."""


@dataclass(frozen=True, slots=True, eq=False)
class CurveFit:
    """The leader's curve under each plausible model; arrays are (models, hits) unless said otherwise."""

    quarter: FloatArray
    """Positions of the hits, shape (hits,)."""
    memory: FloatArray
    """Shape (models,)."""
    share: FloatArray
    """Shape (models,)."""
    weight: FloatArray
    """Plausibility, shape (models,), sums to one."""
    scale: FloatArray
    """Variance of a hit about the level, ms squared, shape (models,)."""
    level: FloatArray
    """Level, shape (models,)."""
    level_variance: FloatArray
    """Shape (models,)."""
    curve: FloatArray
    """Smoothed curve at the hits had the level been 0."""
    pull: FloatArray
    """How much of a unit of level the smoothed curve takes for curve."""
    variance: FloatArray
    """Variance of the smoothed curve in units of ``scale``."""
    covariance: FloatArray
    """The same between each hit and the next, shape (models, hits - 1)."""

    def at(self, quarter: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Level plus curve and its standard deviation at each position, ms.

        Parameters
        ----------
        quarter : float64, shape (n,)
            Positions, quarter notes.

        Returns
        -------
        value, error : float64, shape (n,)
            Milliseconds.
        """
        before, after, bridge, here, there = self._neighbours(quarter)
        mean = before * self.curve[:, here] + after * self.curve[:, there]
        pull = before * self.pull[:, here] + after * self.pull[:, there]
        crossed = np.zeros_like(before)
        inner = here < there
        crossed[:, inner] = self.covariance[:, here[inner]]
        own = before**2 * self.variance[:, here] + after**2 * self.variance[:, there] + 2 * before * after * crossed
        value = mean + (1.0 - pull) * self.level[:, None]
        spread = self.scale[:, None] * (own + bridge) + (1.0 - pull) ** 2 * self.level_variance[:, None]
        centre = self.weight @ value
        return centre, np.sqrt(np.maximum(self.weight @ (spread + (value - centre) ** 2), 0.0))

    def _neighbours(self, quarter: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, np.ndarray, np.ndarray]:
        """Weights of the hit before and after each position, the variance of the bridge between, and the hits."""
        last = self.quarter.size - 1
        place = np.searchsorted(self.quarter, quarter, side="right")
        here, there = np.maximum(place - 1, 0), np.minimum(place, last)
        gone = np.exp(-np.abs(quarter - self.quarter[here]) / self.memory[:, None])
        come = np.exp(-np.abs(self.quarter[there] - quarter) / self.memory[:, None])
        both = np.maximum(1.0 - (gone * come) ** 2, 1e-12)
        before, after = gone * (1.0 - come**2) / both, come * (1.0 - gone**2) / both
        bridge = (1.0 - gone**2) * (1.0 - come**2) / both
        edge = here == there
        before[:, edge], after[:, edge] = gone[:, edge], 0.0
        bridge[:, edge] = 1.0 - gone[:, edge] ** 2
        return before, after, bridge * self.share[:, None], here, there


def fit_curve(quarter: FloatArray, offset_ms: FloatArray) -> CurveFit:
    """Fit the curve to the leader's hits (at least one), positions not decreasing.

    Hits that lie more than three standard deviations from the first fit are believed less in a second one: a fumbled
    stroke or a misread slot is not where the leader was.

    Parameters
    ----------
    quarter : float64, shape (n,)
        Positions of the hits, quarter notes, not decreasing; n >= 1.
    offset_ms : float64, shape (n,)
        Played minus click, ms.

    Returns
    -------
    CurveFit
        All plausible models with their weights.

    Notes
    -----
    Kalman filter and Rauch-Tung-Striebel smoother (Rauch, Tung & Striebel 1965, AIAA J. 3, from memory); the models are ours.
    """
    doubt = np.ones(quarter.size)
    fit = _fit(quarter, offset_ms, doubt)
    white = np.sqrt(float(fit.weight @ (fit.scale * (1.0 - fit.share))))
    away = np.abs(offset_ms - fit.at(quarter)[0]) / white
    if np.any(away > 3.0):
        fit = _fit(quarter, offset_ms, np.where(away > 3.0, away**2, 1.0))
    return fit


@dataclass(frozen=True, slots=True, eq=False)
class _Filtered:
    """Per hit and model: predicted and updated curve (columns: hits, ones) and their variances."""

    mean: FloatArray
    variance: FloatArray
    predicted: FloatArray
    predicted_variance: FloatArray


def _fit(quarter: FloatArray, offset_ms: FloatArray, doubt: FloatArray) -> CurveFit:
    """One fit; ``doubt`` multiplies the stroke noise of each hit."""
    memory, share = np.array(MODELS).T
    forget = np.exp(-np.diff(quarter)[:, None] / memory[None, :])
    run, log_size, squares = _filter(offset_ms, doubt, forget, share)
    freedom = SCALE_HITS + offset_ms.size - 1
    level = squares[1] / squares[2]
    scale = (SCALE_HITS * SCALE_MS**2 + np.maximum(squares[0] - squares[1] * level, 0.0)) / freedom
    score = -0.5 * (log_size + np.log(squares[2]) + freedom * np.log(scale))
    keep = score >= score.max() + np.log(_KEEP)
    weight = np.exp(score[keep] - score.max())
    # Student's t has heavier tails than the normal intervals made from this: freedom / (freedom - 2) is its variance.
    scale = scale[keep] * freedom / (freedom - 2.0)
    own = scale / squares[2][keep]
    drawn = LEVEL_SD_MS**2 / (LEVEL_SD_MS**2 + own)
    picked = _Filtered(*(getattr(run, name)[:, keep] for name in _Filtered.__slots__))
    smooth, variance, covariance = _smooth(picked, forget[:, keep])
    return CurveFit(
        quarter, memory[keep], share[keep], weight / weight.sum(), scale, level[keep] * drawn, own * drawn,
        smooth[..., 0].T, smooth[..., 1].T, variance.T, covariance.T,
    )  # fmt: skip


def _filter(
    offset_ms: FloatArray, doubt: FloatArray, forget: FloatArray, share: FloatArray
) -> tuple[_Filtered, FloatArray, FloatArray]:
    """Kalman filter over the hits for all models at once; also the log determinant and the three sums of squares."""
    n, models = offset_ms.size, share.size
    data = np.column_stack((offset_ms, np.ones(n)))
    run = _Filtered(*(np.empty(s) for s in ((n, models, 2), (n, models), (n, models, 2), (n, models))))
    log_size, squares = np.zeros(models), np.zeros((3, models))
    mean, variance = np.zeros((models, 2)), share.copy()
    for hit in range(n):
        if hit:
            gone = forget[hit - 1]
            mean = mean * gone[:, None]
            variance = share + (variance - share) * gone * gone
        run.predicted[hit], run.predicted_variance[hit] = mean, variance
        total = variance + (1.0 - share) * doubt[hit]
        surprise = data[hit] - mean
        gain = variance / total
        mean, variance = mean + gain[:, None] * surprise, variance * (1.0 - gain)
        run.mean[hit], run.variance[hit] = mean, variance
        log_size += np.log(total)
        scaled = surprise / total[:, None]
        squares[0] += scaled[:, 0] * surprise[:, 0]
        squares[1] += scaled[:, 0] * surprise[:, 1]
        squares[2] += scaled[:, 1] * surprise[:, 1]
    return run, log_size, squares


def _smooth(run: _Filtered, forget: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rauch-Tung-Striebel smoother: mean (both columns), variance, and covariance of each hit with the next."""
    mean, variance = run.mean.copy(), run.variance.copy()
    covariance = np.empty_like(forget)
    for hit in range(mean.shape[0] - 2, -1, -1):
        gain = run.variance[hit] * forget[hit] / run.predicted_variance[hit + 1]
        mean[hit] += gain[:, None] * (mean[hit + 1] - run.predicted[hit + 1])
        variance[hit] += gain * gain * (variance[hit + 1] - run.predicted_variance[hit + 1])
        covariance[hit] = gain * variance[hit + 1]
    return mean, variance, covariance
