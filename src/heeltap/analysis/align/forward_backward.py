"""The chain of running offsets: how it moves from stroke to stroke, and what all strokes together say about it.

Inside: `Moves` (transition matrices), `make_moves`, `evidence` (forward only), `smooth` (forward and backward in
blocks).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.delay_candidates import Places
from heeltap.analysis.align.player_model import Habits
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["BLOCK", "Fit", "Moves", "evidence", "make_moves", "smooth"]

BLOCK = 512
"""Strokes worked on at a time: what is kept between blocks is one row, so memory does not grow with the grid."""

_PACES = (0.5, 1.0, 1.5, 2.2)
"""Sizes of a step relative to that of strokes a quarter of a second apart; it grows with the root of the gap."""

Fit = Callable[[int, int], FloatArray]
"""Likelihoods of the strokes from one index up to another, shape (strokes, offsets)."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """How the running offset moves."""

    start: FloatArray
    """Weight of each offset at the first stroke."""
    steps: FloatArray
    """Transition weights, shape (paces, from, to); the pull home is in them."""
    pace: IntArray
    """Which of them leads to each stroke (the first entry is not used)."""


def make_moves(grid: FloatArray, places: Places, gap_ms: FloatArray, habits: Habits) -> Moves:
    """Transitions over the grid for a player who belongs in some places; ``gap_ms`` is the time to each stroke."""
    pull = np.exp(-places.cost(grid, habits))
    leap = np.where(np.abs(grid - places.home_ms) > 3 * habits.home_ms, habits.leap_away, habits.leap)
    distance = grid[None, :] - grid[:, None]
    steps = np.empty((len(_PACES), grid.size, grid.size))
    for row, pace in enumerate(_PACES):
        scale = habits.wander_ms * pace
        walk = np.exp(-0.5 * (distance / scale) ** 2)
        stumble = np.exp(-np.abs(distance) / habits.stumble_ms)
        mixed = (1 - habits.stumble) * walk / walk.sum(axis=1, keepdims=True)
        mixed += habits.stumble * stumble / stumble.sum(axis=1, keepdims=True)
        steps[row] = ((1 - leap[:, None]) * mixed + leap[:, None] / grid.size) * pull
    wanted = np.sqrt(np.maximum(gap_ms, 1.0) / 250.0)
    pace = np.argmin(np.abs(np.log(wanted)[:, None] - np.log(np.array(_PACES))), axis=1)
    return Moves(pull / pull.sum(), steps, pace.astype(np.int64))


def _blocks(strokes: int) -> Iterator[tuple[int, int]]:
    """First and last-plus-one stroke of each block."""
    return ((first, min(first + BLOCK, strokes)) for first in range(0, strokes, BLOCK))


def _forward(fit: FloatArray, moves: Moves, first: int, before: FloatArray | None) -> tuple[FloatArray, float]:
    """Filtered weights of one block, each row summing to 1, and the logarithm of their joint likelihood."""
    peak = fit.max(axis=1)
    scaled = fit / peak[:, None]
    rows = np.empty_like(scaled)
    steps, pace = moves.steps, moves.pace
    sums = np.empty(fit.shape[0])
    weight = before
    for row in range(fit.shape[0]):
        prior = moves.start if weight is None else np.dot(weight, steps[pace[first + row]])
        weight = np.multiply(prior, scaled[row], out=rows[row])
        total = weight.sum()
        sums[row] = total
        weight /= total
    return rows, float(np.sum(np.log(sums)) + np.sum(np.log(peak)))


def evidence(strokes: int, fit: Fit, moves: Moves) -> float:
    """Logarithm of the likelihood of the whole take, up to what does not depend on the moves."""
    total, last = 0.0, None
    for first, end in _blocks(strokes):
        rows, gained = _forward(fit(first, end), moves, first, last)
        last = rows[-1].copy()
        total += gained
    return total


def smooth(strokes: int, fit: Fit, moves: Moves) -> Iterator[tuple[int, int, FloatArray]]:
    """The posterior of the offset at every stroke, block by block from the end: first, end, shape (strokes, offsets).

    The forward pass keeps one row a block and is run again inside each block on the way back: half as much work
    again, and memory that does not grow with the take.
    """
    spans = list(_blocks(strokes))
    before: list[FloatArray | None] = [None]
    for first, end in spans[:-1]:
        rows, _ = _forward(fit(first, end), moves, first, before[-1])
        before.append(rows[-1].copy())
    later: FloatArray | None = None
    for (first, end), prior in zip(reversed(spans), reversed(before), strict=True):
        likelihood = fit(first, end)
        rows, _ = _forward(likelihood, moves, first, prior)
        backward, later = _backward(likelihood, moves, first, later)
        rows *= backward
        rows /= rows.sum(axis=1, keepdims=True)
        yield first, end, rows


def _backward(fit: FloatArray, moves: Moves, first: int, later: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    """What the strokes after each one of a block say about its offset, and the same for the stroke before the block."""
    scaled = fit / fit.max(axis=1)[:, None]
    rows = np.empty_like(scaled)
    steps, pace = moves.steps, moves.pace
    message = np.ones(fit.shape[1]) if later is None else later
    for row in range(fit.shape[0] - 1, -1, -1):
        rows[row] = message
        message = np.dot(steps[pace[first + row]], message * scaled[row])
        message /= message.sum()
    return rows, message
