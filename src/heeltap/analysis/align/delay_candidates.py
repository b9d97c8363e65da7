"""Where a take may sit on its plan: candidates for the constant delay, and offsets that a lost player may have leapt to.

Both look at how often each time difference occurs between planned and played notes of one key: true offsets pile up,
chance ones do not.

Inside: `OffsetPrior`, `delay_candidates`, `leap_offsets`.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from heeltap.analysis.align.emissions import STEP_MS, OffsetRange
from heeltap.analysis.align.inputs import NoteSequence
from heeltap.analysis.align.player_model import PlayerModel
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["DELAY_MS", "LEAN_MS", "OffsetPrior", "delay_candidates", "leap_offsets"]

DELAY_MS = (-100.0, 330.0)
"""What an unknown delay may be: early players on fast gear to slow gear over a radio link."""

LEAN_MS = 80.0
"""How far from the delay a player may sit."""

_HOME_HALF_MS = 200
"""Half-width of the range around home."""

_LEAP_HALF_MS = 80
"""Half-width of the range around an offset that the player may have leapt to."""

_LEAP_MS = 6000.0
"""The farthest leap that is looked for: a bar of four at 40 bpm, two bars at 80."""

_BIN_MS = 20.0
_BELL = np.array([0.5, 0.9, 1.0, 0.9, 0.5])
"""How much differences up to 50 ms from the middle of a place count for it."""

_LEAST_LEAP_MS = 130.0
"""Nearer to home it is rushing, not a leap: half a beat at 230 bpm."""

_MOST_LEAPS = 8
"""Most places, beside home, that one take is searched at: time and memory grow with them."""

_WINDOWS = (8, 16)
"""Planned notes judged together when looking for a leap: few for a short one, more where chance fits are common."""


@dataclass(frozen=True, slots=True)
class OffsetPrior:
    """Prior of the running offset: the usual offset of the take (home), and offsets that the player may have leapt to."""

    home_ms: float
    leaps_ms: tuple[float, ...] = ()
    half_ms: int = _HOME_HALF_MS
    """Half-width of the stretch around home."""

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
        for leap in self.leaps_ms:
            out = np.minimum(out, player.lost_nats + self._pull(offset_ms - leap, player))
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
        around = [(self.home_ms, self.half_ms), *((leap, _LEAP_HALF_MS) for leap in self.leaps_ms)]
        cells: set[int] = set()
        for place, half in around:
            middle = STEP_MS * round(place / STEP_MS)
            cells.update(range(middle - half, middle + half + 1, STEP_MS))
        ordered = np.array(sorted(cells), np.int64)
        runs = np.split(ordered, np.flatnonzero(np.diff(ordered) > STEP_MS) + 1)
        return tuple(OffsetRange(int(run[0]), run.size) for run in runs)


def _differences(
    plan: NoteSequence, take: NoteSequence, rows: IntArray, low_ms: float, high_ms: float
) -> tuple[IntArray, FloatArray]:
    """Planned rows and played minus planned of all pairs of one key whose difference lies between the limits."""
    low = np.searchsorted(take.at_ms, plan.at_ms[rows] + low_ms)
    high = np.searchsorted(take.at_ms, plan.at_ms[rows] + high_ms, side="right")
    many = np.maximum(high - low, 0)
    planned = np.repeat(rows, many)
    played = np.arange(planned.size) - np.repeat(np.cumsum(many) - many, many) + np.repeat(low, many)
    same = (plan.pitch[planned] == take.pitch[played]) | (plan.pitch[planned] < 0)
    planned, played = planned[same], played[same]
    return planned, take.at_ms[played] - plan.at_ms[planned]


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
    _, difference = _differences(plan, take, rows, low, high)
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


def leap_offsets(plan: NoteSequence, take: NoteSequence, home_ms: float, clean: BoolArray) -> tuple[float, ...]:
    """Offsets in ms, away from home, at which some run of planned notes fits much better than at home.

    ``clean`` tells which planned notes were found at home on their own key.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    home_ms : float
        The usual offset, ms.
    clean : bool, shape (n,)
        Planned notes that were found there on their own key.

    Returns
    -------
    tuple of float
        At most eight offsets, ms, the commonest first.

    Notes
    -----
    Ours.
    """
    found: list[tuple[float, int]] = []
    total = np.concatenate([[0], np.cumsum(clean)])
    # Chance fits grow with the number of runs looked at: half a note more for every doubling beyond 1,000 notes.
    margin = 3.5 + 0.5 * np.log2(max(len(plan) / 1000.0, 1.0))
    for window in _WINDOWS:
        starts = np.arange(0, max(len(plan) - window // 2, 1), window // 2)
        ends = np.minimum(starts + window, len(plan))
        good, size = total[ends] - total[starts], ends - starts
        for row in np.flatnonzero((good < 0.8 * size) & (size >= 6)):
            need = max(0.6 * size[row], good[row] + max(margin, 0.25 * size[row]))
            rows = np.arange(starts[row], ends[row])
            found += [(offset, int(starts[row])) for offset in _fits(plan, take, rows, home_ms, float(need))]
    return _agreed(found)


def _agreed(found: list[tuple[float, int]]) -> tuple[float, ...]:
    """The offsets (of offset and first note of a run) that two runs near each other agree on, the commonest first."""
    if not found:
        return ()
    ordered = sorted(found)
    offset = np.array([one for one, _ in ordered])
    bounds = [0, *(np.flatnonzero(np.diff(offset) > 60.0) + 1).tolist(), offset.size]
    groups: list[tuple[int, float]] = []
    for low, high in pairwise(bounds):
        starts = np.sort([start for _, start in ordered[low:high]])
        support = int(np.sum(np.diff(starts) <= _WINDOWS[-1]))
        if support:
            groups.append((-support, float(np.median(offset[low:high]))))
    return tuple(offset for _, offset in sorted(groups)[:_MOST_LEAPS])


def _fits(plan: NoteSequence, take: NoteSequence, rows: IntArray, home_ms: float, need: float) -> list[float]:
    """The best two differences at which at least ``need`` of the planned notes have a played one."""
    _, difference = _differences(plan, take, rows, home_ms - _LEAP_MS, home_ms + _LEAP_MS)
    bins = int(2 * _LEAP_MS / _BIN_MS)
    count = np.histogram(difference - home_ms, bins, (-_LEAP_MS, _LEAP_MS))[0]
    wide = np.convolve(count, _BELL, mode="same")
    wide[np.abs(np.arange(bins) + 0.5 - bins / 2) * _BIN_MS < _LEAST_LEAP_MS] = 0
    out: list[float] = []
    for _ in range(2):
        best = int(np.argmax(wide))
        if wide[best] < need:
            break
        out.append(home_ms - _LEAP_MS + (best + 0.5) * _BIN_MS)
        wide[max(best - 5, 0) : best + 6] = 0
    return out
