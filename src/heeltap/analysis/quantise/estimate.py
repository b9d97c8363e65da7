"""The model fitted to a take in two passes: one with wide priors, one with spread, usual offset, shares and swing from it.

Inside: `TakeFit`, `estimate`, `beats_chance`.
"""

from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np

from heeltap.analysis.quantise.forward_backward import DecodedStrokes, HmmParameters, Inference, decode_strokes, infer
from heeltap.analysis.quantise.homes import homes_of
from heeltap.analysis.quantise.pulses import PulseTable
from heeltap.analysis.quantise.states import Divisions, divisions_for
from heeltap.model.arrays import BoolArray, FloatArray

__all__ = ["TakeFit", "beats_chance", "estimate"]

_FIRST_SWING = (0.560, 0.595, 0.630, 0.667, 0.700, 0.735, 0.770)
"""Off-beats tried at first, parts of the beat: ratios 1.27 to 3.3, 3.5 % of a beat apart."""

_SWING_RANGE = (0.533, 0.785)
"""Off-beats that are swing, parts of the beat: ratios 1.14 to 3.65."""

_SIGMA_MS = 18.0
"""Spread before anything is known: between the tight (5 ms) and the loose (40 ms)."""

_SWING_NATS = 6.0
"""Gain in log likelihood that swing has to bring."""

_ASTRAY = 0.1
"""Pulses by which the first reading may move the home: further off it has wandered to another one."""

_ASTRAY_NATS = 60.0
"""What a reading at such another home costs against one at the likeliest."""

_SAID = 0.03
"""Another home this likely is told."""

_PRIOR, _TAKE = 0.3, 0.4
"""Weights of what is usual and of the take as a whole in the second reading's shares; the rest is for like places in
the bar."""


@dataclass(frozen=True, slots=True, eq=False)
class TakeFit:
    """The fitted model of a take."""

    decoded: DecodedStrokes
    sigma_ms: float
    swing_part: FloatArray
    """For each stroke the part of the beat where swung off-beats stand; nan where nothing swings."""
    log_likelihood: float
    """Of the first reading, which knows nothing of the take yet."""
    shuffle: FloatArray
    """For each stroke the part of the eighth where the late sixteenth of a swung pair stands; nan where none swings."""
    eighth: FloatArray
    """For each stroke how long an eighth is, in pulses: a half, or a third where the pulse has three."""
    aside_ms: float = 0.0
    """How much later the take would lie if it were read at the home that is next likely; 0 where one home is clearly it."""


_DECOYS = (-0.08, -0.05, 0.05, 0.08)
"""Wrong tempi (relative) that a doubtful take is read at for comparison; half of them longer, half shorter."""

_MARGIN_NATS, _MARGIN_ROOT = 12.0, 1.2
"""From 100 strokes on the written tempo has to be 12 + 1.2 sqrt(strokes) nats likelier: 48 takes of strokes at random, 30 to
1,000 of them, came to 3 at 30 strokes, 11 at 100, 33 at 300 and 34 at 1,000."""

_SHORT, _SHORT_ROOT = 50, 1.0
"""Up to 50 strokes sqrt(strokes) nats will do: a short take cannot prove more. Of 146 pieces of 8 to 50 strokes by recorded
drummers 97 in 100 reach that, of as many at random 6."""


def _margin(strokes: int) -> float:
    """How much likelier the written tempo has to be, nats."""
    root = float(np.sqrt(strokes))
    return root * min(_SHORT_ROOT + max(strokes - _SHORT, 0) / 42.0, _MARGIN_ROOT + _MARGIN_NATS / root)


def beats_chance(at: FloatArray, pulses: PulseTable) -> bool:
    """Whether the first piece of the take is likelier by far as written than at tempi that are surely wrong.

    Parameters
    ----------
    at : float64, shape (strokes,)
        Positions, pulses.
    pulses : PulseTable
        The pulses.

    Returns
    -------
    bool
        True where the written tempo is likelier by far.

    Notes
    -----
    Ours.
    """
    end = _pieces(pulses)[1]
    at = at[at < end]
    if at.size == 0:  # every stroke lies later, on pulses of another length
        return False
    divisions = divisions_for(pulses.median_ms, _swings(pulses))
    share = divisions.share[int(pulses.thirds[0])]
    likelihood = []
    for wrong in (0.0, *_DECOYS):
        position = at[0] + (at - at[0]) * (1.0 + wrong)
        parameters = _parameters(pulses.median_ms, home_ms=float(homes_of(position, pulses).ms[0]))
        likelihood.append(
            infer(position, np.tile(share, (int(position[-1]) + 3, 1)), divisions, parameters).log_likelihood
        )
    return likelihood[0] - float(np.mean(likelihood[1:])) > _margin(at.size)


def _swings(pulses: PulseTable) -> tuple[float, ...]:
    """Swung off-beats to try: none where beats divide by three anyway, nor in pulses under 0.2 s."""
    return _FIRST_SWING if not pulses.thirds.all() and pulses.median_ms >= 200 else ()


_LONGEST_PIECE, _SHORTEST_PIECE = 2048, 24
_ALIKE = 1.3
"""Pulses that differ by more than this are read apart: spread and walk are in pulses, and mean milliseconds."""


def _pieces(pulses: PulseTable) -> list[int]:
    """Edges of the pieces that are read apart: long takes, and pulses of quite another length or division."""
    size = pulses.start.size
    ratio = np.abs(np.diff(np.log(pulses.ms)))
    breaks = np.flatnonzero((ratio > np.log(_ALIKE)) | (pulses.thirds[1:] != pulses.thirds[:-1])) + 1
    edges = [0]
    for position in [*breaks.tolist(), size]:
        while position - edges[-1] > _LONGEST_PIECE:
            edges.append(edges[-1] + _LONGEST_PIECE)
        if position - edges[-1] >= _SHORTEST_PIECE or position == size:
            edges.append(position)
    return edges


def estimate(at: FloatArray, pulses: PulseTable, *, delay_known: bool = False) -> TakeFit:
    """Read the take, piece by piece where it has to be.

    Parameters
    ----------
    at : float64, shape (strokes,)
        Positions, pulses from the first row.
    pulses : PulseTable
        The pulses.
    delay_known : bool
        The delay of the gear is taken away already.

    Returns
    -------
    TakeFit
        Slots, spread and swing.

    Notes
    -----
    Two passes in the manner of expectation maximisation; what is learnt from the first is ours.
    """
    edges = _pieces(pulses)
    if len(edges) == 2:
        return _estimate_piece(at, pulses, delay_known=delay_known)
    found = []
    for first, end in pairwise(edges):
        inside = (at >= first) & (at < end)
        if inside.any():
            # a pulse or two on either side, for strokes ahead of the first or past the last
            low, high = max(first - 2, 0), min(end + 2, pulses.start.size)
            one = _estimate_piece(at[inside] - low, pulses.pick(low, high), delay_known=delay_known)
            found.append(replace(one, decoded=one.decoded.later(low)))
    decoded = DecodedStrokes(
        *(np.concatenate([getattr(one.decoded, f.name) for one in found]) for f in fields(DecodedStrokes))
    )
    return TakeFit(
        decoded,
        float(np.median([one.sigma_ms for one in found])),
        np.concatenate([one.swing_part for one in found]),
        float(sum(one.log_likelihood for one in found)),
        np.concatenate([one.shuffle for one in found]),
        np.concatenate([one.eighth for one in found]),
        max(found, key=lambda one: one.decoded.row.size).aside_ms,
    )


def _estimate_piece(at: FloatArray, pulses: PulseTable, *, delay_known: bool) -> TakeFit:
    """A first reading at the likeliest home, and a second one with what it taught."""
    ms = pulses.median_ms
    open_set = divisions_for(ms, _swings(pulses))
    share = open_set.share[pulses.thirds.astype(np.int64)]
    homes = homes_of(at, pulses, delay_known=delay_known)
    first = infer(at, share, open_set, _parameters(ms, home_ms=float(homes.ms[0])))
    decoded = decode_strokes(first, at)
    sigma_ms, home_ms = _estimate_spread(decoded, at, ms)
    part = _swing_part(decoded, at) if open_set.swung.any() else None
    played = np.bincount(np.floor(at).astype(np.int64), minlength=pulses.start.size) > 0
    if abs(home_ms - homes.ms[0]) > _ASTRAY * ms:
        home_ms = float(homes.ms[0])
    parameters = _parameters(ms, sigma_ms, home_ms, min(max(0.6 * sigma_ms, 7.0), 12.0))
    second, its_part = _second(at, pulses, _FirstPass(first.posterior.sum(1), played, part), parameters)
    at_home = replace(parameters, home=float(homes.ms[0]) / ms)
    astray = abs(float(np.median(decode_strokes(second, at).offset)) - at_home.home) > _ASTRAY
    shuffled, late = _shuffled(at, pulses, at_home, second.log_likelihood - (_ASTRAY_NATS if astray else 0.0))
    if shuffled is not None:
        second, its_part = shuffled, None
    decoded = decode_strokes(second, at).doubted(float(homes.chance[0]))
    aside_ms = float(homes.ms[1] - homes.ms[0]) if homes.ms.size > 1 and homes.chance[1] >= _SAID else 0.0
    return TakeFit(
        decoded,
        sigma_ms,
        np.full(at.size, np.nan if its_part is None else its_part),
        first.log_likelihood,
        np.full(at.size, np.nan if shuffled is None else late),
        np.full(at.size, _eighth(pulses)),
        aside_ms,
    )


def _eighth(pulses: PulseTable) -> float:
    return 1 / 3 if pulses.thirds.all() else 1 / 2


_LATE_RANGE, _LEAST_LATE, _SHUFFLE_NATS = (0.535, 0.70), 8, 5.0
"""Where the late sixteenth of a swung pair may stand, part of the eighth: ratios 1.15 to 2.33; how many there must be; and what
the reading with them has to gain."""


def _shuffled(
    at: FloatArray, pulses: PulseTable, parameters: HmmParameters, plain: float
) -> tuple[Inference | None, float]:
    """The reading with swung sixteenths and where the late one stands; None where the plain one is as likely."""
    eighth, ms, thirds = _eighth(pulses), pulses.median_ms, bool(pulses.thirds.all())
    late = _late_part(np.mod((at - parameters.home) / eighth, 1.0))
    if late is None or thirds != bool(pulses.thirds.any()) or (1 - late) * eighth * ms < _FINEST_LATE_MS:
        return None, 0.0
    read = _read_swung(at, pulses, parameters, late)
    moved = _moved(at, read, late, eighth)
    if abs(moved - late) >= _SAME_LATE:
        read, late = _read_swung(at, pulses, parameters, moved), moved
    decoded = decode_strokes(read, at)
    if read.log_likelihood < plain + _SHUFFLE_NATS or _is_late(decoded, late, eighth).sum() < _LEAST_LATE:
        return None, 0.0
    return read, late


def _read_swung(at: FloatArray, pulses: PulseTable, parameters: HmmParameters, late: float) -> Inference:
    """The take read with swung sixteenths in place of plain ones, in two passes."""
    swung = divisions_for(pulses.median_ms, (), late, thirds=bool(pulses.thirds.all()))
    first = infer(at, swung.share[pulses.thirds.astype(np.int64)], swung, parameters)
    played = np.bincount(np.floor(at).astype(np.int64), minlength=pulses.start.size) > 0
    return infer(
        at, _division_share(_FirstPass(first.posterior.sum(1), played, None), swung, pulses), swung, parameters
    )


def _is_late(decoded: DecodedStrokes, late: float, eighth: float) -> BoolArray:
    """Which strokes stand on the late sixteenth of a pair."""
    with np.errstate(invalid="ignore"):
        return np.asarray((decoded.row >= 0) & (np.abs(np.mod(decoded.part / eighth, 1.0) - late) < _SAME_PART))


def _moved(at: FloatArray, read: Inference, late: float, eighth: float) -> float:
    """Where the late sixteenths stand by the strokes that were read as such."""
    decoded = decode_strokes(read, at)
    on = _is_late(decoded, late, eighth)
    if not on.any():
        return late
    rest = (at - decoded.row - decoded.part - decoded.offset)[on] / eighth
    return float(np.clip(late + np.median(rest), *_LATE_RANGE))


_SAME_LATE = 0.01
"""Parts of an eighth nearer than this are the same place: 3 ms at 100 bpm."""

_FINEST_LATE_MS = 40.0

_SAME_PART = 1e-6


def _late_part(within: FloatArray) -> float | None:
    """Where late sixteenths would stand by the strokes between the eighths; None where most of these are no such thing."""
    between = within[(within > 0.3) & (within < 0.8)]
    late = between[between > 0.45]
    if late.size < _LEAST_LATE or late.size < 0.75 * between.size:
        return None
    part = float(np.median(late))
    return part if _LATE_RANGE[0] < part < _LATE_RANGE[1] else None


@dataclass(frozen=True, slots=True, eq=False)
class _FirstPass:
    """What the first reading says of the divisions."""

    used: FloatArray
    """Probability of each division in each pulse."""
    played: BoolArray
    """True for each pulse in which a stroke falls."""
    part: float | None
    """Where swung off-beats would stand."""


def _second(
    at: FloatArray, pulses: PulseTable, first_pass: _FirstPass, parameters: HmmParameters
) -> tuple[Inference, float | None]:
    """The reading without swing, or with it where that is likelier by far."""
    plain_set = divisions_for(pulses.median_ms, ())
    plain = infer(at, _division_share(first_pass, plain_set, pulses), plain_set, parameters)
    if first_pass.part is None:
        return plain, None
    swung_set = divisions_for(pulses.median_ms, (first_pass.part,))
    swung = infer(at, _division_share(first_pass, swung_set, pulses), swung_set, parameters)
    return (swung, first_pass.part) if swung.log_likelihood - plain.log_likelihood > _SWING_NATS else (plain, None)


def _division_share(first_pass: _FirstPass, divisions: Divisions, pulses: PulseTable) -> FloatArray:
    """Probability of each division in each pulse: what is usual, in this take, and at this place of the bar and the
    next."""
    plain = int(np.sum(divisions.swung == 0))
    share = divisions.share[pulses.thirds.astype(np.int64)]
    mine = np.empty_like(share)
    mine[:, :plain] = first_pass.used[:, :plain]
    if plain < share.shape[1]:
        mine[:, plain] = first_pass.used[:, plain:].sum(1)
    mine /= mine.sum(1, keepdims=True)
    position = pulses.in_bar + (pulses.in_bar.max() + 1) * (pulses.bar % 2)
    table = np.zeros((int(position.max()) + 1, share.shape[1]))
    np.add.at(table, position, mine)
    count = np.bincount(position)[:, None]
    alike = (table[position] - mine) / np.maximum(count[position] - 1, 1)
    alike = np.where(count[position] > 2, alike, share)
    return np.asarray(_PRIOR * share + _TAKE * mine[first_pass.played].mean(0) + (1 - _PRIOR - _TAKE) * alike)


def _estimate_spread(decoded: DecodedStrokes, at: FloatArray, pulse_ms: float) -> tuple[float, float]:
    """Spread about the local offset and the usual offset, milliseconds."""
    good = (decoded.row >= 0) & (decoded.chance > 0.5)
    if good.sum() < 8:
        return _SIGMA_MS, 0.0
    rest = at[good] - decoded.row[good] - decoded.part[good] - decoded.offset[good]
    sigma = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) * pulse_ms
    return min(max(1.25 * sigma, 6.0), 40.0), float(np.median(decoded.offset)) * pulse_ms


def _swing_part(decoded: DecodedStrokes, at: FloatArray) -> float | None:
    """Where the swung off-beats stand, part of the beat; None where hardly any beat was read as swung."""
    rest = at - np.floor(at - decoded.offset) - decoded.offset
    off = (rest > 0.5) & (rest < 0.82) & (decoded.swung > 0.3)
    if decoded.swung[off].sum() < 4:
        return None
    part = float(np.average(rest[off], weights=decoded.swung[off]))
    if not _SWING_RANGE[0] < part < _SWING_RANGE[1]:
        return None
    for plain in (2 / 3, 3 / 4):
        # 1.5 % of a beat (7 ms at 120 bpm): nearer than that the two are one slot, and one slot they must be in the
        # count
        if abs(part - plain) < 0.015:
            return plain
    return part


def _parameters(
    pulse_ms: float, sigma_ms: float = _SIGMA_MS, home_ms: float = 0.0, step_ms: float = 16.0
) -> HmmParameters:
    """What to take for granted; as given here for the first reading, which only has to show what the second should."""
    reach_ms = min(200.0, 0.25 * pulse_ms)
    return HmmParameters(
        sigma=sigma_ms / pulse_ms,
        home=home_ms / pulse_ms,
        step=step_ms / pulse_ms,
        reach=round(reach_ms / step_ms),
        walk=max(6.0, 0.012 * pulse_ms) / pulse_ms,
        leap=45.0 / pulse_ms,
        roam=30.0 / pulse_ms,
        rush=22.0 / pulse_ms,
        margin=0.125 if pulse_ms < 400 else 0.0834,
    )
