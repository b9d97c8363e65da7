"""Bars in which a player is early or late again and again: takes of one song as replicates.

For each take and bar: the mean offset of the bar's strokes minus the median of the take. If chance alone is at work these
scatter around 0 from take to take, however much a take wanders in itself, because takes are independent. Each bar is asked with
a t test whose variance is moderated: its own, drawn towards that of all bars, which weighs four times as much (the idea of Smyth
2004, "Linear models and empirical Bayes methods", from memory; the fixed weight is ours). The error is held over all bars by
Holm's step-down procedure (Holm 1979). Neighbouring bars of one sign are told as one.

Conventions: milliseconds, negative is early; bars count from 1.

Inside: `bars_that_come_back`, `BarHabit`, `LEAST_TAKES`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets

__all__ = ["LEAST_TAKES", "BarHabit", "bars_that_come_back"]

LEAST_TAKES = 5
"""With fewer, chance and habit cannot be told apart. Ours."""

_ALPHA = 0.05
"""One song in twenty may get a bar that is chance."""

_PRIOR_WEIGHT = 4
"""How many times its own degrees of freedom all bars together weigh in a bar's variance."""

_HEARD_MS = 10.0
"""Smaller habits are not told: hardly anybody hears them (as the least threshold of `heeltap.analysis.weak_bars.heard_ms`)."""

_LEAST_STROKES = 2


@dataclass(frozen=True, slots=True)
class BarHabit:
    """Bars in which the player lies to one side again and again."""

    first_bar: int
    last_bar: int
    mean_ms: float
    """Mean over the bars and the takes of one mind, against each take's own middle; negative is early."""
    takes: int
    """Takes that hold these bars."""
    of_one_mind: int
    """Takes among them that lie to the same side by at least half of what all takes average there."""
    p_adjusted: float
    """The least over the bars, adjusted for all bars of the song."""
    given_up: bool = False
    """Whether the takes of one mind are the first ones, and at least the last two are not among them."""


def bars_that_come_back(takes: Sequence[Offsets]) -> tuple[BarHabit, ...]:
    """The bars in which a player is early or late again and again, in order.

    Parameters
    ----------
    takes : sequence of Offsets
        Of one part; a take may hold some of its bars only.

    Returns
    -------
    tuple of BarHabit
        Empty with fewer than `LEAST_TAKES` takes.
    """
    if len(takes) < LEAST_TAKES:
        return ()
    table = _by_bar(takes)
    held = np.isfinite(table)
    enough = held.sum(axis=0) >= LEAST_TAKES
    bars = np.flatnonzero(enough) + 1
    if bars.size == 0:
        return ()
    mean, p = _tested(table[:, enough], held[:, enough])
    adjusted = _holm(p)
    told = (adjusted < _ALPHA) & (np.abs(mean) >= _HEARD_MS)
    return tuple(_habit(table, run, mean, adjusted, bars) for run in _runs(bars, mean, told))


def _by_bar(takes: Sequence[Offsets]) -> FloatArray:
    """Mean offset of each take in each bar against the take's middle, shape (takes, bars); nan where it holds too little."""
    last = max((int(one.bar.max(initial=0)) for one in takes), default=0)
    table = np.full((len(takes), last), np.nan)
    for row, one in zip(table, takes, strict=True):
        if len(one) == 0:
            continue
        number = np.bincount(one.bar, minlength=last + 1)[1 : last + 1]
        total = np.bincount(one.bar, one.offset_ms - np.median(one.offset_ms), minlength=last + 1)[1 : last + 1]
        full = number >= _LEAST_STROKES
        row[full] = total[full] / number[full]
    return table


def _tested(table: FloatArray, held: np.ndarray) -> tuple[FloatArray, FloatArray]:
    """Mean of each bar over the takes, ms, and the two-sided p of its moderated t."""
    from scipy.special import stdtr

    n = held.sum(axis=0)
    mean = np.nanmean(table, axis=0)
    own = np.nanvar(table, axis=0, ddof=1)
    free = n - 1.0
    pooled = float(np.sum(free * own) / np.sum(free))
    variance = (_PRIOR_WEIGHT * pooled + own) / (_PRIOR_WEIGHT + 1)
    t = mean / np.sqrt(np.maximum(variance, 1e-12) / n)
    return mean, 2.0 * stdtr((_PRIOR_WEIGHT + 1) * free, -np.abs(t))


def _holm(p: FloatArray) -> FloatArray:
    """The p values adjusted for all of them."""
    order = np.argsort(p, kind="stable")
    steps = np.minimum(np.maximum.accumulate(p[order] * np.arange(p.size, 0, -1)), 1.0)
    adjusted = np.empty_like(steps)
    adjusted[order] = steps
    return adjusted


def _runs(bars: IntArray, mean: FloatArray, told: np.ndarray) -> list[IntArray]:
    """Neighbouring told bars of one sign, as indices."""
    runs: list[list[int]] = []
    for index in np.flatnonzero(told).tolist():
        last = runs[-1][-1] if runs else -1
        if runs and bars[index] == bars[last] + 1 and (mean[index] < 0) == (mean[last] < 0):
            runs[-1].append(index)
        else:
            runs.append([index])
    return [np.array(run) for run in runs]


def _habit(table: FloatArray, run: IntArray, mean: FloatArray, adjusted: FloatArray, bars: IntArray) -> BarHabit:
    """One run of bars in words and numbers."""
    columns = table[:, bars[run] - 1]
    rows = columns[np.isfinite(columns).any(axis=1)]
    of_take = np.nanmean(rows, axis=1)
    average = float(mean[run].mean())
    same = of_take * np.sign(average) >= abs(average) / 2
    told_ms, p, count = float(of_take[same].mean()), float(adjusted[run].min()), int(same.sum())
    given_up = count <= same.size - 2 and bool(same[:count].all())
    return BarHabit(int(bars[run[0]]), int(bars[run[-1]]), told_ms, same.size, count, p, given_up)
