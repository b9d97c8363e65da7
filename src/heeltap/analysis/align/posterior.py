"""The posterior odds of every pair of planned and played notes, from one forward-backward pass. Ours.

Inside: `OffsetModel`, `make_offset_model`, `pair_odds`, `home_log_likelihood`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.assignment import Odds
from heeltap.analysis.align.delay_candidates import OffsetPrior
from heeltap.analysis.align.emissions import (
    NoteDensityTable,
    OffsetRange,
    PairPriors,
    Pairs,
    StrokeKernel,
    block_emissions,
    grid_ms,
    make_pair_priors,
    make_pairs,
    stroke_sigma,
)
from heeltap.analysis.align.forward_backward import Transitions, log_likelihood, make_transitions, posteriors
from heeltap.analysis.align.inputs import NoteSequence, nearest_gap_ms
from heeltap.analysis.align.player_model import SLOW_GAP_MS, PlayerModel
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["OffsetModel", "home_log_likelihood", "make_offset_model", "pair_odds"]

_LEAST_ODDS = 1e-3
"""Pairs less likely than this, against a miss, are dropped."""


_KEPT_BLOCKS = 16
"""Blocks whose pairs are kept: takes of up to 8,000 strokes make theirs once."""


@dataclass(frozen=True, slots=True, eq=False)
class OffsetModel:
    """The hidden Markov model of one plan and one take over some ranges of running offsets."""

    plan: NoteSequence
    take: NoteSequence
    first: IntArray
    """First note of each stroke."""
    player: PlayerModel
    ranges: tuple[OffsetRange, ...]
    note_density: NoteDensityTable
    stroke_kernel: StrokeKernel
    priors: PairPriors
    """Weights of the pairs apart from their times."""
    cache: dict[int, list[Pairs]]
    """Pairs of the blocks made last, by the block's first stroke."""

    def transitions(self, prior: OffsetPrior) -> Transitions:
        """Transitions for a player who belongs in some places.

        Parameters
        ----------
        prior : OffsetPrior
            Where the player belongs.

        Returns
        -------
        Transitions
            Over all ranges.
        """
        gap = np.diff(self.plan.at_ms[self.first], prepend=self.plan.at_ms[0])
        return make_transitions(grid_ms(self.ranges), prior, gap, self.player)

    def span(self, begin: int, end: int) -> tuple[int, int]:
        """First and last-plus-one planned note of some strokes.

        Parameters
        ----------
        begin, end : int
            Strokes.

        Returns
        -------
        tuple of int
            Rows of the plan.
        """
        last = int(self.first[end]) if end < self.first.size else len(self.plan)
        return int(self.first[begin]), last

    def pairs(self, begin: int, end: int) -> list[Pairs]:
        """The pairs of strokes ``begin`` to ``end``, a table a stretch; few blocks are kept, so memory stays bounded.

        Parameters
        ----------
        begin, end : int
            Strokes.

        Returns
        -------
        list of Pairs
            One a range.
        """
        if begin not in self.cache:
            if len(self.cache) >= _KEPT_BLOCKS:
                self.cache.clear()
            low, high = self.span(begin, end)
            self.cache[begin] = [make_pairs(self.priors, self.note_density, one, low, high) for one in self.ranges]
        return self.cache[begin]

    def raw(self, begin: int, end: int) -> tuple[list[FloatArray], FloatArray]:
        """Likelihoods of the notes of strokes ``begin`` to ``end``, a table a stretch, and of those strokes.

        Parameters
        ----------
        begin, end : int
            Strokes.

        Returns
        -------
        list of float64, shape (notes, offsets of the range)
            Of the notes.
        float64, shape (strokes, offsets)
            Of the strokes.
        """
        low, _ = self.span(begin, end)
        firsts = self.first[begin:end] - low
        parts = [
            block_emissions(self.note_density, pairs, firsts, one.count)
            for one, pairs in zip(self.ranges, self.pairs(begin, end), strict=True)
        ]
        return [notes for notes, _ in parts], np.concatenate([strokes for _, strokes in parts], axis=1)

    def emissions(self, begin: int, end: int) -> FloatArray:
        """Likelihoods of strokes ``begin`` to ``end`` at each running offset.

        Parameters
        ----------
        begin, end : int
            Strokes.

        Returns
        -------
        float64, shape (strokes, offsets)
            Likelihoods.
        """
        return self.stroke_kernel.blur(self.raw(begin, end)[1], begin)


def make_offset_model(
    plan: NoteSequence, take: NoteSequence, first: IntArray, player: PlayerModel, ranges: tuple[OffsetRange, ...]
) -> OffsetModel:
    """The pairs of every stretch, ready for passes.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    first : int64, shape (strokes,)
        First planned note of each stroke.
    player : PlayerModel
        Rates and scales.
    ranges : tuple of OffsetRange
        Running offsets looked at.

    Returns
    -------
    OffsetModel
        Without any pairs made yet.
    """
    note_density = NoteDensityTable(player, max(one.count for one in ranges))
    slow = nearest_gap_ms(plan, first) >= SLOW_GAP_MS
    stroke_kernel = StrokeKernel(stroke_sigma(plan, first, player), slow, grid_ms(ranges))
    return OffsetModel(
        plan, take, first, player, ranges, note_density, stroke_kernel, make_pair_priors(plan, take, player), {}
    )


def home_log_likelihood(model: OffsetModel, prior: OffsetPrior) -> float:
    """Logarithm of the likelihood of the take when the player belongs there.

    Parameters
    ----------
    model : OffsetModel
        Plan and take.
    prior : OffsetPrior
        Where the player belongs.

    Returns
    -------
    float
        Nats.
    """
    return log_likelihood(model.first.size, model.emissions, model.transitions(prior))


def pair_odds(model: OffsetModel, prior: OffsetPrior) -> Odds:
    """Odds of every pair worth keeping, in the posterior of each stroke's offset.

    Parameters
    ----------
    model : OffsetModel
        Plan and take.
    prior : OffsetPrior
        Where the player belongs.

    Returns
    -------
    Odds
        Against a miss.
    """
    kept: list[tuple[IntArray, IntArray, FloatArray]] = []
    for begin, end, posterior in posteriors(model.first.size, model.emissions, model.transitions(prior)):
        low, high = model.span(begin, end)
        notes, strokes = model.raw(begin, end)
        # What the other strokes say about the running offset, blurred to this stroke's own, times what this one says.
        own = strokes * model.stroke_kernel.blur(posterior / model.stroke_kernel.blur(strokes, begin), begin)
        own /= own.sum(axis=1, keepdims=True)
        stroke = np.repeat(np.arange(end - begin), np.diff(model.first[begin:end], append=high))
        columns = 0
        weights = []
        tables = model.pairs(begin, end)
        for per_note, pairs in zip(notes, tables, strict=True):
            share = own[stroke, columns : columns + per_note.shape[1]] / per_note
            hits = model.note_density.likelihood_ratios(pairs, per_note.shape[1])
            weights.append(np.einsum("ij,ij->i", hits, share[pairs.planned - low]))
            columns += per_note.shape[1]
        kept.append(_odds(tables, weights, low, high, len(model.take)))
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
