"""Hands-free control: what is a trigger, what is a press, what the session makes of it."""

import pytest

from heeltap.errors import PlanError
from heeltap.session.handsfree import Controls, Pressed, Trigger, parse_trigger, press_of
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import (
    Again,
    Begin,
    Elapsed,
    Finished,
    Note,
    Pause,
    Phase,
    Press,
    Resume,
    State,
    begin,
    step,
)
from tests.makers.drills import counted_plan

PEDAL = Controls({"start": Trigger("cc", 64), "stop": Trigger("cc", 64), "repeat": Trigger("key", 49)})


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("cc64", Trigger("cc", 64)),
        ("CC 4", Trigger("cc", 4)),
        ("sustain", Trigger("cc", 64)),
        ("key49", Trigger("key", 49)),
        ("key 49", Trigger("key", 49)),
        ("C#3", Trigger("key", 49)),
        ("49", Trigger("key", 49)),
        ("pad crash", Trigger("key", 57)),
        ("pad:crash", Trigger("key", 57)),
    ],
)
def test_a_trigger_is_a_controller_a_key_or_a_pad(text: str, wanted: Trigger) -> None:
    """Each way of naming one."""
    assert wanted == parse_trigger(text, {"crash": 57})


@pytest.mark.parametrize(
    ("text", "words"), [("cc120", "cc64"), ("H3", "cc64"), ("pad ride", "crash"), ("", "cc64"), ("key128", "cc64")]
)
def test_what_is_no_trigger_is_said(text: str, words: str) -> None:
    """One line that shows what would do."""
    with pytest.raises(PlanError, match=words):
        parse_trigger(text, {"crash": 57})


def test_a_pedal_counts_when_it_goes_down() -> None:
    """A sweep of values is one press; the next one needs a release; the key's release is the control's, too."""
    down: frozenset[int] = frozenset()
    seen = []
    for value in (10, 63, 64, 90, 127, 70, 20, 0, 127):
        pressed = press_of(PEDAL, down, "cc", 64, value)
        assert pressed is not None
        down = pressed.down
        seen.append(pressed.actions)

    assert [bool(actions) for actions in seen] == [False, False, True, False, False, False, False, False, True]
    assert seen[2] == ("start", "stop")
    assert press_of(PEDAL, down, "key", 49, 0) == Pressed((), down)
    assert press_of(PEDAL, down, "key", 50, 90) is None
    assert press_of(PEDAL, down, "cc", 49, 90) is None


def a_state(now_us: int = 600_000) -> State:
    """A drill of one bar, under way."""
    state = step(begin(columns_of(counted_plan(["1 2 3 4"]))), Begin())[0]
    return step(state, Elapsed(now_us))[0]


def test_one_pedal_starts_and_stops() -> None:
    """Where nothing runs it asks for the exercise; where it runs it ends it; where it is held it lets it go on."""
    ready = begin(columns_of(counted_plan(["1 2 3 4"])))
    press = Press(700_000, ("start", "stop"))
    playing = a_state()
    held = step(playing, Pause(650_000))[0]

    assert step(ready, press) == (ready, (Again(),))
    stopped, effects = step(playing, press)
    assert (stopped.phase, stopped.ending, effects) == (Phase.DONE, "stopped", (Finished("stopped"),))
    assert step(stopped, press)[1] == (Again(),)
    assert step(held, press)[0] == step(held, Resume(700_000))[0]


def test_repeat_keeps_the_take_and_begins_again() -> None:
    """While one plays the take ends as stopped, and another is asked for; start alone does nothing there."""
    state, effects = step(a_state(), Press(700_000, ("repeat",)))

    assert (state.phase, effects) == (Phase.DONE, (Finished("stopped"), Again()))
    assert step(a_state(), Press(700_000, ("start",)))[1] == ()
    assert step(a_state(), Press(700_000, ("start",)))[0].phase is Phase.PLAYING
    assert step(begin(columns_of(counted_plan(["1"]))), Press(0, ("stop",)))[1] == ()


def test_a_press_changes_no_stroke() -> None:
    """Before the end, what was played stands as it stood."""
    state = step(a_state(0), Note(4_000, 60, 80))[0]

    after = step(state, Press(300_000, ("start",)))[0]

    assert (after.strokes, after.extras) == (state.strokes, state.extras)
