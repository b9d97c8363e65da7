"""Tempo and metre: where a tick falls in time, and which bar and beat it is.

Conventions
-----------
* A map counts ticks in its own ``ticks_per_quarter``: a file keeps the resolution that it was written in, everything
that
  heeltap makes uses `heeltap.units.TICKS_PER_QUARTER`. So no position is ever rounded on the way in.
* Time is int64 microseconds from tick 0. Each conversion rounds once, however many tempo changes lie before it.
* Bars and beats count from 1. A beat is the metre's own: the dotted quarter in 6/8, 9/8 and 12/8, else the written
unit.

Inside: `TempoMap`, `MetreMap`, `Metre`, the builders `steady_tempo` and `steady_metre`, and `bar_starts_us`.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray, IntArray, as_ints, freeze_columns
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Metre", "MetreMap", "TempoMap", "bar_starts_us", "steady_metre", "steady_tempo"]

_COMPOUND = (6, 9, 12)
"""Numerators over 8 (or 16) whose beat is three units long: common practice, no source."""


@dataclass(frozen=True, eq=False)
class TempoMap:
    """Piecewise constant tempo. Row *i* holds from ``at_tick[i]`` to the next row."""

    ticks_per_quarter: int
    """Resolution of the ticks in this map."""
    at_tick: IntArray
    """First tick of each segment, increasing, the first is 0."""
    us_per_quarter: IntArray
    """Microseconds per quarter note in each segment, positive."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they do not make a map."""
        rows = freeze_columns(self, ("at_tick", "us_per_quarter"))
        if rows == 0 or self.at_tick[0] != 0 or np.any(np.diff(self.at_tick) <= 0):
            raise ValueError("a tempo map starts at tick 0 and its ticks increase")
        if self.ticks_per_quarter <= 0 or np.any(self.us_per_quarter <= 0):
            raise ValueError("a tempo map needs a positive resolution and positive tempi")

    @cached_property
    def _start_scaled(self) -> IntArray:
        """Start of each segment in microseconds times ``ticks_per_quarter``: exact, so rounding never adds up."""
        steps = np.diff(self.at_tick) * self.us_per_quarter[:-1]
        return np.concatenate([np.zeros(1, np.int64), np.cumsum(steps)])

    def us_at(self, tick: npt.ArrayLike) -> IntArray:
        """Time of each tick in microseconds, rounded half up.

        Parameters
        ----------
        tick : int, any shape
            Ticks of this map; those before 0 use the first tempo.

        Returns
        -------
        int64, the same shape
        """
        ticks = np.asarray(tick, dtype=np.int64)
        row = np.maximum(np.searchsorted(self.at_tick, ticks, side="right") - 1, 0)
        scaled = self._start_scaled[row] + (ticks - self.at_tick[row]) * self.us_per_quarter[row]
        return (scaled + self.ticks_per_quarter // 2) // self.ticks_per_quarter

    def us_at_position(self, tick: npt.ArrayLike) -> IntArray:
        """Time of each position in microseconds, whatever resolution the map has.

        Parameters
        ----------
        tick : int, any shape
            Ticks of `heeltap.units.TICKS_PER_QUARTER` a quarter, as a plan has them; those before 0 use the first tempo.

        Returns
        -------
        int64, the same shape
        """
        if self.ticks_per_quarter == TICKS_PER_QUARTER:
            return self.us_at(tick)
        quarter = np.asarray(tick, dtype=np.int64) / TICKS_PER_QUARTER
        return np.asarray(np.rint(self.us_at_quarter(quarter)), dtype=np.int64)

    def tick_at(self, us: npt.ArrayLike) -> IntArray:
        """Nearest tick of each time, halves up: the inverse of `us_at` while a tick lasts longer than a microsecond.

        Parameters
        ----------
        us : int, any shape
            Microseconds from tick 0; times before 0 use the first tempo.

        Returns
        -------
        int64, the same shape
        """
        scaled = np.asarray(us, dtype=np.int64) * self.ticks_per_quarter
        row = np.maximum(np.searchsorted(self._start_scaled, scaled, side="right") - 1, 0)
        per_tick = self.us_per_quarter[row]
        return self.at_tick[row] + (scaled - self._start_scaled[row] + per_tick // 2) // per_tick

    def quarter_at(self, us: npt.ArrayLike) -> FloatArray:
        """Position of each time in quarter notes from tick 0, exact to 1e-9 of a quarter in a two-hour file.

        Parameters
        ----------
        us : float, any shape
            Microseconds from tick 0.

        Returns
        -------
        float64, the same shape
        """
        times = np.asarray(us, dtype=np.float64)
        start_us = self._start_scaled / self.ticks_per_quarter
        row = np.maximum(np.searchsorted(start_us, times, side="right") - 1, 0)
        return self.at_tick[row] / self.ticks_per_quarter + (times - start_us[row]) / self.us_per_quarter[row]

    def us_at_quarter(self, quarter: npt.ArrayLike) -> FloatArray:
        """Time of each position, microseconds as a float: the inverse of `quarter_at`.

        Parameters
        ----------
        quarter : float, any shape
            Quarter notes from tick 0.

        Returns
        -------
        float64, the same shape
        """
        quarters = np.asarray(quarter, dtype=np.float64)
        start_quarter = self.at_tick / self.ticks_per_quarter
        row = np.maximum(np.searchsorted(start_quarter, quarters, side="right") - 1, 0)
        start_us = self._start_scaled[row] / self.ticks_per_quarter
        return start_us + (quarters - start_quarter[row]) * self.us_per_quarter[row]

    def us_per_quarter_at(self, us: npt.ArrayLike) -> IntArray:
        """Tempo in force at each time, microseconds per quarter note.

        Parameters
        ----------
        us : float, any shape
            Microseconds from tick 0.

        Returns
        -------
        int64, the same shape
        """
        start_us = self._start_scaled / self.ticks_per_quarter
        row = np.searchsorted(start_us, np.asarray(us, dtype=np.float64), side="right") - 1
        return self.us_per_quarter[np.maximum(row, 0)]


@dataclass(frozen=True, slots=True)
class Metre:
    """One time signature."""

    count: int
    """The upper number: units in a bar."""
    unit: int
    """The lower number: 4 is a quarter note, 8 an eighth."""

    @property
    def bar_quarters(self) -> float:
        """Length of a bar in quarter notes.

        Returns
        -------
        float
        """
        return 4.0 * self.count / self.unit

    @property
    def beat_quarters(self) -> float:
        """Length of the metre's own beat in quarter notes: 1.5 in 6/8, 1 in 4/4, 0.5 in 7/8.

        Returns
        -------
        float
        """
        units = 3 if self.unit >= 8 and self.count in _COMPOUND else 1
        return 4.0 * units / self.unit

    @property
    def beats(self) -> int:
        """Beats in a bar: 2 in 6/8, 4 in 4/4, 7 in 7/8.

        Returns
        -------
        int
        """
        return round(self.bar_quarters / self.beat_quarters)

    def __str__(self) -> str:
        return f"{self.count}/{self.unit}"


@dataclass(frozen=True, eq=False)
class MetreMap:
    """Time signatures in order. A change inside a bar cuts that bar short: the new metre starts a bar of its own."""

    at_quarter: FloatArray
    """Start of each signature in quarter notes from tick 0, increasing, the first is 0."""
    metres: tuple[Metre, ...]
    """The signature from there on."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they do not make a map."""
        rows = freeze_columns(self, ("at_quarter",))
        if rows == 0 or rows != len(self.metres) or self.at_quarter[0] != 0 or np.any(np.diff(self.at_quarter) <= 0):
            raise ValueError("a metre map starts at 0 and its positions increase")

    @cached_property
    def _table(self) -> tuple[FloatArray, FloatArray, IntArray]:
        """Bar length and beat length of each signature in quarters, and the number of its first bar."""
        bar = np.array([metre.bar_quarters for metre in self.metres])
        beat = np.array([metre.beat_quarters for metre in self.metres])
        bars_in = np.ceil(np.diff(self.at_quarter) / bar[:-1] - 1e-9).astype(np.int64)
        return bar, beat, 1 + np.concatenate([np.zeros(1, np.int64), np.cumsum(bars_in)])

    def row_at(self, quarter: npt.ArrayLike) -> IntArray:
        """Index into ``metres`` in force at each position.

        Parameters
        ----------
        quarter : float, any shape
            Quarter notes from tick 0; positions before 0 use the first.

        Returns
        -------
        int64, the same shape
        """
        found = np.searchsorted(self.at_quarter, np.asarray(quarter, np.float64) + 1e-9, side="right") - 1
        return np.maximum(found, 0).astype(np.int64)

    def bar_beat(self, quarter: npt.ArrayLike) -> tuple[IntArray, FloatArray]:
        """Bar and beat of each position.

        Parameters
        ----------
        quarter : float, any shape
            Quarter notes from tick 0.

        Returns
        -------
        bar : int64, the same shape
            From 1.
        beat : float64, the same shape
            From 1.0, in the metre's own beats.
        """
        quarters = np.asarray(quarter, dtype=np.float64)
        bar_len, beat_len, first_bar = self._table
        row = self.row_at(quarters)
        within = quarters - self.at_quarter[row]
        within = np.where(row > 0, np.maximum(within, 0.0), within)  # a rounding short of a change is on it
        bars = np.floor(within / bar_len[row] + 1e-9).astype(np.int64)
        beat = np.maximum(1.0 + (within - bars * bar_len[row]) / beat_len[row], 1.0)
        return first_bar[row] + bars, beat

    def quarter_of_bar(self, bar: npt.ArrayLike) -> FloatArray:
        """Position of the start of each bar in quarter notes: the inverse of `bar_beat` at beat 1.

        Parameters
        ----------
        bar : int, any shape
            From 1.

        Returns
        -------
        float64, the same shape
        """
        bars = np.asarray(bar, dtype=np.int64)
        bar_len, _, first_bar = self._table
        row = np.maximum(np.searchsorted(first_bar, bars, side="right") - 1, 0)
        return self.at_quarter[row] + (bars - first_bar[row]) * bar_len[row]

    def metre_of_bar(self, bar: int) -> Metre:
        """The signature of one bar.

        Parameters
        ----------
        bar : int
            From 1.

        Returns
        -------
        Metre
        """
        _, _, first_bar = self._table
        return self.metres[max(int(np.searchsorted(first_bar, bar, side="right")) - 1, 0)]

    @property
    def pickup_quarters(self) -> float:
        """Length of a pick-up bar in quarter notes: one first bar that is shorter than the second; 0 where there is none."""
        if len(self.metres) < 2 or self.at_quarter[1] > self.metres[0].bar_quarters + 1e-9:
            return 0.0
        length = float(self.at_quarter[1])
        return length if length < self.metres[1].bar_quarters - 1e-9 else 0.0

    @property
    def counted_metre(self) -> Metre:
        """The metre that a count-in has: the first one's, or the second one's where the first bar is a pick-up."""
        return self.metres[1] if self.pickup_quarters else self.metres[0]

    def count_in_quarters(self, bars: float) -> float:
        """Length of a count-in before bar 1, in quarter notes.

        Before a pick-up the count goes on up to it: in 4/4 with a pick-up of one beat a bar of count-in is seven beats,
        and the eighth is played.

        Parameters
        ----------
        bars : float
            Whole bars that are counted, 0 or more; 0 is no count-in.

        Returns
        -------
        float
        """
        full, pickup = self.counted_metre.bar_quarters, self.pickup_quarters
        return bars * full + (full - pickup if pickup and bars else 0.0)


def steady_tempo(bpm: float, *, ticks_per_quarter: int = TICKS_PER_QUARTER) -> TempoMap:
    """A map of one tempo.

    Parameters
    ----------
    bpm : float
        Quarter notes a minute.
    ticks_per_quarter : int
        Resolution of the map.

    Returns
    -------
    TempoMap
    """
    return TempoMap(ticks_per_quarter, as_ints([0]), as_ints([round(60_000_000 / bpm)]))


def steady_metre(count: int = 4, unit: int = 4) -> MetreMap:
    """A map of one time signature.

    Parameters
    ----------
    count, unit : int
        Upper and lower number.

    Returns
    -------
    MetreMap
    """
    return MetreMap(np.zeros(1), (Metre(count, unit),))


def bar_starts_us(tempo: TempoMap, metre: MetreMap, bars: int) -> tuple[int, ...]:
    """When each bar begins, and when the last one ends.

    Parameters
    ----------
    tempo : TempoMap
    metre : MetreMap
    bars : int

    Returns
    -------
    tuple of int
        ``bars + 1`` times, microseconds from bar 1, beat 1.
    """
    quarters = metre.quarter_of_bar(np.arange(1, bars + 2))
    return tuple(np.rint(tempo.us_at_quarter(quarters)).astype(np.int64).tolist())
