"""One number from 0 to 100 for a take, with its interval and what it is made of.

The number is for seeing a trend at a glance. It never stands alone: bias, spread and the share in the pocket stand
beside it, because they say what to do and the score does not.

How it is made (ours; the constants are those that ordered simulated players rightly, see `docs/decisions/0030`):

* ``d`` = offset - lean in ms, times 1.5 on the strict side: early where the lean is behind, late where it is ahead;
* ``J`` = 1.6 just-noticeable differences of the stroke's own interval, or the pocket that the user gave;
* credit ``c`` = 1 within J, beyond it ``1 / (1 + ((|d| - J) / (2 J))^2)``;
* raw = sum(w c) / (sum(w) + w of the misses + 0.5 w of the extras), w the weight of the place in the bar;
* score = 100 (raw - chance) / (1 - chance), never below 0; chance is the mean credit of strokes at random times and
  0.75 of its standard error, so that short random takes do not score by luck.

Wrong keys cost nothing here (the score is about time), nor do unplaced notes, among which graces hide.

Inside: `jnd_ms`, `pocket_of`, `credit`, `chance_credit`, `place_weight`, `in_pocket`, `score`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.statistics.estimates import bias
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.offsets import Offsets, Tally
from heeltap.model.subdivisions import BEAT, EIGHTH, SWUNG, TRIPLET
from heeltap.model.timeline import MetreMap

__all__ = ["Score", "chance_credit", "credit", "in_pocket", "jnd_ms", "place_weight", "pocket_of", "score"]

POCKET_JNDS = 1.6
"""Half-width of the pocket in just-noticeable differences where the user gives none."""

STRICT = 1.5
"""Playing ahead of a lean that lies behind is heard as worse than the same amount late."""

EXTRA_COST = 0.5
"""An extra stroke costs half of a missed one."""


LUCK = 0.75
"""Standard errors above the mean of random timing where the scale starts: below it scores end at 0, so without this the
average of random takes of 64 strokes would be 3."""


@dataclass(frozen=True, slots=True)
class Score:
    """The score of a take and its parts."""

    value: float | None
    """0-100; None where nothing was judged and nothing was planned."""
    ci95: tuple[float, float] | None
    """Where the score of this player, playing on like this, would lie; None where too few."""
    in_pocket: float | None
    """Share of the judged strokes within the pocket around the lean, 0-1; None without strokes."""
    timing: float | None
    """Weighted mean credit of the judged strokes, 0-1, before misses, extras and chance."""
    chance: float | None
    """What random timing would have earned as ``timing`` with 0.75 standard errors of luck, 0-1."""
    lost_to_misses: float
    """Points that the missed strokes cost."""
    lost_to_extras: float
    """Points that the extra strokes cost."""
    n: int
    """Judged strokes."""


def jnd_ms(interval_ms: npt.ArrayLike) -> FloatArray:
    """Just-noticeable difference in ms of a displaced stroke: max(6 ms, 2.5 % of the interval).

    Source: Friberg & Sundberg (1995), J. Acoust. Soc. Am. 98, 2524-2531, from the abstract: about 6 ms below 240 ms,
    2.5 % above. A limit of detection in a bare sequence; in a full band it is three to four times as much.
    """
    return np.maximum(6.0, 0.025 * np.asarray(interval_ms, dtype=np.float64))


def pocket_of(interval_ms: npt.ArrayLike, pocket_ms: float | None = None) -> FloatArray:
    """Half-width of the pocket of each stroke in ms: the given one, else 1.6 just-noticeable differences."""
    if pocket_ms is not None:
        return np.full(np.shape(interval_ms), float(pocket_ms))
    return POCKET_JNDS * jnd_ms(interval_ms)


def credit(deviation_ms: npt.ArrayLike, pocket: npt.ArrayLike, *, lean_ms: float = 0.0) -> FloatArray:
    """Credit 0-1 of each deviation from the lean (ms, negative is early), falling with its size on either side."""
    off = np.asarray(deviation_ms, dtype=np.float64)
    strict = np.where(off * lean_ms < 0, STRICT, 1.0)
    half = np.asarray(pocket, dtype=np.float64)
    beyond = np.maximum(np.abs(off) * strict - half, 0.0) / (2.0 * half)
    return np.asarray(1.0 / (1.0 + beyond * beyond))


def chance_credit(interval_ms: npt.ArrayLike, pocket: npt.ArrayLike, *, lean_ms: float = 0.0) -> FloatArray:
    """Mean credit of strokes that fall anywhere within half an interval of their slot, in closed form."""
    return _chance(interval_ms, pocket, lean_ms)[0]


def _chance(interval_ms: npt.ArrayLike, pocket: npt.ArrayLike, lean_ms: float) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of the credit of strokes that fall anywhere within half an interval of their slot."""
    half = np.asarray(pocket, dtype=np.float64)
    interval = np.maximum(np.asarray(interval_ms, dtype=np.float64), 2.0 * half)
    lean = np.clip(lean_ms, -interval / 2, interval / 2)
    early_strict, late_strict = (STRICT if lean_ms > 0 else 1.0), (STRICT if lean_ms < 0 else 1.0)
    early, early_square = _side(interval / 2 + lean, half, early_strict)
    late, late_square = _side(interval / 2 - lean, half, late_strict)
    mean = np.asarray((early + late) / interval)
    return mean, np.asarray(np.maximum((early_square + late_square) / interval - mean * mean, 0.0))


def _side(length: FloatArray, half: FloatArray, strict: float) -> tuple[FloatArray, FloatArray]:
    """Integrals of the credit and of its square over one side of the lean, ms."""
    flat, step = np.minimum(length, half / strict), 2.0 * half / strict
    x = np.maximum(strict * length - half, 0.0) / (2.0 * half)
    return flat + step * np.arctan(x), flat + step * (np.arctan(x) + x / (1.0 + x * x)) / 2.0


def place_weight(bar: IntArray, beat: FloatArray, division: IntArray, *, metre: MetreMap | None = None) -> FloatArray:
    """Weight of each place in the bar.

    Metres with two or four beats (4/4, 2/4, 2/2, 12/8, 6/8) have a backbeat: the even beats 1.5, the one and the three
    1.25. In every other metre (3/4, 5/4, 7/8, ...) all beats weigh 1.25: there is no backbeat to single out. Eighths
    (swung ones too, and the thirds of a compound beat) 1; everything finer 0.75. Common practice, no source, for the
    order; the numbers are ours.

    Parameters
    ----------
    bar, beat, division
        Columns of `Offsets`.
    metre : MetreMap, optional
        Without it a bar has as many beats as the highest beat that was played.
    """
    if metre is None:
        beats = np.full(beat.shape, int(np.floor(beat.max() + 1e-6)) if beat.size else 4)
        compound = np.zeros(beat.shape, dtype=np.bool_)
    else:
        row = metre.row_at(metre.quarter_of_bar(bar))
        beats = np.array([m.beats for m in metre.metres])[row]
        compound = np.array([m.beat_quarters * m.unit > 4.0 for m in metre.metres])[row]
    whole = np.round(beat).astype(np.int64)
    back = np.isin(beats, (2, 4)) & (whole % 2 == 0)
    plain = (division == EIGHTH) | (division == SWUNG) | (compound & (division == TRIPLET))
    return np.where(division == BEAT, np.where(back, 1.5, 1.25), np.where(plain, 1.0, 0.75))


def in_pocket(offsets: Offsets, *, lean_ms: float = 0.0, pocket_ms: float | None = None) -> BoolArray:
    """Flag of each stroke that lies within its pocket around the lean; no strict side here."""
    away = np.abs(offsets.offset_ms - lean_ms)
    return np.asarray(away <= pocket_of(offsets.interval_ms, pocket_ms))


def score(
    offsets: Offsets,
    tally: Tally,
    *,
    lean_ms: float = 0.0,
    pocket_ms: float | None = None,
    metre: MetreMap | None = None,
) -> Score:
    """Score a take.

    Parameters
    ----------
    offsets : Offsets
        Judged strokes.
    tally : Tally
        ``missed`` and ``extra``, as shares of the larger of the judged strokes and ``matched`` + ``wrong_pitch``.
    lean_ms : float
        Offset that was aimed at.
    pocket_ms : float, optional
        Half-width of the pocket, ms; without it 1.6 just-noticeable differences of each stroke's interval.
    metre : MetreMap, optional
        For the weights, see `place_weight`.
    """
    n = len(offsets)
    if n == 0:
        nothing = tally.missed == 0
        return Score(None if nothing else 0.0, None, None, None, None, 0.0 if nothing else 100.0, 0.0, 0)
    half = pocket_of(offsets.interval_ms, pocket_ms)
    weight = place_weight(offsets.bar, offsets.beat, offsets.division, metre=metre)
    got = credit(offsets.offset_ms - lean_ms, half, lean_ms=lean_ms)
    timing, chance = _mean(weight, got), _lucky(weight, *_chance(offsets.interval_ms, half, lean_ms))
    # A tally may count notes where the table has one row a chord: then a missed note is a part of a stroke.
    notes = max(n, tally.matched + tally.wrong_pitch)
    missed, extra = tally.missed / notes, EXTRA_COST * tally.extra / notes
    clean, no_misses, value = (_points(timing / (1.0 + m), chance) for m in (0.0, extra, missed + extra))
    # Misses as binomial, extras as Poisson counts: how they cluster is not known from a tally.
    counts_se = timing * float(np.sqrt((missed * (1.0 + missed) + extra * EXTRA_COST) / n)) / (1.0 + missed + extra)
    slope = 100.0 / (1.0 - chance) / (1.0 + missed + extra)
    ci95 = _interval(value, weight * (got - timing) * n / weight.sum(), slope, counts_se)
    inside = float(np.mean(in_pocket(offsets, lean_ms=lean_ms, pocket_ms=pocket_ms)))
    return Score(value, ci95, inside, timing, chance, no_misses - value, clean - no_misses, n)


def _mean(weight: FloatArray, value: FloatArray) -> float:
    """Weighted mean."""
    return float(np.dot(weight, value) / weight.sum())


def _lucky(weight: FloatArray, mean: FloatArray, variance: FloatArray) -> float:
    """Credit of random timing with a little luck.

    Never quite 1: with a pocket as wide as the interval everything is in it and chance would explain it all.
    """
    luck = LUCK * float(np.sqrt(np.dot(weight * weight, variance))) / float(weight.sum())
    return min(_mean(weight, mean) + luck, 0.95)


def _points(raw: float, chance: float) -> float:
    """Raw credit on the scale where chance is 0 and perfection 100, never below 0."""
    return min(max(100.0 * (raw - chance) / (1.0 - chance), 0.0), 100.0)


def _interval(value: float, own: FloatArray, slope: float, counts_se: float) -> tuple[float, float] | None:
    """95 % interval within 0-100; ``own`` is each stroke's pull on the mean credit, ``slope`` points per unit of it.

    The strokes' part comes from the noise models of `heeltap.analysis.statistics.estimates.bias`, which know wander and
    long memory.
    """
    strokes = bias(own).ci95
    if strokes is None:
        return None
    reach = float(np.hypot(slope * (strokes[1] - strokes[0]) / 2.0, 1.96 * slope * counts_se))
    return max(value - reach, 0.0), min(value + reach, 100.0)
