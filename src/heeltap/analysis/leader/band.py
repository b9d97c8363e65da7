"""A band's hits: who comes first where all play, how wide a hit is, and what that costs its attack.

Each attack is taken for an exponential decay of one loudness; the peak of their sum is held against the same attacks at one
moment. Sounds differ, so the figure compares takes of one song and nothing else. Above 0.1325 / spread the attacks no longer
add in amplitude (a Gaussian spread s leaves exp(-(2 pi f s)^2 / 2) = 1 / sqrt 2 of their sum there). Formulas derived, ours.

Inside: `BandHits`, `band_hits`, `DECAY_MS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.leader.leader import SAME_PLACE, SHARED, merged_hits
from heeltap.model.arrays import FloatArray

__all__ = ["DECAY_MS", "BandHits", "band_hits"]

DECAY_MS = 10.0
"""Of an attack, to 1/e. Ours; it decides how much a width costs, not which of two takes is tighter."""

_ADDS_UP_TO = 132.5
"""Hertz times milliseconds: sqrt(ln 2) / 2 pi, in these units."""


@dataclass(frozen=True, slots=True)
class BandHits:
    """Hits that all parts play."""

    n: int
    first: tuple[int, ...]
    """How often each part comes first, in the order of the parts."""
    width_ms: float
    """Median from the first to the last part of a hit."""
    loss_db: float
    """Median of how far the attack's peak lies below that of a hit at one moment; 0 or more."""
    adds_up_to_hz: float
    """Above this the parts' attacks no longer add in amplitude; infinite where they are at one moment."""


def band_hits(parts: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]]) -> BandHits | None:
    """What is to be said of the hits that all parts share.

    Parameters
    ----------
    parts : sequence of (quarter, offset_ms)
        Places, quarter notes, and played minus click of each part, ms; two parts or more.

    Returns
    -------
    BandHits or None
        None with fewer than 16 shared hits.

    Raises
    ------
    ValueError
        Columns that do not belong together, or fewer than two parts.
    """
    if len(parts) < 2:
        raise ValueError(f"band_hits: found {len(parts)} parts; expected two or more")
    at_ms = _shared(parts)
    if len(at_ms) < SHARED:
        return None
    first = np.bincount(np.argmin(at_ms, axis=1), minlength=len(parts))
    spread_ms = float(np.sqrt(np.mean(np.var(at_ms, axis=1, ddof=1))))
    return BandHits(
        n=len(at_ms),
        first=tuple(int(count) for count in first),
        width_ms=float(np.median(np.ptp(at_ms, axis=1))),
        loss_db=float(np.median(_loss_db(at_ms))),
        adds_up_to_hz=_ADDS_UP_TO / spread_ms if spread_ms > 0 else float("inf"),
    )


def _shared(parts: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]]) -> FloatArray:
    """Offsets at the places that all parts have, shape (hits, parts)."""
    rows = [merged_hits(*part) for part in parts]
    codes = [np.rint(quarter / SAME_PLACE).astype(np.int64) for quarter, _ in rows]
    common = codes[0]
    for code in codes[1:]:
        near = np.isin(common, code) | np.isin(common, code - 1) | np.isin(common, code + 1)
        common = common[near]
    columns = []
    for code, (_, offset_ms) in zip(codes, rows, strict=True):
        nearest = np.clip(np.searchsorted(code, common), 0, max(code.size - 1, 0))
        before = np.clip(nearest - 1, 0, None)
        nearer = np.abs(code[before] - common) < np.abs(code[nearest] - common) if code.size else nearest == 0
        columns.append(offset_ms[np.where(nearer, before, nearest)] if code.size else np.zeros(0))
    return np.column_stack(columns)


def _loss_db(at_ms: FloatArray) -> FloatArray:
    """How far each hit's peak lies below the peak of as many attacks at one moment, dB."""
    order = np.sort(at_ms, axis=1)
    level, peak = np.ones(len(order)), np.ones(len(order))
    for part in range(1, order.shape[1]):
        level = level * np.exp(-(order[:, part] - order[:, part - 1]) / DECAY_MS) + 1.0
        peak = np.maximum(peak, level)
    loss: FloatArray = 20.0 * np.log10(order.shape[1] / peak)
    return loss
