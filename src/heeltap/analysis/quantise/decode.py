"""From onsets to slots: strokes gathered and laid on the pulses, the tempo looked at, the rounds read, ornaments named.

Where the take runs at another tempo than is written, the clock is bent to the take's own.

Inside: `Placed`, `follow`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.quantise.estimate import Rounds, beats_chance, read_rounds
from heeltap.analysis.quantise.forward_backward import Decoded
from heeltap.analysis.quantise.pulses import Clock, Pulses, along, gather, lay_pulses
from heeltap.analysis.quantise.tempo_check import Pace, bend_for, bend_price, doubt, pace_of
from heeltap.analysis.swing import pair_ratios, swing_of
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.result import Swing
from heeltap.model.subdivisions import GRACE, SWUNG
from heeltap.model.timeline import MetreMap

__all__ = ["Placed", "follow"]

_SAME_PART = 1e-6

_SWUNG_SHARE = 0.8
"""A take swings when it has at least so many swung off-beats for each straight one (halves and quarters of the beat)."""

_LEAST_TO_SHIFT = 8
"""Off-beats and beats from which the swung slot's place is told more finely."""

_GRACE_MS = 60.0
"""An ornament comes no longer before its stroke: common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Slots by position, one row an onset."""

    quarter: FloatArray
    """Quarter notes from tick 0; nan where the onset fits no slot."""
    chance: FloatArray
    """Probability of that slot."""
    code: IntArray
    """A division that the position alone does not tell (swung, grace), or -2."""
    log_ratio: FloatArray
    """Log of long over short at whole swung beats' off-beats, else nan."""
    swing: Swing | None = None
    tempo_scale: float = 1.0
    on_grid: bool = True
    reason: str = ""
    warnings: tuple[str, ...] = ()

    def reorder(self, rows: IntArray) -> "Placed":
        """The rows in another order."""
        columns = {name: getattr(self, name)[rows] for name in ("quarter", "chance", "code", "log_ratio")}
        return replace(self, **columns)


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """Strokes (notes struck together, gathered) on the pulses of a clock."""

    clock: Clock
    pulses: Pulses
    label: IntArray
    """Stroke of each onset."""
    stroke_us: FloatArray
    at: FloatArray
    """Place of each stroke, pulses from the first row."""


def follow(
    onset_us: FloatArray, clock: Clock, metre: MetreMap, pitch: IntArray | None, velocity: IntArray | None
) -> tuple[Clock, Placed]:
    """Slots of the onsets (time order), and the clock with the tempo corrected where the given one was wrong."""
    if onset_us.size == 0:
        empty = np.zeros(0)
        return clock, Placed(empty, empty, np.zeros(0, np.int64), empty)
    ground = _ground(onset_us, clock, metre)
    pace = pace_of(ground.at, ground.pulses.start.size)
    rounds = read_rounds(ground.at, ground.pulses)
    warnings: tuple[str, ...] = ()
    scale = 1.0
    price = bend_price(pace, ground.pulses.start.size, ground.pulses.median_ms)
    if np.isfinite(price):
        ground, rounds, scale, warnings = _try_bend(onset_us, ground, rounds, pace, price, metre)
    softer = _softer(ground, pitch, velocity)
    found = _placed(ground, rounds, softer)
    reason = doubt(pace, scale != 1.0)
    if reason and beats_chance(ground.at, ground.pulses):
        reason = ""
    if reason:
        found = replace(found, chance=np.minimum(found.chance, 0.5))
        warnings = (*warnings, reason)
    return ground.clock, replace(found, tempo_scale=scale, on_grid=not reason, reason=reason, warnings=warnings)


def _ground(onset_us: FloatArray, clock: Clock, metre: MetreMap) -> _Ground:
    pulses = lay_pulses(metre, clock, clock.quarter_at(onset_us))
    label = gather(onset_us, 1000.0 * min(20.0, 0.06 * pulses.median_ms))
    stroke_us = np.bincount(label, onset_us) / np.bincount(label)
    return _Ground(clock, pulses, label, stroke_us, pulses.place_of(clock.quarter_at(stroke_us)))


def _try_bend(
    onset_us: FloatArray, ground: _Ground, rounds: Rounds, pace: Pace, price: float, metre: MetreMap
) -> tuple[_Ground, Rounds, float, tuple[str, ...]]:
    """Read the take at the tempo of its own pace, and keep whichever reading is the likelier by far."""
    pulses = ground.pulses
    edge = np.append(pulses.start, pulses.start[-1] + pulses.length[-1])
    bent_at = bend_for(pace, pulses.start.size)
    row = np.floor(bent_at).astype(np.int64)
    played = pulses.quarter_of(row, bent_at - row)
    played = played - along(np.zeros(1), edge, played)
    clock = replace(ground.clock, bend=(edge, played))
    other = _ground(onset_us, clock, metre)
    tried = read_rounds(other.at, other.pulses)
    if tried.log_likelihood < rounds.log_likelihood + price:
        return ground, rounds, 1.0, ()
    played = played * (1.0 - _slope(other, tried.seen))
    other = _ground(onset_us, replace(clock, bend=(edge, played)), metre)
    tried = read_rounds(other.at, other.pulses)
    span = ground.clock.quarter_at(onset_us[[0, -1]])
    bent = other.clock.quarter_at(onset_us[[0, -1]])
    scale = float((bent[1] - bent[0]) / (span[1] - span[0]))
    return other, tried, scale, (_tempo_warning(ground, scale, played, edge),)


def _slope(ground: _Ground, seen: Decoded) -> float:
    """Quarters of offset gained per quarter: what the bend has left over."""
    good = (seen.row >= 0) & (seen.chance > 0.8)
    if good.sum() < 16:
        return 0.0
    offset = ground.at[good] - seen.row[good] - seen.part[good]
    at = ground.at[good] - ground.at[good].mean()
    return float(at @ (offset - offset.mean()) / (at @ at))


def _tempo_warning(ground: _Ground, scale: float, played: FloatArray, edge: FloatArray) -> str:
    """The sentence that says what the tempo was and what it seems to be."""
    given = 60_000.0 / float(np.median(ground.pulses.ms / ground.pulses.length))
    rate = np.diff(played) / np.diff(edge)
    low, high = given * float(rate.min()), given * float(rate.max())
    text = f"the take runs at {given * scale:.2f} bpm, not at the {given:.2f} given ({100 * (scale - 1):+.2f} %)"
    if high - low > 0.002 * given:
        text += f", moving between {low:.1f} and {high:.1f}"
    return text + ": its own tempo was used"


def _softer(ground: _Ground, pitch: IntArray | None, velocity: IntArray | None) -> BoolArray:
    """True for each stroke that may be the ornament of the next: softer than it, and on one of its keys, as far as is
    known."""
    count = ground.stroke_us.size
    may = np.ones(count, dtype=bool)
    may[-1:] = False
    if velocity is not None:
        loud = np.zeros(count, np.int64)
        np.maximum.at(loud, ground.label, velocity)
        may[:-1] &= loud[:-1] < loud[1:]
    if pitch is not None:
        low = np.full(count, 128, np.int64)
        np.minimum.at(low, ground.label, pitch)
        may[:-1] &= low[:-1] == low[1:]
    return may


def _placed(ground: _Ground, rounds: Rounds, softer: BoolArray) -> Placed:
    """Slots of the strokes back to their onsets, with the swing and the ornaments named."""
    seen, label = rounds.seen, ground.label
    grace = _graces(ground, rounds, softer)
    has = (seen.row >= 0) & ~grace
    part = np.where(has, np.nan_to_num(seen.part), 0.0)
    code = np.full(part.size, -2)
    code[grace] = GRACE
    log_ratio = np.full(part.size, np.nan)
    swing = None
    off = _swung_off_beats(rounds, has)
    if off.size:
        code[off] = SWUNG
        part[off] += _off_beat_shift(ground, seen, off, np.flatnonzero(has & (seen.part == 0.0)))
        swing = _swing(seen, off, has, ground.stroke_us, log_ratio)
    quarter = np.where(has, ground.pulses.quarter_of(np.maximum(seen.row, 0), part), np.nan)
    return Placed(quarter[label], seen.chance[label], code[label], log_ratio[label], swing)


def _graces(ground: _Ground, rounds: Rounds, softer: BoolArray) -> BoolArray:
    """Strokes just ahead of another one that either fit no slot or stand well ahead of the slot that both were
    given."""
    seen = rounds.seen
    gap_ms = np.append(np.diff(ground.stroke_us), np.inf) / 1000.0
    rest_ms = (ground.at - seen.row - seen.part - seen.offset) * ground.pulses.median_ms
    next_rest = np.append(rest_ms[1:], np.nan)
    same = np.append((seen.row[1:] == seen.row[:-1]) & (seen.part[1:] == seen.part[:-1]), False)
    ahead = same & (rest_ms < -max(2.2 * rounds.sigma_ms, 20.0)) & (np.abs(next_rest) < np.abs(rest_ms))
    lone = (seen.row < 0) & np.append(seen.row[1:] >= 0, False)
    return np.asarray(softer & (gap_ms < _GRACE_MS) & (ahead | lone))


def _swung_off_beats(rounds: Rounds, has: BoolArray) -> IntArray:
    """Strokes on the swung off-beat, in beats where nothing else finer than the beat was played."""
    seen = rounds.seen
    on_part = has & (np.abs(seen.part - rounds.swing_part) < _SAME_PART)
    other = has & ~on_part & (seen.part > 0)
    finer = np.bincount(seen.row[other], minlength=int(seen.row.max()) + 2) > 0
    return np.flatnonzero(on_part & ~finer[np.maximum(seen.row, 0)])


def _off_beat_shift(ground: _Ground, seen: Decoded, off: IntArray, on: IntArray) -> float:
    """How much later than the part read with the swung off-beats stand, against the beats, in pulses.

    The slot has to be where they stand on the whole: 3 ms aside (a ratio snapped to 2:1 or 3:1) puts half of that into the
    take's bias.
    """
    if off.size < _LEAST_TO_SHIFT or on.size < _LEAST_TO_SHIFT:
        return 0.0
    rest = ground.at - seen.row - seen.part - seen.offset
    return float(np.clip(_middle(rest[off]) - _middle(rest[on]), -0.02, 0.02))


def _middle(values: FloatArray) -> float:
    """Mean without the tenth at either end: nearly as exact as the mean, and deaf to slips."""
    ordered = np.sort(values)
    edge = values.size // 10
    return float(ordered[edge : values.size - edge].mean())


def _swing(seen: Decoded, off: IntArray, has: BoolArray, stroke_us: FloatArray, log_ratio: FloatArray) -> Swing | None:
    """Ratio over the take, None where most of it is straight; fills ``log_ratio`` at the off-beats that gave one."""
    rows = np.arange(int(seen.row.max()) + 2)
    on_us, off_us, which = np.full(rows.size, np.nan), np.full(rows.size, np.nan), np.full(rows.size, -1)
    on = np.flatnonzero(has & (seen.part == 0.0))
    on_us[seen.row[on]] = stroke_us[on]
    off_us[seen.row[off]], which[seen.row[off]] = stroke_us[off], off
    good, ratio = pair_ratios(rows, on_us, off_us)
    log_ratio[which[good]] = ratio
    straight = has & np.isin(seen.part, (0.25, 0.5, 0.75)) & (np.abs(seen.part - seen.part[off[0]]) > _SAME_PART)
    return swing_of(ratio) if off.size >= _SWUNG_SHARE * int(straight.sum()) else None
