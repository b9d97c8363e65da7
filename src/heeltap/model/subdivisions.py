"""The slots of a beat, by name: one table that the grid, the plan, the score and every report read.

Inside: `DIVISIONS` (names by code), `division_of` (name code of a position inside its beat).
"""

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import IntArray

__all__ = ["BEAT", "DIVISIONS", "EIGHTH", "FINE", "GRACE", "SIXTEENTH", "SWUNG", "TRIPLET", "division_of"]

DIVISIONS = ("beat", "eighth", "triplet", "sixteenth", "swung", "fine", "grace")
"""Names by code: on the beat; half-way; thirds; quarters; the late eighth of a swung beat; anything finer; an ornament."""

BEAT, EIGHTH, TRIPLET, SIXTEENTH, SWUNG, FINE, GRACE = range(7)

_SNAP = 1e-3
"""A position within a thousandth of a beat of a slot is that slot: far below a tick of any usual file."""


def division_of(beat: npt.ArrayLike, *, thirds: bool = False) -> IntArray:
    """Code into `DIVISIONS` of each position.

    Parameters
    ----------
    beat : float, any shape
        Position in the metre's beats from 1 (2.5 is half-way through beat 2).
    thirds : bool
        True in compound metres, where a beat divides by three: a third is then the plain division and is called
        ``triplet`` all the same.

    Returns
    -------
    int64, the shape of ``beat``

    Notes
    -----
    `SWUNG` cannot be read from a position alone: whoever knows the swing ratio sets it.
    """
    part = np.mod(np.asarray(beat, dtype=np.float64), 1.0)
    code = np.full(part.shape, FINE, dtype=np.int64)
    for steps, value in ((4, SIXTEENTH), (3, TRIPLET), (2, EIGHTH), (1, BEAT)):
        near = np.abs(part * steps - np.round(part * steps)) < _SNAP * steps
        code[near] = value
    if thirds:
        code[code == SIXTEENTH] = FINE
    return code
