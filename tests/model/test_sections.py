"""The columns that findings about section changes rest on."""

import numpy as np

from heeltap.model.plan import Section
from heeltap.model.sections import NO_CHANGE, section_columns


def test_columns_count_bars_to_and_since_the_change() -> None:
    """The last bar of a section is 1 bar from the change, the first bar of the next 0 bars after it."""
    sections = (Section("a", 1, 2), Section("b", 3, 4))

    section, to_change, since = section_columns(np.array([1, 2, 3, 4, 9]), sections)

    assert [0, 0, 1, 1, -1] == section.tolist()
    assert [2, 1, NO_CHANGE, NO_CHANGE, NO_CHANGE] == to_change.tolist()
    assert [NO_CHANGE, NO_CHANGE, 0, 1, NO_CHANGE] == since.tolist()
