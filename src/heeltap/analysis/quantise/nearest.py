"""The forced raster: every onset to its own nearest slot. No following, no folding, nothing left out. Ours.

Inside: `RASTERS`, `nearest_slots`, `half_way`.
"""

import numpy as np

from heeltap.model.arrays import FloatArray
from heeltap.model.timeline import MetreMap

__all__ = ["RASTERS", "half_way", "nearest_slots"]

RASTERS = (8, 12, 16, 24)
"""Slots a whole note: eighths, eighth triplets, sixteenths, sixteenth triplets."""

_TIE = 5e-6
"""Quarters within which two slots count as equally near: onsets are whole microseconds, so a note half-way between two
slots comes out up to 1 us to either side (2e-6 of a quarter at 120 bpm, 5e-6 at 300)."""


def nearest_slots(quarter: FloatArray, metre: MetreMap, grid: int) -> FloatArray:
    """Position in quarter notes of the slot nearest to each position; half-way goes to the earlier slot.

    Slots count from the bar line; the next bar line closes the bar also where it cuts a slot short.

    Parameters
    ----------
    quarter : float64, shape (n,)
        Positions, quarter notes.
    metre : MetreMap
        Where the bar lines are.
    grid : int
        Slots a whole note.

    Returns
    -------
    float64, shape (n,)
        Quarter notes.

    Raises
    ------
    ValueError
        When ``grid`` is not one of `RASTERS`.
    """
    if grid not in RASTERS:
        raise ValueError(f"grid: {grid!r}; expected one of {', '.join(map(str, RASTERS))} (slots a whole note)")
    step = 4.0 / grid
    bar, _ = metre.bar_beat(quarter)
    start = metre.quarter_of_bar(bar)
    end = metre.quarter_of_bar(bar + 1)
    slot = np.maximum(start + np.ceil((quarter - start) / step - 0.5 - _TIE / step) * step, start)
    over = (slot > end - 1e-9) | (end - quarter < quarter - slot - 2 * _TIE)
    return np.where(over, end, slot)


def half_way(quarter: FloatArray, slot: FloatArray, grid: int) -> int:
    """How many positions lie exactly half-way between two slots, so that neither is the nearer.

    Parameters
    ----------
    quarter, slot : float64, shape (n,)
        Positions and what `nearest_slots` gave them, quarter notes.
    grid : int
        Slots a whole note.

    Returns
    -------
    int
    """
    return int((np.abs(np.abs(quarter - slot) - 2.0 / grid) <= 2 * _TIE).sum())
