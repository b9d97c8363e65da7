"""One pass of the aligner to a click: a plan, a take and a grid of offsets in, the odds of every pair out.

Inside: `Setup`, `set_up`, `pair_odds`, `home_evidence`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.assignment import Odds
from heeltap.analysis.align.delay_candidates import Places
from heeltap.analysis.align.emissions import (
    Field,
    Lens,
    Pairs,
    Stretch,
    Sway,
    block_fit,
    grid_ms,
    make_field,
    make_pairs,
    stroke_sigma,
)
from heeltap.analysis.align.forward_backward import Moves, evidence, make_moves, smooth
from heeltap.analysis.align.inputs import Line
from heeltap.analysis.align.player_model import Habits
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["Setup", "home_evidence", "pair_odds", "set_up"]

_LEAST_ODDS = 1e-3
"""Pairs less likely than this, against a miss, are dropped."""


_KEPT_BLOCKS = 16
"""Blocks whose pairs are kept: takes of up to 8,000 strokes make theirs once."""


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """A plan and a take on a grid."""

    plan: Line
    take: Line
    first: IntArray
    """First note of each stroke."""
    habits: Habits
    stretches: tuple[Stretch, ...]
    lens: Lens
    sway: Sway
    field: Field
    """What pairs are weighed by."""
    cache: dict[int, list[Pairs]]
    """Pairs of the blocks made last, by the block's first stroke."""

    def moves(self, places: Places) -> Moves:
        """Transitions for a player who belongs in some places."""
        gap = np.diff(self.plan.at_ms[self.first], prepend=self.plan.at_ms[0])
        return make_moves(grid_ms(self.stretches), places, gap, self.habits)

    def span(self, begin: int, end: int) -> tuple[int, int]:
        """First and last-plus-one planned note of some strokes."""
        last = int(self.first[end]) if end < self.first.size else len(self.plan)
        return int(self.first[begin]), last

    def pairs(self, begin: int, end: int) -> list[Pairs]:
        """The pairs of strokes ``begin`` to ``end``, a table a stretch; few blocks are kept, so memory stays bounded."""
        if begin not in self.cache:
            if len(self.cache) >= _KEPT_BLOCKS:
                self.cache.clear()
            low, high = self.span(begin, end)
            self.cache[begin] = [make_pairs(self.field, self.lens, one, low, high) for one in self.stretches]
        return self.cache[begin]

    def raw(self, begin: int, end: int) -> tuple[list[FloatArray], FloatArray]:
        """Likelihoods of the notes of strokes ``begin`` to ``end``, a table a stretch, and of those strokes."""
        low, _ = self.span(begin, end)
        firsts = self.first[begin:end] - low
        parts = [
            block_fit(self.lens, pairs, firsts, one.count)
            for one, pairs in zip(self.stretches, self.pairs(begin, end), strict=True)
        ]
        return [notes for notes, _ in parts], np.concatenate([strokes for _, strokes in parts], axis=1)

    def fit(self, begin: int, end: int) -> FloatArray:
        """Likelihoods of strokes ``begin`` to ``end`` at each running offset."""
        return self.sway.spread(self.raw(begin, end)[1], begin)


def set_up(plan: Line, take: Line, first: IntArray, habits: Habits, stretches: tuple[Stretch, ...]) -> Setup:
    """The pairs of every stretch, ready for passes."""
    lens = Lens(habits, max(one.count for one in stretches))
    sway = Sway(stroke_sigma(plan, first, habits), grid_ms(stretches))
    return Setup(plan, take, first, habits, stretches, lens, sway, make_field(plan, take, habits), {})


def home_evidence(setup: Setup, places: Places) -> float:
    """Logarithm of the likelihood of the take when the player belongs there."""
    return evidence(setup.first.size, setup.fit, setup.moves(places))


def pair_odds(setup: Setup, places: Places) -> Odds:
    """Odds of every pair worth keeping, in the posterior of each stroke's offset."""
    kept: list[tuple[IntArray, IntArray, FloatArray]] = []
    for begin, end, posterior in smooth(setup.first.size, setup.fit, setup.moves(places)):
        low, high = setup.span(begin, end)
        notes, strokes = setup.raw(begin, end)
        # What the other strokes say about the running offset, blurred to this stroke's own, times what this one says.
        own = strokes * setup.sway.spread(posterior / setup.sway.spread(strokes, begin), begin)
        own /= own.sum(axis=1, keepdims=True)
        stroke = np.repeat(np.arange(end - begin), np.diff(setup.first[begin:end], append=high))
        columns = 0
        weights = []
        tables = setup.pairs(begin, end)
        for per_note, pairs in zip(notes, tables, strict=True):
            share = own[stroke, columns : columns + per_note.shape[1]] / per_note
            hits = setup.lens.densities(pairs, per_note.shape[1])
            weights.append(np.einsum("ij,ij->i", hits, share[pairs.planned - low]))
            columns += per_note.shape[1]
        kept.append(_odds(tables, weights, low, high, len(setup.take)))
    return Odds(*(np.concatenate(columns) for columns in zip(*kept, strict=True)))


def _odds(
    tables: list[Pairs], weights: list[FloatArray], low: int, high: int, played_count: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Planned note, played note and odds of the pairs of one block, the stretches added up."""
    planned = np.concatenate([pairs.planned for pairs in tables])
    played = np.concatenate([pairs.played for pairs in tables])
    weight = np.concatenate(weights)
    if len(weights) > 1:
        key = (planned - low) * (played_count + 1) + played + 1
        unique, place = np.unique(key, return_inverse=True)
        weight = np.bincount(place, weight).astype(np.float64)
        planned, played = low + unique // (played_count + 1), unique % (played_count + 1) - 1
    miss = np.zeros(high - low)
    unplayed = played < 0
    miss[planned[unplayed] - low] = weight[unplayed]
    odds = weight / np.maximum(miss[planned - low], 1e-12)
    keep = ~unplayed & (odds > _LEAST_ODDS)
    return planned[keep], played[keep], odds[keep]
