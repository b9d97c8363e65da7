"""One check for every public function that takes times: whole microseconds, never a guess at the unit.

Inside: `whole_us`.
"""

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import IntArray

__all__ = ["whole_us"]


def whole_us(times: npt.ArrayLike, name: str) -> IntArray:
    """The times as int64 microseconds, refused unless they are whole numbers.

    Parameters
    ----------
    times : array_like of int, shape (n,)
        Python or numpy integers, microseconds.
    name : str
        The parameter's name, for the message.

    Returns
    -------
    int64, shape (n,)
        Microseconds.

    Raises
    ------
    ValueError
        For floating numbers (their unit would have to be guessed), other types and other shapes.

    Notes
    -----
    Ours. Floating seconds and the same numbers as whole microseconds used to give two different matches.

    Examples
    --------
    >>> whole_us([0, 500_000], "take_us").tolist()
    [0, 500000]
    """
    array = np.asarray(times)
    if array.ndim != 1:
        raise ValueError(f"{name}: shape {array.shape}; expected one dimension")
    if array.size == 0:
        return np.zeros(0, np.int64)
    if array.dtype.kind == "f":
        raise ValueError(
            f"{name}: floating numbers; expected whole microseconds as integers"
            " (for seconds pass np.round(1e6 * seconds).astype(np.int64))"
        )
    if array.dtype.kind not in "iu":
        raise ValueError(f"{name}: type {array.dtype}; expected whole microseconds as integers")
    return array.astype(np.int64)
