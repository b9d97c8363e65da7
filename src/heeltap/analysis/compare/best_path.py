"""Which take to use for each stretch of a song, so that all of them together lie best.

Whoever listens hears one performance. So all stretches are held against one middle, not each take against its own: the lean where
the delay is known, else the middle for which the whole comes out best. For a given middle the takes of the stretches are a path
with at most so many changes (Viterbi); squares are added, for the cost of the whole is a root mean square, as in
`heeltap.analysis.compare.takes`. Every take by itself is such a path, so the best path costs no more than the best take. Ours.

Inside: `best_path`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.compare.takes import WHOLE_SHARE, PricedStrokes, cost_of, strokes_around
from heeltap.analysis.offsets_of import Judged

__all__ = ["best_path"]

_Row = dict[int, float]
"""Sum of squares of each take that holds a stretch, ms squared."""


def best_path(
    takes: Sequence[Judged],
    stretches: Sequence[tuple[int, int]],
    joins: int,
    *,
    lean_ms: float | None,
    pocket_ms: float | None = None,
) -> list[int]:
    """The index of the take to use for each stretch.

    Parameters
    ----------
    takes : sequence of Judged
    stretches : sequence of (int, int)
        First and last bar of each, in order.
    joins : int
        At most so many changes of take.
    lean_ms : float or None
        Offset aimed at; None where the delay is not known.
    pocket_ms : float, optional
        The user's own half-width of the pocket.

    Returns
    -------
    list of int
        One for each stretch; empty where no take holds anything.
    """
    middles = [lean_ms] if lean_ms is not None else _middles(takes)
    best: tuple[float, list[int]] = (np.inf, [])
    for middle in middles:
        strokes = [strokes_around(take, middle, pocket_ms) for take in takes]
        rows = [_squares(strokes, first, last) for first, last in stretches]
        if any(rows):
            found = _path([row or dict.fromkeys(range(len(takes)), 0.0) for row in rows], joins)
            if found[0] < best[0] - 1e-9:
                best = found
    return best[1]


def _middles(takes: Sequence[Judged]) -> list[float]:
    """Middles to try: each take's own, and between the outermost of them in steps of half a millisecond."""
    own = [float(np.median(take.offsets.offset_ms)) for take in takes if len(take.offsets)]
    if not own:
        return []
    return [*own, *np.arange(min(own), max(own), 0.5).tolist()]


def _squares(strokes: Sequence[PricedStrokes], first: int, last: int) -> _Row:
    """What each take that holds these bars as a whole costs there."""
    costs = [cost_of(one, first, last) for one in strokes]
    due = max((cost.n + cost.missed for cost in costs if cost is not None), default=0)
    return {
        index: cost.rms_ms**2 * (cost.n + cost.missed)
        for index, cost in enumerate(costs)
        if cost is not None and cost.n + cost.missed >= WHOLE_SHARE * due
    }


def _path(rows: Sequence[_Row], joins: int) -> tuple[float, list[int]]:
    """The cheapest way through the stretches and its cost; of equally cheap ones that with the fewest changes.

    Where no take holds all that is needed within so many changes, the nearest changes are made all the same.
    """
    best: dict[tuple[int, int], tuple[float, list[int]]] = {(take, 0): (cost, [take]) for take, cost in rows[0].items()}
    for row in rows[1:]:
        step: dict[tuple[int, int], tuple[float, list[int]]] = {}
        for (before, used), (total, way) in best.items():
            for take, cost in row.items():
                changes = used + (take != before)
                kept = step.get((take, changes))
                if kept is None or total + cost < kept[0]:
                    step[take, changes] = (total + cost, [*way, take])
        within = {key: value for key, value in step.items() if key[1] <= max(joins, 0)}
        fewest = min(changes for _, changes in step)
        best = within or {key: value for key, value in step.items() if key[1] == fewest}
    return min(best.items(), key=lambda item: (round(item[1][0], 6), item[0][1]))[1]
