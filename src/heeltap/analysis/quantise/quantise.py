"""Strokes without a plan: for each the slot that was meant, how far from it the stroke fell, and how sure that is.

Conventions: times are microseconds on the click's clock (0 is bar 1, beat 1); offset is played minus slot, **negative
is early**; bars and beats count from 1. Where a stroke fits no slot its positions are nan and its bar is 0. Ours.

Inside: `Slots`, `quantise`.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from heeltap.analysis.quantise.decode import SlotColumns, decode_onsets
from heeltap.analysis.quantise.nearest import half_way, nearest_slots
from heeltap.analysis.quantise.pulses import TempoClock, as_clock, as_metre
from heeltap.analysis.whole_us import whole_us
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, freeze_columns
from heeltap.model.result import Swing
from heeltap.model.subdivisions import GRACE, division_of
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["Slots", "quantise"]

_COLUMNS = ("bar", "beat", "quarter", "division", "offset_ms", "confidence", "reference_us", "log_ratio")


@dataclass(frozen=True, slots=True, eq=False)
class Slots:
    """Where each onset belongs: columns of equal length in the order of the onsets given, then facts about the take."""

    bar: IntArray
    """From 1; 0 where the onset fits no slot."""
    beat: FloatArray
    """In the metre's own beats from 1 (2.5 is half-way through beat 2); nan where it fits no slot."""
    quarter: FloatArray
    """The slot in quarter notes from bar 1, beat 1; nan where it fits none."""
    division: IntArray
    """Code into `heeltap.model.subdivisions.DIVISIONS`; -1 where it fits no slot, `GRACE` for an ornament (which has
    none)."""
    offset_ms: FloatArray
    """Played minus slot, milliseconds, ``delay_ms`` already taken away; negative is early; nan where it fits no
    slot."""
    confidence: FloatArray
    """Probability, 0-1, that this slot was the one meant (for an onset without a slot: that it fits none)."""
    reference_us: IntArray
    """Time of the slot in microseconds, rounded; 0 where there is none."""
    log_ratio: FloatArray
    """At the off-beat of a swung beat that was played whole: natural logarithm of long over short; nan elsewhere."""
    swing: Swing | None
    """Ratio of the long to the short eighth over the take; None where the take does not swing."""
    tempo_scale: float = 1.0
    """Tempo as played over the tempo given; 1 where the given tempo holds. Offsets are from the slots at the tempo given."""
    on_grid: bool = True
    """False: the onsets follow this click no better than chance would, and the slots mean nothing."""
    reason: str = ""
    """Why ``on_grid`` is False, in words."""
    warnings: tuple[str, ...] = field(default=())
    """What the reader has to know, in sentences."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length."""
        freeze_columns(self, _COLUMNS)

    def __len__(self) -> int:
        return int(self.beat.size)

    @property
    def placed(self) -> BoolArray:
        """True where the onset has a slot."""
        return np.isfinite(self.quarter)


def quantise(
    take_us: npt.ArrayLike,
    tempo: TempoMap | float,
    metre: MetreMap | str | tuple[int, int],
    grid: int | None = None,
    *,
    take_pitch: npt.ArrayLike | None = None,
    take_velocity: npt.ArrayLike | None = None,
    delay_ms: float = 0.0,
    delay_known: bool = False,
) -> Slots:
    """Find the slot that each onset was meant for.

    Parameters
    ----------
    take_us : int, shape (n,)
        Onsets in microseconds on the click's clock, in any order.
    tempo : TempoMap or float
        A map, or quarter notes a minute.
    metre : MetreMap, str or (int, int)
        A map, ``"6/8"`` or ``(6, 8)``.
    grid : 8, 12, 16 or 24, optional
        Force a plain raster of so many slots a whole note: every onset goes to its own nearest slot, half-way to the
        earlier one. Without it the slots are read from the take.
    take_pitch, take_velocity : int, shape (n,), optional
        Keys and loudness; they only help to tell an ornament (the same key twice, the first softer) from a chord.
    delay_ms : float
        Known constant delay, milliseconds, taken away from every onset first.
    delay_known : bool
        Whether that is all the delay that there is: then nobody is 80 ms late by the gear alone.

    Returns
    -------
    Slots
        One row an onset, in the order given.

    Raises
    ------
    ValueError
        When an argument is out of its range or the columns differ in length.

    Examples
    --------
    >>> slots = place([0, 490_000, 1_010_000, 1_500_000], 120.0, "4/4", grid=8)
    >>> slots.beat.tolist(), slots.offset_ms.tolist()
    ([1.0, 2.0, 3.0, 4.0], [0.0, -10.0, 10.0, 0.0])
    """
    onset = whole_us(take_us, "take_us").astype(np.float64) - 1000.0 * delay_ms
    clock, metres = as_clock(tempo), as_metre(metre)
    if grid is not None:
        return _slots(onset, clock, metres, _on_raster(clock.quarter_at(onset), metres, grid))
    order = np.argsort(onset, kind="stable")
    back = np.argsort(order, kind="stable")
    columns = [
        _column(one, onset.size, name) for one, name in ((take_pitch, "take_pitch"), (take_velocity, "take_velocity"))
    ]
    pitch, velocity = (None if one is None else one[order] for one in columns)
    found = decode_onsets(onset[order], clock, metres, pitch, velocity, delay_known=delay_known)
    return _slots(onset, clock, metres, found.reorder(back))


def _on_raster(quarter: FloatArray, metre: MetreMap, grid: int) -> SlotColumns:
    """The nearest slot of each position, with a warning where some lie half-way between two."""
    slot, even = nearest_slots(quarter, metre, grid), np.ones(quarter.size)
    columns = SlotColumns(slot, even, np.full(quarter.size, -2), np.full(quarter.size, np.nan))
    between = half_way(quarter, slot, grid)
    if not between:
        return columns
    lie = "note lies" if between == 1 else "notes lie"
    warning = (
        f"{between} {lie} exactly half-way between two slots of --grid {grid}: heeltap gave each to the earlier one"
    )
    return replace(columns, warnings=(warning,))


def _column(values: npt.ArrayLike | None, size: int, name: str) -> IntArray | None:
    if values is None:
        return None
    column = np.asarray(values, dtype=np.int64).ravel()
    if column.size != size:
        raise ValueError(f"{name}: {column.size} values; expected {size}, one for each onset")
    return column


def _slots(onset: FloatArray, clock: TempoClock, metre: MetreMap, found: SlotColumns) -> Slots:
    """Positions to bars, beats, times and offsets; each is computed from the exact position and rounded last."""
    has = np.isfinite(found.quarter)
    quarter = np.where(has, found.quarter, 0.0)
    bar, beat = metre.bar_beat(quarter)
    slot_us = clock.us_at_quarter(quarter)
    compound = np.array([one.beat_quarters in (1.5, 0.75) for one in metre.metres])[metre.row_at(quarter)]
    code = np.where(compound, division_of(beat, thirds=True), division_of(beat))
    code = np.where(found.code >= 0, found.code, code)
    code = np.where(has, code, np.where(found.code == GRACE, GRACE, -1))
    return Slots(
        bar=np.where(has, bar, 0),
        beat=np.where(has, beat, np.nan),
        quarter=found.quarter.copy(),
        division=code,
        offset_ms=np.where(has, (onset - slot_us) / 1000.0, np.nan),
        confidence=found.chance.copy(),
        reference_us=np.where(has, np.round(slot_us), 0).astype(np.int64),
        log_ratio=found.log_ratio.copy(),
        swing=found.swing,
        tempo_scale=found.tempo_scale,
        on_grid=found.on_grid,
        reason=found.reason,
        warnings=found.warnings,
    )
