"""What the grid is built from: the clock, the pulses of the metre, and notes struck together grouped into strokes.

Conventions: a position is in quarter notes from tick 0; a *pulse* is the span that the model reads at once (the
metre's beat, or its quarters where the beat is longer than a dotted quarter); ``position`` counts pulses as a float from
the first one. Ours.

Inside: `TempoClock`, `interpolate`, `as_clock`, `as_metre`, `PulseTable`, `pulses_under`, `playable`, `group_chords`,
`PLAYABLE_MS`.
"""

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre

__all__ = [
    "PLAYABLE_MS",
    "PulseTable",
    "TempoClock",
    "as_clock",
    "as_metre",
    "group_chords",
    "interpolate",
    "playable",
    "pulses_under",
]

_US_PER_MINUTE = 60_000_000.0

PLAYABLE_MS = (30.0, 6_000.0)
"""Lengths of a pulse on which strokes can be read, milliseconds: 2,000 to 10 a minute. A file may say 60 million. Ours."""


@dataclass(frozen=True, eq=False)
class TempoClock:
    """Time against position. A plain tempo stays exact: rounded to whole microseconds it would cost 0.7 ms in a long
    take."""

    tempo: TempoMap | None
    """The map, or None for one steady tempo."""
    us_per_quarter: float
    """The steady tempo; not read where there is a map."""
    warp: tuple[FloatArray, FloatArray] | None = None
    """Correction of a wrong tempo: positions as written and as played, quarter notes, both increasing."""

    def quarter_at(self, us: npt.ArrayLike) -> FloatArray:
        """Position of each time in microseconds, in quarter notes.

        Parameters
        ----------
        us : array_like
            Times, microseconds.

        Returns
        -------
        float64
            Quarter notes, shaped like ``us``.
        """
        times = np.asarray(us, dtype=np.float64)
        quarters = times / self.us_per_quarter if self.tempo is None else self.tempo.quarter_at(times)
        return quarters if self.warp is None else interpolate(quarters, *self.warp)

    def us_at_quarter(self, quarter: npt.ArrayLike) -> FloatArray:
        """Time of each position in quarter notes, in microseconds (a float): the inverse of `quarter_at`.

        Parameters
        ----------
        quarter : array_like
            Positions, quarter notes.

        Returns
        -------
        float64
            Microseconds, shaped like ``quarter``.
        """
        quarters = np.asarray(quarter, dtype=np.float64)
        if self.warp is not None:
            quarters = interpolate(quarters, self.warp[1], self.warp[0])
        return quarters * self.us_per_quarter if self.tempo is None else self.tempo.us_at_quarter(quarters)


def interpolate(at: FloatArray, known: FloatArray, wanted: FloatArray) -> FloatArray:
    """Piecewise linear from ``known`` to ``wanted``; beyond the ends the outer slopes go on.

    Parameters
    ----------
    at : float64, shape (n,)
        Where a value is wanted.
    known, wanted : float64, shape (k,)
        Corners, ``known`` increasing.

    Returns
    -------
    float64, shape (n,)
        In the unit of ``wanted``.
    """
    inside = np.interp(at, known, wanted)
    first = (wanted[1] - wanted[0]) / (known[1] - known[0])
    last = (wanted[-1] - wanted[-2]) / (known[-1] - known[-2])
    inside = np.where(at < known[0], wanted[0] + (at - known[0]) * first, inside)
    return np.where(at > known[-1], wanted[-1] + (at - known[-1]) * last, inside)


def as_clock(tempo: TempoMap | float) -> TempoClock:
    """A clock from a map or a number (quarter notes a minute).

    Parameters
    ----------
    tempo : TempoMap or float
        A map, or quarter notes a minute.

    Returns
    -------
    TempoClock
        Exact for a plain number.

    Raises
    ------
    ValueError
        A number outside 1 to 1,000.
    """
    if isinstance(tempo, TempoMap):
        return TempoClock(tempo, float(tempo.us_per_quarter[0]))
    bpm = float(tempo)
    if not 1.0 <= bpm <= 1000.0:
        raise ValueError(f"tempo: {bpm:g}; expected 1 to 1000 quarter notes a minute")
    return TempoClock(None, _US_PER_MINUTE / bpm)


def as_metre(metre: MetreMap | str | tuple[int, int]) -> MetreMap:
    """A metre map from a map, ``"6/8"`` or ``(6, 8)``.

    Parameters
    ----------
    metre : MetreMap, str or (int, int)
        A map, ``"6/8"`` or ``(6, 8)``.

    Returns
    -------
    MetreMap
        One metre throughout unless a map was given.

    Raises
    ------
    ValueError
        Anything else.
    """
    if isinstance(metre, MetreMap):
        return metre
    parts = metre.split("/") if isinstance(metre, str) else list(metre)
    try:
        count, unit = (int(part) for part in parts)
    except (TypeError, ValueError) as error:
        raise ValueError(f"metre: {metre!r}; expected a form like '4/4' or (4, 4)") from error
    if not (1 <= count <= 64 and unit in (1, 2, 4, 8, 16, 32)):
        raise ValueError(f"metre: {count}/{unit}; expected 1 to 64 units of 1, 2, 4, 8, 16 or 32")
    return steady_metre(count, unit)


_LAST_PART = 1.0 - 1e-9


@dataclass(frozen=True, eq=False)
class PulseTable:
    """The pulses under a take, one row each, in order."""

    start: FloatArray
    """Quarter notes from tick 0; the first rows may be negative, for a stroke ahead of the first beat."""
    length: FloatArray
    """Quarter notes."""
    ms: FloatArray
    """Length in milliseconds."""
    thirds: npt.NDArray[np.bool_]
    """True where the pulse divides by three of itself (6/8, 9/8, 12/8)."""
    bar: IntArray
    """Bar of each pulse, from 1 (0 and below ahead of the first)."""
    in_bar: IntArray
    """Index of the pulse in its bar, from 0."""

    @cached_property
    def median_ms(self) -> float:
        """The usual length in milliseconds, within what strokes can be read on (`PLAYABLE_MS`)."""
        return float(np.clip(np.median(self.ms), *PLAYABLE_MS))

    def pick(self, first: int, end: int) -> "PulseTable":
        """The rows from ``first`` up to ``end`` (not included).

        Parameters
        ----------
        first, end : int
            Rows.

        Returns
        -------
        PulseTable
            A part of the table.
        """
        return PulseTable(*(getattr(self, f.name)[first:end] for f in fields(self)))

    def position_of(self, quarter: FloatArray) -> FloatArray:
        """Positions in pulses from the first row.

        Parameters
        ----------
        quarter : float64, shape (n,)
            Quarter notes.

        Returns
        -------
        float64, shape (n,)
            Pulses.
        """
        row = np.clip(np.searchsorted(self.start, quarter, side="right") - 1, 0, self.start.size - 1)
        # Where two notes of a chord lie on either side of a rest that is not laid out, their middle lies on no row.
        return np.asarray(row + np.clip((quarter - self.start[row]) / self.length[row], 0.0, _LAST_PART), np.float64)

    def quarter_of(self, row: IntArray, part: FloatArray) -> FloatArray:
        """Quarter notes of a fraction of a pulse; rows past the end go on at the last length.

        Parameters
        ----------
        row : int64, shape (n,)
            Pulses.
        part : float64, shape (n,)
            Fractions of them, 0-1.

        Returns
        -------
        float64, shape (n,)
            Quarter notes.
        """
        inside = np.clip(row, 0, self.start.size - 1)
        return self.start[inside] + (part + (row - inside)) * self.length[inside]


_LONGEST_REST = 128
"""Pulses of rest that are laid out in full; from longer ones the middle is left out, so that a take's cost follows its
strokes and not a stray note an hour later."""


def pulses_under(metre: MetreMap, clock: TempoClock, quarter: FloatArray) -> PulseTable:
    """Pulses under strokes at these positions (increasing): from two before the first to two after the last.

    Parameters
    ----------
    metre : MetreMap
        The metre.
    clock : TempoClock
        The clock, for lengths in ms.
    quarter : float64, shape (strokes,)
        Positions, quarter notes, increasing.

    Returns
    -------
    PulseTable
        In order.
    """
    starts: list[FloatArray] = []
    lengths: list[FloatArray] = []
    thirds: list[npt.NDArray[np.bool_]] = []
    ends = np.append(metre.at_quarter[1:], np.inf)
    for row, one in enumerate(metre.metres):
        length = _pulse_quarters(one)
        low, high = metre.at_quarter[row], min(ends[row], quarter[-1] + 3.0 * length)
        last = int(np.ceil((high - low) / length - 1e-9))
        least = 0 if row else int(np.floor((quarter[0] - low) / length)) - 2
        start = low + length * _near(np.floor((quarter - low) / length).astype(np.int64), least, last)
        starts.append(start)
        lengths.append(np.full(start.size, length))
        thirds.append(np.full(start.size, one.beat_quarters in (1.5, 0.75) and one.count % 3 == 0))
    at, long = np.concatenate(starts), np.concatenate(lengths)
    ms = (clock.us_at_quarter(at + long) - clock.us_at_quarter(at)) / 1000.0
    bar, _ = metre.bar_beat(at)
    in_bar = np.round((at - metre.quarter_of_bar(bar)) / long).astype(np.int64)
    return PulseTable(at, long, ms, np.concatenate(thirds), bar, in_bar)


def _pulse_quarters(metre: Metre) -> float:
    """Length of a pulse of this metre, quarter notes."""
    return metre.beat_quarters if metre.beat_quarters <= 1.5 else 1.0


def playable(metre: MetreMap, clock: TempoClock, quarter: FloatArray) -> npt.NDArray[np.bool_]:
    """Which positions lie where a beat is long and short enough for a stroke to be read on it.

    Parameters
    ----------
    metre : MetreMap
        The metre.
    clock : TempoClock
        The clock.
    quarter : float64, shape (n,)
        Positions, quarter notes.

    Returns
    -------
    bool, shape (n,)
        True within `PLAYABLE_MS`.

    Notes
    -----
    Ours.
    """
    pulse = np.array([_pulse_quarters(one) for one in metre.metres])[metre.row_at(quarter)]
    ms = (clock.us_at_quarter(quarter + pulse / 2) - clock.us_at_quarter(quarter - pulse / 2)) / 1000.0
    return np.asarray((ms >= PLAYABLE_MS[0]) & (ms <= PLAYABLE_MS[1]))


def _near(row: IntArray, least: int, last: int) -> IntArray:
    """Rows from ``least`` up to ``last`` (not included) without the middle of long stretches where no stroke falls."""
    marks = np.unique(np.clip(np.concatenate([row, [least, last]]), least, max(last, least)))
    wide = np.flatnonzero(np.diff(marks) > _LONGEST_REST)
    opens = np.concatenate([[least], marks[wide + 1] - 3])
    closes = np.concatenate([marks[wide] + 4, [last]])
    spans = [np.arange(first, end) for first, end in zip(opens, closes, strict=True) if end > first]
    return np.concatenate(spans).astype(np.int64) if spans else np.zeros(0, np.int64)


def group_chords(onset_us: FloatArray, window_us: float) -> IntArray:
    """Index of the cluster of each onset (time order): a note within the window of its cluster's first joins it.

    Parameters
    ----------
    onset_us : float64, shape (n,)
        Times, microseconds, in order.
    window_us : float
        Longest time from the first note of a stroke.

    Returns
    -------
    int64, shape (n,)
        Stroke of each onset, from 0.

    Notes
    -----
    Ours.
    """
    gaps = np.flatnonzero(np.diff(onset_us) > window_us) + 1
    label = np.zeros(onset_us.size, np.int64)
    label[gaps] = 1
    label = np.cumsum(label)
    first = onset_us[np.concatenate([np.zeros(1, np.int64), gaps])] if onset_us.size else onset_us
    if onset_us.size == 0 or not np.any(onset_us - first[label] > window_us):
        return label
    return _group_long_chains(onset_us, window_us)


def _group_long_chains(onset_us: FloatArray, window_us: float) -> IntArray:
    """`group_chords` where a chain of notes is longer than the window: note by note."""
    label, first, out = -1, -np.inf, []
    for onset in onset_us.tolist():
        if onset - first > window_us:
            label, first = label + 1, onset
        out.append(label)
    return np.array(out, dtype=np.int64)
