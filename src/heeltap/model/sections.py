"""What each bar knows about the section that it lies in, the change ahead of it and the one behind it.

Conventions: bars count from 1; a section is a stretch of whole bars; ``last_bar`` is inclusive.

Inside: `section_columns`, `NO_CHANGE`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.model.arrays import IntArray
from heeltap.model.plan import Section

__all__ = ["NO_CHANGE", "section_columns"]

NO_CHANGE = 9999
"""Bars to a change that never comes."""


def section_columns(bar: IntArray, sections: Sequence[Section]) -> tuple[IntArray, IntArray, IntArray]:
    """For each stroke's bar: index of its section, bars to the next change, bars since the last one.

    Parameters
    ----------
    bar : int64, shape (n,)
        From 1.
    sections : sequence of Section
        In order.

    Returns
    -------
    section : int64, shape (n,)
        -1 outside all sections.
    bars_to_change : int64, shape (n,)
        1 in the last bar before a new section; `NO_CHANGE` where none follows.
    bars_since_change : int64, shape (n,)
        0 in the first bar of a section; `NO_CHANGE` outside all and in the first section, which follows nothing.
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
