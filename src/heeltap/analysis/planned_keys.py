"""The planned times of each key, and at which places a take's notes would be found among them. Ours.

Inside: `PlannedKeys`, `differences`, `NEAR_US`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.plan import Plan

__all__ = ["NEAR_US", "PlannedKeys", "differences"]

NEAR_US, _TIGHT_US = 90_000, 30_000
"""A note is found where the plan has its key this near; nearer where the plan repeats the key quickly."""

_MOST_PAIRS = 3_000_000
"""Of more pairs of equal keys a part is enough."""

_BIN_US = 20_000
"""Width of the bins in which differences are counted."""

_MOST_BINS = 200_000
"""Bins that are laid out; a note days after the others would ask for billions."""

_KEY = 1 << 44
"""Distance between keys on the line on which times of all keys stand one behind the other."""


@dataclass(frozen=True, slots=True, eq=False)
class PlannedKeys:
    """The planned times of each key."""

    line: IntArray
    """``key * _KEY + time``, increasing."""
    near_us: FloatArray
    """How near a note of each key must lie, shape (128,)."""
    count: IntArray
    span_us: float

    @staticmethod
    def of(plan: Plan) -> "PlannedKeys":
        """Those of a plan with at least one note.

        Parameters
        ----------
        plan : Plan

        Returns
        -------
        PlannedKeys
        """
        line = np.unique(plan.pitch * _KEY + plan.at_us)
        key, gap = line // _KEY, np.diff(line)
        near = np.full(128, float(NEAR_US))
        for one in np.unique(key).tolist():
            gaps = gap[(key[1:] == one) & (key[:-1] == one)]
            if gaps.size:
                near[one] = np.clip(0.25 * np.quantile(gaps, 0.25), _TIGHT_US, NEAR_US)
        count = np.bincount(key, minlength=128)
        return PlannedKeys(line, near, count, float(max(int(np.ptp(plan.at_us)), 1)))

    def far_us(self, key: IntArray, at_us: IntArray) -> IntArray:
        """How far each note lies from the nearest planned one of its key, signed (positive is late).

        Parameters
        ----------
        key : int64, shape (n,)
        at_us : int64, shape (n,)
            Microseconds.

        Returns
        -------
        int64, shape (n,)
            Microseconds.
        """
        wanted = key * _KEY + at_us
        row = (
            np.clip(np.searchsorted(self.line, wanted), 1, self.line.size - 1)
            if self.line.size > 1
            else np.zeros(key.size, int)
        )
        before, after = wanted - self.line[row - 1], wanted - self.line[row]
        return np.asarray(np.where(np.abs(before) < np.abs(after), before, after), dtype=np.int64)

    def hit(self, key: IntArray, at_us: IntArray) -> BoolArray:
        """Which notes the plan has where they lie.

        Parameters
        ----------
        key : int64, shape (n,)
        at_us : int64, shape (n,)
            Microseconds.

        Returns
        -------
        bool, shape (n,)
        """
        inside = (key >= 0) & (key < 128)
        near = self.near_us[np.clip(key, 0, 127)]
        return np.asarray(inside & (np.abs(self.far_us(key, at_us)) <= near))

    def chance(self, key: IntArray) -> float:
        """How many of these notes would be hits at a place taken at random.

        Parameters
        ----------
        key : int64, shape (n,)

        Returns
        -------
        float
        """
        inside = np.clip(key, 0, 127)
        return float(np.minimum(2.0 * self.near_us[inside] * self.count[inside] / self.span_us, 1.0).sum())


def differences(planned: PlannedKeys, key: IntArray, at_us: IntArray) -> tuple[IntArray, FloatArray]:
    """Places (take minus plan) and how many notes would be found at each.

    Parameters
    ----------
    planned : PlannedKeys
    key, at_us : int64, shape (n,)
        Of the notes.

    Returns
    -------
    place_us : int64, shape (places,)
        Microseconds.
    count : float64, shape (places,)

    Notes
    -----
    Ours.
    """
    plan_key, plan_us = planned.line // _KEY, planned.line % _KEY
    pairs = int(planned.count[key[(key >= 0) & (key < 128)]].sum())
    every = max(1, -(-pairs // _MOST_PAIRS))
    key, at_us = key[::every], at_us[::every]
    found = [at_us[key == one][:, None] - plan_us[plan_key == one][None] for one in np.unique(key).tolist()]
    all_us = np.concatenate([one.ravel() for one in found]) if found else np.zeros(0, np.int64)
    if all_us.size == 0:
        return np.zeros(0, np.int64), np.zeros(0)
    if int(all_us.max()) // _BIN_US - int(all_us.min()) // _BIN_US > _MOST_BINS:
        return _sparse(all_us // _BIN_US)
    low = int(all_us.min()) // _BIN_US - 3
    count = np.bincount(all_us // _BIN_US - low, minlength=8).astype(float)
    smooth = np.convolve(count, [0.5, 1.0, 1.0, 1.0, 0.5], "same")
    return (np.arange(smooth.size) + low) * _BIN_US + _BIN_US // 2, smooth


def _sparse(bins: IntArray) -> tuple[IntArray, FloatArray]:
    """The same from the bins that are not empty, and their neighbours."""
    full, count = np.unique(bins, return_counts=True)
    near = np.unique(full[:, None] + np.arange(-2, 3)[None])
    smooth = np.zeros(near.size)
    for shift, weight in zip(range(-2, 3), (0.5, 1.0, 1.0, 1.0, 0.5), strict=True):
        smooth[np.searchsorted(near, full + shift)] += weight * count
    return near * _BIN_US + _BIN_US // 2, smooth
