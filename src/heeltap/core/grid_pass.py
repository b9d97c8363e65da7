"""One reading of a take: for every pulse the probability of each division and local offset, for every stroke of each slot.

The state of a pulse is (division, local offset). The offset walks from pulse to pulse, mostly by little, now and then by
much, and is drawn home weakly; the division stays or changes. Forward-backward over the pulses gives the probability of
every state, and those of the slots of each stroke follow; the slot with the most probability is the one reported, because
that is the reading with the fewest wrong slots to be expected.

Inside: `Setting`, `Reading`, `read_take`, `Decoded`, `decode`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.core.arrays import FloatArray, IntArray
from heeltap.core.grid_model import Costs, Divisions, cost_tables

__all__ = ["Decoded", "Reading", "Setting", "decode", "read_take"]


@dataclass(frozen=True, slots=True)
class Setting:
    """What a reading takes for granted."""

    sigma: float
    """Spread of the strokes about the local offset, in pulses."""
    home: float
    """The take's own usual offset, in pulses."""
    step: float
    """Distance between offsets told apart, in pulses."""
    reach: int
    """Largest offset, in steps."""
    walk: float
    """Scale of the offset's step from pulse to pulse, in pulses."""
    leap: float
    """Scale of the rarer, wider step."""
    roam: float
    """Spread of the offset about home in the long run, in pulses."""
    rush: float
    """Usual step of a run ahead, in pulses a pulse."""
    margin: float
    """A pulse's window opens so far before it, in pulses."""
    change: float = 0.18
    """Probability that the division changes from one pulse to the next."""


@dataclass(frozen=True, eq=False)
class Reading:
    """Probabilities of every state, and what is needed to look strokes up in them."""

    gamma: FloatArray
    """Probability of each state, shape (pulses, offsets, divisions)."""
    log_likelihood: float
    """Of the take, natural log, up to a constant that depends on the strokes only."""
    window: IntArray
    """Pulse whose window holds each stroke under each offset, shape (offsets, strokes)."""
    bin: IntArray
    """Place of each stroke in its pulse under each offset, in bins of the tables, shape (offsets, strokes)."""
    costs: Costs
    divisions: Divisions
    offsets: FloatArray
    """The offsets told apart, in pulses."""


def read_take(place: FloatArray, share: FloatArray, divisions: Divisions, setting: Setting) -> Reading:
    """Read strokes at these places (pulses from the first row, increasing).

    ``share`` is the probability of each division in each pulse before anything is heard, shape (pulses, divisions).
    """
    pulses = share.shape[0]
    steps = round(1.0 / setting.step)
    bins = 2 * steps
    reach = np.arange(-setting.reach, setting.reach + 1)
    offsets = reach / steps
    costs = cost_tables(divisions, bins, setting.margin, setting.sigma)
    shifted = np.round(place * bins).astype(np.int64)[None] - 2 * reach[:, None]
    lead = int(np.ceil(setting.margin * bins - 1e-9))
    window = np.clip((shifted + lead) // bins, 0, pulses - 1)
    place_bin = shifted % bins
    cost = _emissions(window, place_bin, costs, pulses)
    gamma, evidence = _forward_backward(cost, share, offsets, setting)
    return Reading(gamma, evidence, window, place_bin, costs, divisions, offsets)


def _emissions(window: IntArray, place_bin: IntArray, costs: Costs, pulses: int) -> FloatArray:
    """Cost of each state in each pulse, shape (pulses, offsets, divisions)."""
    count = window.shape[0]
    key = (window + np.arange(count)[:, None] * pulses).ravel()
    start = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    flat = place_bin.ravel()
    stroke = np.add.reduceat(costs.stroke[flat], start, axis=0)
    mask = np.bitwise_or.reduceat(costs.bit[flat], start, axis=0)
    rows = costs.stroke.shape[1]
    cost = np.tile(costs.struck[0], (count * pulses, 1))
    cost[key[start]] = stroke + costs.struck[mask, np.arange(rows)]
    return np.ascontiguousarray(cost.reshape(count, pulses, rows).transpose(1, 0, 2))


def _walk(offsets: FloatArray, setting: Setting) -> FloatArray:
    """Probability of each next (mood, offset) given this one, shape (2 k, 2 k), rows sum to one; steady first, then running."""
    pull = min((setting.walk / setting.roam) ** 2, 0.5)
    near = _laplace(offsets, offsets + pull * (setting.home - offsets), setting.walk)
    wide = _laplace(offsets, offsets, setting.leap) * _homely(offsets, setting)[None]
    wide /= wide.sum(1, keepdims=True)
    run = _laplace(offsets, offsets - setting.rush, 0.5 * setting.rush)
    steady = 0.93 * near + 0.07 * wide
    back = 0.5 * near + 0.5 * wide
    return np.block(
        [[(1 - _SET_OFF) * steady, _SET_OFF * run], [(1 - _KEEP_ON) * back, _KEEP_ON * run]]
    )


_SET_OFF, _KEEP_ON = 0.03, 0.75
"""Probability that a run begins with a pulse, and that it goes on: runs of 4 pulses, the last bar before a section, are usual."""


def _laplace(offsets: FloatArray, centre: FloatArray, scale: float) -> FloatArray:
    table = np.exp(-np.abs(offsets[None] - centre[:, None]) / scale)
    return np.asarray(table / table.sum(1, keepdims=True))


def _homely(offsets: FloatArray, setting: Setting) -> FloatArray:
    """Weight of each offset by its distance from home."""
    return np.asarray(np.exp(-0.5 * ((offsets - setting.home) / setting.roam) ** 2))


def _forward_backward(
    cost: FloatArray, share: FloatArray, offsets: FloatArray, setting: Setting
) -> tuple[FloatArray, float]:
    """Probability of every state, and the log likelihood."""
    pulses, count = cost.shape[:2]
    least = cost.min((1, 2))
    once = np.exp(least[:, None, None] - cost)
    likely = np.concatenate([once, once], axis=1)
    walk = _walk(offsets, setting)
    shares = share * setting.change
    stay = 1.0 - setting.change
    home = _homely(offsets, setting) / _homely(offsets, setting).sum()
    start = np.concatenate([(1 - _SET_OFF) * home, _SET_OFF * home])
    now = start[:, None] * share[0][None] * likely[0]
    ahead = np.empty_like(likely)
    scale = np.empty(pulses)
    across = np.ascontiguousarray(walk.T)
    for i in range(pulses):
        if i:
            moved = across @ now
            now = (stay * moved + moved.sum(1)[:, None] * shares[i]) * likely[i]
        scale[i] = now.sum()
        now = now / scale[i]
        ahead[i] = now
    back = np.ones(likely.shape[1:])
    for i in range(pulses - 2, -1, -1):
        seen = likely[i + 1] * back
        back = walk @ (stay * seen + (seen @ shares[i + 1])[:, None])
        back = back / back.sum()
        ahead[i] *= back
    both = ahead[:, :count] + ahead[:, count:]
    both /= both.sum((1, 2))[:, None, None]
    return both, float(np.log(scale).sum() - least.sum())


@dataclass(frozen=True, eq=False)
class Decoded:
    """The slot of each stroke."""

    row: IntArray
    """Pulse; -1 where the stroke fits no slot."""
    part: FloatArray
    """Part of the pulse; nan where it fits none."""
    chance: FloatArray
    """Probability of that slot (of being a stray, where it fits none)."""
    offset: FloatArray
    """Mean local offset at the stroke, in pulses."""
    swung: FloatArray
    """Probability that the stroke stands in a swung beat."""


def decode(reading: Reading, place: FloatArray) -> Decoded:
    """The most probable slot of each stroke."""
    divisions, costs = reading.divisions, reading.costs
    strokes = reading.window.shape[1]
    weight = reading.gamma[reading.window, np.arange(reading.window.shape[0])[:, None]]
    weight /= weight.sum((0, 2))[None, :, None]
    meant = weight * costs.sure[reading.bin]
    near = costs.slot[reading.bin]
    parts = divisions.parts.size
    part_of = np.concatenate([divisions.part_of, np.full((divisions.part_of.shape[0], 1), parts)], axis=1)
    base = np.floor(place).astype(np.int64)
    shift = np.clip(reading.window - base[None], -2, 2) + 2
    key = shift[:, :, None] * parts + part_of[np.arange(part_of.shape[0])[None, None], near]
    wide = 6 * parts
    key += (np.arange(strokes) * wide)[None, :, None]
    chance = np.bincount(key.ravel(), meant.ravel(), minlength=strokes * wide).reshape(strokes, wide)
    best = np.argmax(chance, axis=1)
    top = chance[np.arange(strokes), best]
    stray = np.maximum(1.0 - chance.sum(1), 0.0)
    lost = stray > top
    row = base + best // parts - 2
    by_offset = weight.sum(2)
    return Decoded(
        np.where(lost, -1, row),
        np.where(lost, np.nan, divisions.parts[best % parts]),
        np.where(lost, stray, top),
        np.einsum("ks,k->s", by_offset, reading.offsets),
        (weight @ divisions.swung.astype(np.float64)).sum(0),
    )
