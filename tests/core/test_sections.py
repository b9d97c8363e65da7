"""Sections from markers, and the columns that findings about section changes rest on."""

import numpy as np

from heeltap.core.meter import steady_metre
from heeltap.core.plan import Section
from heeltap.core.sections import NO_CHANGE, section_columns, sections_from_markers


def test_markers_become_sections_of_whole_bars() -> None:
    """Each marker starts a section that lasts to the bar before the next one."""
    made = sections_from_markers([(16.0, "chorus"), (0.0, "verse")], steady_metre(), 8)

    assert (Section("verse", 1, 4), Section("chorus", 5, 8)) == made


def test_bars_before_the_first_marker_have_no_name() -> None:
    """A song whose first marker stands at bar 3 keeps bars 1 and 2 in a section without a name."""
    made = sections_from_markers([(8.0, "verse")], steady_metre(), 4)

    assert (Section("", 1, 2), Section("verse", 3, 4)) == made


def test_a_marker_just_before_the_bar_line_names_the_next_bar() -> None:
    """Markers set by hand a little early belong to the bar that follows."""
    made = sections_from_markers([(0.0, "a"), (7.9, "b")], steady_metre(), 4)

    assert (Section("a", 1, 2), Section("b", 3, 4)) == made


def test_empty_and_late_markers_are_left_out() -> None:
    """A marker without text, or after the last bar, makes no section."""
    assert () == sections_from_markers([(0.0, " "), (400.0, "end")], steady_metre(), 4)


def test_columns_count_bars_to_and_since_the_change() -> None:
    """The last bar of a section is 1 bar from the change, the first bar of the next 0 bars after it."""
    sections = (Section("a", 1, 2), Section("b", 3, 4))

    section, to_change, since = section_columns(np.array([1, 2, 3, 4, 9]), sections)

    assert [0, 0, 1, 1, -1] == section.tolist()
    assert [2, 1, NO_CHANGE, NO_CHANGE, NO_CHANGE] == to_change.tolist()
    assert [NO_CHANGE, NO_CHANGE, 0, 1, NO_CHANGE] == since.tolist()
