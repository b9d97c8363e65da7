"""The plain-text report of the demo's take, word for word, and the small words it is made of."""

import pytest

from heeltap import wording as words
from heeltap.views.text import WIDTH
from tests.makers.report import TARGET, report


def test_the_report_reads_as_it_was_approved() -> None:
    """Every line of the report; ``python -m tests.makers.report`` writes it anew when a change is meant."""
    assert TARGET.read_text(encoding="utf-8") == report()


def test_the_report_fits_eighty_columns() -> None:
    """No line is wider than the terminal that suffices."""
    assert [] == [line for line in report().splitlines() if len(line) > WIDTH + 1]


@pytest.mark.parametrize(
    ("value", "said"), [(-12.4, "12 ms early"), (1.44, "1 ms late"), (0.2, "on the beat"), (-0.4, "on the beat")]
)
def test_early_is_negative_in_words(value: float, said: str) -> None:
    """The sign becomes a word; what nobody can measure is on the beat."""
    assert said == words.early_late(value)


@pytest.mark.parametrize(
    ("interval", "said"),
    [((-15, -9), "9 to 15 ms early"), ((3, 8), "3 to 8 ms late"), ((-2.5, 5.2), "2 ms early to 5 ms late")],
)
def test_an_interval_keeps_its_sides(interval: tuple[float, float], said: str) -> None:
    """Both ends are named where they lie on different sides."""
    assert said == words.early_late_range(interval)


@pytest.mark.parametrize(
    ("numbers", "said"), [([7], "bar 7"), ([3, 4, 5, 9], "bars 3-5, 9"), ([2, 1], "bars 1-2"), ([1, 3], "bars 1, 3")]
)
def test_bars_are_listed_in_runs(numbers: list[int], said: str) -> None:
    """Neighbouring bars become a run."""
    assert said == words.bars(numbers)
