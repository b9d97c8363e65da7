"""Emission likelihoods of the aligner: how well each running offset explains each stroke.

The hidden state is the running offset, on one or more ranges of equal steps: one range around the usual offset, others
around offsets that the player may have leapt to. A likelihood is a ratio to the assumption that nobody planned the played
note, so a note that answers nothing costs nothing. Ours.

Inside: `OffsetRange`, `Pairs`, `PairPriors`, `make_pairs`, `NoteDensityTable` (notes about their stroke), `StrokeKernel`
(strokes about the running offset), `block_emissions`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.inputs import NoteSequence, nearest_gap_ms
from heeltap.analysis.align.player_model import (
    TAIL_MASS,
    PlayerModel,
    extra_key_shares,
    key_odds,
    loudness_odds,
    note_rate,
    retrigger_weights,
)
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = [
    "STEP_MS",
    "NoteDensityTable",
    "OffsetRange",
    "PairPriors",
    "Pairs",
    "StrokeKernel",
    "block_emissions",
    "grid_ms",
    "make_pair_priors",
    "make_pairs",
    "stroke_sigma",
]

STEP_MS = 10
"""Distance of neighbouring offsets."""

_SIGMA_RATIO = 1.12
"""Neighbouring scales in the table of densities: 12 % apart, so a density is at most 6 % off its own scale."""

_STRAY, _STRAY_SIGMAS = 0.02, 9.0
"""Share of the strokes at slow pulses that fall anywhere within so many scales, about half the gap: of 17,356 published taps
(Baath & Madison 2012) 1 in 150 lay beyond 5 scales, with no other stroke near that they could have been meant for."""

_REACH_SIGMAS = 5.0
"""A note farther than this from every offset of a stretch says nothing about it."""


@dataclass(frozen=True, slots=True, eq=False)
class OffsetRange:
    """Offsets ``first_ms, first_ms + STEP_MS, ...``."""

    first_ms: int
    """A multiple of `STEP_MS`."""
    count: int
    """Number of offsets."""
    free: BoolArray | None = None
    """Played notes that may belong to these offsets, shape (m,); None: all."""
    home_ms: float = 0.0
    """Where ``reach_ms`` counts from."""
    reach_ms: FloatArray | None = None
    """How far from home a played note may answer each planned one, shape (n,); None: as far as the offsets go."""

    @property
    def last_ms(self) -> int:
        """The largest offset."""
        return self.first_ms + STEP_MS * (self.count - 1)


def grid_ms(ranges: tuple[OffsetRange, ...]) -> FloatArray:
    """All offsets of a grid, milliseconds.

    Parameters
    ----------
    ranges : tuple of OffsetRange
        In increasing order.

    Returns
    -------
    float64, shape (offsets,)
        Milliseconds.
    """
    return np.concatenate([one.first_ms + STEP_MS * np.arange(one.count, dtype=np.float64) for one in ranges])


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


def stroke_sigma(plan: NoteSequence, first: IntArray, player: PlayerModel) -> FloatArray:
    """Scale of the residuals of each stroke, ms: grows with the gap to the next one.

    Parameters
    ----------
    plan : NoteSequence
        The part.
    first : int64, shape (strokes,)
        First note of each stroke.
    player : PlayerModel
        Scales.

    Returns
    -------
    float64, shape (strokes,)
        Milliseconds.

    Notes
    -----
    Ours.
    """
    gap = np.diff(plan.at_ms[first], append=np.inf)
    most = np.clip(player.sigma_share * nearest_gap_ms(plan, first), player.sigma_most_ms, player.sigma_slow_ms)
    return np.clip(player.sigma_share * gap, player.sigma_ms, most)


def huber_density(residual_ms: FloatArray, sigma_ms: float) -> FloatArray:
    """Density of residuals per ms: normal to 1.5 sigma, exponential beyond, nothing beyond 5.

    Parameters
    ----------
    residual_ms : float64, any shape
        Milliseconds.
    sigma_ms : float
        Scale, ms.

    Returns
    -------
    float64, shaped like residual_ms
        Per millisecond.

    Notes
    -----
    Huber's least favourable density (Huber 1964, Ann. Math. Stat. 35, from memory), cut off at 5 sigma.
    """
    size = np.abs(residual_ms) / sigma_ms
    cost = np.where(size < 1.5, 0.5 * size**2, 1.5 * size - 1.125)
    out: FloatArray = np.where(size < _REACH_SIGMAS, np.exp(-cost), 0.0) / (TAIL_MASS * sigma_ms)
    return out


class StrokeKernel:
    """How far single strokes fall from the running offset: one matrix over the grid for each scale that occurs."""

    def __init__(self, sigma_ms: FloatArray, slow: BoolArray, grid: FloatArray) -> None:
        """Matrices for scales from the least to the greatest of ``sigma_ms``; ``slow`` strokes may stray. Both per stroke."""
        low = float(sigma_ms.min())
        count = 1 + round(np.log(float(sigma_ms.max()) / low) / np.log(_SIGMA_RATIO))
        distance = grid[:, None] - grid[None, :]
        self.matrices = [STEP_MS * huber_density(distance, low * _SIGMA_RATIO**row) for row in range(count)]
        index = np.round(np.log(sigma_ms / low) / np.log(_SIGMA_RATIO))
        self.scale = np.clip(index, 0, count - 1).astype(np.int64)
        if slow.any():
            self.scale += count * slow
            self.matrices += [self._straying(distance, low * _SIGMA_RATIO**row) for row in range(count)]

    @staticmethod
    def _straying(distance: FloatArray, sigma_ms: float) -> FloatArray:
        """The matrix of a scale for strokes that may, seldom, fall anywhere up to the half of the gap."""
        reach_ms = _STRAY_SIGMAS * sigma_ms
        flat = (np.abs(distance) < reach_ms) / (2.0 * reach_ms)
        return np.asarray(STEP_MS * ((1 - _STRAY) * huber_density(distance, sigma_ms) + _STRAY * flat))

    def blur(self, rows: FloatArray, begin: int) -> FloatArray:
        """Rows over the grid, one a stroke from ``begin`` on, each blurred by its stroke's own matrix.

        Parameters
        ----------
        rows : float64, shape (strokes, offsets)
            Likelihoods.
        begin : int
            Index of the first stroke.

        Returns
        -------
        float64, shape (strokes, offsets)
            Likelihoods of the running offset.
        """
        scale = self.scale[begin : begin + rows.shape[0]]
        out = np.empty_like(rows)
        for one in np.unique(scale):
            chosen = scale == one
            out[chosen] = rows[chosen] @ self.matrices[one]
        return out


class NoteDensityTable:
    """Table of hit densities of a note about its stroke: one row for each millisecond within a step.

    ``table[row]`` holds the density of a residual at every multiple of `STEP_MS` plus the row's millisecond, from far
    early to far late with room for the longest stretch: so the densities of one note at all offsets are one slice.
    """

    def __init__(self, player: PlayerModel, longest: int) -> None:
        """Build the table for stretches of up to ``longest`` offsets."""
        self.reach_ms = max(_REACH_SIGMAS * player.note_ms, player.loose_reach_ms)
        self.half = int(np.ceil(self.reach_ms / STEP_MS)) + 1
        self.width = longest
        steps = np.arange(-self.half - longest, self.half + longest + 1)
        residual = (STEP_MS * steps[None, :] + np.arange(STEP_MS)[:, None]).astype(np.float64)
        density = huber_density(residual, player.note_ms)
        if player.loose > 0:
            flat = (np.abs(residual) <= player.loose_reach_ms) / (2 * player.loose_reach_ms)
            density = (1 - player.loose) * density + player.loose * flat
        # The slice runs over growing offsets, so residuals must fall along a row.
        self.table = np.concatenate([density[:, ::-1], np.ones((1, density.shape[1]))])
        self.miss_row = STEP_MS

    def slices(self, distance_ms: FloatArray, first_ms: int) -> tuple[IntArray, IntArray]:
        """Row and start of the slice for notes played ``distance_ms`` after the plan, in a stretch from ``first_ms``.

        Parameters
        ----------
        distance_ms : float64, shape (pairs,)
            Played minus planned, ms.
        first_ms : int
            First offset of the range, ms.

        Returns
        -------
        row, start : int64, shape (pairs,)
            Where each note's densities begin in the table.
        """
        whole = np.round(distance_ms - first_ms).astype(np.int64)
        step, within = whole // STEP_MS, whole % STEP_MS
        # Residual at offset s is 10 (step - s) + within; entry m of a falling row has 10 (half + width - m) + within.
        return within, np.clip(self.half + self.width - step, 0, 2 * self.half + self.width + 1)

    def likelihood_ratios(self, pairs: Pairs, count: int) -> FloatArray:
        """Likelihood ratio of each pair at each of ``count`` offsets, shape (pairs, count).

        Parameters
        ----------
        pairs : Pairs
            Pairs of one range of offsets.
        count : int
            Offsets in that range.

        Returns
        -------
        float64, shape (pairs, count)
            Against a played note that nobody planned.
        """
        windows = np.lib.stride_tricks.sliding_window_view(self.table, count, axis=1)
        out: FloatArray = windows[pairs.row, pairs.start]
        out *= pairs.weight[:, None]
        return out


@dataclass(frozen=True, slots=True, eq=False)
class PairPriors:
    """What the pairs of a plan and a take are weighed by."""

    plan: NoteSequence
    take: NoteSequence
    player: PlayerModel
    worth: FloatArray
    """Of each played note: its weight as an answer against a miss and a stray, its key and time left out."""
    key_share: FloatArray
    """Share of each key among unplanned notes."""


def make_pair_priors(plan: NoteSequence, take: NoteSequence, player: PlayerModel) -> PairPriors:
    """The weights of a plan and a take.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    player : PlayerModel
        Rates of mistakes.

    Returns
    -------
    PairPriors
        Weights of the played notes and keys.
    """
    worth = (
        (1 - player.missing) / (player.extra * note_rate(plan)) * retrigger_weights(take, player) * loudness_odds(take)
    )
    return PairPriors(plan, take, player, worth, extra_key_shares(take))


def make_pairs(priors: PairPriors, note_density: NoteDensityTable, offsets: OffsetRange, begin: int, end: int) -> Pairs:
    """Every pair of planned notes ``begin`` to ``end`` in reach of the stretch, a miss before each note's own pairs.

    Parameters
    ----------
    priors : PairPriors
        Weights.
    note_density : NoteDensityTable
        Table that says how far a note may fall.
    offsets : OffsetRange
        Running offsets looked at.
    begin, end : int
        First and last-plus-one planned note.

    Returns
    -------
    Pairs
        Grouped by planned note.
    """
    plan, take = priors.plan, priors.take
    at_ms = plan.at_ms[begin:end]
    low = np.searchsorted(take.at_ms, at_ms + offsets.first_ms - note_density.reach_ms)
    high = np.searchsorted(take.at_ms, at_ms + offsets.last_ms + note_density.reach_ms, side="right")
    many = np.maximum(high - low, 0) + 1
    nth = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
    planned = np.repeat(np.arange(begin, end), many)
    played = np.where(nth == 0, -1, np.repeat(low, many) + nth - 1)
    hit = np.flatnonzero(nth)
    weight = np.full(planned.size, priors.player.missing)
    keys = plan.pitch[planned[hit]], take.pitch[played[hit]]
    weight[hit] = priors.worth[played[hit]] * key_odds(priors.key_share, *keys, priors.player)
    if offsets.free is not None:
        weight[hit] *= offsets.free[played[hit]]
    distance_ms = take.at_ms[played[hit]] - plan.at_ms[planned[hit]]
    if offsets.reach_ms is not None:
        weight[hit] *= np.abs(distance_ms - offsets.home_ms) <= offsets.reach_ms[planned[hit]]
    row = np.full(planned.size, note_density.miss_row)
    start = np.zeros(planned.size, np.int64)
    row[hit], start[hit] = note_density.slices(distance_ms, offsets.first_ms)
    return Pairs(planned, played, weight, row, start)


def block_emissions(
    note_density: NoteDensityTable, pairs: Pairs, firsts: IntArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Likelihood ratios of a block: of each note, shape (notes, count), and of each stroke, shape (strokes, count).

    ``firsts`` is the first note of each stroke, counted from the block's first. The offsets are those of the strokes
    themselves, not the running ones.

    Parameters
    ----------
    note_density : NoteDensityTable
        Densities about the stroke.
    pairs : Pairs
        Of one block and one range.
    firsts : int64, shape (strokes,)
        First note of each stroke in the block.
    count : int
        Offsets in the range.

    Returns
    -------
    notes : float64, shape (notes, count)
        Of each planned note.
    strokes : float64, shape (strokes, count)
        Product over the notes of each stroke.
    """
    hits = note_density.likelihood_ratios(pairs, count)
    per_note: FloatArray = np.add.reduceat(hits, np.flatnonzero(pairs.played < 0), axis=0)
    return per_note, np.multiply.reduceat(per_note, firsts, axis=0)
