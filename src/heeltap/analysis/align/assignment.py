"""From what each pair is worth on its own to one-to-one matches, each with the probability that it is right.

The odds of each pair come from a posterior in which pairs do not know of each other. Here every planned note takes at
most one played note and the other way round: the probabilities under that rule are those of a random matching with
the given weights, found by message passing (exact where pairs form no ring: Bayati, Shah & Sharma (2008), IEEE Trans.
Inf. Theory 54, for the best matching; the sum form used here is the usual monomer-dimer recursion, from memory).

Inside: `Odds`, `Marginals`, `Groups`, `pair_marginals`, `choose_pairs`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Groups", "Marginals", "Odds", "choose_pairs", "pair_marginals"]

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


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Which planned notes belong together; numbers from 0 that do not decrease."""

    equal: IntArray
    """Interchangeable notes: one time and one key, or one time and any key; shape (n,)."""
    stroke: IntArray
    """Notes meant to sound together, shape (n,)."""
    planned_pitch: IntArray
    played_pitch: IntArray

    def wrong(self, planned: IntArray, played: IntArray) -> BoolArray:
        """Which pairs are answers on another key than the planned one.

        Parameters
        ----------
        planned, played : int64, shape (k,)
            Rows of the plan and of the take.

        Returns
        -------
        bool, shape (k,)
        """
        key = self.planned_pitch[planned]
        return np.asarray((key >= 0) & (key != self.played_pitch[played]))


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


def choose_pairs(odds: Odds, marginals: Marginals, groups: Groups, played_count: int) -> tuple[IntArray, FloatArray]:
    """Played note of each planned one (or -1) and the probability of that: likeliest first, none used twice.

    A pair is taken when it is likelier than a miss. Planned notes of one group are interchangeable: a played note answers
    the group with the sum of its probabilities, and the group's notes are answered in the order of playing.

    Parameters
    ----------
    odds : Odds
        Pairs worth considering.
    marginals : Marginals
        Their probabilities.
    groups : Groups
        Which planned notes are interchangeable, and which are one stroke.
    played_count : int
        Notes of the take.

    Returns
    -------
    match : int64, shape (planned_count,)
        Index of the played note, -1 for a miss.
    confidence : float64, shape (planned_count,)
        Probability of that answer, 0-1; for a wrong key, that the played note was meant for this stroke.

    Notes
    -----
    Ours.
    """
    size = np.bincount(groups.equal)
    miss = np.bincount(groups.equal, marginals.miss)
    group, played, chance = _summed(groups.equal[odds.planned], odds.played, marginals.pair, played_count)
    live = np.flatnonzero(chance > (miss / size)[group])
    live = live[np.argsort(-chance[live], kind="stable")]
    left, used = size.copy(), np.zeros(played_count, bool)
    taken: list[IntArray] = []
    while live.size:
        rows = live[_firsts(group[live]) & _firsts(played[live])]
        taken.append(rows)
        left[group[rows]] -= 1
        used[played[rows]] = True
        live = live[(left[group[live]] > 0) & ~used[played[live]]]
    rows = np.concatenate(taken) if taken else np.zeros(0, np.int64)
    match, where = _in_order_of_playing(group[rows], played[rows], groups.equal, size)
    confidence = np.minimum(miss / np.maximum(left, 1), 1.0)[groups.equal]
    confidence[where] = np.minimum(_of_stroke(odds, marginals, groups, where, match, chance[rows]), 1.0)
    return match, confidence


def _summed(
    group: IntArray, played: IntArray, chance: FloatArray, played_count: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Group, played note and summed probability of every pair of the two."""
    key, place = np.unique(group * played_count + played, return_inverse=True)
    return key // max(played_count, 1), key % max(played_count, 1), np.bincount(place, chance).astype(np.float64)


def _in_order_of_playing(
    group: IntArray, played: IntArray, equal: IntArray, size: IntArray
) -> tuple[IntArray, IntArray]:
    """The match, and for each pair of group and played note the planned note that it went to."""
    by_group = np.argsort(equal, kind="stable")
    begin = np.concatenate([[0], np.cumsum(size)[:-1]])
    order = np.lexsort((played, group))
    nth = np.arange(order.size) - np.searchsorted(group[order], group[order])
    where = np.empty(order.size, np.int64)
    where[order] = by_group[begin[group[order]] + nth]
    match = np.full(equal.size, -1, np.int64)
    match[where] = played
    return match, where


def _of_stroke(
    odds: Odds, marginals: Marginals, groups: Groups, where: IntArray, match: IntArray, chance: FloatArray
) -> FloatArray:
    """The probabilities of the chosen pairs; those on a wrong key get that of the played note belonging to the stroke.

    Which of a chord's notes another voicing's note stands for is nobody's to tell; that it is this chord is.
    """
    wrong = groups.wrong(where, match[where])
    if not wrong.any():
        return chance
    count = int(odds.played.max()) + 1
    stroke, played, total = _summed(groups.stroke[odds.planned], odds.played, marginals.pair, count)
    wanted = groups.stroke[where[wrong]] * count + match[where[wrong]]
    out = chance.copy()
    out[wrong] = total[np.searchsorted(stroke * count + played, wanted)]
    return out


def _firsts(values: IntArray) -> BoolArray:
    """Which entries are the first of their value."""
    out = np.zeros(values.size, bool)
    out[np.unique(values, return_index=True)[1]] = True
    return out
