"""The grid of running offsets, and how well each offset explains each stroke.

A grid is one or more stretches of offsets in equal steps: one around home, others where a player may have leapt to. The
likelihoods are ratios to the assumption that every played note is unplanned, so notes that answer nothing cost nothing.

Inside: `Stretch`, `Pairs`, `make_pairs`, `Lens` (notes about their stroke), `Sway` (strokes about the running offset),
`block_fit`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.core.align_habits import TAIL_MASS, Habits, bounces, key_odds, note_rate
from heeltap.core.align_inputs import Line
from heeltap.core.arrays import FloatArray, IntArray

__all__ = ["STEP_MS", "Lens", "Pairs", "Stretch", "Sway", "block_fit", "grid_ms", "make_pairs", "stroke_sigma"]

STEP_MS = 10
"""Distance of neighbouring offsets."""

_SIGMA_RATIO = 1.12
"""Neighbouring scales in the table of densities: 12 % apart, so a density is at most 6 % off its own scale."""

_REACH_SIGMAS = 5.0
"""A note farther than this from every offset of a stretch says nothing about it."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Offsets ``first_ms, first_ms + STEP_MS, ...``."""

    first_ms: int
    """A multiple of `STEP_MS`."""
    count: int
    """Number of offsets."""

    @property
    def last_ms(self) -> int:
        """The largest offset."""
        return self.first_ms + STEP_MS * (self.count - 1)


def grid_ms(stretches: tuple[Stretch, ...]) -> FloatArray:
    """All offsets of a grid, milliseconds."""
    return np.concatenate([one.first_ms + STEP_MS * np.arange(one.count, dtype=np.float64) for one in stretches])


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Planned and played notes that could belong together, by planned note; played -1 stands for a miss."""

    planned: IntArray
    played: IntArray
    weight: FloatArray
    """Likelihood ratio without its dependence on time."""
    row: IntArray
    """Row of the lens's table."""
    start: IntArray
    """Where the stretch begins in that row."""


def stroke_sigma(plan: Line, first: IntArray, habits: Habits) -> FloatArray:
    """Scale of the residuals of each stroke, ms: grows with the gap to the next one."""
    gap = np.diff(plan.at_ms[first], append=np.inf)
    return np.clip(habits.sigma_share * gap, habits.sigma_ms, habits.sigma_most_ms)


def hump(residual_ms: FloatArray, sigma_ms: float) -> FloatArray:
    """Density of residuals per ms: normal to 1.5 sigma, exponential beyond, nothing beyond 5."""
    size = np.abs(residual_ms) / sigma_ms
    cost = np.where(size < 1.5, 0.5 * size**2, 1.5 * size - 1.125)
    out: FloatArray = np.where(size < _REACH_SIGMAS, np.exp(-cost), 0.0) / (TAIL_MASS * sigma_ms)
    return out


class Sway:
    """How far single strokes fall from the running offset: one matrix over the grid for each scale that occurs."""

    def __init__(self, sigma_ms: FloatArray, grid: FloatArray) -> None:
        """Matrices for scales from the least to the greatest of ``sigma_ms``, given per stroke."""
        low = float(sigma_ms.min())
        count = 1 + round(np.log(float(sigma_ms.max()) / low) / np.log(_SIGMA_RATIO))
        distance = grid[:, None] - grid[None, :]
        self.matrices = [STEP_MS * hump(distance, low * _SIGMA_RATIO**row) for row in range(count)]
        index = np.round(np.log(sigma_ms / low) / np.log(_SIGMA_RATIO))
        self.scale = np.clip(index, 0, count - 1).astype(np.int64)

    def spread(self, rows: FloatArray, begin: int) -> FloatArray:
        """Rows over the grid, one a stroke from ``begin`` on, each blurred by its stroke's own matrix."""
        scale = self.scale[begin : begin + rows.shape[0]]
        out = np.empty_like(rows)
        for one in np.unique(scale):
            chosen = scale == one
            out[chosen] = rows[chosen] @ self.matrices[one]
        return out


class Lens:
    """Table of hit densities of a note about its stroke: one row for each millisecond within a step.

    ``table[row]`` holds the density of a residual at every multiple of `STEP_MS` plus the row's millisecond, from far
    early to far late with room for the longest stretch: so the densities of one note at all offsets are one slice.
    """

    def __init__(self, habits: Habits, longest: int) -> None:
        """Build the table for stretches of up to ``longest`` offsets."""
        self.reach_ms = max(_REACH_SIGMAS * habits.note_ms, habits.loose_reach_ms)
        self.half = int(np.ceil(self.reach_ms / STEP_MS)) + 1
        self.width = longest
        steps = np.arange(-self.half - longest, self.half + longest + 1)
        residual = (STEP_MS * steps[None, :] + np.arange(STEP_MS)[:, None]).astype(np.float64)
        density = hump(residual, habits.note_ms)
        if habits.loose > 0:
            flat = (np.abs(residual) <= habits.loose_reach_ms) / (2 * habits.loose_reach_ms)
            density = (1 - habits.loose) * density + habits.loose * flat
        # The slice runs over growing offsets, so residuals must fall along a row.
        self.table = np.concatenate([density[:, ::-1], np.ones((1, density.shape[1]))])
        self.miss_row = STEP_MS

    def slots(self, distance_ms: FloatArray, first_ms: int) -> tuple[IntArray, IntArray]:
        """Row and start of the slice for notes played ``distance_ms`` after the plan, in a stretch from ``first_ms``."""
        whole = np.round(distance_ms - first_ms).astype(np.int64)
        step, within = whole // STEP_MS, whole % STEP_MS
        # Residual at offset s is 10 (step - s) + within; entry m of a falling row has 10 (half + width - m) + within.
        return within, np.clip(self.half + self.width - step, 0, 2 * self.half + self.width + 1)

    def densities(self, pairs: Pairs, rows: slice, count: int) -> FloatArray:
        """Likelihood ratio of each pair at each of ``count`` offsets, shape (pairs, count)."""
        windows = np.lib.stride_tricks.sliding_window_view(self.table, count, axis=1)
        out: FloatArray = windows[pairs.row[rows], pairs.start[rows]]
        out *= pairs.weight[rows, None]
        return out


def make_pairs(plan: Line, take: Line, lens: Lens, stretch: Stretch, habits: Habits) -> Pairs:
    """Every pair within reach of the stretch, and a miss before each planned note's own pairs."""
    low = np.searchsorted(take.at_ms, plan.at_ms + stretch.first_ms - lens.reach_ms)
    high = np.searchsorted(take.at_ms, plan.at_ms + stretch.last_ms + lens.reach_ms, side="right")
    many = np.maximum(high - low, 0) + 1
    planned = np.repeat(np.arange(len(plan)), many)
    nth = np.arange(planned.size) - np.repeat(np.cumsum(many) - many, many)
    miss = nth == 0
    played = np.where(miss, -1, low[planned] + nth - 1)
    hit = np.flatnonzero(~miss)
    weight = np.full(planned.size, habits.missing)
    stray = habits.extra * note_rate(plan)
    odds = key_odds(take, plan.pitch[planned[hit]], take.pitch[played[hit]], habits)
    weight[hit] = (1 - habits.missing) / stray * odds * bounces(take, habits)[played[hit]]
    row = np.full(planned.size, lens.miss_row)
    start = np.zeros(planned.size, np.int64)
    distance = take.at_ms[played[hit]] - plan.at_ms[planned[hit]]
    row[hit], start[hit] = lens.slots(distance, stretch.first_ms)
    return Pairs(planned, played, weight, row, start)


def block_fit(
    lens: Lens, pairs: Pairs, rows: slice, first_note: int, firsts: IntArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Likelihood ratios of a block: of each note, shape (notes, count), and of each stroke, shape (strokes, count).

    ``rows`` are the block's pairs, ``first_note`` its first planned note, ``firsts`` the first note of each of its
    strokes. The offsets are those of the strokes themselves, not the running ones.
    """
    hits = lens.densities(pairs, rows, count)
    per_note: FloatArray = np.add.reduceat(hits, np.flatnonzero(pairs.played[rows] < 0), axis=0)
    return per_note, np.multiply.reduceat(per_note, firsts - first_note, axis=0)
