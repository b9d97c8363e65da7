"""One number from 0 to 100 for a take: how near its strokes are to where they belong, and what that is made of.

The number is a fact of the recording, so it has no interval: it is for seeing a week's trend at a glance. It never
stands alone: average, spread and the share in the pocket stand beside it, because they say what to do.

How it is made (ours; see `docs/decisions/0030`):

* ``d`` = distance from the aim, times 1.25 on the strict side: early where the lean is behind, late where it is ahead;
* ``u`` = d in half-widths of the stroke's own pocket, at most 3; in fast runs the unit is 9 % of the way to the
  neighbour, which is where strokes at random times come out above 2;
* ``m`` = weighted mean of u over the strokes, a missed stroke counting as 2, an extra one adding half of that;
* score = 100 where m is 0.22 or less, 0 where it is 2 or more, in between ``100 (1 - t)^1.25`` with t the share of that
  way, in whole points: nearly even, a little steeper where ordinary players are, a little flatter below.

The scale is set by published spreads: best trained about 2 % of the beat, ordinary trained 2 to 4 %, untrained 4 to 8 %
(Repp 2005, Psychon. Bull. Rev. 12, 969-992, from memory): 2 % scores about 87, 4 % 61, 8 % 19 between 96 and 200 bpm.
Slower beats are judged more strictly in percent, because a flam is heard in milliseconds.

Wrong keys cost nothing here (the score is about time), nor do unplaced notes, among which graces hide.

Inside: `distance`, `place_weight`, `score`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.pocket import in_pocket, pocket_of
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets, Tally
from heeltap.model.subdivisions import BEAT, EIGHTH, SWUNG, TRIPLET
from heeltap.model.timeline import MetreMap

__all__ = ["Score", "distance", "place_weight", "score"]

STRICT = 1.25
"""Early is heard sooner than late: 23 against 28 ms in a groove (preprint doi 10.31234/osf.io/jsg94_v3)."""

FARTHEST = 3.0
"""Half-widths of the pocket beyond which it is all the same: one stroke a beat away does not spoil a take."""

FULL, ZERO = 0.22, 2.0
"""Mean distance in half-widths of the pocket that earns 100, and from which on nothing is earned."""

BEND = 1.25
"""Exponent of the scale; 1 would be even."""

EXTRA_COST = 0.5
"""An extra stroke costs half of a missed one."""

SHARE_OF_INTERVAL = 0.09
"""Of the way to the neighbour, the widest unit of distance: strokes at random times then lie 2.2 units away on average."""


@dataclass(frozen=True, slots=True)
class Score:
    """The score of a take and its parts."""

    value: int | None
    """0-100; None where nothing was judged and nothing was planned."""
    in_pocket: float | None
    """Share of the judged strokes within the pocket around the centre, 0-1; None without strokes."""
    mean_distance: float | None
    """Weighted mean distance of the judged strokes in half-widths of the pocket; None without strokes."""
    lost_to_misses: float
    """Points that the missed strokes cost."""
    lost_to_extras: float
    """Points that the extra strokes cost."""
    n: int
    """Judged strokes."""


def distance(
    offsets: Offsets, *, centre_ms: float = 0.0, strict_toward: float = 0.0, pocket_ms: float | None = None
) -> FloatArray:
    """Distance of each stroke from the centre in half-widths of its pocket, 0 to 3.

    Parameters
    ----------
    offsets : Offsets
    centre_ms : float
        The lean, or the take's own middle, see `heeltap.analysis.pocket.centre_of`.
    strict_toward : float
        The lean, for its sign: across it strokes count 1.25 times as far. 0 judges both sides alike.
    pocket_ms : float, optional
        The user's own half-width.

    Returns
    -------
    float64, shape (strokes,)
    """
    off = offsets.offset_ms - centre_ms
    strict = np.where(off * strict_toward < 0, STRICT, 1.0)
    unit = np.minimum(pocket_of(offsets, pocket_ms), SHARE_OF_INTERVAL * offsets.interval_ms)
    return np.minimum(np.abs(off) * strict / unit, FARTHEST)


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

    Returns
    -------
    float64, shape (strokes,)
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


def score(
    offsets: Offsets,
    tally: Tally,
    *,
    lean_ms: float = 0.0,
    centre_ms: float | None = None,
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
    centre_ms : float, optional
        Where the delay of the route is not known, the take's own middle: then tightness about it is judged, both sides
        alike. Without it strokes are held against the lean.
    pocket_ms : float, optional
        Half-width of the pocket, ms; without it 4 % of the beat, see `heeltap.analysis.pocket`.
    metre : MetreMap, optional
        For the weights, see `place_weight`.

    Returns
    -------
    Score
        Its value is 0 to 100, or None where nothing was due.
    """
    n = len(offsets)
    if n == 0:
        nothing = tally.missed == 0
        return Score(None if nothing else 0, None, None, 0.0 if nothing else 100.0, 0.0, 0)
    centre, toward = (lean_ms, lean_ms) if centre_ms is None else (centre_ms, 0.0)
    away = distance(offsets, centre_ms=centre, strict_toward=toward, pocket_ms=pocket_ms)
    weight = place_weight(offsets.bar, offsets.beat, offsets.division, metre=metre)
    mean = float(np.dot(weight, away) / weight.sum())
    # A tally may count notes where the table has one row a chord: then a missed note is a part of a stroke.
    notes = max(n, tally.matched + tally.wrong_pitch)
    missed, extra = tally.missed / notes, EXTRA_COST * tally.extra / notes
    clean, no_misses, value = (
        _points(mean, extras, misses) for extras, misses in ((0, 0), (extra, 0), (extra, missed))
    )
    inside = float(np.mean(in_pocket(offsets, centre_ms=centre, pocket_ms=pocket_ms)))
    return Score(round(value), inside, mean, no_misses - value, clean - no_misses, n)


def _points(mean: float, extra: float, missed: float) -> float:
    """Points for a mean distance with so many extras and misses for each judged stroke, 0-100."""
    # From FULL on, not from 0: else the tightest takes could miss strokes for nothing.
    whole = (max(mean, FULL) + ZERO * missed) / (1.0 + missed) + ZERO * extra
    left = min(max((ZERO - whole) / (ZERO - FULL), 0.0), 1.0)
    return float(100.0 * left**BEND)
