"""Counting text and the slots it names."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.errors import PlanError
from heeltap.model.counting import (
    SYLLABLES,
    BarStrokes,
    bar_ticks,
    counting_line,
    counting_text,
    parse_counting,
    unit_ticks,
)
from heeltap.model.timeline import Metre

METRES = [Metre(*m) for m in ((2, 4), (3, 4), (4, 4), (5, 4), (6, 8), (7, 8), (12, 8), (3, 2), (5, 16))]
FOUR = Metre(4, 4)


@st.composite
def patterns(draw: st.DrawFn) -> tuple[BarStrokes, Metre]:
    """Any strokes that counting text can name, in any metre."""
    metre = draw(st.sampled_from(METRES))
    ticks = unit_ticks(metre)
    parts = [0] + [over * ticks // under for over, under in SYLLABLES.values()]
    slots = st.tuples(st.integers(0, metre.count - 1), st.sampled_from(parts)).map(lambda s: s[0] * ticks + s[1])
    at = tuple(sorted(draw(st.sets(slots, max_size=24))))
    return BarStrokes(at, tuple(draw(st.lists(st.booleans(), min_size=len(at), max_size=len(at))))), metre


@given(patterns())
def test_text_and_back_is_the_same_pattern(made: tuple[BarStrokes, Metre]) -> None:
    """Every pattern survives being written down and read."""
    pattern, metre = made

    text = counting_text(pattern, metre)

    assert pattern == parse_counting(text, metre)
    assert text == counting_text(parse_counting(text, metre), metre)
    assert text.isascii()


@given(st.text(alphabet="123456789e&atl()>- +x", max_size=24), st.sampled_from(METRES))
def test_any_text_is_read_or_refused_with_its_column(text: str, metre: Metre) -> None:
    """Whatever is typed either names strokes inside the bar or is refused in one line that gives a column."""
    told, strokes = "", ()
    try:
        strokes = parse_counting(text, metre).at_tick
    except PlanError as e:
        told = str(e)

    assert not told or re.fullmatch(r"counting text '.*', column [0-9]+: .+; expected .+", told)
    assert all(0 <= at < bar_ticks(metre) for at in strokes)


@pytest.mark.parametrize(
    ("text", "quarters"),
    [
        ("1 2& 4e", [0, 1, 1.5, 3, 3.25]),
        ("1e&a", [0, 0.25, 0.5, 0.75]),
        ("(1)& (2)&", [0.5, 1.5]),
        ("1 t l 2", [0, 1 / 3, 2 / 3, 1]),
        ("1 (2 & 3) 4", [0, 3]),
        ("-", []),
        ("(1)", []),
    ],
)
def test_syllables_name_the_places_that_are_counted(text: str, quarters: list[float]) -> None:
    """The counting of common practice: e, and, a are sixteenths, trip-let is thirds, brackets are counted only."""
    assert tuple(round(q * 10_080) for q in quarters) == parse_counting(text, FOUR).at_tick


def test_compound_metres_count_their_eighths() -> None:
    """In 6/8 a number is an eighth and the and is a sixteenth."""
    assert (0, 15_120, 17_640) == parse_counting("1 4&", Metre(6, 8)).at_tick


def test_accents_belong_to_the_syllable_behind_them() -> None:
    """The mark stands before what it marks."""
    assert (True, False, True) == parse_counting(">1& >2", FOUR).accent


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1 5", "column 3: found '5'; expected a number from 1 to 4 in 4/4"),
        ("2 1", "column 3: found '1'"),
        ("1 1", "column 3: found '1'; expected syllables in the order"),
        ("1ee", "column 3: found 'e'; expected syllables in the order"),
        ("& 1", "expected a number first"),
        ("1+", "did you mean &?"),
        ("1 (2", "found the end; expected a closing )"),
        (">", "a syllable after >"),
        ("(>1)", "column 2"),
        ("", "column 1: found nothing"),
        ("1 -", "column 3: found '-'"),
    ],
)
def test_a_mistake_is_told_with_its_column_and_what_was_expected(text: str, told: str) -> None:
    """The message alone is enough to mend the text."""
    with pytest.raises(PlanError) as caught:
        parse_counting(text, FOUR)

    assert told in str(caught.value)


@given(patterns())
def test_every_stroke_has_its_syllable_in_the_counting_line(made: tuple[BarStrokes, Metre]) -> None:
    """The counting line names every place that is struck, and every unit."""
    pattern, metre = made

    line = counting_line(pattern.at_tick, metre)

    places = {round(s.at_quarter * 10_080) for s in line}
    assert set(pattern.at_tick) <= places
    assert [str(n + 1) for n in range(metre.count)] == [s.text for s in line if s.text.isdecimal()]
    assert sorted(s.at_quarter for s in line) == [s.at_quarter for s in line]


def test_the_counting_line_cuts_only_where_it_must() -> None:
    """A unit with thirds is counted in thirds, its neighbours are not."""
    line = counting_line(parse_counting("1 2tl 3& 4e", FOUR).at_tick, FOUR)

    assert "1 2 t l 3 & 4 e & a" == " ".join(s.text for s in line)


def test_a_stroke_off_every_syllable_cannot_be_written() -> None:
    """A fifth of a beat has no counting text; saying so beats writing something else."""
    with pytest.raises(PlanError, match="tick 2016"):
        counting_text(BarStrokes((2016,), (False,)), FOUR)


def test_a_pattern_runs_forward() -> None:
    """Strokes out of order are refused where they are made."""
    with pytest.raises(ValueError, match="increase"):
        BarStrokes((5, 5), (False, False))
