"""MIDI clock as messages with due times: 24 a quarter note, start, and song position where the receiver needs it.

The clock runs through the count-in, so that a receiver has found the tempo when it starts. The start message comes
half a clock before bar 1: the next clock after it is the first of the song.

Source: MIDI 1.0, system real-time messages (clock F8, start FA, continue FB, stop FC) and song position pointer (F2,
in units of six clocks).

Inside: `clock_schedule`, `CLOCKS_PER_QUARTER`, `STOP_CLOCK`.
"""

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import as_ints
from heeltap.model.messages import CLOCK, START, STOP_CLOCK, Schedule, song_position
from heeltap.model.timeline import TempoMap

__all__ = ["CLOCKS_PER_QUARTER", "STOP_CLOCK", "clock_schedule"]

CLOCKS_PER_QUARTER = 24

_FURTHEST = 2**14 - 1
"""Largest song position, in sixteenths."""


def clock_schedule(
    tempo: TempoMap, *, from_quarter: float, to_quarter: float, song_quarter: float | None = None
) -> Schedule:
    """Clock, start and, where asked, song position.

    Parameters
    ----------
    tempo : TempoMap
        Of the plan; tick 0 is bar 1, beat 1.
    from_quarter, to_quarter : float
        Where the clock begins (the count-in: negative) and where it stops, quarter notes from bar 1.
    song_quarter : float, optional
        Where in its own song the receiver is to be at bar 1: a song position (F2) and continue (FB) are sent instead of
        start (FA).

    Raises
    ------
    PlanError
        A song position that the message cannot carry: not 0 to 16,383 sixteenths, or not a whole one.
    """
    first, last = (int(np.ceil(quarter * CLOCKS_PER_QUARTER - 1e-9)) for quarter in (from_quarter, to_quarter))
    count = np.arange(min(first, 0), max(last, 1), dtype=np.int64)
    due = np.rint(tempo.us_at_quarter(count / CLOCKS_PER_QUARTER)).astype(np.int64).tolist()
    rows = [(at, 1, b"\xf8", CLOCK) for at in due]
    start_us = -round(int(tempo.us_per_quarter[0]) / (2 * CLOCKS_PER_QUARTER))
    if song_quarter is None:
        rows.append((start_us, 0, b"\xfa", START))
    else:
        rows += [(start_us, 0, _song_position(song_quarter), START), (start_us, 0, b"\xfb", START)]
    rows.sort(key=lambda row: row[0])  # stable: position before continue, both before the clock of that moment
    end_us = round(float(tempo.us_at_quarter(to_quarter)))
    return Schedule(as_ints(r[0] for r in rows), tuple(r[2] for r in rows), tuple(r[3] for r in rows), end_us)


def _song_position(quarter: float) -> bytes:
    """The message that puts a receiver there."""
    sixteenths = round(quarter * 4)
    if not 0 <= sixteenths <= _FURTHEST or abs(sixteenths - quarter * 4) > 1e-6:
        raise PlanError(sentence("song position", f"{quarter:g} quarters", "0 to 4095.75, on a sixteenth"))
    return song_position(sixteenths)
