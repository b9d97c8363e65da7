"""Parts on their slots, written out by hand, for tests of what is made simpler."""

import numpy as np

from heeltap.course.simplify.notation import Written
from heeltap.model.arrays import as_ints
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Row", "written"]

Row = tuple[float, float, int] | tuple[float, float, int, float]
"""Start, finger's end, key, and where the pedal holds on the end of the sound; quarter notes from 0."""


def written(*rows: Row, loud: tuple[int, ...] = (), swung: tuple[float, ...] = (), swing_ratio: float = 1.0) -> Written:
    """The notes of the rows; keys in ``loud`` are struck harder, those that start at a place in ``swung`` are late eighths
    of swung beats."""
    ordered = sorted(rows, key=lambda row: (row[0], row[2]))
    ticks = [
        [round(at * TICKS_PER_QUARTER) for at in (row[0], row[1], row[3] if len(row) > 3 else row[1])]
        for row in ordered
    ]
    late = {round(at * TICKS_PER_QUARTER) for at in swung}
    return Written(
        as_ints(start for start, _, _ in ticks),
        as_ints(held for _, held, _ in ticks),
        as_ints(sound for _, _, sound in ticks),
        as_ints(row[2] for row in ordered),
        as_ints(110 if row[2] in loud else 80 for row in ordered),
        np.array([start in late for start, _, _ in ticks], np.bool_),
        swing_ratio,
    )
