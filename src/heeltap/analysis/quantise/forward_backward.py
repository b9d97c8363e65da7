"""Forward-backward over the pulses: the posterior of division and local offset, and from it each stroke's slot.

The hidden state of a pulse is (division, local offset). The offset walks from pulse to pulse, mostly by little, now and
then by much, and is drawn weakly to the take's usual offset; the division stays or changes. Forward-backward (Rabiner
1989, Proc. IEEE 77, section III, from memory) gives the posterior of every state, and from it the probability of every
slot for each stroke. The most probable slot is the one reported, because that makes the fewest wrong slots.

Inside: `HmmParameters`, `Inference`, `infer`, `DecodedStrokes`, `decode_strokes`.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from heeltap.analysis.quantise.states import Costs, Divisions, cost_tables
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["DecodedStrokes", "HmmParameters", "Inference", "decode_strokes", "infer"]


@dataclass(frozen=True, slots=True)
class HmmParameters:
    """Parameters of the hidden Markov model."""

    sigma: float
    """Spread of the strokes about the local offset, in pulses."""
    home: float
    """The take's own usual offset, in pulses."""
    step: float
    """Distance between offsets told apart, in pulses."""
    reach: int
    """Largest distance of an offset from home, in steps."""
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
class Inference:
    """A take under one setting: its likelihood, and on demand the probability of every state."""

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
    _forward_weights: FloatArray
    """Forward weights, shape (pulses, 2 offsets, divisions): steady, then running."""
    _likelihood: FloatArray
    """Likelihood of each state's strokes, same shape."""
    _transitions: "_Transitions"

    @cached_property
    def posterior(self) -> FloatArray:
        """Probability of each state, shape (pulses, offsets, divisions); the two moods added."""
        both = self._forward_weights * _backward(self._likelihood, self._transitions)
        count = self.offsets.size
        table = both[:, :count] + both[:, count:]
        table /= table.sum((1, 2))[:, None, None]
        return table


@dataclass(frozen=True, slots=True, eq=False)
class _Transitions:
    """How one pulse leads to the next."""

    walk: FloatArray
    """Probability of each next (mood, offset), shape (2 offsets, 2 offsets)."""
    switch: FloatArray
    """Probability of each next division given this one, for the step into each pulse; shape (pulses, divisions,
    divisions)."""
    start: FloatArray
    """Probability of each state before the first pulse is heard, shape (2 offsets, divisions)."""


def infer(position: FloatArray, share: FloatArray, divisions: Divisions, parameters: HmmParameters) -> Inference:
    """Read strokes at these places (pulses from the first row, increasing).

    ``share`` is the probability of each division in each pulse before anything is heard, shape (pulses, divisions).

    Parameters
    ----------
    position : float64, shape (strokes,)
        Positions, pulses, increasing.
    share : float64, shape (pulses, divisions)
        Prior of each division.
    divisions : Divisions
        What a pulse may be divided into.
    parameters : HmmParameters
        Scales, in pulses.

    Returns
    -------
    Inference
        Likelihood, and on demand the posterior.
    """
    pulses = share.shape[0]
    steps = round(1.0 / parameters.step)
    bins = 2 * steps
    reach = round(parameters.home * steps) + np.arange(-parameters.reach, parameters.reach + 1)
    offsets = reach / steps
    lead = round(parameters.margin * bins)
    costs = cost_tables(divisions, bins, lead, parameters.sigma)
    shifted = np.round(position * bins).astype(np.int64)[None] - 2 * reach[:, None]
    window = np.clip((shifted + lead) // bins, 0, pulses - 1)
    position_bin = shifted % bins
    cost = _emissions(window, position_bin, costs, pulses)
    least = cost.min((1, 2))
    stretch = -0.5 * ((offsets - parameters.home) / (2 * parameters.roam)) ** 2
    once = np.exp(least[:, None, None] - cost)
    likelihood = np.concatenate([once, once * np.exp(_TETHER * stretch)[None, :, None]], axis=1)
    transitions = _transitions(share, offsets, parameters)
    forward_weights, log_likelihood = _forward(likelihood, transitions)
    log_likelihood = log_likelihood - float(least.sum())
    return Inference(
        log_likelihood, window, position_bin, costs, divisions, offsets, forward_weights, likelihood, transitions
    )


def _transitions(share: FloatArray, offsets: FloatArray, parameters: HmmParameters) -> _Transitions:
    home = _home_weight(offsets, parameters)
    home = home / home.sum()
    start = np.concatenate([(1 - _SET_OFF) * home, _SET_OFF * home])[:, None] * share[0][None]
    switch = parameters.change * share[:, None, :] + (1.0 - parameters.change) * np.eye(share.shape[1])[None]
    return _Transitions(_walk(offsets, parameters), switch, start)


_AT_ONCE = 2_000_000
"""Table entries looked up at a time: 16 MB, whatever the length of the take."""


def _emissions(window: IntArray, position_bin: IntArray, costs: Costs, pulses: int) -> FloatArray:
    """Cost of each state in each pulse, shape (pulses, offsets, divisions)."""
    count, strokes = window.shape
    rows = costs.stroke.shape[1]
    cost = np.empty((pulses, count, rows))
    some = max(_AT_ONCE // (strokes * rows), 1)
    for first in range(0, count, some):
        part = slice(first, min(first + some, count))
        cost[:, part] = _some_emissions(window[part], position_bin[part], costs, pulses)
    return cost


def _some_emissions(window: IntArray, position_bin: IntArray, costs: Costs, pulses: int) -> FloatArray:
    """`_emissions` of some offsets: strokes of one pulse and offset stand side by side, and are added up in one go."""
    count = window.shape[0]
    key = (window + np.arange(count)[:, None] * pulses).ravel()
    start = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    flat = position_bin.ravel()
    stroke = np.add.reduceat(costs.stroke[flat], start, axis=0)
    mask = np.bitwise_or.reduceat(costs.bit[flat], start, axis=0)
    rows = costs.stroke.shape[1]
    cost = np.tile(costs.struck[0], (count * pulses, 1))
    cost[key[start]] = stroke + costs.struck[mask, np.arange(rows)]
    return cost.reshape(count, pulses, rows).transpose(1, 0, 2)


def _walk(offsets: FloatArray, parameters: HmmParameters) -> FloatArray:
    """Probability of each next (mood, offset) given this one, shape (2 k, 2 k), rows sum to one; steady first, then
    running."""
    pull = min((parameters.walk / parameters.roam) ** 2, 0.5)
    near = _laplace(offsets, offsets + pull * (parameters.home - offsets), parameters.walk)
    wide = _laplace(offsets, offsets, parameters.leap) * _home_weight(offsets, parameters)[None]
    wide /= wide.sum(1, keepdims=True)
    run = _AHEAD * _laplace(offsets, offsets - parameters.rush, 0.5 * parameters.rush)
    run += (1 - _AHEAD) * _laplace(offsets, offsets + parameters.rush, 0.5 * parameters.rush)
    steady = 0.93 * near + 0.07 * wide
    back = 0.5 * near + 0.5 * wide
    return np.block([[(1 - _SET_OFF) * steady, _SET_OFF * run], [(1 - _KEEP_ON) * back, _KEEP_ON * run]])


_AHEAD = 0.85
_SET_OFF, _KEEP_ON = 0.03, 0.75
"""Probability that a run begins with a pulse, and that it goes on: runs of 4 pulses, the last bar before a section,
are usual."""


def _laplace(offsets: FloatArray, centre: FloatArray, scale: float) -> FloatArray:
    table = np.exp(-np.abs(offsets[None] - centre[:, None]) / scale)
    return np.asarray(table / table.sum(1, keepdims=True))


def _home_weight(offsets: FloatArray, parameters: HmmParameters) -> FloatArray:
    """Weight of each offset by its distance from home."""
    return np.asarray(np.exp(-0.5 * ((offsets - parameters.home) / parameters.roam) ** 2))


_TETHER = 0.1
"""How much being away from home costs a running player in each pulse: a normal of twice ``roam``, to this power. More loses
the longest runs; with none a recorded take is read a sixteenth aside for four of its bars; on the steady it does harm (whole
takes with a large bias)."""

_RESCALE = 8
"""Pulses between rescalings: each loses some powers of ten (at most about 1e-30), a float has 300."""


def _forward(likelihood: FloatArray, transitions: _Transitions) -> tuple[FloatArray, float]:
    """Forward weights of every state (each pulse up to a factor) and the log of their total."""
    forward_weights = np.empty_like(likelihood)
    across = np.ascontiguousarray(transitions.walk.T)
    np.multiply(transitions.start, likelihood[0], out=forward_weights[0])
    log_likelihood = 0.0
    for i in range(1, likelihood.shape[0]):
        if i % _RESCALE == 0:
            total = float(forward_weights[i - 1].sum())
            forward_weights[i - 1] /= total
            log_likelihood += np.log(total)
        np.multiply(across @ forward_weights[i - 1] @ transitions.switch[i], likelihood[i], out=forward_weights[i])
    return forward_weights, log_likelihood + float(np.log(forward_weights[-1].sum()))


def _backward(likelihood: FloatArray, transitions: _Transitions) -> FloatArray:
    """Backward weights of every state, each pulse up to a factor."""
    back = np.ones_like(likelihood)
    turned = np.ascontiguousarray(transitions.switch.transpose(0, 2, 1))
    for i in range(likelihood.shape[0] - 2, -1, -1):
        back[i] = transitions.walk @ (likelihood[i + 1] * back[i + 1]) @ turned[i + 1]
        if i % _RESCALE == 0:
            back[i] /= back[i].sum()
    return back


@dataclass(frozen=True, eq=False)
class DecodedStrokes:
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

    def later(self, rows: int) -> "DecodedStrokes":
        """The same so many pulses later.

        Parameters
        ----------
        rows : int
            Pulses.

        Returns
        -------
        DecodedStrokes
            A copy.
        """
        return replace(self, row=np.where(self.row < 0, -1, self.row + rows))

    def doubted(self, chance: float) -> "DecodedStrokes":
        """The same where the reading as a whole is only so probable: every slot is right only if the reading is.

        Parameters
        ----------
        chance : float
            Probability of the reading, 0-1.

        Returns
        -------
        DecodedStrokes
            A copy.
        """
        return replace(self, chance=np.where(self.row < 0, self.chance, self.chance * chance))


_NEGLIGIBLE = 1e-3
"""Offsets that a stroke has with less probability than this are not looked at."""


def decode_strokes(inference: Inference, position: FloatArray) -> DecodedStrokes:
    """The most probable slot of each stroke.

    Parameters
    ----------
    inference : Inference
        The take under one set of parameters.
    position : float64, shape (strokes,)
        Positions, pulses.

    Returns
    -------
    DecodedStrokes
        One row a stroke.
    """
    divisions, costs, window = inference.divisions, inference.costs, inference.window
    strokes = window.shape[1]
    offset_row = np.arange(window.shape[0])[:, None]
    by_offset = inference.posterior.sum(2)[window, offset_row]
    by_offset /= by_offset.sum(0)
    k, stroke = np.nonzero(by_offset > _NEGLIGIBLE)
    at_window, at_bin = window[k, stroke], inference.bin[k, stroke]
    weight = inference.posterior[at_window, k]
    total = np.bincount(stroke, weight.sum(1), minlength=strokes)
    weight /= total[stroke][:, None]
    parts = divisions.parts.size
    # the next pulse's first slot counts as that pulse's part 0: one shift further, same key
    part_of = np.concatenate([divisions.part_of, np.full((divisions.part_of.shape[0], 1), parts)], axis=1)
    base = np.floor(position).astype(np.int64)
    wide = 6 * parts
    lead = stroke * wide + (np.clip(at_window - base[stroke], -2, 2) + 2) * parts
    key = lead[:, None] + part_of[np.arange(part_of.shape[0])[None], costs.slot[at_bin]]
    meant = weight * costs.sure[at_bin]
    chance = np.bincount(key.ravel(), meant.ravel(), minlength=strokes * wide).reshape(strokes, wide)
    best = np.argmax(chance, axis=1)
    top = chance[np.arange(strokes), best]
    stray = np.maximum(1.0 - chance.sum(1), 0.0)
    lost = stray > top
    swung = weight @ divisions.swung.astype(np.float64)
    return DecodedStrokes(
        np.where(lost, -1, base + best // parts - 2),
        np.where(lost, np.nan, divisions.parts[best % parts]),
        np.where(lost, stray, top),
        inference.offsets @ by_offset,
        np.asarray(np.bincount(stroke, swung, minlength=strokes), dtype=np.float64),
    )
