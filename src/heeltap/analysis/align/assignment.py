"""From what each pair is worth on its own to one-to-one matches, each with the probability that it is right.

The odds of each pair come from a posterior in which pairs do not know of each other. Here every planned note takes at
most one played note and the other way round: the probabilities under that rule are those of a random matching with
the given weights, found by message passing (exact where pairs form no ring: Bayati, Shah & Sharma (2008), IEEE Trans.
Inf. Theory 54, for the best matching; the sum form used here is the usual monomer-dimer recursion, from memory).

Inside: `Odds`, `Marginals`, `pair_marginals`, `choose_pairs`, `order_equal_notes`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Marginals", "Odds", "choose_pairs", "order_equal_notes", "pair_marginals"]

_ROUNDS = 60
"""Most rounds of messages; ordinary takes settle in fewer than ten."""

_SETTLED = 1e-5
"""Largest change of a probability at which messages have settled."""


@dataclass(frozen=True, slots=True, eq=False)
class Odds:
    """Pairs that are worth considering."""

    planned: IntArray
    played: IntArray
    odds: FloatArray
    """Of the pair against a miss and an unplanned note, other pairs left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Marginals:
    """Probabilities under one-to-one matching."""

    pair: FloatArray
    """Of each pair."""
    miss: FloatArray
    """Of each planned note, that it was not played."""


def pair_marginals(odds: Odds, planned_count: int, played_count: int) -> Marginals:
    """Probability of each pair and of each miss when no note is used twice.

    Parameters
    ----------
    odds : Odds
        Pairs worth considering.
    planned_count, played_count : int
        Notes on either side.

    Returns
    -------
    Marginals
        Probabilities, 0-1.

    Notes
    -----
    Sum-product message passing, see the module.
    """
    weight, planned, played = odds.odds, odds.planned, odds.played
    free_played = np.ones(weight.size)
    chance = np.zeros(weight.size)
    for _ in range(_ROUNDS):
        pull = weight * free_played
        total = np.bincount(planned, pull, planned_count)
        free_planned = 1.0 / (1.0 + np.maximum(total[planned] - pull, 0.0))
        push = weight * free_planned
        total = np.bincount(played, push, played_count)
        free_played = 1.0 / (1.0 + np.maximum(total[played] - push, 0.0))
        joint = weight * free_played * free_planned
        before, chance = chance, joint / (1.0 + joint)
        if weight.size == 0 or float(np.max(np.abs(chance - before))) < _SETTLED:
            break
    worth = np.bincount(planned, weight * free_played, planned_count).astype(np.float64)
    return Marginals(chance, 1.0 / (1.0 + worth))


def choose_pairs(
    odds: Odds, marginals: Marginals, planned_count: int, played_count: int
) -> tuple[IntArray, FloatArray]:
    """Played note of each planned one (or -1) and the probability of that: likeliest first, none used twice.

    A pair is taken when it is likelier than the miss. Where probabilities exceed a half there is nothing to choose,
    so the order matters only among doubtful pairs.

    Parameters
    ----------
    odds : Odds
        Pairs worth considering.
    marginals : Marginals
        Their probabilities.
    planned_count, played_count : int
        Notes on either side.

    Returns
    -------
    match : int64, shape (planned_count,)
        Index of the played note, -1 for a miss.
    confidence : float64, shape (planned_count,)
        Probability of that answer, 0-1.

    Notes
    -----
    Ours.
    """
    match = np.full(planned_count, -1, np.int64)
    confidence = marginals.miss.copy()
    live = np.flatnonzero(marginals.pair > marginals.miss[odds.planned])
    live = live[np.argsort(-marginals.pair[live], kind="stable")]
    used = np.zeros(played_count, bool)
    while live.size:
        taken = _firsts(odds.planned[live]) & _firsts(odds.played[live])
        rows = live[taken]
        match[odds.planned[rows]] = odds.played[rows]
        confidence[odds.planned[rows]] = marginals.pair[rows]
        used[odds.played[rows]] = True
        live = live[(match[odds.planned[live]] < 0) & ~used[odds.played[live]]]
    return match, confidence


def _firsts(values: IntArray) -> BoolArray:
    """Which entries are the first of their value."""
    out = np.zeros(values.size, bool)
    out[np.unique(values, return_index=True)[1]] = True
    return out


def order_equal_notes(match: IntArray, at_ms: FloatArray, pitch: IntArray) -> IntArray:
    """The match with interchangeable planned notes (one time, one key) answered in the order of playing, misses last.

    ``at_ms`` and ``pitch`` are the planned notes, sorted by both.

    Parameters
    ----------
    match : int64, shape (n,)
        Index of the played note of each planned one, -1 for a miss.
    at_ms, pitch : shape (n,)
        Planned times and keys, sorted by both.

    Returns
    -------
    int64, shape (n,)
        The match, rearranged inside each group of equal notes.
    """
    same = (np.diff(at_ms) == 0) & (np.diff(pitch) == 0)
    if not same.any():
        return match
    group = np.concatenate([[0], np.cumsum(~same)])
    late = np.where(match < 0, np.iinfo(np.int64).max, match)
    return match[np.lexsort((late, group))]
