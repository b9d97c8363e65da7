"""The word beside a section: where it lies on the recording, by the same rule as the bars to play again."""

import numpy as np
import pytest

from heeltap.analysis.section_words import section_word, unsure_ms, widened
from heeltap.model.result import Calibration, SectionRow


def row(n: int, bias: float | None, in_pocket: float | None = 0.9) -> SectionRow:
    """A section of eight bars."""
    return SectionRow("verse", 1, 8, n, bias, None, 10.0, None, in_pocket)


@pytest.mark.parametrize(
    ("section", "missed", "word"),
    [
        (row(30, -20.0), 0, "early"),
        (row(30, 20.0), 0, "late"),
        (row(30, -39.0, 0.9), 0, "early"),
        (row(2, -39.0), 0, "early"),
        (row(30, -19.0), 0, "held"),
        (row(30, -19.0, 0.5), 0, "early"),
        (row(30, -9.0, 0.5), 0, "uneven"),
        (row(30, 0.0, 0.75), 0, "held"),
        (row(30, 0.0, 0.74), 0, "uneven"),
        (row(3, 0.0), 5, "missing"),
        (row(0, None, None), 0, ""),
        (row(0, None, None), 1, "missing"),
    ],
)
def test_the_word_says_where_the_section_lies(section: SectionRow, missed: int, word: str) -> None:
    """Early and late from 20 ms on; nearer it is held where three strokes in four are in the pocket."""
    assert word == section_word(section, missed, centre_ms=0.0, heard_ms=20.0)


def test_the_centre_moves_with_the_lean() -> None:
    """A section 25 ms behind is held when 25 ms behind was meant."""
    assert "held" == section_word(row(30, 25.0), 0, centre_ms=25.0, heard_ms=20.0)


@pytest.mark.parametrize(("unsure", "word"), [(0.0, "early"), (20.0, "early"), (26.0, "")])
def test_what_may_be_the_gears_has_no_word(unsure: float, word: str) -> None:
    """25 ms early with a delay that is known to 26 ms only."""
    assert word == section_word(row(30, -25.0), 0, centre_ms=0.0, heard_ms=20.0, delay_uncertainty_ms=unsure)


def test_half_widths_add_in_quadrature() -> None:
    """3 and 4 make 5; each side by itself; an uncertainty of nothing changes not a digit."""
    assert (-7.0, 3.0) == widened(-2.0, (-5.0, 1.0), 4.0)
    assert (-7.0, pytest.approx(10.0)) == widened(-2.0, (-5.0, -2.0 + np.sqrt(128.0)), 4.0)
    assert (-5.1, 0.3) == widened(-2.2, (-5.1, 0.3), 0.0)


def test_what_is_unsure() -> None:
    """A known delay's own; nothing for one that somebody gave, or where none is known and nothing absolute is said."""
    given = Calibration(True, 12.0, None, "given")
    unknown = Calibration(False, 0.0, 3.0, "feel")

    assert [0.5, 0.0, 0.0] == [unsure_ms(one) for one in (Calibration(True, 12.0, 0.5, "microphone"), given, unknown)]
