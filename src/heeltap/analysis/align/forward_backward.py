"""Forward-backward over the running offset: its transitions from stroke to stroke and its posterior given all strokes.

Source: Rabiner (1989), Proc. IEEE 77, section III (from memory); the checkpoints between blocks are ours.

Inside: `Transitions`, `make_transitions`, `log_likelihood` (forward pass only), `posteriors` (both passes, in blocks).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.delay_candidates import OffsetPrior
from heeltap.analysis.align.player_model import PlayerModel
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["BLOCK", "Emissions", "Transitions", "log_likelihood", "make_transitions", "posteriors"]

BLOCK = 512
"""Strokes worked on at a time: what is kept between blocks is one row, so memory does not grow with the grid."""

_PACES = (0.5, 1.0, 1.5, 2.2)
"""Sizes of a step relative to that of strokes a quarter of a second apart; it grows with the root of the gap."""

Emissions = Callable[[int, int], FloatArray]
"""Likelihoods of the strokes from one index up to another, shape (strokes, offsets)."""


@dataclass(frozen=True, slots=True, eq=False)
class Transitions:
    """Transition probabilities of the running offset."""

    start: FloatArray
    """Weight of each offset at the first stroke."""
    steps: FloatArray
    """Transition weights, shape (paces, from, to); the pull home is in them."""
    pace: IntArray
    """Which of them leads to each stroke (the first entry is not used)."""


def make_transitions(grid: FloatArray, prior: OffsetPrior, gap_ms: FloatArray, player: PlayerModel) -> Transitions:
    """Transitions over the grid for a player who belongs in some places; ``gap_ms`` is the time to each stroke.

    Parameters
    ----------
    grid : float64, shape (offsets,)
        Running offsets, ms.
    prior : OffsetPrior
        Where the player belongs.
    gap_ms : float64, shape (strokes,)
        Time from the stroke before, ms.
    player : PlayerModel
        Wander, stumbles and leaps.

    Returns
    -------
    Transitions
        One matrix a pace.

    Notes
    -----
    Ours.
    """
    pull = np.exp(-prior.cost(grid, player))
    leap = np.where(np.abs(grid - prior.home_ms) > 3 * player.home_ms, player.leap_away, player.leap)
    distance = grid[None, :] - grid[:, None]
    steps = np.empty((len(_PACES), grid.size, grid.size))
    for row, pace in enumerate(_PACES):
        scale = player.wander_ms * pace
        walk = np.exp(-0.5 * (distance / scale) ** 2)
        stumble = np.exp(-np.abs(distance) / player.stumble_ms)
        mixed = (1 - player.stumble) * walk / walk.sum(axis=1, keepdims=True)
        mixed += player.stumble * stumble / stumble.sum(axis=1, keepdims=True)
        steps[row] = ((1 - leap[:, None]) * mixed + leap[:, None] / grid.size) * pull
    wanted = np.sqrt(np.maximum(gap_ms, 1.0) / 250.0)
    pace = np.argmin(np.abs(np.log(wanted)[:, None] - np.log(np.array(_PACES))), axis=1)
    return Transitions(pull / pull.sum(), steps, pace.astype(np.int64))


def _blocks(strokes: int) -> Iterator[tuple[int, int]]:
    """First and last-plus-one stroke of each block."""
    return ((first, min(first + BLOCK, strokes)) for first in range(0, strokes, BLOCK))


def _forward(
    emissions: FloatArray, transitions: Transitions, first: int, before: FloatArray | None
) -> tuple[FloatArray, float]:
    """Filtered weights of one block, each row summing to 1, and the logarithm of their joint likelihood."""
    peak = emissions.max(axis=1)
    scaled = emissions / peak[:, None]
    rows = np.empty_like(scaled)
    steps, pace = transitions.steps, transitions.pace
    sums = np.empty(emissions.shape[0])
    weight = before
    for row in range(emissions.shape[0]):
        prior = transitions.start if weight is None else np.dot(weight, steps[pace[first + row]])
        weight = np.multiply(prior, scaled[row], out=rows[row])
        total = weight.sum()
        sums[row] = total
        weight /= total
    return rows, float(np.sum(np.log(sums)) + np.sum(np.log(peak)))


def log_likelihood(strokes: int, emissions: Emissions, transitions: Transitions) -> float:
    """Logarithm of the likelihood of the whole take, up to a term that does not depend on the transitions.

    Parameters
    ----------
    strokes : int
        Strokes of the plan.
    emissions : callable
        Likelihoods of the strokes of a block.
    transitions : Transitions
        Of the running offset.

    Returns
    -------
    float
        Nats.
    """
    total, last = 0.0, None
    for first, end in _blocks(strokes):
        rows, gained = _forward(emissions(first, end), transitions, first, last)
        last = rows[-1].copy()
        total += gained
    return total


def posteriors(strokes: int, emissions: Emissions, transitions: Transitions) -> Iterator[tuple[int, int, FloatArray]]:
    """The posterior of the offset at every stroke, block by block from the end: first, end, shape (strokes, offsets).

    The forward pass keeps one row a block and is run again inside each block on the way back: half as much work
    again, and memory that does not grow with the take.

    Parameters
    ----------
    strokes : int
        Strokes of the plan.
    emissions : callable
        Likelihoods of the strokes of a block.
    transitions : Transitions
        Of the running offset.

    Returns
    -------
    iterator of (first, end, float64 of shape (strokes, offsets))
        Each row sums to 1.
    """
    spans = list(_blocks(strokes))
    before: list[FloatArray | None] = [None]
    for first, end in spans[:-1]:
        rows, _ = _forward(emissions(first, end), transitions, first, before[-1])
        before.append(rows[-1].copy())
    later: FloatArray | None = None
    for (first, end), prior in zip(reversed(spans), reversed(before), strict=True):
        likelihood = emissions(first, end)
        rows, _ = _forward(likelihood, transitions, first, prior)
        backward, later = _backward(likelihood, transitions, first, later)
        rows *= backward
        rows /= rows.sum(axis=1, keepdims=True)
        yield first, end, rows


def _backward(
    emissions: FloatArray, transitions: Transitions, first: int, later: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """What the strokes after each one of a block say about its offset, and the same for the stroke before the block."""
    scaled = emissions / emissions.max(axis=1)[:, None]
    rows = np.empty_like(scaled)
    steps, pace = transitions.steps, transitions.pace
    message = np.ones(emissions.shape[1]) if later is None else later
    for row in range(emissions.shape[0] - 1, -1, -1):
        rows[row] = message
        message = np.dot(steps[pace[first + row]], message * scaled[row])
        message /= message.sum()
    return rows, message
