"""The chain of running offsets against enumeration of every path, and sharing out against every matching."""

from itertools import product

import numpy as np
import pytest

from heeltap.analysis.align import forward_backward as forward_backward
from heeltap.analysis.align.assignment import Groups, Odds, choose_pairs, pair_marginals
from heeltap.analysis.align.delay_candidates import OffsetPrior
from heeltap.analysis.align.forward_backward import Transitions, log_likelihood, make_transitions, posteriors
from heeltap.analysis.align.player_model import PlayerModel


def _random_model(rng: np.random.Generator, strokes: int, offsets: int) -> tuple[Transitions, np.ndarray]:
    transitions = Transitions(rng.random(offsets), rng.random((2, offsets, offsets)), rng.integers(0, 2, strokes))
    return transitions, rng.random((strokes, offsets)) * 10.0 ** rng.integers(-3, 4, (strokes, 1))


def _all_paths(transitions: Transitions, emissions: np.ndarray) -> tuple[np.ndarray, float]:
    """Posterior of each stroke's offset and log of the sum over every path, by enumeration."""
    strokes, offsets = emissions.shape
    share = np.zeros_like(emissions)
    for path in product(range(offsets), repeat=strokes):
        weight = transitions.start[path[0]] * emissions[0, path[0]]
        for row in range(1, strokes):
            weight *= transitions.steps[transitions.pace[row], path[row - 1], path[row]] * emissions[row, path[row]]
        for row, offset in enumerate(path):
            share[row, offset] += weight
    return share / share.sum(axis=1, keepdims=True), float(np.log(share[0].sum()))


@pytest.mark.parametrize("block", [1, 2, 3, 512])
@pytest.mark.parametrize("strokes", [1, 2, 5, 6])
def test_forward_backward_equals_enumeration(strokes: int, block: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Posterior and evidence of small chains equal the sums over every path, however the strokes are cut into blocks."""
    monkeypatch.setattr(forward_backward, "BLOCK", block)
    rng = np.random.default_rng(3)
    for _ in range(5):
        transitions, emissions = _random_model(rng, strokes, 4)
        expected, total = _all_paths(transitions, emissions)
        posterior = np.full_like(emissions, np.nan)
        for first, end, rows in posteriors(
            strokes, lambda first, end, emissions=emissions: emissions[first:end], transitions
        ):
            posterior[first:end] = rows

        assert pytest.approx(expected, rel=1e-9) == posterior
        assert pytest.approx(total, rel=1e-9) == log_likelihood(
            strokes, lambda first, end, emissions=emissions: emissions[first:end], transitions
        )


def test_the_pull_home_is_weakest_at_home() -> None:
    """From anywhere the chain prefers offsets nearer home to those as far away on the other side."""
    grid = np.arange(-200.0, 201.0, 10.0)
    transitions = make_transitions(grid, OffsetPrior(0.0), np.array([250.0, 250.0]), PlayerModel())
    step = transitions.steps[transitions.pace[1]]
    at = int(np.flatnonzero(grid == 80.0)[0])

    assert 20 == int(np.argmax(transitions.start))
    assert step[at, at - 2] > step[at, at + 2]


def _all_matchings(weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Probability of each pair and each miss over every one-to-one matching, by enumeration."""
    planned, played = weight.shape
    pair, miss, total = np.zeros_like(weight), np.zeros(planned), 0.0
    for choice in product(range(-1, played), repeat=planned):
        used = [one for one in choice if one >= 0]
        if len(set(used)) < len(used):
            continue
        chance = float(np.prod([weight[row, one] for row, one in enumerate(choice) if one >= 0]))
        total += chance
        for row, one in enumerate(choice):
            if one >= 0:
                pair[row, one] += chance
            else:
                miss[row] += chance
    return pair / total, miss / total


def _odds(weight: np.ndarray) -> Odds:
    planned, played = np.nonzero(weight)
    return Odds(planned.astype(np.int64), played.astype(np.int64), weight[planned, played])


def test_shares_without_rings_equal_enumeration() -> None:
    """A ladder of pairs (each note competing with its neighbours) gets its exact probabilities."""
    weight = np.zeros((4, 5))
    for row in range(4):
        weight[row, row], weight[row, row + 1] = 3.0 + row, 0.5 * row + 0.2
    expected, expected_miss = _all_matchings(weight)

    odds = _odds(weight)
    found = pair_marginals(odds, 4, 5)

    assert pytest.approx(expected[odds.planned, odds.played], abs=1e-4) == found.pair
    assert pytest.approx(expected_miss, abs=1e-4) == found.miss


def test_shares_with_rings_come_near_enumeration() -> None:
    """Full tables of pairs, the worst case for message passing, stay within 0.1 of the exact probabilities."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        weight = np.exp(rng.normal(0, 2, (3, 3)))
        expected, _ = _all_matchings(weight)
        odds = _odds(weight)

        assert pytest.approx(expected[odds.planned, odds.played], abs=0.1) == pair_marginals(odds, 3, 3).pair


def test_a_note_wanted_twice_goes_to_the_likelier_place() -> None:
    """Two planned notes that only one played note could answer: the stronger pair gets it, the other is a miss."""
    odds = _odds(np.array([[2.0], [50.0]]))
    marginals = pair_marginals(odds, 2, 1)

    match, confidence = choose_pairs(
        odds, marginals, Groups(np.arange(2), np.arange(2), np.full(2, 60), np.array([60])), 1
    )

    assert [-1, 0] == match.tolist()
    assert pytest.approx([51 / 53, 50 / 53], abs=1e-4) == confidence.tolist()
