"""Sections of a song: from markers, and what each bar knows about the change ahead of it and behind it.

Conventions: bars count from 1; a section is a stretch of whole bars; ``last_bar`` is inclusive.

Inside: `sections_from_markers`, `section_columns`, `NO_CHANGE`.
"""

from collections.abc import Iterable, Sequence

import numpy as np

from heeltap.core.arrays import IntArray
from heeltap.core.meter import MetreMap
from heeltap.core.plan import Section

__all__ = ["NO_CHANGE", "section_columns", "sections_from_markers"]

NO_CHANGE = 9999
"""Bars to a change that never comes."""

_SNAP_BEATS = 0.75
"""A marker within three quarters of a beat before a bar line names the bar that follows: people set markers by hand."""


def sections_from_markers(
    markers: Iterable[tuple[float, str]], metre: MetreMap, last_bar: int
) -> tuple[Section, ...]:
    """Sections from named positions; bars before the first marker form a section without a name.

    Parameters
    ----------
    markers : pairs of (position in quarter notes, text)
        In any order. Of several on one bar the last one in the file names it; empty texts are left out.
    metre : MetreMap
    last_bar : int
        Last bar that was played; markers after it are left out.

    Returns
    -------
    tuple of Section
        In order, without gaps; empty when there is no usable marker.
    """
    named: dict[int, str] = {}
    for quarter, text in sorted(markers, key=lambda pair: pair[0]):
        bar, beat = metre.bar_beat(quarter)
        late = float(beat) > metre.metre_of_bar(int(bar)).beats + 1 - _SNAP_BEATS
        number = int(bar) + int(late)
        if text.strip() and number <= last_bar:
            named[number] = text.strip()
    if not named:
        return ()
    starts = sorted(named)
    if starts[0] > 1:
        named[1] = ""
        starts.insert(0, 1)
    ends = [start - 1 for start in starts[1:]] + [last_bar]
    return tuple(Section(named[start], start, end) for start, end in zip(starts, ends, strict=True))


def section_columns(bar: IntArray, sections: Sequence[Section]) -> tuple[IntArray, IntArray, IntArray]:
    """For each stroke's bar: index of its section, bars to the next change, bars since the last one.

    Returns
    -------
    section : int64, shape (n,)
        -1 outside all sections.
    bars_to_change : int64, shape (n,)
        1 in the last bar before a new section; `NO_CHANGE` where none follows.
    bars_since_change : int64, shape (n,)
        0 in the first bar of a section; `NO_CHANGE` outside all sections and in the first section, which follows nothing.
    """
    section = np.full(bar.size, -1, np.int64)
    to_change = np.full(bar.size, NO_CHANGE, np.int64)
    since = np.full(bar.size, NO_CHANGE, np.int64)
    for index, here in enumerate(sections):
        inside = (bar >= here.first_bar) & (bar <= here.last_bar)
        section[inside] = index
        if index > 0:
            since[inside] = bar[inside] - here.first_bar
        if index + 1 < len(sections):
            to_change[inside] = sections[index + 1].first_bar - bar[inside]
    return section, to_change, since
