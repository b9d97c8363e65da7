"""The basis of all noise models: the orthonormal type-II cosine transform and its inverse, along the first axis.

Ours, where no source is named.

Inside: `to_cosines`, `from_cosines`.
"""

import numpy as np

from heeltap.model.arrays import FloatArray

__all__ = ["from_cosines", "to_cosines"]


def to_cosines(columns: FloatArray) -> FloatArray:
    """Orthonormal type-II cosine transform along the first axis; coefficient 0 is sqrt(n) times the mean.

    Equals ``scipy.fft.dct(columns, axis=0, norm="ortho")``. Importing ``scipy.fft`` would make every ``heeltap score``
    27 ms slower (0.465 s instead of 0.437 s of processor time); its faster transform saves 1 ms on 500 strokes.

    Parameters
    ----------
    columns : float64, shape (n, ...)

    Returns
    -------
    float64, shape (n, ...)
        In the unit of ``columns``.
    """
    n = columns.shape[0]
    mirrored = np.concatenate((columns, columns[::-1]))
    turn = np.exp(-0.5j * np.pi * np.arange(n) / n).reshape((n,) + (1,) * (columns.ndim - 1))
    out: FloatArray = (np.fft.rfft(mirrored, axis=0)[:n] * turn).real / np.sqrt(2.0 * n)
    out[:1] /= np.sqrt(2.0)
    return out


def from_cosines(coefficients: FloatArray) -> FloatArray:
    """The inverse of `to_cosines`, along the first axis.

    Parameters
    ----------
    coefficients : float64, shape (n, ...)

    Returns
    -------
    float64, shape (n, ...)
        In the unit of ``coefficients``.
    """
    n = coefficients.shape[0]
    tail = (1,) * (coefficients.ndim - 1)
    turn = np.exp(0.5j * np.pi * np.arange(n) / n).reshape((n, *tail))
    spectrum = np.zeros((n + 1, *coefficients.shape[1:]), dtype=np.complex128)
    spectrum[:n] = coefficients * turn * np.sqrt(2.0 * n)
    spectrum[:1] *= np.sqrt(2.0)
    return np.asarray(np.fft.irfft(spectrum, 2 * n, axis=0)[:n])
