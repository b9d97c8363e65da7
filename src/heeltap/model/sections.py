"""The sections of a piece: named by markers or by a text, and what each bar knows of the changes around it.

Conventions: bars count from 1; a section is a stretch of whole bars; ``last_bar`` is inclusive.

Inside: `sections_from_text`, `sections_from_markers`, `section_columns`, `NO_CHANGE`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import IntArray
from heeltap.model.plan import Section
from heeltap.model.timeline import MetreMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["NO_CHANGE", "section_columns", "sections_from_markers", "sections_from_text"]

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


def sections_from_markers(
    markers: Sequence[tuple[int, str]],
    metre: MetreMap,
    bars: int,
    *,
    ticks_per_quarter: int = TICKS_PER_QUARTER,
) -> tuple[Section, ...]:
    """The sections that markers name: each starts at the bar line nearest to its marker.

    Of two markers at one bar line the later in the file stands; an empty one or one past the last bar is passed over;
    what lies before the first is called ``opening``.

    Parameters
    ----------
    markers : sequence of (int, str)
        Tick and text.
    metre : MetreMap
    bars : int
        Length of the piece.
    ticks_per_quarter : int
        Resolution of the markers' ticks.

    Returns
    -------
    tuple of Section
        In order; empty where no marker names one.
    """
    starts: dict[int, str] = {}
    for tick, text in sorted(markers, key=lambda marker: marker[0]):
        quarter = tick / ticks_per_quarter
        bar = int(metre.bar_beat(quarter)[0])
        here, following = metre.quarter_of_bar([bar, bar + 1])
        bar += int(following - quarter < quarter - here)
        if text.strip() and bar <= bars:
            starts[bar] = text.strip()
    if starts and min(starts) > 1:
        starts[1] = "opening"
    return _sections(sorted(starts.items()), bars)


def sections_from_text(text: str, bars: int) -> tuple[Section, ...]:
    """The sections that ``intro:1 verse:5 chorus:13`` names, the last one running to the last bar.

    Parameters
    ----------
    text : str
        Words of name and first bar.
    bars : int
        Length of the piece.

    Returns
    -------
    tuple of Section
        In order; what lies before the first is called ``opening``.

    Raises
    ------
    PlanError
        A word without a bar, a bar out of order, or one past the end.
    """
    starts: list[tuple[int, str]] = []
    for word in text.split():
        name, colon, number = word.rpartition(":")
        if not (colon and name and number.isdecimal() and number.isascii()):
            raise PlanError(sentence("sections", f"'{word}'", "name:bar, such as verse:5"))
        bar = int(number)
        lowest = starts[-1][0] + 1 if starts else 1
        if not lowest <= bar <= bars:
            raise PlanError(sentence("sections", f"'{word}'", f"a bar from {lowest} to {bars}"))
        starts.append((bar, name))
    if starts and starts[0][0] > 1:
        starts.insert(0, (1, "opening"))
    return _sections(starts, bars)


def _sections(starts: Sequence[tuple[int, str]], bars: int) -> tuple[Section, ...]:
    ends = [*(bar - 1 for bar, _ in starts[1:]), bars][: len(starts)]
    return tuple(Section(name, bar, end) for (bar, name), end in zip(starts, ends, strict=True))
