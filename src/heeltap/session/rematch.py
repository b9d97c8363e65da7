"""The second look: at the end of a bar the aligner that makes the result goes over what you just played.

The light matcher decides at each note, knowing nothing of what follows; one extra note in a run may push it a stroke
aside. So when a bar is over, its strokes are matched again together with the bars before it by `heeltap.analysis.align`,
and the numbers of the bar are those. Some 20 ms a bar (120 notes), in the process that draws, never in the engine's.

Inside: `review`, `REVIEW_BARS`.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from heeltap.analysis.align import align
from heeltap.session.matcher import Status, Stroke, Struck, stroke_of
from heeltap.session.plan_columns import PlanColumns

__all__ = ["REVIEW_BARS", "Reviewed", "review"]

REVIEW_BARS = 8
"""So many bars are looked at together: enough to know where this player sits, few enough to cost 20 ms."""


class Reviewed(NamedTuple):
    """What the second look found."""

    strokes: tuple[Stroke, ...]
    loose: tuple[Struck, ...]
    """Notes since ``since_us`` that belong to no stroke."""
    since_us: int


def review(
    columns: PlanColumns, strokes: Sequence[Stroke], notes: Sequence[Struck], first: int, reached_us: int
) -> Reviewed | None:
    """The strokes from ``first`` on, matched again; None where there is nothing to look at.

    Parameters
    ----------
    columns, strokes
        The plan, and how each stroke stands.
    notes : sequence of Struck
        What was played lately, in time order, delay taken away, retriggers left out.
    first : int
        First stroke that may still change: those before are known, and only say where the player sits.
    reached_us : int
        Strokes planned later than this are left alone, but for the one that the last note is nearest to.
    """
    begin = _opening(columns, first)
    start = bisect_left(columns.row_us, columns.targets[begin].at_us) if columns.targets else 0
    since_us = columns.targets[begin].early_us if columns.targets else 0
    ordered = sorted(note for note in notes if note.at_us >= since_us)
    if not ordered:
        return None
    end = _end(columns, reached_us, ordered[-1].at_us)
    if end <= start:
        return None
    pitch = [columns.hand_key(note.pitch) for note in ordered]
    found = align(
        np.array(columns.row_us[start:end], np.int64),
        np.array(columns.row_pitch[start:end], np.int64),
        np.array([note.at_us for note in ordered], np.int64),
        np.array(pitch, np.int64),
        np.array([note.velocity for note in ordered], np.int64),
        delay_ms=0.0 if columns.delay_known else None,
    )
    of_stroke: dict[int, list[Struck]] = {}
    for row, which in enumerate(found.match.tolist()):
        if which >= 0:
            of_stroke.setdefault(columns.row_stroke[start + row], []).append(ordered[which])
    return _told(columns, strokes, ordered, of_stroke, first, columns.row_stroke[end - 1])


def _opening(columns: PlanColumns, first: int) -> int:
    """First stroke of the bars that are looked at."""
    if not columns.targets:
        return 0
    bar = columns.targets[min(first, len(columns.targets) - 1)].bar - REVIEW_BARS
    begin = first
    while begin > 0 and columns.targets[begin - 1].bar > bar:
        begin -= 1
    return min(begin, len(columns.targets) - 1)


def _end(columns: PlanColumns, reached_us: int, last_us: int) -> int:
    """Rows that are looked at: those whose time has come, and the one that the last note is nearer to.

    Left out, an early first stroke of the next bar would push the last strokes of this one a place aside (seen 3 times in
    8,000 sixteenths at 200 bpm).
    """
    end = bisect_right(columns.row_us, reached_us)
    while 0 < end < len(columns.row_us) and columns.row_us[end - 1] + columns.row_us[end] <= 2 * last_us:
        end += 1
    return end


def _told(
    columns: PlanColumns,
    strokes: Sequence[Stroke],
    ordered: list[Struck],
    of_stroke: dict[int, list[Struck]],
    first: int,
    last: int,
) -> Reviewed:
    """The strokes from ``first`` to ``last`` as they are now, and the notes from there on that are nobody's."""
    now = list(strokes)
    for index in range(first, last + 1):
        target, old = columns.targets[index], strokes[index]
        if index in of_stroke:
            now[index] = stroke_of(target, of_stroke[index])
        elif old.status not in (Status.NO_INPUT, Status.WAITING):
            now[index] = Stroke(Status.WAITING)
    used = {note for notes in of_stroke.values() for note in notes}
    used |= {note for stroke in now[last + 1 :] for note in stroke.notes}
    used |= {note for stroke in now[max(first - 64, 0) : first] for note in stroke.notes}
    since_us = columns.targets[first].early_us if first < len(columns.targets) else 2**62
    loose = tuple(note for note in ordered if note not in used and note.at_us >= since_us)
    return Reviewed(tuple(now), loose, since_us)
