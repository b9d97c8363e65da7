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
    """A new int64 array of the values; used wherever a table is built from plain Python numbers."""
    return np.array(values if isinstance(values, np.ndarray) else list(values), dtype=np.int64)


def freeze_columns(table: object, names: Iterable[str]) -> int:
    """Check that the named columns are 1-D and equally long, make them read-only, and return their length.

    A frozen dataclass still lets one write into its arrays; this closes that door. Raises `ValueError` naming the column.
    """
    length = -1
    for name in names:
        column: npt.NDArray[Any] = getattr(table, name)
        if column.ndim != 1 or length not in (-1, column.size):
            raise ValueError(f"{type(table).__name__}.{name} has shape {column.shape}; expected ({length},)")
        length = column.size
        column.setflags(write=False)
    return max(length, 0)
