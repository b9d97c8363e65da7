"""Two takes of one plan, stroke against stroke.

Strokes are paired by their planned place, so that a hard bar is hard for both. Compared are *jitter*, what is left of
the offsets about a running mean of nine strokes; *spread* about the take's own mean; the distance of the bias from the
lean; and the mean credit (1 at the lean, 0 at the farthest `heeltap.analysis.score.distance`), a missed stroke earning 0.

Claims of progress rest on jitter: spread also holds the slow wander, of which a take has too little for a claim.

Conventions: second against first. A jitter ratio under 1 means that the second is tighter, a positive credit gain that
it is better. Milliseconds, negative is early.

Inside: `pair_strokes`, `jitter_ms`, `Interval`, `Versus`, `versus`, `Credits`, `credit_table`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.score import FARTHEST, distance, place_weight
from heeltap.analysis.statistics.estimates import MIN_STROKES, bias, spread
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.timeline import MetreMap

__all__ = ["Credits", "Interval", "Versus", "credit_table", "jitter_ms", "pair_strokes", "versus"]

RUN = 9
"""Strokes in the running mean: a bar of eighths and one; long enough to keep jitter, short enough to follow wander."""

LEVEL = 0.96
"""Confidence of the jitter's interval, called 95 %: at 0.95 up to 6 % of equal pairs were called different, at 0.96 3 to
4.6 % (300 strokes, seven kinds of noise; 4.4 % of real takes dealt into two)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """One comparison."""

    value: float | None
    """None where too little was shared."""
    ci95: tuple[float, float] | None
    """None where no interval can be given."""


@dataclass(frozen=True, slots=True)
class Versus:
    """A second take against a first."""

    n: int
    """Places that both takes played."""
    jitter_ratio: Interval
    """Second over first; under 1 the second is tighter."""
    spread_ratio: Interval
    """Second over first, slow wander included: for looking, not for claims."""
    bias_change_ms: Interval
    """Second minus first mean offset: needs no calibration."""
    distance_change_ms: Interval
    """Change of the distance of the bias from the lean; negative: the second is nearer. Needs a known delay."""
    credit_gain: Interval
    """Second minus first mean credit, 0-1, misses included."""
    tighter: int | None
    """0 or 1: the take with less jitter; None: no difference that the numbers support."""
    better: int | None
    """0 or 1: the take with more credit; None likewise."""


def places_of(take: Offsets) -> list[tuple[int, int, int]]:
    """Bar, beat in 960ths and occurrence of each stroke."""
    seen: dict[tuple[int, int], int] = {}
    out = []
    for key in zip(take.bar.tolist(), np.round(take.beat * 960).astype(np.int64).tolist(), strict=True):
        seen[key] = seen.get(key, -1) + 1
        out.append((*key, seen[key]))
    return out


def pair_strokes(first: Offsets, second: Offsets) -> tuple[IntArray, IntArray]:
    """Rows of the strokes that both takes played at the same planned place (bar, beat, occurrence), in musical order."""
    there = {place: row for row, place in enumerate(places_of(second))}
    pairs = sorted((place, row, there[place]) for row, place in enumerate(places_of(first)) if place in there)
    return np.array([p[1] for p in pairs], dtype=np.int64), np.array([p[2] for p in pairs], dtype=np.int64)


def jitter_ms(offset_ms: FloatArray) -> FloatArray:
    """Offsets about a running mean of nine strokes (fewer at the ends), ms."""
    n = offset_ms.size
    total = np.concatenate([[0.0], np.cumsum(offset_ms)])
    row = np.arange(n)
    low, high = np.maximum(row - RUN // 2, 0), np.minimum(row + RUN // 2 + 1, n)
    return np.asarray(offset_ms - (total[high] - total[low]) / (high - low))


def versus(
    first: Offsets,
    second: Offsets,
    *,
    lean_ms: float = 0.0,
    pocket_ms: float | None = None,
    metre: MetreMap | None = None,
    same_plan: bool = True,
) -> Versus:
    """Compare two takes over the places that both played.

    Parameters
    ----------
    first, second : Offsets
    lean_ms, pocket_ms, metre
        As in `heeltap.analysis.score.score`.
    same_plan : bool
        Both takes played one plan, so a place that only one of them has was missed by the other. Without it such places
        are left out.

    Notes
    -----
    Intervals come from the paired differences through the noise models of `heeltap.analysis.statistics.estimates`; that
    of the jitter ratio from the scatter of 6 to 20 stretches, because jitter has little memory beyond its running mean.
    Ours.
    """
    rows, others = pair_strokes(first, second)
    ratio = _jitter_ratio(jitter_ms(first.offset_ms)[rows], jitter_ms(second.offset_ms)[others])
    table = credit_table((first, second), lean_ms, pocket_ms, metre, same_plan)
    gain = bias(table.gain(0, 1)) if table.weight.size else None
    credit_gain = Interval(None, None) if gain is None else Interval(gain.value, gain.ci95)
    return Versus(
        int(rows.size),
        ratio,
        _spread_ratio(first.offset_ms[rows], second.offset_ms[others]),
        _bias_change(first.offset_ms[rows], second.offset_ms[others]),
        _distance_change(first.offset_ms[rows] - lean_ms, second.offset_ms[others] - lean_ms),
        credit_gain,
        _winner(ratio.ci95, 1.0, more_is_better=False),
        _winner(credit_gain.ci95, 0.0, more_is_better=True),
    )


def _winner(ci95: tuple[float, float] | None, equal: float, *, more_is_better: bool) -> int | None:
    """1 or 0 where the interval lies wholly beyond equality, else None."""
    if ci95 is None or ci95[0] <= equal <= ci95[1]:
        return None
    return int((ci95[0] > equal) == more_is_better)


def _jitter_ratio(first: FloatArray, second: FloatArray) -> Interval:
    """Ratio of mean distances, second over first, with the scatter of its stretches as the error of its logarithm."""
    from scipy.special import stdtrit

    one, two = np.abs(first), np.abs(second)
    n = one.size
    if n == 0 or one.mean() == 0.0 or two.mean() == 0.0:
        return Interval(None, None)
    value = float(two.mean() / one.mean())
    if n < 2 * MIN_STROKES:
        return Interval(value, None)
    pull = two / two.mean() - one / one.mean()
    # Stretches of 15 strokes are as good as independent; short takes get longer ones, because a real player's jitter
    # changes from phrase to phrase (109 strokes in 7 stretches: one take in two called different, in 6 none).
    groups = min(max((n - 60) // 12, 6), 20)
    edges = np.linspace(0, n, groups + 1).round().astype(np.int64)
    means = np.add.reduceat(pull, edges[:-1]) / np.diff(edges)
    error = max(float(means.std(ddof=1) / np.sqrt(groups)), float(pull.std() / np.sqrt(n)))
    reach = float(stdtrit(groups - 1, 0.5 + LEVEL / 2.0)) * error
    return Interval(value, (value * float(np.exp(-reach)), value * float(np.exp(reach))))


def _spread_ratio(first: FloatArray, second: FloatArray) -> Interval:
    """Ratio of standard deviations; the two intervals joined on the logarithm."""
    one, two = spread(first), spread(second)
    if not one.value or not two.value:
        return Interval(None, None)
    value = two.value / one.value
    if one.ci95 is None or two.ci95 is None:
        return Interval(value, None)
    down = np.hypot(np.log(two.value / two.ci95[0]), np.log(one.ci95[1] / one.value))
    up = np.hypot(np.log(two.ci95[1] / two.value), np.log(one.value / one.ci95[0]))
    return Interval(value, (value * float(np.exp(-down)), value * float(np.exp(up))))


def _bias_change(first: FloatArray, second: FloatArray) -> Interval:
    """Mean of the paired differences."""
    found = bias(second - first)
    return Interval(found.value, found.ci95)


def _distance_change(first: FloatArray, second: FloatArray) -> Interval:
    """Change of the distance of the mean from 0.

    On one side of 0 the paired differences give it; across 0 the two takes' own intervals, joined as independent.
    """
    one, two = bias(first), bias(second)
    if one.value is None or two.value is None:
        return Interval(None, None)
    value = abs(two.value) - abs(one.value)
    if one.ci95 is None or two.ci95 is None:
        return Interval(value, None)
    reach = float(np.hypot(one.ci95[1] - one.ci95[0], two.ci95[1] - two.ci95[0])) / 2.0
    paired = bias(second - first).ci95
    if one.value * two.value > 0 and paired is not None:
        reach = (paired[1] - paired[0]) / 2.0
    return Interval(value, (value - reach, value + reach))


@dataclass(frozen=True, slots=True, eq=False)
class Credits:
    """Weighted credit of each take at each place that any take played; rows in musical order."""

    bar: IntArray
    weight: FloatArray
    """Weight of the place, mean 1."""
    value: FloatArray
    """Shape (takes, places); 0 where a take missed the place."""

    def gain(self, first: int, second: int) -> FloatArray:
        """Second minus first at each place, weighted."""
        return np.asarray(self.weight * (self.value[second] - self.value[first]))


def credit_table(
    takes: Sequence[Offsets], lean_ms: float, pocket_ms: float | None, metre: MetreMap | None, same_plan: bool
) -> Credits:
    """The table of credits over the union (same plan) or the intersection of the places."""
    places = [places_of(take) for take in takes]
    known = set(places[0]).union(*places[1:]) if same_plan else set(places[0]).intersection(*places[1:])
    column = {place: index for index, place in enumerate(sorted(known))}
    bar, weight = np.zeros(len(column), np.int64), np.zeros(len(column))
    value = np.zeros((len(takes), len(column)))
    for index, (take, where) in enumerate(zip(takes, places, strict=True)):
        chosen = np.array([place in column for place in where], dtype=np.bool_)
        at = np.array([column[place] for place in where if place in column], dtype=np.int64)
        got = 1.0 - distance(take, centre_ms=lean_ms, strict_toward=lean_ms, pocket_ms=pocket_ms) / FARTHEST
        value[index, at] = got[chosen]
        bar[at] = take.bar[chosen]
        weight[at] = place_weight(take.bar, take.beat, take.division, metre=metre)[chosen]
    return Credits(bar, weight / weight.mean() if weight.size else weight, value)
