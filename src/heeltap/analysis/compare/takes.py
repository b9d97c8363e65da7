"""Takes of the same plan against each other: which is better where, and whether they get better.

What a take is worth is its mean credit (`heeltap.analysis.compare.pair`), a missed stroke earning 0; takes are compared
place by place (`heeltap.analysis.compare.pair`). "No difference that the numbers support" is the usual answer, and the
honest one.

Conventions: takes count from 0 in the order in which they were played, from 1 in words. Bars count from 1.

Inside: `TakeRow`, `SectionChoice`, `Trend`, `Comparison`, `compare`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from heeltap.analysis.compare.pair import Credits, Interval, Versus, credit_table, jitter_ms, pair_strokes, versus
from heeltap.analysis.statistics.estimates import MIN_STROKES, noise_of
from heeltap.analysis.statistics.noise_models import Noise
from heeltap.analysis.statistics.robust import theil_sen
from heeltap.model.arrays import BoolArray, FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.timeline import MetreMap

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

DROP = 0.02
"""Chance of ruling out the truly best take of a section."""

MIN_TREND = 5
"""Takes from which a trend gets an interval: with four, Kendall's statistic cannot reach 95 %."""


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
    A take is ruled out in a section where another's mean credit is higher by more than its interval, at a level that
    drops the truly best of all takes in 2 % at most (Bonferroni over the others). A single best take is named only where all
    others are ruled out, and with the level divided once more by the number of sections.
    """
    if len(takes) < 2:
        raise ValueError(f"compare: found {len(takes)} takes; expected two or more")
    table = credit_table(takes, lean_ms, pocket_ms, metre, same_plan)
    rows = tuple(_take_row(take, table.weight, value) for take, value in zip(takes, table.value, strict=True))
    parts = [(s.name, s.first_bar, s.last_bar) for s in takes[0].sections]
    noises = _noises(table, parts)
    sections = tuple(_choice(table, noises, *part, share=len(parts)) for part in parts)
    last = int(table.bar.max()) if table.bar.size else 0
    whole = _choice(table, _noises(table, ()), "all", 1, last, share=1)
    against = versus(takes[0], takes[-1], lean_ms=lean_ms, pocket_ms=pocket_ms, metre=metre, same_plan=same_plan)
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


def _noises(table: Credits, parts: Sequence[tuple[str, int, int]]) -> _Noises:
    """What each pair's gains do between themselves, learnt from the whole song.

    Each section is first brought to mean 0 and scatter 1: a section in which one take falls apart is not noise, and
    scatters several times as much as the rest.
    """
    inside = [(table.bar >= first) & (table.bar <= last) for _, first, last in parts]
    section = np.full(table.bar.size, -1)
    for index, at in enumerate(inside):
        section[at] = index
    out: _Noises = {}
    for i, j in combinations(range(table.value.shape[0]), 2):
        gains = table.gain(i, j)
        for at in (section == code for code in np.unique(section)):
            centred = gains[at] - gains[at].mean()
            gains[at] = centred / (float(centred.std()) or 1.0)
        noise = noise_of(gains, section)
        if noise is not None:
            out[i, j] = noise
    return out


def _choice(table: Credits, noises: _Noises, name: str, first: int, last: int, *, share: int) -> SectionChoice:
    """The open takes of a stretch of bars."""
    at = (table.bar >= first) & (table.bar <= last)
    n, takes = int(at.sum()), table.value.shape[0]
    worth = table.weight[at] * table.value[:, at]
    mean = worth.mean(axis=1) if n else np.zeros(takes)
    order = np.argsort(-mean, kind="stable").tolist()
    # Two-sided level whose upper half, over all the others, is the chance of dropping the truly best.
    loose = 2.0 * DROP / (takes - 1)
    doubt = {
        (i, j): _doubt(worth[i] - worth[j], at, noises.get((min(i, j), max(i, j))))
        for i in order
        for j in order
        if mean[i] > mean[j]
    }
    still = tuple(t for t in order if not any(doubt.get((o, t), 1.0) < loose for o in order))
    best = order[0]
    alone = len(still) == 1 and all(doubt.get((best, o), 1.0) < loose / max(share, 1) for o in order[1:])
    text = f"take {best + 1}" if alone else NO_DIFFERENCE
    return SectionChoice(name, first, last, n, still, best if alone else None, tuple(mean.tolist()), text)


def _doubt(gains: FloatArray, at: BoolArray, noise: Noise | None) -> float:
    """Two-sided p-value of "the mean gain is 0"; 1 where there are too few strokes.

    The memory of the gains is the song's, their scatter that of this section, as each noise model makes it.
    """
    from scipy.special import stdtr

    n = gains.size
    if n < MIN_STROKES or noise is None:
        return 1.0
    scatter = float(gains.var())
    if scatter == 0.0:
        return 1.0 if gains[0] == 0.0 else 0.0
    share = np.minimum(noise.error_variance(at / n) / noise.variance_ms2, 0.9)
    error = np.sqrt(scatter * share / (1.0 - share))
    return float(2.0 * noise.weight @ stdtr(n - 1, -abs(float(gains.mean())) / error))


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
