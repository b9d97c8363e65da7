"""Metres, clicks and their text."""

import numpy as np
import pytest

from heeltap.errors import PlanError
from heeltap.model.exercise import (
    METRES,
    ClickPlan,
    click_text,
    clicks,
    felt_beats,
    parse_click,
    parse_metre,
    with_pads,
)
from heeltap.model.timeline import Metre
from tests.makers.exercises import made


@pytest.mark.parametrize("text", METRES)
def test_a_metre_is_read_and_its_felt_beats_lie_inside_the_bar(text: str) -> None:
    """Strong and answering beats are felt beats, none is both, the first is strong."""
    metre = parse_metre(text)
    pulses = felt_beats(metre)

    assert text == str(metre)
    assert set(pulses.strong) | set(pulses.back) <= set(pulses.starts)
    assert not set(pulses.strong) & set(pulses.back)
    assert 1 == pulses.starts[0] == pulses.strong[0]
    assert pulses.starts[-1] <= metre.count


def test_a_metre_that_is_not_made_names_the_nearest() -> None:
    """The hint is a metre that can be had."""
    with pytest.raises(PlanError, match=r"'4/5'.*nearest: 4/4"):
        parse_metre("4/5")


def test_other_metres_have_felt_beats_too() -> None:
    """A hand-written exercise may be in any metre."""
    assert (1, 4, 7) == felt_beats(Metre(9, 8)).starts
    assert (1,) == felt_beats(Metre(1, 4)).back


@pytest.mark.parametrize("text", ["every", "backbeat", "one", "fade", "none", "bars 2+2", "bars 1+3"])
def test_click_text_and_back(text: str) -> None:
    """What is printed can be typed."""
    assert text == click_text(parse_click(text))


@pytest.mark.parametrize("text", ["evry", "bars", "bars 2", "bars 0+2", "bars a+b", "one two", "", "bars 99+1"])
def test_a_wrong_click_tells_what_there_is(text: str) -> None:
    """The message lists the kinds and, where it can, the nearest."""
    with pytest.raises(PlanError, match="bars 2\\+2"):
        parse_click(text)


@pytest.mark.parametrize(
    ("click", "metre", "quarters"),
    [
        (ClickPlan("every"), "4/4", [0, 1, 2, 3, 4, 5, 6, 7]),
        (ClickPlan("backbeat"), "4/4", [1, 3, 5, 7]),
        (ClickPlan("one"), "4/4", [0, 4]),
        (ClickPlan("bars", 1, 1), "4/4", [0, 1, 2, 3]),
        (ClickPlan("none"), "4/4", []),
        (ClickPlan("every"), "6/8", [0, 1.5, 3, 4.5]),
        (ClickPlan("backbeat"), "6/8", [1.5, 4.5]),
    ],
)
def test_clicks_fall_where_their_plan_says(click: ClickPlan, metre: str, quarters: list[float]) -> None:
    """Two bars of each plan; the click is on the metre's own beat."""
    assert quarters == (clicks(click, parse_metre(metre), 2).at_tick / 10_080).tolist()


def test_a_fading_click_falls_evenly_and_ends_in_silence() -> None:
    """Loudness never rises, is whole at first, and the last quarter of the bars has no click."""
    made = clicks(ClickPlan("fade"), Metre(4, 4), 16)

    ones = made.strength[made.is_one]
    assert np.all(np.diff(ones) <= 0)
    assert [1.0] * 5 + [0.875, 0.75, 0.625, 0.5, 0.375, 0.25, 0.125] == ones.tolist()
    assert 11 == made.at_tick.max() // (4 * 10_080)
    assert made.strength.min() > 0


def test_learned_pads_replace_the_usual_keys() -> None:
    """Only the voices that are named change."""
    exercise = made("turn", 8)

    found = {voice.name: voice.pitches for voice in with_pads(exercise, {"snare": 40, "cowbell": 56}).voices}

    assert {"kick": (36,), "snare": (40,), "hat": (42,), "crash": (49,)} == found
    with pytest.raises(PlanError, match="snare 128; expected keys from 0 to 127"):
        with_pads(exercise, {"snare": 128})
