"""Bars on the board: equal ones once a section, every stroke on its syllable."""

from heeltap.app.practice.make_exercise import make_exercise
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model.counted_bars import CountedVoice, counted_exercise, counted_plan
from heeltap.model.plan import Section
from heeltap.model.timeline import Metre
from tests.makers.plans import plan_of_quarters

TWO_SECTIONS = """\
format = "heeltap.exercise/1"
tempo_bpm = 80
metre = "6/8"
voices = [{ name = "right" }, { name = "left" }]
[[section]]
name = "verse"
bars = [["1 4", "-"], ["1 >4&", "1"], ["1 4", "-"]]
[[section]]
name = "chorus"
bars = [["1 4", "-"], { lines = ["1 4 5 6", "-"], fill_from = 4 }]
"""


def test_equal_bars_of_a_section_are_told_once() -> None:
    """Bars 1 and 3 are alike; bar 4 is like them and in another section."""
    bars, left_out = counted_exercise(exercise_from_toml(TWO_SECTIONS))

    assert [("verse", (1, 3)), ("verse", (2,)), ("chorus", (4,)), ("chorus", (5,))] == [
        (b.section, b.bars) for b in bars
    ]
    assert 0 == left_out
    assert [None, None, None, 1.5] == [b.fill_from_quarter for b in bars]


def test_a_voice_is_there_where_it_plays() -> None:
    """With its name, its places in quarters and its accents; in 6/8 a number is an eighth."""
    bar = counted_exercise(exercise_from_toml(TWO_SECTIONS))[0][1]

    assert (
        CountedVoice("right", (0.0, 1.5, 1.75), (False, True, False)),
        CountedVoice("left", (0.0,), (False,)),
    ) == bar.voices
    assert (3.0, 0.5) == (bar.length_quarters, bar.unit_quarters)
    assert ["1", "2", "3", "4", "&", "5", "6"] == [s.text for s in bar.syllables]


def test_more_bars_than_are_wanted_are_counted() -> None:
    """Two more are shown all the same: they take no more room than saying that they are left out."""
    exercise = make_exercise("split", 8)
    different = len(counted_exercise(exercise, most=99)[0])
    assert different > 6

    assert (4, different - 4) == (lambda found: (len(found[0]), found[1]))(counted_exercise(exercise, most=4))
    assert (different, 0) == (lambda found: (len(found[0]), found[1]))(counted_exercise(exercise, most=different - 2))


def test_a_plan_without_an_exercise_is_counted_too() -> None:
    """Strokes, whichever keys they take; the rests before the first are left out, later ones are bars like others."""
    plan = plan_of_quarters([4.0, 4.0, 5.5, 12.0, 13.5], pitches=[40, 60, 61, 62, 63], sections=(Section("a", 1, 4),))

    bars, left_out = counted_plan(plan)

    assert [(2, 4), (3,)] == [bar.bars for bar in bars]
    assert (CountedVoice("", (0.0, 1.5), (False, False)),) == bars[0].voices
    assert () == bars[1].voices
    assert ["1", "2", "&", "3", "4"] == [s.text for s in bars[0].syllables]
    assert ("a", Metre(4, 4).bar_quarters, 0) == (bars[0].section, bars[0].length_quarters, left_out)
