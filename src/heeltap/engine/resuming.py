"""What is sent after a pause: a count, and the schedule from a bar on.

Inside: `Resumption`, `resumed_schedule`.
"""

from typing import NamedTuple

import numpy as np

from heeltap.model.arrays import as_ints
from heeltap.model.messages import CLOCK, CONTINUE, OFF, START, Schedule, song_position

__all__ = ["Resumption", "resumed_schedule"]

_LENGTH_US = 40_000
"""How long a click of the count is held, as `heeltap.sound.click` does."""


class Resumption(NamedTuple):
    """Where a take goes on, and what is counted before."""

    from_us: int
    """The bar line, microseconds from bar 1, beat 1."""
    count_us: int
    """Length of the count."""
    beats: int
    """Clicks in it, evenly spaced; none where it is 0."""
    per_bar: int
    """So many of them are a bar, whose first one is the louder click."""


def resumed_schedule(schedule: Schedule, at: Resumption, clicks: tuple[bytes, bytes] | None) -> Schedule:
    """The count, and the rest of a schedule from a bar line on.

    Parameters
    ----------
    schedule : Schedule
        The whole.
    at : Resumption
    clicks : pair of bytes, optional
        The note-on of the one and of every other beat; None counts in silence.

    Returns
    -------
    Schedule
        Times from bar 1, beat 1 as before; it begins with the count. A note that began before the bar line is not ended
        again. Another device's clock is told its place in the song, and to go on.
    """
    rows: list[tuple[int, bytes, str]] = []
    for k in range(at.beats if clicks is not None and at.beats else 0):
        assert clicks is not None
        message = clicks[k % max(at.per_bar, 1) != 0]
        due = at.from_us - at.count_us + round(k * at.count_us / at.beats)
        off = bytes((0x80 | message[0] & 15, message[1], 0))
        rows += [(due, message, "count-in"), (due + _LENGTH_US, off, OFF)]
    first = int(np.searchsorted(schedule.due_us, at.from_us))
    ticks = sum(kind == CLOCK for kind in schedule.kind[:first])
    if START in schedule.kind:
        rows += [(at.from_us, song_position(ticks // 6), START), (at.from_us, CONTINUE, START)]
    down: set[bytes] = set()
    for i in range(first, len(schedule)):
        message, kind = schedule.messages[i], schedule.kind[i]
        name = bytes((message[0] & 15, *message[1:2]))
        if kind == OFF and name not in down:
            continue
        if message[0] & 0xF0 == 0x90 and kind != OFF:
            down.add(name)
        rows.append((int(schedule.due_us[i]), message, kind))
    rows.sort(key=lambda row: row[0])
    return Schedule(as_ints(r[0] for r in rows), tuple(r[1] for r in rows), tuple(r[2] for r in rows), schedule.end_us)
