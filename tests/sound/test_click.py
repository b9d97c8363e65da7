"""The click as MIDI: where it falls, how loud, on which keys."""

import numpy as np
import pytest

from heeltap.errors import PlanError
from heeltap.model.arrays import as_ints
from heeltap.model.exercise import ClickPlan, clicks
from heeltap.model.messages import Schedule
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo
from heeltap.sound.click import CLICK_SOUNDS, ClickSound, click_schedule
from heeltap.sound.percussion import CHANNEL, METRONOME, PERCUSSION, WOOD_BLOCK


def struck(schedule: Schedule) -> list[tuple[int, int, int, str]]:
    """Due time, key, velocity and kind of every click."""
    rows = zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True)
    return [(at, m[1], m[2], kind) for at, m, kind in rows if kind != "off"]


def test_one_bar_with_count_in() -> None:
    """4/4 at 120: four beats before zero, four from it, the one on its own key and loudest; ends with the bar."""
    schedule = click_schedule(steady_tempo(120), steady_metre(), 1)
    expected = [
        (-2_000_000, 76, 110, "count-in"),
        (-1_500_000, 77, 77, "count-in"),
        (-1_000_000, 77, 77, "count-in"),
        (-500_000, 77, 77, "count-in"),
        (0, 76, 110, "accent"),
        (500_000, 77, 77, "click"),
        (1_000_000, 77, 77, "click"),
        (1_500_000, 77, 77, "click"),
    ]

    assert expected == struck(schedule)
    assert 2_000_000 == schedule.end_us
    assert {9} == {m[0] & 15 for m in schedule.messages}


def test_every_click_is_let_go() -> None:
    """A note-off for each note-on, 40 ms later; none where the sound asks for none."""
    schedule = click_schedule(steady_tempo(100), steady_metre(), 2)
    offs = [at for at, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind == "off"]
    silent = click_schedule(steady_tempo(100), steady_metre(), 2, sound=ClickSound(length_us=0))

    assert [at + 40_000 for at, *_ in struck(schedule)] == offs
    assert struck(schedule) == struck(silent)
    assert "off" not in silent.kind


@pytest.mark.parametrize(
    ("count", "unit", "beats_us"),
    [
        (6, 8, [0, 750_000]),  # the dotted quarter
        (3, 4, [0, 500_000, 1_000_000]),
        (7, 8, [250_000 * k for k in range(7)]),
    ],
)
def test_click_falls_on_the_metres_beats(count: int, unit: int, beats_us: list[int]) -> None:
    """A beat is the metre's own; the count-in has the same."""
    schedule = click_schedule(steady_tempo(120), steady_metre(count, unit), 1)
    bar_us = round(2_000_000 * count / unit)

    assert [*(at - bar_us for at in beats_us), *beats_us] == [at for at, *_ in struck(schedule)]


def test_exercise_click_plan_is_followed() -> None:
    """Backbeat only: count-in on every beat, then two and four, softer than a one."""
    plan = clicks(ClickPlan("backbeat"), Metre(4, 4), 2)
    schedule = click_schedule(steady_tempo(120), steady_metre(), 2, clicks=plan)
    rows = struck(schedule)

    assert 4 == sum(kind == "count-in" for *_, kind in rows)
    assert [500_000, 1_500_000, 2_500_000, 3_500_000] == [at for at, *_, kind in rows if kind != "count-in"]
    assert {(77, 77)} == {(key, velocity) for _, key, velocity, kind in rows if kind == "click"}


def test_tempo_and_metre_changes_are_followed() -> None:
    """3/4 after a bar of 4/4, twice as fast from there: each beat from the map, the end too."""
    tempo = TempoMap(480, as_ints([0, 1920]), as_ints([500_000, 250_000]))
    metre = MetreMap(np.array([0.0, 4.0]), (Metre(4, 4), Metre(3, 4)))
    schedule = click_schedule(tempo, metre, 2, count_in_bars=0)
    ones = [at for at, key, *_ in struck(schedule) if key == 76]

    assert [0, 500_000, 1_000_000, 1_500_000, 2_000_000, 2_250_000, 2_500_000] == [at for at, *_ in struck(schedule)]
    assert [0, 2_000_000] == ones
    assert 2_750_000 == schedule.end_us


def test_ten_minutes_are_exact() -> None:
    """133 bpm for ten minutes: the last click is where the fraction says, to half a microsecond."""
    schedule = click_schedule(steady_tempo(133), steady_metre(), 333, count_in_bars=0)
    due = np.array([at for at, *_ in struck(schedule)])

    assert np.max(np.abs(due - np.arange(due.size) * 451_128)) == 0


def test_bad_numbers_are_refused() -> None:
    """A negative count-in or length."""
    with pytest.raises(PlanError, match="-1 bars, 1 of count-in; expected 0 or more of each"):
        click_schedule(steady_tempo(120), steady_metre(), -1)


def test_sounds_are_percussion() -> None:
    """Every sound strikes keys that the percussion map names; the metronome is 33 and 34, the fall-back 76 and 77."""
    assert (33, 34) == METRONOME
    assert {76, 77} == set(WOOD_BLOCK)
    for sound in CLICK_SOUNDS.values():
        assert {sound.beat, sound.one} <= set(PERCUSSION)
        assert CHANNEL == sound.channel
    assert set(range(27, 82)) == set(PERCUSSION)
