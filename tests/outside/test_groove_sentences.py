"""Sentences about drummers' takes say what the table shows: the sign and the size of the plain difference.

Data: Groove (Gillick, Roberts, Engel, Eck & Bamman 2019, CC BY 4.0), drummers playing to a click, scored as files are.
"""

from pathlib import Path

import numpy as np
import pytest

from tests.bench.bench_sentences import groove_files, told_of

pytestmark = [pytest.mark.outside, pytest.mark.slow]


def test_sentences_say_what_the_table_shows(outside_data: Path) -> None:
    """No sentence has the wrong sign, the plain number lies in the told range in 95 %, a kit has no leaps, and no take
    is held against its own swing.
    """
    files = groove_files(outside_data)
    told = [row for path in files for row in told_of(path)]
    checked = [row for row in told if np.isfinite(row.plain)]

    assert len(checked) >= 15
    assert [] == [row.text for row in checked if not row.same_sign]
    assert np.mean([row.inside for row in checked]) >= 0.95
    assert set() == {"leaps", "swing"} & {row.code for row in told}
