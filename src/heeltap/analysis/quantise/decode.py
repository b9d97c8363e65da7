"""From onsets to slots: notes grouped into strokes, the tempo checked, the model fitted, ornaments named.

Where the take runs at another tempo than the written one, the clock is warped to the tempo of the take. Ours.

Inside: `SlotColumns`, `decode_onsets`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.quantise.estimate import TakeFit, beats_chance, estimate
from heeltap.analysis.quantise.forward_backward import DecodedStrokes
from heeltap.analysis.quantise.pulses import PulseTable, TempoClock, group_chords, interpolate, playable, pulses_under
from heeltap.analysis.quantise.tempo_check import (
    PlayedTempo,
    is_steady,
    off_grid_reason,
    played_tempo,
    warp_for,
    warp_price,
)
from heeltap.analysis.swing import pair_ratios, swing_of
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.result import Swing
from heeltap.model.subdivisions import GRACE, SIXTEENTH, SWUNG
from heeltap.model.timeline import MetreMap
from heeltap.wording import early_late

__all__ = ["SlotColumns", "decode_onsets"]

_SAME_PART = 1e-6

_SWUNG_SHARE = 0.8
"""A take swings when it has at least so many swung off-beats for each straight one (halves and quarters of the beat)."""

_DOTTED_SHARE = 3.0
"""The same at 3 to 1, where the off-beat is a plain last sixteenth: parts of straight sixteenths play it, too."""

_OTHER_CLICK = 0.0015
"""Relative tempi nearer to the written one than this are the player's, not another click."""

_ASIDE_MS, _ASIDE_SHARE = 8.0, 0.08
"""What an eighth of the take may lie from a steady tempo before that tempo is the player's: 8 ms, or 8 % of the whole drift
where that is more. Takes with one tempo lie up to 5 ms aside, takes that gain faster and faster 11.5 % of their drift."""

_LEAST_TO_SHIFT = 8
"""Off-beats and beats from which the swung slot's place is told more finely."""

_GRACE_MS = 60.0
"""An ornament comes no longer before its stroke: common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class SlotColumns:
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

    def reorder(self, rows: IntArray) -> "SlotColumns":
        """The rows in another order.

        Parameters
        ----------
        rows : int64, shape (n,)
            Row to take for each new one.

        Returns
        -------
        SlotColumns
            The same facts about the take.
        """
        columns = {name: getattr(self, name)[rows] for name in ("quarter", "chance", "code", "log_ratio")}
        return replace(self, **columns)


@dataclass(frozen=True, slots=True, eq=False)
class _StrokesOnPulses:
    """Strokes (notes struck together, gathered) on the pulses of a clock."""

    clock: TempoClock
    pulses: PulseTable
    label: IntArray
    """Stroke of each onset."""
    stroke_us: FloatArray
    at: FloatArray
    """Place of each stroke, pulses from the first row."""


def decode_onsets(
    onset_us: FloatArray,
    clock: TempoClock,
    metre: MetreMap,
    pitch: IntArray | None,
    velocity: IntArray | None,
    *,
    delay_known: bool = False,
) -> SlotColumns:
    """Slots of the onsets (time order); where the take runs at another tempo, they are read at that one.

    Parameters
    ----------
    onset_us : float64, shape (n,)
        Times, microseconds, in order.
    clock : TempoClock
        The clock as given.
    metre : MetreMap
        The metre.
    pitch, velocity : int64, shape (n,), optional
        Keys and loudness, to tell ornaments.
    delay_known : bool
        The delay of the gear is taken away already.

    Returns
    -------
    SlotColumns
        One row an onset.
    """
    good = playable(metre, clock, clock.quarter_at(onset_us))
    if good.all() and good.size:
        return _decode(onset_us, clock, metre, pitch, velocity, delay_known=delay_known)
    none = np.full(good.size, np.nan)
    nowhere = SlotColumns(none, np.zeros(good.size), np.full(good.size, -2), none)
    if not good.any():
        reason = _UNPLAYABLE.format("every note lies") if good.size else ""
        return replace(nowhere, on_grid=not reason, reason=reason, warnings=(reason,) if reason else ())
    columns = [None if one is None else one[good] for one in (pitch, velocity)]
    found = _decode(onset_us[good], clock, metre, *columns, delay_known=delay_known)
    rows = {name: getattr(nowhere, name).copy() for name in ("quarter", "chance", "code", "log_ratio")}
    for name, column in rows.items():
        column[good] = getattr(found, name)
    lie = _UNPLAYABLE.format("1 note lies" if np.sum(~good) == 1 else f"{np.sum(~good):,} notes lie")
    return replace(found, **rows, warnings=(*found.warnings, lie))


_UNPLAYABLE = "{} where the file's tempo is too fast or too slow to play beats; heeltap leaves out what lies there"


def _decode(
    onset_us: FloatArray,
    clock: TempoClock,
    metre: MetreMap,
    pitch: IntArray | None,
    velocity: IntArray | None,
    *,
    delay_known: bool,
) -> SlotColumns:
    """`decode_onsets` where every onset lies on a beat that can be played."""
    laid = _lay(onset_us, clock, metre)
    tempo_path = played_tempo(laid.at, laid.pulses.start.size)
    fit = estimate(laid.at, laid.pulses, delay_known=delay_known)
    warnings: tuple[str, ...] = ()
    scale = 1.0
    price = warp_price(tempo_path, laid.pulses.start.size, laid.pulses.median_ms)
    if np.isfinite(price):
        laid, fit, scale, warnings = _try_warp(onset_us, laid, fit, tempo_path, price, metre)
    softer = _softer(laid, pitch, velocity)
    found = _slot_columns(laid, fit, softer)
    reason = off_grid_reason(tempo_path, warped=scale != 1.0 and is_steady(tempo_path, laid.pulses.start.size))
    if reason and beats_chance(laid.at, laid.pulses):
        reason = ""
    if fit.aside_ms and not reason:
        warnings = (*warnings, _two_homes(fit, laid.pulses.median_ms, delay_known=delay_known))
    if reason:
        found = replace(found, chance=np.minimum(found.chance, 0.5))
        warnings = (*warnings, reason)
    return replace(found, tempo_scale=scale, on_grid=not reason, reason=reason, warnings=warnings)


def _lay(onset_us: FloatArray, clock: TempoClock, metre: MetreMap) -> _StrokesOnPulses:
    pulses = pulses_under(metre, clock, clock.quarter_at(onset_us))
    label = group_chords(onset_us, 1000.0 * min(20.0, 0.06 * pulses.median_ms))
    stroke_us = np.bincount(label, onset_us) / np.bincount(label)
    return _StrokesOnPulses(clock, pulses, label, stroke_us, pulses.position_of(clock.quarter_at(stroke_us)))


def _try_warp(
    onset_us: FloatArray, laid: _StrokesOnPulses, fit: TakeFit, tempo_path: PlayedTempo, price: float, metre: MetreMap
) -> tuple[_StrokesOnPulses, TakeFit, float, tuple[str, ...]]:
    """Read the take at the tempo of its own pace, and keep whichever reading is the likelier by far."""
    pulses = laid.pulses
    edge = np.append(pulses.start, pulses.start[-1] + pulses.length[-1])
    warped_at = warp_for(tempo_path, pulses.start.size)
    row = np.floor(warped_at).astype(np.int64)
    played = pulses.quarter_of(row, warped_at - row)
    played = played - interpolate(np.zeros(1), edge, played)
    clock = replace(laid.clock, warp=(edge, played))
    other = _lay(onset_us, clock, metre)
    tried = estimate(other.at, other.pulses)
    if tried.log_likelihood < fit.log_likelihood + price:
        return laid, fit, 1.0, ()
    played = played * (1.0 - _slope(other, tried.decoded))
    other = _lay(onset_us, replace(clock, warp=(edge, played)), metre)
    tried = estimate(other.at, other.pulses)
    span = laid.clock.quarter_at(onset_us[[0, -1]])
    warped = other.clock.quarter_at(onset_us[[0, -1]])
    scale = float((warped[1] - warped[0]) / (span[1] - span[0]))
    ahead_ms = (played - edge) * 60_000.0 / _bpm(laid)
    far_ms = float(ahead_ms[np.argmax(np.abs(ahead_ms))])
    aside_ms = _aside_ms(laid.clock, other, tried.decoded)
    steady = is_steady(tempo_path, pulses.start.size) and aside_ms <= max(_ASIDE_MS, _ASIDE_SHARE * abs(far_ms))
    return other, tried, scale, (_tempo_warning(_bpm(laid), scale, far_ms, steady=steady),)


def _slope(laid: _StrokesOnPulses, decoded: DecodedStrokes) -> float:
    """Quarters of offset gained per quarter: what the bend has left over."""
    good = (decoded.row >= 0) & (decoded.chance > 0.8)
    if good.sum() < 16:
        return 0.0
    offset = laid.at[good] - decoded.row[good] - decoded.part[good]
    at = laid.at[good] - laid.at[good].mean()
    return float(at @ (offset - offset.mean()) / (at @ at))


def _bpm(laid: _StrokesOnPulses) -> float:
    """The written tempo, quarter notes a minute."""
    return 60_000.0 / float(np.median(laid.pulses.ms / laid.pulses.length))


def _aside_ms(written: TempoClock, laid: _StrokesOnPulses, decoded: DecodedStrokes) -> float:
    """How far an eighth of the take lies from the one steady tempo that fits the whole best, ms; inf from too few strokes.

    The path of rates is too coarse to show a player who gains slowly at first and faster later; the strokes show it.
    """
    good = (decoded.row >= 0) & (decoded.chance > 0.8)
    if good.sum() < 16:
        return float(np.inf)
    slot_us = written.us_at_quarter(laid.pulses.quarter_of(decoded.row[good], decoded.part[good]))
    at, offset = laid.stroke_us[good] / 1e6, (laid.stroke_us[good] - slot_us) / 1000.0
    slope, level = np.polyfit(at, offset, 1)
    return max(abs(float(part.mean())) for part in np.array_split(offset - slope * at - level, 8))


def _tempo_warning(given: float, scale: float, far: float, *, steady: bool) -> str:
    """The sentence that says how far the take runs from the tempo written, and at which tempo it would be on it.

    Only a steady tempo may be the click's own; one that moves is the player's.
    """
    text = f"against the written {given:.2f} bpm you {'speed up' if far > 0 else 'slow down'} by {abs(far):.0f} ms"
    if steady and abs(scale - 1.0) >= _OTHER_CLICK:
        return f"{text}; if the click really ran at {given * scale:.2f}, you were on it (--tempo {given * scale:.2f})"
    return text


def _two_homes(fit: TakeFit, pulse_ms: float, *, delay_known: bool) -> str:
    """The sentence that says that the part may as well lie a slot aside."""
    here_ms = float(np.median(fit.decoded.offset)) * pulse_ms
    hint = (
        "give the plan (--plan)"
        if delay_known
        else "measure the delay of your gear (heeltap calibrate), or give the plan"
    )
    return (
        f"these strokes could as well lie {early_late(here_ms + fit.aside_ms)} as {early_late(here_ms)}, for the pattern "
        f"repeats: {hint}, and heeltap can tell"
    )


def _softer(laid: _StrokesOnPulses, pitch: IntArray | None, velocity: IntArray | None) -> BoolArray:
    """True for each stroke that may be the ornament of the next: softer than it, and on one of its keys, as far as is
    known."""
    count = laid.stroke_us.size
    may = np.ones(count, dtype=bool)
    may[-1:] = False
    if velocity is not None:
        loud = np.zeros(count, np.int64)
        np.maximum.at(loud, laid.label, velocity)
        may[:-1] &= loud[:-1] < loud[1:]
    if pitch is not None:
        low = np.full(count, 128, np.int64)
        np.minimum.at(low, laid.label, pitch)
        may[:-1] &= low[:-1] == low[1:]
    return may


def _slot_columns(laid: _StrokesOnPulses, fit: TakeFit, softer: BoolArray) -> SlotColumns:
    """Slots of the strokes back to their onsets, with the swing and the ornaments named."""
    decoded, label = fit.decoded, laid.label
    grace = _graces(laid, fit, softer)
    has = (decoded.row >= 0) & ~grace
    part = np.where(has, np.nan_to_num(decoded.part), 0.0)
    code = np.full(part.size, -2)
    code[grace] = GRACE
    log_ratio = np.full(part.size, np.nan)
    swing = None
    off = _swung_off_beats(fit, has)
    if off.size:
        code[off] = SWUNG
        part[off] += _off_beat_shift(laid, decoded, off, np.flatnonzero(has & (decoded.part == 0.0)))
        swing = _swing(decoded, off, has, laid.stroke_us, log_ratio)
    late = _late_sixteenths(fit, has)
    if late.any():
        others = np.flatnonzero(has & ~late)
        code[late & (fit.eighth == 0.5)] = SIXTEENTH
        part[late] += _off_beat_shift(laid, decoded, np.flatnonzero(late), others)
        swing = _swing_of_sixteenths(fit, late, has, laid.stroke_us, log_ratio)
    quarter = np.where(has, laid.pulses.quarter_of(np.maximum(decoded.row, 0), part), np.nan)
    return SlotColumns(quarter[label], decoded.chance[label], code[label], log_ratio[label], swing)


def _graces(laid: _StrokesOnPulses, fit: TakeFit, softer: BoolArray) -> BoolArray:
    """Strokes just ahead of another one that either fit no slot or stand well ahead of the slot that both were
    given."""
    decoded = fit.decoded
    gap_ms = np.append(np.diff(laid.stroke_us), np.inf) / 1000.0
    rest_ms = (laid.at - decoded.row - decoded.part - decoded.offset) * laid.pulses.median_ms
    next_rest = np.append(rest_ms[1:], np.nan)
    same = np.append((decoded.row[1:] == decoded.row[:-1]) & (decoded.part[1:] == decoded.part[:-1]), False)
    early = same & (rest_ms < -max(2.2 * fit.sigma_ms, 20.0)) & (np.abs(next_rest) < np.abs(rest_ms))
    lone = (decoded.row < 0) & np.append(decoded.row[1:] >= 0, False)
    return np.asarray(softer & (gap_ms < _GRACE_MS) & (early | lone))


def _late_sixteenths(fit: TakeFit, has: BoolArray) -> BoolArray:
    """Strokes on the late sixteenth of a swung pair."""
    within = np.mod(np.where(has, np.nan_to_num(fit.decoded.part), 0.0) / fit.eighth, 1.0)
    with np.errstate(invalid="ignore"):
        return np.asarray(has & (np.abs(within - fit.shuffle) < _SAME_PART))


def _swing_of_sixteenths(
    fit: TakeFit, late: BoolArray, has: BoolArray, stroke_us: FloatArray, log_ratio: FloatArray
) -> Swing | None:
    """Ratio over the take; fills ``log_ratio`` at the late sixteenths whose own eighth and the next were played."""
    decoded = fit.decoded
    in_pulse = np.round(1.0 / fit.eighth).astype(np.int64)
    step = decoded.row * in_pulse + np.floor(np.nan_to_num(decoded.part) / fit.eighth + _SAME_PART).astype(np.int64)
    plain = has & (np.abs(np.mod(np.nan_to_num(decoded.part) / fit.eighth + 0.5, 1.0) - 0.5) < _SAME_PART)
    rows = np.arange(int(step[has].max()) + 2)
    on_us, late_us, which = np.full(rows.size, np.nan), np.full(rows.size, np.nan), np.full(rows.size, -1)
    on_us[step[plain]] = stroke_us[plain]
    late_us[step[late]], which[step[late]] = stroke_us[late], np.flatnonzero(late)
    good, ratio = pair_ratios(rows, on_us, late_us)
    log_ratio[which[good]] = ratio
    found = swing_of(ratio)
    return None if found is None else replace(found, unit="sixteenth")


def _swung_off_beats(fit: TakeFit, has: BoolArray) -> IntArray:
    """Strokes on the swung off-beat, in beats where nothing else finer than the beat was played."""
    decoded = fit.decoded
    on_part = has & (np.abs(decoded.part - fit.swing_part) < _SAME_PART)
    other = has & ~on_part & (decoded.part > 0)
    finer = np.bincount(decoded.row[other], minlength=int(decoded.row.max()) + 2) > 0
    return np.flatnonzero(on_part & ~finer[np.maximum(decoded.row, 0)])


def _off_beat_shift(laid: _StrokesOnPulses, decoded: DecodedStrokes, off: IntArray, on: IntArray) -> float:
    """How much later than the part read with the swung off-beats stand, against the beats, in pulses.

    The slot has to be where they stand on the whole: 3 ms aside (a ratio snapped to 2:1 or 3:1) puts half of that into the
    take's bias.
    """
    if off.size < _LEAST_TO_SHIFT or on.size < _LEAST_TO_SHIFT:
        return 0.0
    rest = laid.at - decoded.row - decoded.part - decoded.offset
    return float(np.clip(_middle(rest[off]) - _middle(rest[on]), -0.02, 0.02))


def _middle(values: FloatArray) -> float:
    """Mean without the tenth at either end: nearly as exact as the mean, and deaf to slips."""
    ordered = np.sort(values)
    edge = values.size // 10
    return float(ordered[edge : values.size - edge].mean())


def _swing(
    decoded: DecodedStrokes, off: IntArray, has: BoolArray, stroke_us: FloatArray, log_ratio: FloatArray
) -> Swing | None:
    """Ratio over the take, None where most of it is straight; fills ``log_ratio`` at the off-beats that gave one."""
    rows = np.arange(int(decoded.row.max()) + 2)
    on_us, off_us, which = np.full(rows.size, np.nan), np.full(rows.size, np.nan), np.full(rows.size, -1)
    on = np.flatnonzero(has & (decoded.part == 0.0))
    on_us[decoded.row[on]] = stroke_us[on]
    off_us[decoded.row[off]], which[decoded.row[off]] = stroke_us[off], off
    good, ratio = pair_ratios(rows, on_us, off_us)
    log_ratio[which[good]] = ratio
    straight = (
        has & np.isin(decoded.part, (0.25, 0.5, 0.75)) & (np.abs(decoded.part - decoded.part[off[0]]) > _SAME_PART)
    )
    dotted = abs(float(decoded.part[off[0]]) - 0.75) < _SAME_PART
    wanted = _DOTTED_SHARE if dotted else _SWUNG_SHARE
    return swing_of(ratio) if off.size >= wanted * int(straight.sum()) else None
