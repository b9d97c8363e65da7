"""A recorded part as it would stand on paper: every note on its slot, with how long it is held and how long it sounds.

Conventions: ticks of 10,080 per quarter from bar 1, beat 1; held is the finger, sounding is finger or pedal.

Inside: `Written`, `written_already`, `on_written_slots`, `on_placed_slots`, `sounding_until_us`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import BoolArray, FloatArray, IntArray, freeze_columns
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Written", "on_placed_slots", "on_written_slots", "sounding_until_us", "written_already"]

_COLUMNS = ("at_tick", "held_tick", "sounding_tick", "pitch", "velocity")

_PARTS = np.unique(np.concatenate([np.arange(0, 9) / 8, np.arange(0, 7) / 6]))
"""Where notes are written inside a quarter: thirty-seconds and sixteenth triplets."""

_WRITTEN_SHARE = 0.9
"""A file whose note-ons lie on such places to nine tenths was written or quantised, not played: by chance it is an
eighth of them at 96 ticks a quarter, half at 24. Ours."""

_PEDAL_DOWN = 64
"""Controller values from here on are down (MIDI 1.0)."""


@dataclass(frozen=True, slots=True, eq=False)
class Written:
    """Notes in time order (by ``at_tick``, then pitch); columns are read-only and equally long."""

    at_tick: IntArray
    """The slot, 0 or later."""
    held_tick: IntArray
    """When the finger leaves, later than ``at_tick``."""
    sounding_tick: IntArray
    """When the sound ends, by finger or pedal; not before ``held_tick``."""
    pitch: IntArray
    velocity: IntArray
    """1-127."""
    swung: BoolArray
    """The late eighth of a swung beat."""
    swing_ratio: float = 1.0
    """Of the part; 1 is straight."""
    left_out: int = 0
    """Notes that fit no slot: ornaments and strays."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length or time runs backwards."""
        freeze_columns(self, (*_COLUMNS, "swung"))
        if np.any(np.diff(self.at_tick) < 0):
            raise ValueError("Written.at_tick must not decrease")

    def __len__(self) -> int:
        return int(self.at_tick.size)


def written_already(tick: npt.ArrayLike, ticks_per_quarter: int) -> bool:
    """Whether the note-ons of a file lie on written slots: a score or a quantised part, no performance.

    Parameters
    ----------
    tick : int, shape (n,)
        Note-ons.
    ticks_per_quarter : int

    Returns
    -------
    bool
    """
    part = np.mod(np.asarray(tick, np.int64), ticks_per_quarter)
    slots = np.round(_PARTS * ticks_per_quarter)
    return part.size > 0 and float(np.mean(np.isin(part, slots))) >= _WRITTEN_SHARE


def on_written_slots(
    quarter: FloatArray, held_quarter: FloatArray, sounding_quarter: FloatArray, pitch: IntArray, velocity: IntArray
) -> Written:
    """The part with each note on the nearest thirty-second or sixteenth triplet, its lengths kept.

    Parameters
    ----------
    quarter, held_quarter, sounding_quarter : float64, shape (n,)
        Start, end by the finger and end of the sound, quarter notes from bar 1, beat 1.
    pitch, velocity : int64, shape (n,)

    Returns
    -------
    Written
    """
    whole = np.floor(quarter)
    part = _PARTS[np.argmin(np.abs((quarter - whole)[:, None] - _PARTS[None, :]), axis=1)]
    swung = np.zeros(quarter.size, np.bool_)
    return _table(whole + part, quarter, held_quarter, sounding_quarter, pitch, velocity, swung, 1.0)


def on_placed_slots(
    slot: FloatArray,
    swung: BoolArray,
    swing_ratio: float,
    quarter: FloatArray,
    held_quarter: FloatArray,
    sounding_quarter: FloatArray,
    pitch: IntArray,
    velocity: IntArray,
) -> Written:
    """The part with each note on the slot that the quantiser found for it.

    Parameters
    ----------
    slot : float64, shape (n,)
        Quarter notes from bar 1, beat 1; notes with nan are left out.
    swung : bool, shape (n,)
        The late eighth of a swung beat.
    swing_ratio : float
        Of the part; 1 is straight.
    quarter, held_quarter, sounding_quarter : float64, shape (n,)
        As played: start, end by the finger and end of the sound; lengths are kept.
    pitch, velocity : int64, shape (n,)

    Returns
    -------
    Written
    """
    return _table(slot, quarter, held_quarter, sounding_quarter, pitch, velocity, swung, swing_ratio)


def _table(
    slot: FloatArray,
    quarter: FloatArray,
    held: FloatArray,
    sounding: FloatArray,
    pitch: IntArray,
    velocity: IntArray,
    swung: BoolArray,
    swing_ratio: float,
) -> Written:
    """The notes that have a slot, moved there whole, one a key and slot (the longest)."""
    keep = np.flatnonzero(np.isfinite(slot) & (np.nan_to_num(slot, nan=-1.0) > -1e-6))
    at = np.rint(slot[keep] * TICKS_PER_QUARTER).astype(np.int64)
    held_tick, sounding_tick = (
        at + np.maximum(np.rint((end[keep] - quarter[keep]) * TICKS_PER_QUARTER).astype(np.int64), 1)
        for end in (held, sounding)
    )
    sounding_tick = np.maximum(sounding_tick, held_tick)
    order = np.lexsort((-sounding_tick, pitch[keep], at))
    key = at[order] * 128 + pitch[keep][order]
    order = order[np.diff(key, prepend=-1) > 0]
    return Written(
        at[order],
        held_tick[order],
        sounding_tick[order],
        pitch[keep][order],
        velocity[keep][order],
        swung[keep][order],
        swing_ratio,
        int(quarter.size - keep.size),
    )


def sounding_until_us(
    onset_us: IntArray, held_us: IntArray, pitch: IntArray, pedal_us: IntArray, pedal_value: IntArray
) -> IntArray:
    """When each note stops sounding: when the finger leaves, or, with the pedal down then, when the pedal comes up.

    The same key struck again ends it in any case. A pedal that never comes up holds to the end.

    Parameters
    ----------
    onset_us, held_us, pitch : int64, shape (n,)
        Start and end by the finger in microseconds, and key; in time order.
    pedal_us, pedal_value : int64, shape (m,)
        Pedal messages in time order.

    Returns
    -------
    int64, shape (n,)
        Microseconds.
    """
    ends = held_us.copy()
    last = max(int(held_us.max(initial=0)), int(pedal_us.max(initial=0)))
    down = pedal_value >= _PEDAL_DOWN
    lifts = np.append(pedal_us[~down], last)
    state = np.searchsorted(pedal_us, held_us, side="right") - 1
    pedalled = (state >= 0) & down[np.maximum(state, 0)] if down.size else np.zeros(held_us.size, np.bool_)
    lift = lifts[np.minimum(np.searchsorted(lifts, held_us, side="right"), lifts.size - 1)]
    ends[pedalled] = np.maximum(lift, held_us)[pedalled]
    order = np.lexsort((onset_us, pitch))
    again = np.full(onset_us.size, np.iinfo(np.int64).max)
    same = np.flatnonzero(np.diff(pitch[order]) == 0)
    again[order[same]] = onset_us[order[same + 1]]
    clipped: IntArray = np.where(again > onset_us, np.minimum(ends, again), ends)
    return clipped
