"""The drums as the leader: where kick and snare were at any place in the song, and who of several parts is early.

A band lands together with the drummer, not with the click that the drummer heard. So a leader's hits become a reference
time for every place, with its standard error: near hits it is nearly the leader, far from any it falls back to the
leader's level, and before anything was heard to the click.

Conventions: milliseconds, offsets are played minus click, negative is early; positions in quarter notes. Without a
calibrated route every absolute offset carries the same unknown delay; only differences between parts are known. Ours.

Inside: `LEADER_PITCHES`, `kick_and_snare`, `Leader`, `fit_leader`, `lag_behind`, `PairLead`, `who_leads`,
`merged_hits`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.leader.curve import LEVEL_SD_MS, SCALE_MS, CurveFit, fit_curve
from heeltap.analysis.statistics.estimates import Estimate, bias
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, freeze_columns
from heeltap.model.notes import Notes

__all__ = [
    "LEADER_PITCHES",
    "Leader",
    "PairLead",
    "fit_leader",
    "kick_and_snare",
    "lag_behind",
    "merged_hits",
    "who_leads",
]

LEADER_PITCHES = (35, 36, 37, 38, 40)
"""General MIDI percussion that leads: both bass drums, side stick, both snares."""

SAME_PLACE = 1.0 / 192.0
"""Two strokes within this share of a quarter are meant for the same place."""

SHARED = 16
"""Places that two parts must share before they are compared stroke by stroke."""

FAINT_MS = 1.0
"""A lead smaller than this is not called one: no route is calibrated better."""

WIDEN = 1.03
"""The model's own standard error covered 93.8 % of simulated references where 95 % were promised."""


@dataclass(frozen=True, slots=True, eq=False)
class Leader:
    """A leader's time; ask it for any place."""

    quarter: FloatArray
    """Places of the hits, quarter notes."""
    offset_ms: FloatArray
    """Played minus click of the hits."""
    fit: CurveFit | None
    """None for a leader without a hit."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length."""
        freeze_columns(self, ("quarter", "offset_ms"))

    def reference_ms_at(self, quarter: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Where the leader was against the click, and its standard error, ms, both shaped like ``quarter``.

        A silent leader gives the click with the error of not having heard anybody.

        Parameters
        ----------
        quarter : array_like
            Positions, quarter notes.

        Returns
        -------
        value, error : float64
            Milliseconds against the click, and standard error, shaped like ``quarter``.
        """
        places = np.atleast_1d(np.asarray(quarter, dtype=np.float64))
        if self.fit is None:
            return np.zeros(places.shape), np.full(places.shape, float(np.hypot(LEVEL_SD_MS, SCALE_MS)))
        flat, error = self.fit.at(places.ravel())
        return flat.reshape(places.shape), WIDEN * error.reshape(places.shape)


@dataclass(frozen=True, slots=True)
class PairLead:
    """Two parts against each other."""

    first: int
    """Index of a part."""
    second: int
    """Index of the other."""
    difference_ms: float | None
    """First minus second: negative where the first is early. None where they never meet."""
    ci95_ms: tuple[float, float] | None
    """None where too little was shared."""
    n: int
    """Strokes that it rests on."""
    early: int | None
    """Index of the part that is early; None: cannot tell."""
    shared: bool
    """True: from strokes at the same places; False: against the other part's slow curve."""


def kick_and_snare(notes: Notes, *, pitches: Sequence[int] = LEADER_PITCHES, channel: int | None = 9) -> Notes:
    """The notes that lead, of one channel (9 is shown to people as 10; None takes any).

    Parameters
    ----------
    notes : Notes
        A part or a whole file.
    pitches : sequence of int
        Drums that lead.
    channel : int or None
        0-15; None takes any.

    Returns
    -------
    Notes
        In the same order.
    """
    rows = np.isin(notes.pitch, np.asarray(pitches))
    return notes.pick(rows if channel is None else rows & (notes.channel == channel))


def fit_leader(leader_quarter: npt.ArrayLike, leader_offset_ms: npt.ArrayLike) -> Leader:
    """Learn a leader's time from kick and snare.

    Parameters
    ----------
    leader_quarter : float, shape (n,)
        Place each hit was meant for, quarter notes, any order.
    leader_offset_ms : float, shape (n,)
        Played minus click of each hit, ms. Several hits at one place (kick and snare together) count as one, their
        mean.

    Returns
    -------
    Leader
        Ask it for any position.

    Raises
    ------
    ValueError
        For arrays of different length or with values that are not finite.

    Notes
    -----
    Model and averaging: `heeltap.analysis.leader.curve`, ours. The time grows with the number of hits, about 0.1 ms each.
    """
    quarter, offset = _columns(leader_quarter, leader_offset_ms)
    if quarter.size == 0:
        return Leader(quarter, offset, None)
    quarter, offset = _merged(quarter, offset)
    return Leader(quarter, offset, fit_curve(quarter, offset))


def _columns(quarter: npt.ArrayLike, offset_ms: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Both as sorted float64 rows; `ValueError` where they do not belong together."""
    at, off = np.array(quarter, dtype=np.float64).ravel(), np.array(offset_ms, dtype=np.float64).ravel()
    if at.shape != off.shape or not (np.all(np.isfinite(at)) and np.all(np.isfinite(off))):
        raise ValueError(f"leader: found {at.size} places and {off.size} offsets; expected as many, all finite")
    order = np.argsort(at, kind="stable")
    return at[order], off[order]


def merged_hits(quarter: npt.ArrayLike, offset_ms: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """A part's hits, one row a place: the mean of what was struck there.

    Parameters
    ----------
    quarter : array_like, shape (n,)
        Quarter notes.
    offset_ms : array_like, shape (n,)
        Milliseconds.

    Returns
    -------
    quarter, offset_ms : float64, shape (places,)
        In order.

    Raises
    ------
    ValueError
        The two differ in length, or a value is not finite.
    """
    rows = _columns(quarter, offset_ms)
    return _merged(*rows) if rows[0].size else rows


def _merged(quarter: FloatArray, offset_ms: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One row a place: the mean of the hits there."""
    group: IntArray = np.cumsum(np.diff(quarter, prepend=-np.inf) > SAME_PLACE) - 1
    count = np.bincount(group)
    return np.bincount(group, quarter) / count, np.bincount(group, offset_ms) / count


def lag_behind(leader: Leader, quarter: npt.ArrayLike, offset_ms: npt.ArrayLike) -> Estimate:
    """Mean of a follower's offsets minus the leader's time, ms (positive: behind), with its interval.

    Strokes where the leader is little known (silent bars) are left out as long as others remain.

    Parameters
    ----------
    leader : Leader
        The leader's time.
    quarter : array_like, shape (n,)
        Positions of the follower's strokes, quarter notes.
    offset_ms : array_like, shape (n,)
        Their offsets, ms.

    Returns
    -------
    Estimate
        Milliseconds with a 95 % interval.

    Notes
    -----
    Ours.
    """
    at, off = _columns(quarter, offset_ms)
    reference, error = leader.reference_ms_at(at)
    return _mean(off - reference, _known(error))


def _known(error: FloatArray) -> BoolArray:
    """Strokes at which the reference is known about as well as at the better half of them."""
    return np.asarray(error <= 1.5 * np.quantile(error, 0.25)) if error.size else np.zeros(0, dtype=np.bool_)


def _mean(difference_ms: FloatArray, at: BoolArray) -> Estimate:
    """`bias` that also takes differences which are all the same: then there is nothing left open."""
    if difference_ms.size and float(np.ptp(difference_ms)) < 1e-9:
        value = float(difference_ms[0])
        return Estimate(value, (value, value), int(difference_ms.size))
    return bias(difference_ms, at)


def who_leads(parts: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]]) -> tuple[PairLead, ...]:
    """Every pair of parts: which of the two is early, or that it cannot be told.

    Parameters
    ----------
    parts : sequence of (quarter, offset_ms)
        Places and played-minus-click offsets of each part, against the same click and through the same route.

    Returns
    -------
    tuple of PairLead
        One row a pair of parts.

    Notes
    -----
    One of a pair is called early only where the whole 95 % interval of the mean difference lies beyond 1 ms. Two
    estimates are made: stroke by stroke at shared places (16 or more), and the part with fewer strokes against the
    other's slow curve; the one that leaves less open is given. Ours.
    """
    rows = [merged_hits(*part) for part in parts]
    return tuple(_pair(i, j, rows[i], rows[j]) for i in range(len(rows)) for j in range(i + 1, len(rows)))


def _pair(i: int, j: int, first: tuple[FloatArray, FloatArray], second: tuple[FloatArray, FloatArray]) -> PairLead:
    """One pair."""
    near = _nearest(first[0], second[0])
    met = near >= 0
    found, shared = _against_curve(first, second), False
    if int(met.sum()) >= SHARED:
        together = _mean(first[1][met] - second[1][near[met]], np.ones(int(met.sum()), dtype=np.bool_))
        if found.ci95 is None or (together.ci95 is not None and np.ptp(together.ci95) <= np.ptp(found.ci95)):
            found, shared = together, True
    early = None
    if found.ci95 is not None:
        early = i if found.ci95[1] < -FAINT_MS else j if found.ci95[0] > FAINT_MS else None
    return PairLead(i, j, found.value, found.ci95, found.n, early, shared)


def _against_curve(first: tuple[FloatArray, FloatArray], second: tuple[FloatArray, FloatArray]) -> Estimate:
    """First minus second, the one with fewer strokes held against the slow curve of the other."""
    if first[0].size < second[0].size:
        return lag_behind(fit_leader(*second), *first)
    back = lag_behind(fit_leader(*first), *second)
    flipped = None if back.ci95 is None else (-back.ci95[1], -back.ci95[0])
    return Estimate(None if back.value is None else -back.value, flipped, back.n, back.note)


def _nearest(quarter: FloatArray, others: FloatArray) -> IntArray:
    """For each place the row of the same place among the others, -1 where there is none."""
    if others.size == 0:
        return np.full(quarter.size, -1, dtype=np.int64)
    place = np.clip(np.searchsorted(others, quarter), 1, max(others.size - 1, 1))
    left, right = place - 1, np.minimum(place, others.size - 1)
    best = np.where(np.abs(others[left] - quarter) <= np.abs(others[right] - quarter), left, right)
    return np.where(np.abs(others[best] - quarter) <= SAME_PLACE, best, -1).astype(np.int64)
