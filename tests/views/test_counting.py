"""Counted bars as plain text."""

from heeltap.app.practice.make_exercise import make_exercise
from heeltap.model.counted_bars import CountedBar, CountedVoice, counted_exercise
from heeltap.model.counting import counting_line
from heeltap.model.timeline import Metre
from heeltap.views.counting import bar_words, counted_lines


def a_bar(*bars: int) -> CountedBar:
    """A bar with every mark there is: two voices, an accent, a fill."""
    return CountedBar(
        bars,
        "verse",
        4.0,
        1.0,
        counting_line([0, 5_040, 30_240, 35_280], Metre(4, 4)),
        (CountedVoice("snare", (0.5, 3.0, 3.5), (False, True, False)), CountedVoice("kick", (0.0,), (False,))),
        3.0,
    )


def test_marks_stand_below_their_syllables() -> None:
    """o is a stroke, # an accented one, ~ runs below the fill to the end of the bar."""
    assert [
        "bar 7       1  &  2     3     4  &",
        "snare          o              #  o",
        "kick        o",
        "fill                          ~~~~~",
    ] == counted_lines(a_bar(7))


def test_many_bars_are_told_above() -> None:
    """A long list does not push the line aside, and a longer one is cut with its count."""
    lines = counted_lines(a_bar(1, 3, 5, 9))

    assert ["bars 1, 3, 5, 9", "            1  &  2     3     4  &"] == lines[:2]
    assert "bars 1, 3, 5, 7, 9, 11 ... (20)" == bar_words(a_bar(*range(1, 40, 2)))


def test_a_rest_says_so() -> None:
    """The counting goes on above it."""
    rest = next(bar for bar in counted_exercise(make_exercise("anchor", 5))[0] if not bar.voices)

    assert "rest" == counted_lines(rest)[-1]


def test_every_syllable_of_every_grade_has_its_own_column() -> None:
    """No two run into each other, whatever is counted in a bar."""
    for family, grade in (("split", 5), ("split", 6), ("split", 8), ("turn", 8)):
        for metre in ("4/4", "6/8", "12/8", "5/4"):
            for bar in counted_exercise(make_exercise(family, grade, metre=metre))[0]:
                line = counted_lines(bar)[0] if len(bar_words(bar)) < 11 else counted_lines(bar)[1]
                assert [s.text for s in bar.syllables] == line[12:].split()
                assert len(line) <= 80


def test_two_digits_and_sixteenths_keep_apart() -> None:
    """The twelfth eighth cut in four: the bar is made wider rather than unreadable."""
    line = counting_line([55_440 + 1_260 * n for n in range(4)], Metre(12, 8))
    bar = CountedBar((1,), "", 6.0, 0.5, line, (), None)

    assert [*map(str, range(1, 12)), "12", "e", "&", "a"] == counted_lines(bar)[0][12:].split()
