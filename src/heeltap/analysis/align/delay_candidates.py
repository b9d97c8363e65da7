"""Where a take may sit on its plan: candidates for the constant delay, and the prior of the running offset.

The candidates come from how often each time difference occurs between planned and played notes of one key: true offsets
pile up, chance ones do not. Ours.

Inside: `Leap`, `OffsetPrior`, `differences`, `delay_candidates`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align.emissions import STEP_MS, OffsetRange
from heeltap.analysis.align.inputs import NoteSequence
from heeltap.analysis.align.player_model import PlayerModel
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["DELAY_MS", "LEAN_MS", "Leap", "OffsetPrior", "delay_candidates", "differences"]

DELAY_MS = (-100.0, 330.0)
"""What an unknown delay may be: early players on fast gear to slow gear over a radio link."""

LEAN_MS = 80.0
"""How far from the delay a player may sit."""

_HOME_HALF_MS = 200
"""Half-width of the range around home."""

_LEAP_HALF_MS = 80
"""Half-width of the range around an offset that the player may have leapt to."""


@dataclass(frozen=True, slots=True, eq=False)
class Leap:
    """An offset that the player may have leapt to, and who may have been there."""

    offset_ms: float
    free: BoolArray
    """Played notes that fit there with their neighbours, and not at home; shape (m,)."""


@dataclass(frozen=True, slots=True, eq=False)
class OffsetPrior:
    """Prior of the running offset: the usual offset of the take (home), and offsets that the player may have leapt to."""

    home_ms: float
    leaps: tuple[Leap, ...] = ()
    half_ms: int = _HOME_HALF_MS
    """Half-width of the stretch around home."""
    reach_ms: FloatArray | None = None
    """How far from home a played note may answer each planned one; None: as far as the stretch goes."""

    def cost(self, offset_ms: FloatArray, player: PlayerModel) -> FloatArray:
        """Nats that a stroke costs at each offset: the pull to the nearest place, and more where that is not home.

        Parameters
        ----------
        offset_ms : float64, shape (k,)
            Running offsets, ms.
        player : PlayerModel
            Scales of the pull.

        Returns
        -------
        float64, shape (k,)
            Nats, 0 at home.
        """
        out = self._pull(offset_ms - self.home_ms, player)
        for leap in self.leaps:
            out = np.minimum(out, player.lost_nats + self._pull(offset_ms - leap.offset_ms, player))
        return out

    @staticmethod
    def _pull(away_ms: FloatArray, player: PlayerModel) -> FloatArray:
        out: FloatArray = player.home_nats * (1.0 - np.exp(-0.5 * (away_ms / player.home_ms) ** 2))
        return out

    def ranges(self) -> tuple[OffsetRange, ...]:
        """Stretches of offsets that cover all places without overlapping.

        Returns
        -------
        tuple of OffsetRange
            In increasing order.
        """
        around = [(self.home_ms, self.half_ms), *((leap.offset_ms, _LEAP_HALF_MS) for leap in self.leaps)]
        cells: set[int] = set()
        for offset, half in around:
            middle = STEP_MS * round(offset / STEP_MS)
            cells.update(range(middle - half, middle + half + 1, STEP_MS))
        ordered = np.array(sorted(cells), np.int64)
        runs = np.split(ordered, np.flatnonzero(np.diff(ordered) > STEP_MS) + 1)
        return tuple(self._range(int(run[0]), run.size) for run in runs)

    def _range(self, first_ms: int, count: int) -> OffsetRange:
        """One stretch; around home alone the notes' reach is limited."""
        last_ms = first_ms + STEP_MS * (count - 1)
        alone = not any(first_ms <= leap.offset_ms <= last_ms for leap in self.leaps)
        reach_ms = self.reach_ms if alone and first_ms <= self.home_ms <= last_ms else None
        return OffsetRange(first_ms, count, self._free(first_ms, last_ms), self.home_ms, reach_ms)

    def _free(self, first_ms: int, last_ms: int) -> BoolArray | None:
        """Played notes that may belong to the offsets between these two; None where home is among them."""
        if first_ms <= self.home_ms <= last_ms:
            return None
        inside = [leap.free for leap in self.leaps if first_ms <= leap.offset_ms <= last_ms]
        return np.any(inside, axis=0) if inside else None


def differences(
    plan: NoteSequence, take: NoteSequence, rows: IntArray, low_ms: float, high_ms: float
) -> tuple[IntArray, IntArray, FloatArray]:
    """All pairs of one key whose time difference lies between the limits: both rows, and played minus planned.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    rows : int64, shape (k,)
        Planned notes to look at.
    low_ms, high_ms : float
        Limits of played minus planned, ms.

    Returns
    -------
    planned, played : int64, shape (pairs,)
        Rows of the plan and of the take.
    difference : float64, shape (pairs,)
        Milliseconds.
    """
    low = np.searchsorted(take.at_ms, plan.at_ms[rows] + low_ms)
    high = np.searchsorted(take.at_ms, plan.at_ms[rows] + high_ms, side="right")
    many = np.maximum(high - low, 0)
    planned = np.repeat(rows, many)
    played = np.arange(planned.size) - np.repeat(np.cumsum(many) - many, many) + np.repeat(low, many)
    same = (plan.pitch[planned] == take.pitch[played]) | (plan.pitch[planned] < 0)
    planned, played = planned[same], played[same]
    return planned, played, take.at_ms[played] - plan.at_ms[planned]


def delay_candidates(plan: NoteSequence, take: NoteSequence, delay_ms: tuple[float, float]) -> list[float]:
    """Likely middles of a take's offsets, ms, when the delay lies between the two given: the most frequent first.

    More than one where the plan repeats itself.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    delay_ms : (float, float)
        Least and greatest delay, ms; equal where it is known.

    Returns
    -------
    list of float
        At most 16 offsets, ms.

    Notes
    -----
    A smoothed histogram of time differences; ours.
    """
    low, high = delay_ms[0] - LEAN_MS, delay_ms[1] + LEAN_MS
    rows = np.arange(min(len(plan), 20_000))
    _, _, difference = differences(plan, take, rows, low, high)
    bins = int((high - low) / STEP_MS)
    count = np.histogram(difference, bins, (low, high))[0].astype(np.float64)
    bell = np.exp(-0.5 * (np.arange(-6, 7) / 2.5) ** 2)
    smoothed = np.convolve(count, bell, mode="same")
    if smoothed.max() <= 0:
        return [float(np.clip(0.0, *delay_ms))]
    padded = np.concatenate([[-1.0], smoothed, [-1.0]])
    peak = (smoothed >= padded[:-2]) & (smoothed > padded[2:]) & (smoothed >= 0.4 * smoothed.max())
    # Where the differences hardly pile up at all (sixteenths on one key, wide spread), any delay may be the one.
    if smoothed[3:-3].min() > 0.4 * smoothed.max():
        peak[2::4] = True
    centres = low + (np.arange(bins) + 0.5) * STEP_MS
    found = np.flatnonzero(peak)
    return [float(centres[row]) for row in found[np.argsort(-smoothed[found], kind="stable")][:16]]
