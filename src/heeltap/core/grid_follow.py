"""From onsets to slots in rounds: a first reading with everything open, then spread, home and swing learnt from it.

Inside: `Placed`, `follow`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.core.arrays import FloatArray, IntArray
from heeltap.core.divisions import GRACE, SWUNG
from heeltap.core.grid_model import divisions_for
from heeltap.core.grid_pass import Decoded, Reading, Setting, decode, read_take
from heeltap.core.grid_pulse import Clock, Pulses, gather, lay_pulses
from heeltap.core.meter import MetreMap
from heeltap.core.result import Swing
from heeltap.core.swing import pair_ratios, swing_of

__all__ = ["Placed", "follow"]

_FIRST_SWING = (0.560, 0.595, 0.630, 0.667, 0.700, 0.735, 0.770)
"""Off-beats tried at first, parts of the beat: ratios 1.27 to 3.3, 3.5 % of a beat apart."""

_SWING_RANGE = (0.533, 0.79)
"""Off-beats that are swing, parts of the beat: ratios 1.14 to 3.76."""


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


def follow(
    onset_us: FloatArray, clock: Clock, metre: MetreMap, pitch: IntArray | None, velocity: IntArray | None
) -> tuple[Clock, Placed]:
    """Slots of the onsets (time order), and the clock with the tempo corrected where the given one was wrong."""
    size = onset_us.size
    if size == 0:
        empty = np.zeros(0)
        return clock, Placed(empty, empty, np.zeros(0, np.int64), empty)
    quarter = clock.quarter_at(onset_us)
    pulses = lay_pulses(metre, clock, float(quarter[0]), float(quarter[-1]))
    label = gather(onset_us, 1000.0 * min(20.0, 0.06 * pulses.median_ms))
    count = np.bincount(label)
    stroke_us = np.bincount(label, onset_us) / count
    at = pulses.place_of(clock.quarter_at(stroke_us))
    decoded, part = _rounds(at, pulses)
    return clock, _placed(onset_us, label, decoded, pulses, part)


def _setting(pulse_ms: float, sigma_ms: float, home_ms: float) -> Setting:
    step_ms = 7.0
    reach_ms = min(200.0, 0.5 * pulse_ms)
    return Setting(
        sigma=sigma_ms / pulse_ms,
        home=home_ms / pulse_ms,
        step=step_ms / pulse_ms,
        reach=round(reach_ms / step_ms),
        walk=max(6.0, 0.012 * pulse_ms) / pulse_ms,
        leap=30.0 / pulse_ms,
        roam=45.0 / pulse_ms,
        margin=0.125 if pulse_ms < 400 else 0.0834,
    )


def _rounds(at: FloatArray, pulses: Pulses) -> tuple[Decoded, float | None]:
    """Two or three readings; the last one's slots, and the part of the beat where its swung off-beats stand."""
    ms = pulses.median_ms
    thirds = pulses.thirds.astype(np.int64)
    swings = _FIRST_SWING if not thirds.all() and ms >= 200 else ()
    first = read_take(at, pulses.start.size, thirds, divisions_for(ms, swings), _setting(ms, 18.0, 0.0))
    seen = decode(first, at)
    sigma_ms, home_ms = _learn(seen, at, ms)
    setting = _setting(ms, sigma_ms, home_ms)
    plain = read_take(at, pulses.start.size, thirds, divisions_for(ms, ()), setting)
    part = _swing_part(first, seen, at) if swings else None
    if part is not None:
        swung = read_take(at, pulses.start.size, thirds, divisions_for(ms, (part,)), setting)
        if swung.log_likelihood - plain.log_likelihood > 6.0:
            return decode(swung, at), part
    return decode(plain, at), None


def _learn(seen: Decoded, at: FloatArray, pulse_ms: float) -> tuple[float, float]:
    """Spread about the local offset and the usual offset, milliseconds."""
    good = (seen.row >= 0) & (seen.chance > 0.5)
    if good.sum() < 8:
        return 18.0, 0.0
    rest = at[good] - seen.row[good] - seen.part[good] - seen.offset[good]
    sigma = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) * pulse_ms
    return min(max(1.1 * sigma, 6.0), 40.0), float(np.median(seen.offset)) * pulse_ms


def _swing_part(first: Reading, seen: Decoded, at: FloatArray) -> float | None:
    """Where the swung off-beats stand, part of the beat; None where hardly any beat was read as swung."""
    rest = at - np.floor(at - seen.offset) - seen.offset
    off = (rest > 0.5) & (rest < 0.82) & (seen.swung > 0.3)
    if seen.swung[off].sum() < 4:
        return None
    part = float(np.average(rest[off], weights=seen.swung[off]))
    return part if _SWING_RANGE[0] < part < _SWING_RANGE[1] else None


def _placed(onset_us: FloatArray, label: IntArray, seen: Decoded, pulses: Pulses, part: float | None) -> Placed:
    """Slots of the strokes back to their onsets, with the swing and the ornaments named."""
    has = seen.row >= 0
    quarter = np.where(has, pulses.quarter_of(np.maximum(seen.row, 0), np.nan_to_num(seen.part)), np.nan)
    code = np.full(quarter.size, -2)
    if part is not None:
        code[has & (np.abs(seen.part - part) < 1e-6) & (seen.swung > 0.5)] = SWUNG
    count = np.bincount(label)
    stroke_us = np.bincount(label, onset_us) / count
    gap_ms = np.append(np.diff(stroke_us), np.inf) / 1000.0
    code[~has & (gap_ms < 60.0) & np.append(has[1:], False)] = GRACE
    log_ratio = np.full(quarter.size, np.nan)
    swing = _swing(seen, code, stroke_us, log_ratio)
    return Placed(quarter[label], seen.chance[label], code[label], log_ratio[label], swing)


def _swing(seen: Decoded, code: IntArray, stroke_us: FloatArray, log_ratio: FloatArray) -> Swing | None:
    """Ratio over the take; fills ``log_ratio`` at the off-beats that gave one."""
    off = np.flatnonzero(code == SWUNG)
    if off.size == 0:
        return None
    rows = np.arange(int(seen.row.max()) + 2)
    on_us, off_us, which = np.full(rows.size, np.nan), np.full(rows.size, np.nan), np.full(rows.size, -1)
    on = np.flatnonzero((seen.row >= 0) & (seen.part == 0.0))
    on_us[seen.row[on]] = stroke_us[on]
    off_us[seen.row[off]], which[seen.row[off]] = stroke_us[off], off
    good, ratio = pair_ratios(rows, on_us, off_us)
    log_ratio[which[good]] = ratio
    return swing_of(ratio)
