"""The table of raw note-ons: what every reader, port and take hands to the core.

Inside: `Notes`, `make_notes`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import IntArray, as_ints, freeze_columns

__all__ = ["Notes", "make_notes"]

_COLUMNS = ("onset_us", "pitch", "velocity", "channel", "track", "duration_us")


@dataclass(frozen=True, slots=True, eq=False)
class Notes:
    """Note-ons in time order, one row each; columns are read-only and equally long."""

    onset_us: IntArray
    """Microseconds from the start, not decreasing."""
    pitch: IntArray
    """Key number 0-127."""
    velocity: IntArray
    """1-127."""
    channel: IntArray
    """0-15 as on the wire; shown to people as 1-16."""
    track: IntArray
    """Index of the file's track from 0; 0 for live input."""
    duration_us: IntArray
    """Microseconds to the note-off; -1 when it never came."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length or time runs backwards."""
        freeze_columns(self, _COLUMNS)
        if np.any(np.diff(self.onset_us) < 0):
            raise ValueError("Notes.onset_us must not decrease")

    def __len__(self) -> int:
        return int(self.onset_us.size)

    def pick(self, rows: npt.NDArray[np.bool_] | npt.NDArray[np.int64]) -> "Notes":
        """The chosen rows as a new table.

        Parameters
        ----------
        rows : bool, shape (n,), or int64, shape (m,)
            A mask, or increasing indices.

        Returns
        -------
        Notes
        """
        return Notes(*(getattr(self, name)[rows] for name in _COLUMNS))


def make_notes(
    onset_us: npt.ArrayLike,
    pitch: npt.ArrayLike,
    velocity: npt.ArrayLike | None = None,
    *,
    channel: int = 0,
    duration_us: npt.ArrayLike | None = None,
) -> Notes:
    """A table from plain sequences in time order.

    Parameters
    ----------
    onset_us : int, shape (n,)
        Microseconds, not decreasing.
    pitch : int, shape (n,)
        Key numbers 0-127.
    velocity : int, shape (n,), optional
        1-127; 64 where not given.
    channel : int
        0-15, of every note.
    duration_us : int, shape (n,), optional
        Microseconds to the note-off; none came where not given.

    Returns
    -------
    Notes

    Raises
    ------
    ValueError
        Columns of different lengths, or time that runs backwards.
    """
    onset = as_ints(np.atleast_1d(np.asarray(onset_us)))
    full = np.full(onset.size, 1, np.int64)
    return Notes(
        onset,
        as_ints(np.atleast_1d(np.asarray(pitch))),
        64 * full if velocity is None else as_ints(np.atleast_1d(np.asarray(velocity))),
        channel * full,
        0 * full,
        -full if duration_us is None else as_ints(np.atleast_1d(np.asarray(duration_us))),
    )
