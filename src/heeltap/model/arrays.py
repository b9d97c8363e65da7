"""Array types and the checks that every table of equally long columns makes.

Floats are float64, whole numbers int64, never float32: one rounding rule for the whole program.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["BoolArray", "FloatArray", "IntArray", "as_ints", "freeze_columns"]

IntArray = npt.NDArray[np.int64]
"""Whole numbers: microseconds, ticks, indices, pitches."""

FloatArray = npt.NDArray[np.float64]
"""Milliseconds, probabilities, beats."""

BoolArray = npt.NDArray[np.bool_]
"""One flag a row."""


def as_ints(values: Iterable[int] | npt.NDArray[Any]) -> IntArray:
    """A new int64 array of the values: how every table is built from plain Python numbers.

    Parameters
    ----------
    values : iterable of int, or array
        Any shape when it is an array.

    Returns
    -------
    int64 array
        A copy; the same shape as an array, else shape (n,).
    """
    return np.array(values if isinstance(values, np.ndarray) else list(values), dtype=np.int64)


def freeze_columns(table: object, names: Iterable[str]) -> int:
    """The common length of the named columns, after making them read-only.

    A frozen dataclass still lets a caller write into its arrays; this closes that door.

    Parameters
    ----------
    table : object
        A dataclass whose columns are numpy arrays.
    names : iterable of str
        Its columns.

    Returns
    -------
    int
        Rows; 0 for no column.

    Raises
    ------
    ValueError
        A column is not 1-D or has another length than the first; the message names it.
    """
    length = -1
    for name in names:
        column: npt.NDArray[Any] = getattr(table, name)
        if column.ndim != 1 or length not in (-1, column.size):
            raise ValueError(f"{type(table).__name__}.{name} has shape {column.shape}; expected ({length},)")
        length = column.size
        column.setflags(write=False)
    return max(length, 0)
