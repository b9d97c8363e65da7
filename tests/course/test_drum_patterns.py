"""Drum patterns as strokes."""

import pytest

from heeltap.course.drum_patterns import DrumLine, DrumPattern, hits_of, patterns_for
from heeltap.errors import PlanError
from heeltap.files.toml.beats import read_beats
from heeltap.model.counting import bar_ticks, parse_counting
from heeltap.model.exercise import PADS, ClickPlan
from heeltap.model.plan import Section
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


SECTIONS = (Section("verse", 1, 2), Section("chorus", 3, 4), Section("verse 2", 5, 6))


@pytest.mark.parametrize("name", list(read_beats()))
def test_every_pattern_fills_into_the_changes_and_crashes_on_the_landings(name: str) -> None:
    """Bars 2 and 4 are another bar than the one before; 3 and 5 open with the crash, and no other bar has one."""
    beat = read_beats()[name]
    hits, length = hits_of(beat, 6, sections=SECTIONS), bar_ticks(beat.metre)
    bars = []
    for number in range(6):
        rows = hits.at_tick // length == number
        bars.append(set(zip((hits.at_tick[rows] % length).tolist(), hits.key[rows].tolist(), strict=True)))
    plain = hits_of(beat, 6)
    before = {(at % length, key) for at, key in zip(plain.at_tick, plain.key, strict=True) if at // length == 1}

    assert [False, False, True, False, True, False] == [(0, PADS["crash"]) in bar for bar in bars]
    assert bars[1] != before
    assert any(
        at >= length // 2 and key in (PADS["snare"], PADS["low-tom"], PADS["mid-tom"]) for at, key in bars[1] - before
    )


@pytest.mark.parametrize("name", list(read_beats()))
def test_a_chorus_is_lifted(name: str) -> None:
    """The bar behind the landing sounds otherwise in a chorus than in a verse."""
    beat = read_beats()[name]
    plain = hits_of(beat, 12, sections=(Section("verse", 1, 12),))
    lifted = hits_of(beat, 12, sections=(Section("Chorus 2", 1, 12),))

    assert list(zip(plain.at_tick, plain.key, strict=True)) != list(zip(lifted.at_tick, lifted.key, strict=True))


def test_a_pattern_of_ones_own_fills_as_well() -> None:
    """Without a fill of its own the snare plays eighths on the last beat."""
    hits = hits_of(a_beat(), 4, sections=(Section("a", 1, 2), Section("b", 3, 4)))
    fill = hits.at_tick[(hits.key == 38) & (hits.at_tick >= 70_560) & (hits.at_tick < 80_640)]

    assert [70_560, 75_600] == fill.tolist()


def test_a_swung_exercise_is_offered_straight_patterns_first() -> None:
    """They swing with it; thirds stay where they are."""
    names = [pattern.name for pattern in patterns_for(read_beats().values(), FOUR, swing_ratio=2.0)]

    assert ("plain", "shuffle") == (names[0], names[-1])
    assert ["waltz"] == [pattern.name for pattern in patterns_for(read_beats().values(), Metre(3, 4))]
