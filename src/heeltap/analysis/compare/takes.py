"""Which take of a part to use: the one that lies nearest to the aim, section by section and on the whole.

This is a fact of the recordings, so there is always an answer. A take costs the root mean square of its strokes'
distances from the aim (their own middle, where the delay of the route is not known). A stroke counts at most
two half-widths of the pocket, 24 to 50 ms; a missed stroke counts as exactly that, and an extra one adds half of it. Takes
that cost less than 3 ms more than the best are as good: nobody hears the difference. Ours.

Conventions: milliseconds; takes count from 0 in the order given. Bars count from 1.

Inside: `compare`, `Comparison`, `TakeRow`, `Choice`, `Cost`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.compare.progress import Progress, progress_over, rush_into_changes_ms
from heeltap.analysis.offsets_of import Judged
from heeltap.analysis.pocket import beat_half_width_ms, centre_of, in_pocket
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints
from heeltap.model.offsets import Offsets

__all__ = [
    "WHOLE_SHARE",
    "Choice",
    "Comparison",
    "Cost",
    "PricedStrokes",
    "TakeRow",
    "compare",
    "cost_of",
    "strokes_around",
]

AS_GOOD_MS = 3.0
"""Root mean square: takes that differ by less are as good."""

WHOLE_SHARE = 0.8
"""Share of the strokes due in the fullest take from which a take holds a stretch of bars as a whole. Ours."""

MISSED_HALF_WIDTHS = 2.0
"""What a missed stroke counts as, in half-widths of the pocket on a beat."""


@dataclass(frozen=True, slots=True)
class Cost:
    """One take over a stretch of bars."""

    rms_ms: float
    """Root mean square distance, misses and extras priced."""
    off_share: float
    """Share of the strokes due, 0-1, that lie outside the pocket or were missed."""
    n: int
    """Strokes judged."""
    missed: int
    extra: int


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One take by itself."""

    n: int
    bias_ms: float | None
    spread_ms: float | None
    rush_ms: float | None
    """How much the last bar before a change lies ahead (minus) of the rest; None without changes."""
    cost: Cost | None
    """None where nothing was due."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which take to use over a stretch of bars."""

    name: str
    first_bar: int
    last_bar: int
    best: int
    as_good: tuple[int, ...]
    """Other takes within 3 ms of it, best first."""
    poorest: int
    """The take that costs most."""
    costs: tuple[Cost | None, ...]
    """Of each take; None where nothing was due."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several takes, in the order in which they were played."""

    takes: tuple[TakeRow, ...]
    whole: Choice | None
    """None where the takes are of different parts, or nothing was played."""
    sections: tuple[Choice, ...]
    pocket_ms: float
    """Half-width of the pocket on the usual beat."""
    progress: Progress


@dataclass(frozen=True, slots=True, eq=False)
class PricedStrokes:
    """What a take holds of each stroke that was due."""

    bar: IntArray
    away_ms: FloatArray
    """Distance, at most and for missed strokes exactly the price of a miss."""
    off: BoolArray
    """Outside the pocket, or missed."""
    missed: BoolArray
    extra_bar: IntArray
    price_ms: float
    """Of a missed stroke."""


def compare(
    takes: Sequence[Judged],
    *,
    lean_ms: float = 0.0,
    pocket_ms: float | None = None,
    delay_known: bool = True,
    same_part: bool = True,
) -> Comparison:
    """Compare two or more takes.

    Parameters
    ----------
    takes : sequence of Judged
        In the order played. Sections are those of the first.
    lean_ms : float
        Offset aimed at.
    pocket_ms : float, optional
        The user's own half-width of the pocket.
    delay_known : bool
        False: each take is held against its own middle.
    same_part : bool
        False: other seeds or keys of one exercise, of which only the player's progress can be asked.

    Returns
    -------
    Comparison

    Raises
    ------
    ValueError
        Below two takes.
    """
    if len(takes) < 2:
        raise ValueError(f"compare: found {len(takes)} takes; expected two or more")
    tables = [take.offsets for take in takes]
    known = [_strokes(take, lean_ms, pocket_ms, delay_known) for take in takes]
    last = max((int(one.bar.max(initial=0)) for one in known), default=0)
    whole = _choice(known, "", 1, last) if same_part else None
    parts = tables[0].sections if whole is not None else ()
    found = [_choice(known, part.name, part.first_bar, part.last_bar) for part in parts]
    return Comparison(
        tuple(_row(table, cost_of(one, 1, last)) for table, one in zip(tables, known, strict=True)),
        whole,
        tuple(choice for choice in found if choice is not None),
        pocket_ms or float(np.median([_half_width(table) for table in tables])),
        progress_over(tables, lean_ms=lean_ms if delay_known else None),
    )


def _row(table: Offsets, cost: Cost | None) -> TakeRow:
    """Numbers of one take."""
    n = len(table)
    average = float(table.offset_ms.mean()) if n else None
    return TakeRow(n, average, float(table.offset_ms.std(ddof=1)) if n > 1 else None, rush_into_changes_ms(table), cost)


def _half_width(table: Offsets) -> float:
    return float(beat_half_width_ms(np.median(table.beat_ms) if len(table) else 500.0))


def _strokes(take: Judged, lean_ms: float, pocket_ms: float | None, delay_known: bool) -> PricedStrokes:
    """The strokes of one take, played and missed, around the lean or its own middle."""
    return strokes_around(take, centre_of(take.offsets, lean_ms, delay_known=delay_known), pocket_ms)


def strokes_around(take: Judged, centre_ms: float, pocket_ms: float | None = None) -> PricedStrokes:
    """The strokes of one take, played and missed, and how far they lie from a middle.

    Parameters
    ----------
    take : Judged
    centre_ms : float
        Offset that distances are measured from.
    pocket_ms : float, optional
        The user's own half-width of the pocket.

    Returns
    -------
    PricedStrokes
    """
    table = take.offsets
    price = MISSED_HALF_WIDTHS * (pocket_ms or _half_width(table))
    away = np.minimum(np.abs(table.offset_ms - centre_ms), price)
    off = ~in_pocket(table, centre_ms=centre_ms, pocket_ms=pocket_ms)
    gone = _missed_bars(take)
    flags = np.ones(gone.size, dtype=np.bool_)
    return PricedStrokes(
        np.concatenate([table.bar, gone]),
        np.concatenate([away, np.full(gone.size, price)]),
        np.concatenate([off, flags]),
        np.concatenate([np.zeros(len(table), dtype=np.bool_), flags]),
        _extra_bars(take),
        price,
    )


def _missed_bars(take: Judged) -> IntArray:
    """Bar of each planned stroke of which no note was played."""
    played = {(row.bar, row.beat) for row in take.rows if row.status in ("matched", "wrong_pitch")}
    gone = {(row.bar, row.beat) for row in take.rows if row.status == "missed" and row.bar} - played
    return as_ints(sorted(bar or 1 for bar, _ in gone))


def _extra_bars(take: Judged) -> IntArray:
    """Bar of each extra note: that of the stroke judged before it."""
    at_us = as_ints(round(1e6 * row.time_s) for row in take.rows if row.status == "extra")
    if at_us.size == 0 or len(take.offsets) == 0:
        return as_ints([])
    before = np.searchsorted(take.offsets.onset_us, at_us, side="right") - 1
    return take.offsets.bar[np.maximum(before, 0)]


def cost_of(strokes: PricedStrokes, first: int, last: int) -> Cost | None:
    """What a take costs over a stretch of bars; None where nothing was due.

    Parameters
    ----------
    strokes : PricedStrokes
    first, last : int
        Bars, from 1.

    Returns
    -------
    Cost or None
    """
    at = (strokes.bar >= first) & (strokes.bar <= last)
    due = int(at.sum())
    if due == 0:
        return None
    extra = int(((strokes.extra_bar >= first) & (strokes.extra_bar <= last)).sum())
    square = float(np.sum(strokes.away_ms[at] ** 2)) + extra * (strokes.price_ms / 2.0) ** 2
    missed = int(strokes.missed[at].sum())
    return Cost(float(np.sqrt(square / due)), float(strokes.off[at].mean()), due - missed, missed, extra)


def _choice(takes: Sequence[PricedStrokes], name: str, first: int, last: int) -> Choice | None:
    """Which take to use over a stretch of bars; None where nothing was due."""
    costs = tuple(cost_of(one, first, last) for one in takes)
    due = max((cost.n + cost.missed for cost in costs if cost is not None), default=0)
    # A take that holds a part of these bars only, such as one that was punched in, cannot be used for all of them.
    ranked = sorted(
        (cost.rms_ms, index)
        for index, cost in enumerate(costs)
        if cost is not None and cost.n + cost.missed >= WHOLE_SHARE * due
    )
    if not ranked:
        return None
    least, best = ranked[0]
    as_good = tuple(index for rms, index in ranked[1:] if rms < least + AS_GOOD_MS)
    return Choice(name, first, last, best, as_good, ranked[-1][1], costs)
