"""Takes of the same plan against each other: which is better where, and whether they get better.

Strokes are paired by their planned place, so that a hard bar is hard for both. Three things are compared: *jitter*, what is
left of the offsets about a running mean of nine strokes; *spread* about the take's own mean; and the distance of the bias
from the lean. What a take is worth as a whole is its mean credit (`heeltap.core.score.credit`), a missed stroke earning 0.

Claims of progress rest on jitter: spread also holds the slow wander, of which a take has too little for a claim.
"No difference that the numbers support" is the usual answer, and the honest one.

Conventions: ratios and gains are second against first: a jitter ratio under 1 means that the second take is tighter, a
positive credit gain that it is better. Milliseconds, negative is early. Takes count from 0.

Inside: `pair_strokes`, `jitter_ms`, `Interval`, `Versus`, `versus`, `TakeRow`, `SectionChoice`, `Trend`, `Comparison`, `compare`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.core.arrays import BoolArray, FloatArray, IntArray
from heeltap.core.meter import MetreMap
from heeltap.core.noise import Noise, fit_noise
from heeltap.core.offsets import Offsets
from heeltap.core.robust import theil_sen
from heeltap.core.score import credit, place_weight, pocket_of
from heeltap.core.stats import MIN_STROKES, bias, half_width, spread

__all__ = [
    "NO_DIFFERENCE",
    "Comparison",
    "Interval",
    "SectionChoice",
    "TakeRow",
    "Trend",
    "Versus",
    "compare",
    "jitter_ms",
    "pair_strokes",
    "versus",
]

NO_DIFFERENCE = "no difference that the numbers support"

RUN = 9
"""Strokes in the running mean: a bar of eighths and one, long enough to follow wander and short enough to leave jitter."""

LEVEL = 0.05
"""Chance of calling one of two equal takes tighter, or better in any section."""

DROP = 0.02
"""Chance of ruling out the truly best take of a section."""

MIN_TREND = 5
"""Takes from which a trend gets an interval: with four, Kendall's statistic cannot reach 95 %."""


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


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One take by itself."""

    n: int
    bias_ms: float | None
    spread_ms: float | None
    jitter_ms: float | None
    """Standard deviation about the running mean, from the mean distance (normal strokes assumed)."""
    credit: float | None
    """Mean credit over all places that any take played, 0-1."""


@dataclass(frozen=True, slots=True)
class SectionChoice:
    """Which takes of a section are still open."""

    name: str
    first_bar: int
    last_bar: int
    n: int
    """Places that any take played."""
    open: tuple[int, ...]
    """Takes that the numbers do not rule out as the best, best first."""
    better: int | None
    """The best take, where all others are ruled out."""
    credit: tuple[float, ...]
    """Mean credit of each take here."""
    text: str
    """"take 2", or "no difference that the numbers support"."""


@dataclass(frozen=True, slots=True)
class Trend:
    """How something changes from take to take."""

    per_take: float | None
    """Change a take; None below three takes."""
    ci95: tuple[float, float] | None
    """None below five takes."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several takes, in the order in which they were played."""

    takes: tuple[TakeRow, ...]
    sections: tuple[SectionChoice, ...]
    whole: SectionChoice
    last_against_first: Versus
    jitter_trend: Trend
    """Relative change of the jitter a take: -0.05 is five per cent less each take."""
    credit_trend: Trend
    """Change of the mean credit a take."""


def _place(take: Offsets) -> list[tuple[int, int, int]]:
    """Bar, beat in 960ths and occurrence of each stroke."""
    seen: dict[tuple[int, int], int] = {}
    out = []
    for key in zip(take.bar.tolist(), np.round(take.beat * 960).astype(np.int64).tolist(), strict=True):
        seen[key] = seen.get(key, -1) + 1
        out.append((*key, seen[key]))
    return out


def pair_strokes(first: Offsets, second: Offsets) -> tuple[IntArray, IntArray]:
    """Rows of the strokes that both takes played at the same planned place (bar, beat, occurrence), in musical order."""
    there = {place: row for row, place in enumerate(_place(second))}
    pairs = sorted((place, row, there[place]) for row, place in enumerate(_place(first)) if place in there)
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
        As in `heeltap.core.score.score`.
    same_plan : bool
        Both takes played one plan, so a place that only one of them has was missed by the other. Without it such places are
        left out.

    Notes
    -----
    Intervals come from the paired differences through the noise models of `heeltap.core.stats`. The jitter ratio is that of
    mean distances, its interval by the delta method. Ours.
    """
    rows, others = pair_strokes(first, second)
    ratio = _jitter_ratio(jitter_ms(first.offset_ms)[rows], jitter_ms(second.offset_ms)[others])
    table = _credits((first, second), lean_ms, pocket_ms, metre, same_plan)
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
    """Ratio of mean distances, second over first."""
    one, two = np.abs(first), np.abs(second)
    if one.size == 0 or one.mean() == 0.0 or two.mean() == 0.0:
        return Interval(None, None)
    value = float(two.mean() / one.mean())
    found = bias(two / two.mean() - one / one.mean()).ci95
    if found is None:
        return Interval(value, None)
    reach = (found[1] - found[0]) / 2.0
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
class _Credits:
    """Weighted credit of each take at each place that any take played; rows in musical order."""

    bar: IntArray
    weight: FloatArray
    """Weight of the place, mean 1."""
    value: FloatArray
    """Shape (takes, places); 0 where a take missed the place."""

    def gain(self, first: int, second: int) -> FloatArray:
        """Second minus first at each place, weighted."""
        return np.asarray(self.weight * (self.value[second] - self.value[first]))


def _credits(
    takes: Sequence[Offsets], lean_ms: float, pocket_ms: float | None, metre: MetreMap | None, same_plan: bool
) -> _Credits:
    """The table of credits over the union (same plan) or the intersection of the places."""
    places = [_place(take) for take in takes]
    known = set(places[0]).union(*places[1:]) if same_plan else set(places[0]).intersection(*places[1:])
    column = {place: index for index, place in enumerate(sorted(known))}
    bar, weight = np.zeros(len(column), np.int64), np.zeros(len(column))
    value = np.zeros((len(takes), len(column)))
    for index, (take, where) in enumerate(zip(takes, places, strict=True)):
        chosen = np.array([place in column for place in where], dtype=np.bool_)
        at = np.array([column[place] for place in where if place in column], dtype=np.int64)
        got = credit(take.offset_ms - lean_ms, pocket_of(take.interval_ms, pocket_ms), lean_ms=lean_ms)
        value[index, at] = got[chosen]
        bar[at] = take.bar[chosen]
        weight[at] = place_weight(take.bar, take.beat, take.division, metre=metre)[chosen]
    return _Credits(bar, weight / weight.mean() if weight.size else weight, value)


def compare(
    takes: Sequence[Offsets],
    *,
    lean_ms: float = 0.0,
    pocket_ms: float | None = None,
    metre: MetreMap | None = None,
    same_plan: bool = True,
) -> Comparison:
    """Compare two or more takes of one plan, section by section, and the trend over them.

    Parameters
    ----------
    takes : sequence of Offsets
        Two or more, in the order played. Sections are those of the first.
    lean_ms, pocket_ms, metre, same_plan
        As in `versus`.

    Raises
    ------
    ValueError
        Below two takes.

    Notes
    -----
    A take is ruled out in a section where another's mean credit is higher by more than its interval, at a level that drops
    the truly best of all takes in 2 % at most (Bonferroni over the others). A single best take is named only where all
    others are ruled out, and with the level divided once more by the number of sections.
    """
    if len(takes) < 2:
        raise ValueError(f"compare: found {len(takes)} takes; expected two or more")
    table = _credits(takes, lean_ms, pocket_ms, metre, same_plan)
    rows = tuple(_take_row(take, table.weight, value) for take, value in zip(takes, table.value, strict=True))
    noises = _noises(table, len(takes))
    song = takes[0].sections
    parts = [(s.name, s.first_bar, s.last_bar) for s in song]
    sections = tuple(_choice(table, noises, *part, share=len(parts)) for part in parts)
    last = int(table.bar.max()) if table.bar.size else 0
    whole = _choice(table, noises, "all", 1, last, share=1)
    against = versus(
        takes[0], takes[-1], lean_ms=lean_ms, pocket_ms=pocket_ms, metre=metre, same_plan=same_plan
    )
    return Comparison(
        rows,
        sections,
        whole,
        against,
        _trend([row.jitter_ms for row in rows], relative=True),
        _trend([row.credit for row in rows], relative=False),
    )


def _take_row(take: Offsets, weight: FloatArray, value: FloatArray) -> TakeRow:
    """Numbers of one take."""
    n = len(take)
    jitter = float(np.abs(jitter_ms(take.offset_ms)).mean() * np.sqrt(np.pi / 2.0)) if n > 1 else None
    return TakeRow(
        n,
        float(take.offset_ms.mean()) if n else None,
        float(take.offset_ms.std(ddof=1)) if n > 1 else None,
        jitter,
        float(np.mean(weight * value)) if value.size else None,
    )


_Noises = dict[tuple[int, int], Noise]


def _noises(table: _Credits, takes: int) -> _Noises:
    """Noise of every pair's gains over the whole song."""
    if table.bar.size < MIN_STROKES:
        return {}
    return {(i, j): fit_noise(table.gain(i, j)) for i in range(takes) for j in range(i + 1, takes)}


def _choice(table: _Credits, noises: _Noises, name: str, first: int, last: int, *, share: int) -> SectionChoice:
    """The open takes of a stretch of bars."""
    at = (table.bar >= first) & (table.bar <= last)
    n, takes = int(at.sum()), table.value.shape[0]
    mean = (table.weight[at] * table.value[:, at]).mean(axis=1) if n else np.zeros(takes)
    order = np.argsort(-mean, kind="stable").tolist()
    # Two-sided level whose upper half, over all the others, is the chance of dropping the truly best.
    level = 1.0 - 2.0 * DROP / (takes - 1)
    still = tuple(t for t in order if not any(_beats(table, noises, at, o, t, level) for o in order if o != t))
    strict = 1.0 - min(2.0 * DROP, LEVEL) / (takes - 1) / max(share, 1)
    best = order[0]
    alone = len(still) == 1 and all(_beats(table, noises, at, best, o, strict) for o in order[1:])
    better = best if alone else None
    text = f"take {best + 1}" if better is not None else NO_DIFFERENCE
    return SectionChoice(name, first, last, n, still, better, tuple(mean.tolist()), text)


def _beats(table: _Credits, noises: _Noises, at: BoolArray, one: int, other: int, level: float) -> bool:
    """Whether take ``one`` is better than ``other`` here beyond its interval at this level."""
    n = int(at.sum())
    low, high = min(one, other), max(one, other)
    noise = noises.get((low, high))
    if noise is None or n < MIN_STROKES:
        return False
    gain = float(table.gain(other, one)[at].mean())
    if gain <= 0.0:
        return False
    reach = half_width(np.sqrt(noise.error_variance(at / n)), noise.weight, noise.freedom, level)
    return gain > reach


def _trend(values: Sequence[float | None], *, relative: bool) -> Trend:
    """Theil-Sen slope over the takes, of the logarithm where ``relative``."""
    known = [(index, value) for index, value in enumerate(values) if value is not None and (value > 0 or not relative)]
    if len(known) < 3:
        return Trend(None, None)
    y = np.array([value for _, value in known])
    found = theil_sen([index for index, _ in known], np.log(y) if relative else y)
    change = np.expm1 if relative else np.asarray
    ends = (float(change(found.ci95[0])), float(change(found.ci95[1])))
    return Trend(float(change(found.slope)), ends if len(known) >= MIN_TREND else None)
