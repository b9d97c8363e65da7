"""The word beside a section: said only where its interval carries it."""

import numpy as np
import pytest

from heeltap.analysis.section_words import section_verdict, unsure_ms, widened
from heeltap.model.result import Calibration, SectionRow


def row(n: int, bias: float | None, interval: tuple[float, float] | None, spread: float | None = 10.0) -> SectionRow:
    """A section of eight bars."""
    return SectionRow("verse", 1, 8, n, bias, interval, spread, None)


@pytest.mark.parametrize(
    ("section", "missed", "word"),
    [
        (row(30, -20.0, (-28.0, -12.0)), 0, "early"),
        (row(30, 20.0, (12.0, 28.0)), 0, "late"),
        (row(30, 2.0, (-6.0, 10.0)), 0, "held"),
        (row(30, -8.0, (-12.0, -4.0)), 0, "held"),
        (row(30, -20.0, (-60.0, 20.0)), 0, ""),
        (row(40, 0.0, (-6.0, 6.0), 25.0), 0, "scattered"),
        (row(20, 0.0, (-6.0, 6.0), 25.0), 0, "held"),
        (row(3, 0.0, None), 5, "missing"),
        (row(3, 0.0, None), 0, ""),
        (row(0, None, None, None), 0, ""),
    ],
)
def test_the_word_follows_the_interval(section: SectionRow, missed: int, word: str) -> None:
    """Early and late need an interval clear of the centre and a distance that can be heard; held needs a narrow one."""
    assert word == section_verdict(section, missed, centre_ms=0.0, spread_ms=12.0, audible_ms=12.5)


def test_the_centre_moves_with_the_lean() -> None:
    """A section 15 ms behind is held when 15 ms behind was meant."""
    assert "held" == section_verdict(row(30, 15.0, (9.0, 21.0)), 0, centre_ms=15.0, spread_ms=12.0, audible_ms=12.5)


@pytest.mark.parametrize(
    ("interval", "unsure_ms", "word"),
    [
        ((-22.0, -8.0), 1.0, "early"),
        ((-22.0, -8.0), 14.0, ""),
        ((-16.0, -14.0), 14.0, "early"),
        ((-16.0, -14.0), 30.0, ""),
    ],
)
def test_an_uncertain_delay_takes_the_word_away(interval: tuple[float, float], unsure_ms: float, word: str) -> None:
    """Early needs the widened interval clear of the lean."""
    said = section_verdict(
        row(30, -15.0, interval), 0, centre_ms=0.0, spread_ms=12.0, audible_ms=12.5, delay_uncertainty_ms=unsure_ms
    )

    assert word == said


def test_held_needs_a_delay_too() -> None:
    """On the beat to within 2 ms by the strokes, but with a delay good to 30 ms only: nothing is said."""
    section = row(30, 0.0, (-2.0, 2.0))
    words = [
        section_verdict(section, 0, centre_ms=0.0, spread_ms=12.0, audible_ms=12.5, delay_uncertainty_ms=unsure)
        for unsure in (0.0, 5.0, 30.0)
    ]

    assert ["held", "held", ""] == words


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
