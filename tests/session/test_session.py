"""The session: a whole drill without a thread, a sleep or a device."""

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.model.plan import Section
from heeltap.session.matcher import Status
from heeltap.session.plan_columns import PlanColumns, columns_of
from heeltap.session.session import (
    Back,
    BarDone,
    Begin,
    Click,
    Dropped,
    Effect,
    Elapsed,
    Event,
    Feedback,
    Finished,
    Lost,
    Note,
    Pause,
    Phase,
    Resume,
    Say,
    Show,
    State,
    Stop,
    begin,
    step,
)
from tests.makers.amounts import amount
from tests.makers.drills import counted_plan, played

TWO_BARS = ["1 2 3 4", "1& 2& 3& 4&"]


def run(state: State, events: Iterable[Event]) -> tuple[State, list[Effect]]:
    """Feed events; the last state and every effect."""
    effects: list[Effect] = []
    for event in events:
        state, more = step(state, event)
        effects += more
    return state, effects


def drill(
    columns: PlanColumns, notes: list[Note], *more: Event, feedback: Feedback = Feedback.BAR
) -> tuple[State, list[Effect]]:
    """A whole drill: the notes among clock ticks every 20 ms, until a little after its end."""
    ticks: list[Event] = [Elapsed(us) for us in range(-columns.count_in_us, columns.end_us + 100_000, 20_000)]
    timed = sorted([*ticks, *notes, *more], key=lambda event: event.due_us if isinstance(event, Click) else event.at_us)
    return run(begin(columns), [Begin(), *timed])


def offsets(state: State) -> list[int | None]:
    """The offset of each stroke, microseconds."""
    return [stroke.offset_us for stroke in state.strokes]


def test_each_stroke_gets_its_own_offset() -> None:
    """A player's offsets come back exactly, and both bars are reported in order before the end."""
    plan = counted_plan(TWO_BARS)
    wanted = [-4.0, 11.0, 9.0, 38.0, 0.0, -20.0, 5.5, 60.0, -60.0, 1.0, 2.0, 3.0]

    state, effects = drill(columns_of(plan), played(plan, wanted))

    assert offsets(state) == [round(ms * 1000) for ms in wanted]
    assert [type(effect) for effect in effects] == [BarDone, BarDone, Finished]
    assert (state.phase, state.ending, state.extras) == (Phase.DONE, "played", ())


def test_a_stroke_that_was_left_out_is_missed_and_costs_only_itself() -> None:
    """The neighbours of a missing stroke keep their notes."""
    plan = counted_plan(TWO_BARS)
    wanted = [0.0, None, 10.0, -10.0, 0.0, None, None, 20.0, -20.0, 0.0, None, 0.0]

    state, _ = drill(columns_of(plan), played(plan, wanted))

    assert offsets(state) == [None if ms is None else round(ms * 1000) for ms in wanted]
    assert [stroke.status is Status.MISSED for stroke in state.strokes] == [ms is None for ms in wanted]


def test_a_note_far_from_every_stroke_is_extra() -> None:
    """A note half-way between two quarters that are both played belongs to neither, and is counted in its bar."""
    plan = counted_plan(["1 2 3 4"])
    notes = [*played(plan, [0.0] * 4), Note(760_000, 60, 80)]

    state, effects = drill(columns_of(plan), notes)

    assert offsets(state) == [0, 0, 0, 0]
    assert [(extra.at_us, extra.bar) for extra in state.extras] == [(760_000, 1)]
    assert [effect.result.extras for effect in effects if isinstance(effect, BarDone)] == [1]


def test_a_pad_that_bounces_is_one_hit() -> None:
    """A softer second hit of the same key within 30 ms is folded and counted."""
    plan = counted_plan(["1 2 3 4"])
    notes = [*played(plan, [0.0] * 4), Note(509_000, 60, 30)]

    state, _ = drill(columns_of(plan), notes)

    assert (state.retriggers, state.extras, offsets(state)) == (1, (), [0, 0, 0, 0])


def test_a_chord_is_one_stroke_timed_by_its_median_note() -> None:
    """Three keys of a chord within 40 ms are one stroke; a key outside the plan beside it is extra."""
    plan = counted_plan(["1 (2) 3 (4)"], pitches=(60, 64, 67))
    notes = [Note(5_000, 64, 80), Note(9_000, 60, 80), Note(40_000, 67, 80), Note(12_000, 61, 80)]

    state, _ = drill(columns_of(plan), notes)

    assert offsets(state) == [9_000, None]
    assert [extra.pitch for extra in state.extras] == [61]


def test_the_right_key_goes_before_a_nearer_wrong_one() -> None:
    """In a part with keys, a note goes to the stroke that has its key, even when another stroke is nearer."""
    plan = counted_plan(["1& (2)& (3) (4)"], pitches=(60,))
    columns = columns_of(plan)

    state, _ = drill(columns, [Note(0, 62, 80), Note(260_000, 60, 80), Note(700_000, 60, 80)])

    assert [stroke.status for stroke in state.strokes] == [Status.OTHER_KEY, Status.PLAYED, Status.PLAYED]


def test_a_run_that_rushes_past_half_a_slot_is_followed() -> None:
    """Sixteenths that run away by 70 ms (of 125) still belong to their own strokes."""
    plan = counted_plan(["1e&a 2e&a 3e&a 4e&a"])
    wanted = [min(0.0, 10.0 * (4 - n)) if n < 12 else -70.0 for n in range(16)]

    state, _ = drill(columns_of(plan), played(plan, wanted))

    assert offsets(state) == [round(ms * 1000) for ms in wanted]


def test_notes_of_the_count_in_are_not_extra() -> None:
    """Players tap along with the count-in; an early first stroke counts all the same."""
    plan = counted_plan(["1 2 3 4"])
    notes = [Note(-1_500_000, 60, 80), Note(-1_000_000, 60, 80), *played(plan, [-35.0, 0.0, 0.0, 0.0])]

    state, _ = drill(columns_of(plan), notes)

    assert (offsets(state), state.extras) == ([-35_000, 0, 0, 0], ())


def test_the_delay_of_the_route_is_taken_away() -> None:
    """With a known delay of 12 ms a note 12 ms late is on time."""
    plan = counted_plan(["1 2 3 4"])

    state, _ = drill(columns_of(plan, delay_ms=12.0), played(plan, [12.0] * 4))

    assert offsets(state) == [0, 0, 0, 0]


def test_the_lean_moves_the_reach_and_the_scale() -> None:
    """A stroke at the lean stands in the middle of the scale."""
    plan = counted_plan(["1 2 3 4"])

    state, _ = drill(columns_of(plan, lean_ms=15.0), played(plan, [15.0, 20.0, 10.0, 15.0]))

    assert [offset for _, offset in state.recent] == [0, 5_000, -5_000, 0]


def test_strokes_while_the_port_is_gone_are_nobodys_miss() -> None:
    """Beats in a gap are no input; those around it are judged."""
    plan = counted_plan(["1 2 3 4", "1 2 3 4"])
    notes = played(plan, [0.0, 0.0, None, None, None, 0.0, None, 0.0])

    state, _ = drill(columns_of(plan), notes, Lost(800_000), Back(2_200_000))

    gone, missed = Status.NO_INPUT, Status.MISSED
    assert [stroke.status for stroke in state.strokes[2:5]] == [gone, gone, gone]
    assert state.strokes[6].status is missed
    assert state.connected


def test_a_stroke_that_a_dropped_cycle_may_have_taken_is_nobodys_miss() -> None:
    """Strokes 3 and 6 never came: the one beside the dropped cycle is "?", the other one missed; one that came is judged. What
    was dropped is said for six seconds."""
    plan = counted_plan(["1 2 3 4"] * 4)
    notes = played(plan, [None if i in (2, 5) else 4.0 for i in range(16)])
    at_us = int(plan.at_us[2]) + 30_000
    columns = columns_of(plan)

    halfway, _ = run(begin(columns), [Begin(), Elapsed(at_us - 1), Dropped(at_us, 2), Elapsed(at_us + 1)])
    state, _ = drill(columns, notes, Dropped(at_us, 2))

    assert "The MIDI system dropped 2 cycles: a note may be lost there, and counts as ?." == halfway.notice
    assert "" == state.notice
    assert [Status.NO_INPUT, Status.MISSED] == [state.strokes[i].status for i in (2, 5)]
    assert [4_000] * 14 == [offset for offset in offsets(state) if offset is not None]


def test_what_is_said_of_one_thing_leaves_what_is_said_of_another() -> None:
    """The output is gone, the disk is full, the disk has room again: the output is still gone."""
    columns = columns_of(counted_plan(TWO_BARS))

    state, _ = run(begin(columns), [Say("No output.", "output"), Say("Disk full.", "disk")])
    after, _ = run(state, [Say("", "disk")])

    assert ("Disk full. No output.", "No output.") == (state.notice, after.notice)


def test_a_lost_port_shows() -> None:
    """From the loss until the return the state says so."""
    plan = counted_plan(["1 2 3 4"])

    state, _ = run(begin(columns_of(plan)), [Begin(), Elapsed(0), Lost(10_000)])

    assert not state.connected


def test_holding_counts_nothing_until_it_goes_on() -> None:
    """Notes while held are not judged, strokes while held are not missed, and the phase says paused."""
    plan = counted_plan(["1 2 3 4", "1 2 3 4"])
    columns = columns_of(plan)
    notes = played(plan, [0.0, 0.0, 200.0, None, None, 0.0, 0.0, 0.0])

    held, _ = run(begin(columns), [Begin(), Elapsed(0), Pause(900_000)])
    state, _ = drill(columns, notes, Pause(900_000), Resume(2_100_000))

    assert held.phase is Phase.PAUSED
    assert [stroke.status for stroke in state.strokes[2:5]] == [Status.NO_INPUT] * 3
    assert (state.extras, state.strokes[5].offset_us) == ((), 0)


def test_stopping_leaves_the_rest_unjudged() -> None:
    """What lies after the stop is neither played nor missed, and the ending carries the reason."""
    plan = counted_plan(["1 2 3 4", "1 2 3 4"])
    columns = columns_of(plan)

    state, effects = drill(columns, played(plan, [0.0, 0.0, 0.0, None, None, None, None, None]), Stop(1_300_000))

    assert [stroke.status for stroke in state.strokes[3:]] == [Status.WAITING] * 5
    assert effects == [Finished("stopped")]
    assert step(state, Note(1_500_000, 60, 80)) == (state, ())


def test_a_bar_shows_only_when_its_feedback_allows() -> None:
    """Bar: once it is over. Stroke: at once. After: when all is over."""
    plan = counted_plan(["1 2 3 4", "1 2 3 4"])
    columns = columns_of(plan)
    first, second = columns.bars
    state, _ = run(begin(columns), [Begin(), Elapsed(2_400_000)])

    assert (state.shows(first), state.shows(second)) == (True, False)
    assert step(state, Show(Feedback.STROKE))[0].shows(second)
    assert not step(state, Show(Feedback.AFTER))[0].shows(first)
    assert step(step(state, Show(Feedback.AFTER))[0], Stop(2_500_000))[0].shows(second)


@pytest.mark.parametrize(("take", "shown"), [(1, True), (4, True), (5, False), (6, True), (13, False), (16, True)])
def test_numbers_fade_over_the_takes(take: int, shown: bool) -> None:
    """Every take, then every second, then every fourth."""
    assert (Feedback.FADE.for_take(take) is Feedback.BAR) == shown
    assert Feedback.STROKE.for_take(take) is Feedback.STROKE


def test_late_clicks_are_remembered() -> None:
    """A click that left more than 2 ms late is kept with its place; one that left in time is not."""
    plan = counted_plan(["1 2 3 4"])

    state, _ = drill(columns_of(plan), [], Click(0, 1_900), Click(500_000, 502_100))

    assert state.late_clicks == (500_000,)


def test_a_note_that_comes_late_through_the_pipe_still_counts() -> None:
    """A stroke whose time has passed on the clock is still its note's when that arrives within the grace."""
    plan = counted_plan(["1 2 3 4"])
    columns = columns_of(plan)

    state, _ = run(
        begin(columns), [Begin(), Elapsed(0), Elapsed(columns.targets[0].late_us + 20_000), Note(240_000, 60, 80)]
    )

    assert state.strokes[0].offset_us == 240_000


def test_the_sheet_counts_swung_eighths_as_eighths() -> None:
    """A swung plan stands under the same syllables as a straight one, and a straight third is counted as a third."""
    swung = counted_plan(["1& 2& 3& 4&"], swing_ratio=1.8)
    thirds = counted_plan(["1tl 2tl (3) (4)"])

    assert [(slot.text, slot.target) for slot in columns_of(swung).bars[0].slots] == [
        (text, index) for index, text in enumerate("1&2&3&4&")
    ]
    assert "".join(slot.text for slot in columns_of(thirds).bars[0].slots).startswith("1tl2tl")


def test_the_sheet_names_sections_and_keeps_rests() -> None:
    """Every bar is there, with its section; bars of rest have columns and no strokes."""
    plan = counted_plan(["1 2 3 4", "-", "1"], sections=[Section("verse", 1, 2), Section("chorus", 3, 3)])

    bars = columns_of(plan).bars

    assert [(bar.section, bar.starts_section, len(bar.targets)) for bar in bars] == [
        ("verse", True, 4),
        ("verse", False, 0),
        ("chorus", True, 1),
    ]
    assert [bar.start_us for bar in bars] == [0, 2_000_000, 4_000_000]


@given(
    events=st.lists(
        st.one_of(
            st.builds(Note, st.integers(-3_000_000, 9_000_000), st.integers(0, 127), st.integers(1, 127)),
            st.builds(Elapsed, st.integers(-3_000_000, 9_000_000)),
            st.builds(Click, st.integers(0, 8_000_000), st.integers(0, 8_000_000)),
            st.builds(Lost, st.integers(-1_000_000, 9_000_000)),
            st.builds(Back, st.integers(-1_000_000, 9_000_000)),
            st.builds(Pause, st.integers(-1_000_000, 9_000_000)),
            st.builds(Resume, st.integers(-1_000_000, 9_000_000)),
            st.builds(Stop, st.integers(0, 9_000_000)),
            st.sampled_from([Begin(), Show(Feedback.AFTER)]),
        ),
        max_size=40,
    )
)
@settings(max_examples=amount(150, fast=37))
def test_no_order_of_events_breaks_it(events: list[Event]) -> None:
    """Whatever comes: each bar is done once and in order, the end comes once, no note is claimed twice."""
    columns = columns_of(counted_plan(TWO_BARS))
    state, effects = run(begin(columns), events)

    done = [effect.result.bar.number for effect in effects if isinstance(effect, BarDone)]
    assert done == list(range(1, len(done) + 1))
    assert sum(isinstance(effect, Finished) for effect in effects) == (state.phase is Phase.DONE)
    claimed = [note for stroke in state.strokes for note in stroke.notes]
    assert len(claimed) + len(state.extras) + state.retriggers <= sum(isinstance(event, Note) for event in events)


def test_a_loss_that_is_told_late_takes_misses_back() -> None:
    """The input went in bar 1 and the engine says so a second later: what was called missed meanwhile was not heard."""
    columns = columns_of(counted_plan(["1 2 3 4"] * 2))
    before, _ = run(begin(columns), [Begin(), Elapsed(0), Note(0, 60, 80), Elapsed(1_500_000)])
    state, _ = step(before, Lost(300_000))

    assert [Status.PLAYED, Status.MISSED] == [stroke.status for stroke in before.strokes[:2]]
    assert [Status.PLAYED, Status.NO_INPUT, Status.NO_INPUT] == [stroke.status for stroke in state.strokes[:3]]
