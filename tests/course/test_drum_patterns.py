"""Drum patterns as strokes."""

import pytest

from heeltap.course.drum_patterns import DrumLine, DrumPattern, hits_of
from heeltap.errors import PlanError
from heeltap.model.counting import parse_counting
from heeltap.model.exercise import ClickPlan
from heeltap.model.timeline import Metre

FOUR = Metre(4, 4)


def a_beat() -> DrumPattern:
    """Kick over two bars, snare over one."""
    kick = tuple(parse_counting(text, FOUR) for text in ("1", "1 (2)&"))
    return DrumPattern(
        "try", "", FOUR, (DrumLine("kick", 36, kick), DrumLine("snare", 38, (parse_counting("3", FOUR),)))
    )


def test_lines_repeat_each_in_its_own_length() -> None:
    """Two bars of kick, one of snare, over three bars; in time order."""
    hits = hits_of(a_beat(), 3)
    expected = [(0, 36), (20_160, 38), (40_320, 36), (55_440, 36), (60_480, 38), (80_640, 36), (100_800, 38)]

    assert expected == list(zip(hits.at_tick.tolist(), hits.key.tolist(), strict=True))


def test_silent_bars_and_fading_are_the_clicks() -> None:
    """Bars that are off have no stroke; fading makes later bars softer and ends in silence."""
    on_off = hits_of(a_beat(), 4, click=ClickPlan("bars", 1, 1))
    fading = hits_of(a_beat(), 8, click=ClickPlan("fade"))

    assert {0, 2} == set((on_off.at_tick // 40_320).tolist())
    assert fading.at_tick.max() < 6 * 40_320
    assert fading.strength[0] > fading.strength[-1] > 0


def test_pattern_is_not_made_of_beats() -> None:
    """A click plan that names single beats is refused."""
    with pytest.raises(PlanError, match="'one' of a drum pattern; expected every, 'bars 2\\+2' or fade"):
        hits_of(a_beat(), 2, click=ClickPlan("one"))
