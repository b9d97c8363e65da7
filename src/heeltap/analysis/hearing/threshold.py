"""The smallest shift or scatter that a person hears, with how sure that is, from the answers to a staircase.

A cumulative normal with lapses is laid through the answers; its parameters are weighed on a grid (Bayes), so that the interval
holds for few answers, too. The form of the curve is common practice (Kingdom & Prins, "Psychophysics", from memory); the priors
are ours: every spread of hearing from 1.5 to 400 ms equally likely on a scale of ratios, lapses from 0.5 to 6 in 100, and a
leaning towards "early" or "late" of some 12 ms.

Inside: `Threshold`, `threshold_of_sides`, `threshold_of_choices`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import FloatArray

__all__ = ["Threshold", "threshold_of_choices", "threshold_of_sides"]

_SPREADS_MS = np.geomspace(1.5, 400.0, 90)
_LAPSES = np.array([0.005, 0.02, 0.04, 0.06])
_LEANINGS_MS = np.linspace(-45.0, 45.0, 25)
_LEANING_SD_MS = 12.0

_AT_75 = 0.6744897501960817
"""Where the cumulative normal reaches 0.75: half way between chance and always."""

_NO_GUESS = 3.0
"""So many times e likelier than guessing (20 to 1) the curve must be: of guessers one in twenty gets so far at most."""


@dataclass(frozen=True, slots=True)
class Threshold:
    """What a person just hears."""

    value_ms: float
    """Heard right in three of four answers."""
    ci95_ms: tuple[float, float]
    """95 % interval."""
    leaning_ms: float
    """Called neither early nor late: positive where the person needs it late to call it on; 0 where sides were not asked."""
    answers: int


def threshold_of_sides(shift_ms: Sequence[float], said_late: Sequence[bool]) -> Threshold | None:
    """The threshold from answers to "early or late?".

    Parameters
    ----------
    shift_ms : sequence of float
        Of each question; negative is early.
    said_late : sequence of bool
        The answers.

    Returns
    -------
    Threshold or None
        None where the answers are as good as guessed: it could not be measured.
    """
    shift, answer = np.asarray(shift_ms, dtype=np.float64), np.asarray(said_late, dtype=bool)
    prior = np.exp(-0.5 * (_LEANINGS_MS / _LEANING_SD_MS) ** 2)
    return _fitted(shift, answer, _LEANINGS_MS, prior / prior.sum())


def threshold_of_choices(scatter_ms: Sequence[float], right: Sequence[bool]) -> Threshold | None:
    """The threshold from answers to "which of two is tighter?".

    Parameters
    ----------
    scatter_ms : sequence of float
        By how much the other one scattered, standard deviation.
    right : sequence of bool
        Whether the tighter one was chosen.

    Returns
    -------
    Threshold or None
        None where the answers are as good as guessed.
    """
    scatter, answer = np.asarray(scatter_ms, dtype=np.float64), np.asarray(right, dtype=bool)
    return _fitted(scatter, answer, np.zeros(1), np.ones(1))


def _fitted(level: FloatArray, answer: np.ndarray, leanings: FloatArray, leaning_prior: FloatArray) -> Threshold | None:
    """The posterior on the grid, shape (spreads, leanings, lapses)."""
    from scipy.special import ndtr

    if level.size == 0:
        return None
    hears = ndtr((level[:, None, None] - leanings[None, None, :]) / _SPREADS_MS[None, :, None])
    likely = np.zeros((_SPREADS_MS.size, leanings.size, _LAPSES.size))
    for index, lapse in enumerate(_LAPSES):
        chance = lapse / 2 + (1 - lapse) * hears
        likely[:, :, index] = np.log(np.where(answer[:, None, None], chance, 1 - chance)).sum(axis=0)
    likely += np.log(leaning_prior)[None, :, None] - np.log(_SPREADS_MS.size * _LAPSES.size)
    top = float(likely.max())
    weight = np.exp(likely - top)
    if top + float(np.log(weight.sum())) < level.size * np.log(0.5) + _NO_GUESS:
        return None
    weight /= weight.sum()
    low, middle, high = _quantiles(weight.sum(axis=(1, 2)))
    leaning = float(weight.sum(axis=(0, 2)) @ leanings)
    return Threshold(middle * _AT_75, (low * _AT_75, high * _AT_75), leaning, level.size)


def _quantiles(weight: FloatArray) -> tuple[float, float, float]:
    """The spreads below which 2.5, 50 and 97.5 % of the weight lie, between the points of the grid by ratio."""
    below = np.cumsum(weight) - weight / 2
    low, middle, high = np.exp(np.interp([0.025, 0.5, 0.975], below, np.log(_SPREADS_MS)))
    return float(low), float(middle), float(high)
