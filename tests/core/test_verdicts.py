"""The word beside a section: said only where its interval carries it."""

import pytest

from heeltap.core.result import SectionRow
from heeltap.core.verdicts import section_verdict


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
