"""A pause in which time stands still: the bar is played again, and nothing of its first go is left."""

import pytest

from heeltap.session.events import GoOn
from heeltap.session.matcher import Status
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import (
    BarDone,
    Begin,
    Effect,
    Elapsed,
    Event,
    Finished,
    Note,
    Pause,
    Phase,
    Press,
    Resume,
    State,
    Stop,
    begin,
    step,
)
from tests.makers.drills import counted_plan, played

BAR_US = 2_000_000

BARS = ["1 2 3 4"] * 4


def run(events: list[Event], state: State | None = None) -> tuple[State, list[Effect]]:
    """The state after events, and all effects."""
    state = begin(columns_of(counted_plan(BARS))) if state is None else state
    effects: list[Effect] = []
    for event in events:
        state, more = step(state, event)
        effects += more
    return state, effects


@pytest.fixture
def paused() -> State:
    """Bar 1 played 5 ms late, bar 2 up to its second beat 40 ms early, then paused."""
    first = played(counted_plan(BARS), [5.0] * 4 + [-40.0] * 2 + [None] * 10)
    return run([Begin(), Elapsed(-1), *first, Pause(2_700_000, stands=True)])[0]


def test_time_stands_still(paused: State) -> None:
    """However long it takes: nothing is missed, no note counts, the bar is not over."""
    later, effects = run([Elapsed(60_000_000), Note(61_000_000, 60, 80), Elapsed(70_000_000)], paused)

    assert Phase.PAUSED == paused.phase == later.phase
    assert [] == effects
    assert (2_700_000, paused.strokes, (), ()) == (later.now_us, later.strokes, later.extras, later.gaps)


def test_the_bar_is_played_again(paused: State) -> None:
    """Its strokes wait again, bar 1 stays; taps in the count are nothing; the take is judged by the second go only."""
    again = played(counted_plan(BARS), [None] * 4 + [10.0] * 12)
    taps = [Note(k * 500_000, 60, 80) for k in range(3)]
    waiting, _ = run([Resume(0, from_us=BAR_US)], paused)
    state, effects = run([*taps, *again, Elapsed(4 * BAR_US + 800_000)], waiting)

    assert (Phase.COUNT_IN, 0, BAR_US) == (waiting.phase, waiting.now_us, waiting.begin_us)
    assert [Status.PLAYED] * 4 + [Status.WAITING] * 12 == [stroke.status for stroke in waiting.strokes]
    assert [5_000] * 4 + [10_000] * 12 == [stroke.offset_us for stroke in state.strokes]
    assert ((), "played") == (state.extras, state.ending)
    assert [2, 3, 4] == [one.result.bar.number for one in effects if isinstance(one, BarDone)]
    assert Finished("played") == effects[-1]


def test_the_count_becomes_playing_at_the_bar_line(paused: State) -> None:
    """Not at bar 1."""
    waiting, _ = run([Resume(0, from_us=BAR_US), Elapsed(BAR_US - 1)], paused)

    assert Phase.COUNT_IN == waiting.phase
    assert Phase.PLAYING == run([Elapsed(BAR_US)], waiting)[0].phase


def test_an_early_first_stroke_after_the_count_is_that_stroke(paused: State) -> None:
    """60 ms before the bar line."""
    state, _ = run([Resume(0, from_us=BAR_US), Note(BAR_US - 60_000, 60, 80), Elapsed(BAR_US + 400_000)], paused)

    assert (-60_000, ()) == (state.strokes[4].offset_us, state.extras)


def test_a_pause_in_the_count_begins_again_at_bar_one() -> None:
    """Nothing was played; the count is given again."""
    paused, _ = run([Begin(), Elapsed(-900_000), Pause(-800_000, stands=True)])
    state, _ = run([Resume(-BAR_US, from_us=0), *played(counted_plan(BARS), [0.0] * 16), Elapsed(9_000_000)], paused)

    assert {0} == {stroke.offset_us for stroke in state.strokes}


def test_stopping_in_a_pause_ends_the_take_there(paused: State) -> None:
    """What was played is kept; what was not yet due is not missed."""
    state, effects = run([Stop(paused.now_us)], paused)

    assert ("stopped", Phase.DONE) == (state.ending, state.phase)
    assert Status.MISSED not in {stroke.status for stroke in state.strokes}
    assert [Finished("stopped")] == effects


def test_the_pedal_that_starts_asks_for_the_count(paused: State) -> None:
    """The engine has to count; the session only says so."""
    state, effects = run([Press(2_800_000, ("start",))], paused)

    assert ([GoOn()], paused) == (effects, state)


def test_resuming_what_is_not_paused_changes_nothing() -> None:
    """A late answer of the engine."""
    playing, _ = run([Begin(), Elapsed(100_000)])

    assert playing == run([Resume(0, from_us=0)], playing)[0]
