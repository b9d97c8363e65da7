"""A part of any MIDI file is drilled right: whatever its resolution, with a pick-up and a change of tempo."""

from pathlib import Path

import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.settings import Settings, context_of
from heeltap.app.route.route import Route
from heeltap.app.takes.finish_take import finish_take
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.engine.process import EngineSpec, run_here
from heeltap.files.takes.folder import open_take, read_context
from heeltap.model.notes import make_notes
from heeltap.session.matcher import Status
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import Begin, Elapsed, Phase, begin, step
from heeltap.tui.screens.drill import draw_drill, view_of
from heeltap.views.bar_sheet import glyphs_for
from tests.engine.test_process import Screen
from tests.makers.drills import played
from tests.makers.written_songs import BARS, COUNT, SONG_US, write_song

RESOLUTIONS = (96, 480, 960, 10_080)


@pytest.mark.parametrize("ticks_per_quarter", RESOLUTIONS)
def test_bars_and_strokes_stand_where_the_file_has_them(tmp_path: Path, ticks_per_quarter: int) -> None:
    """Six bars, each of its own length; the pick-up has one beat; the last bars are as long as the faster tempo says."""
    drill = drill_of(str(write_song(tmp_path / "song.mid", ticks_per_quarter)), part="keys")
    columns = columns_of(drill.plan)

    assert BARS == len(columns.bars)
    assert [0, 500_000, 2_500_000, 4_500_000, 6_300_000, 7_900_000] == [bar.start_us for bar in columns.bars]
    assert [500_000, 2_500_000, 4_500_000, 6_300_000, 7_900_000, 9_500_000] == [bar.end_us for bar in columns.bars]
    assert [1, 4, 4, 4, 4, 4] == [len(bar.beat_us) for bar in columns.bars]
    assert list(SONG_US) == [target.at_us for target in columns.targets]


@pytest.mark.parametrize("ticks_per_quarter", RESOLUTIONS)
def test_clicks_fall_on_the_beats_and_the_count_leads_up_to_the_pick_up(tmp_path: Path, ticks_per_quarter: int) -> None:
    """Seven beats are counted, the eighth is the pick-up; then a click on every beat, the ones louder."""
    schedule = drill_of(str(write_song(tmp_path / "song.mid", ticks_per_quarter)), part="keys").schedule
    rows = [(due, kind) for due, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind != "off"]
    loud = [due for (due, _), message in zip(rows, _ons(schedule.messages), strict=True) if message[2] == 110]

    assert [-3_500_000 + k * 500_000 for k in range(7)] == [due for due, kind in rows if kind == "count-in"]
    assert [0, *range(500_000, 5_500_001, 500_000)] == [due for due, _ in rows if 0 <= due < 5_900_000]
    assert [0, 500_000, 2_500_000, 4_500_000, 6_300_000, 7_900_000] == [due for due in loud if due >= 0]
    assert [-3_500_000, -1_500_000] == [due for due in loud if due < 0]
    assert 9_500_000 == schedule.end_us


def _ons(messages: tuple[bytes, ...]) -> list[bytes]:
    return [message for message in messages if message[0] & 0xF0 == 0x90]


@pytest.mark.parametrize("ticks_per_quarter", RESOLUTIONS)
def test_numbers_come_bar_by_bar_while_playing(tmp_path: Path, ticks_per_quarter: int) -> None:
    """Every stroke has the offset that was played, each bar is told when it is over, and the take ends by itself."""
    drill = drill_of(str(write_song(tmp_path / "song.mid", ticks_per_quarter)), part="keys")
    offsets = [(-1) ** k * (3.0 + k % 5) for k in range(COUNT)]
    notes = played(drill.plan, offsets)
    state = step(begin(columns_of(drill.plan, count_in_bars=drill.count_in_bars)), Begin())[0]
    done_at: list[int] = []
    for event in sorted([*notes, *map(Elapsed, range(-3_500_000, 10_200_000, 50_000))], key=lambda one: one.at_us):
        before, (state, _) = state.bars_done, step(state, event)
        done_at += [event.at_us] * (state.bars_done - before)

    assert Phase.DONE == state.phase
    assert "played" == state.ending
    assert [round(1000 * ms) for ms in offsets] == [stroke.offset_us for stroke in state.strokes]
    assert {Status.PLAYED} == {stroke.status for stroke in state.strokes}
    assert BARS == len(done_at)
    assert all(0 < at - bar.end_us <= 250_000 for at, bar in zip(done_at, state.columns.bars, strict=True))


@pytest.mark.parametrize("ticks_per_quarter", RESOLUTIONS)
def test_an_item_of_a_set_is_drilled_and_judged_like_the_part_itself(tmp_path: Path, ticks_per_quarter: int) -> None:
    """The part of a MIDI file as an item of a set, through the engine on a clock that jumps: each offset comes back in its own
    bar, from the journal as from the screen."""
    write_song(tmp_path / "song.mid", ticks_per_quarter)
    (tmp_path / "week.toml").write_text(_SET, encoding="utf-8")
    drill = drill_of(f"{tmp_path / 'week.toml'}:1")
    offsets_us = [(-1) ** k * (3_000 + 1_000 * (k % 5)) for k in range(COUNT)]
    clock, screen = FakeClock(), Screen()
    script = script_from_notes(make_notes(drill.plan.at_us + offsets_us, [60] * COUNT))
    take = open_take(tmp_path, context_of(drill, Settings("Pads", "Synth", takes=tmp_path), Route(delay_ms=0.0)))
    port, spec = FakeInPort(script, clock.now_ns, name="Pads"), EngineSpec(drill.schedule, journal=take.journal)
    run_here(spec, clock, screen, inputs=[port], output=FakeOutPort(clock.now_ns))
    columns = columns_of(drill.plan, count_in_bars=drill.count_in_bars)
    result = score_kept(finish_take(take, read_context(take.folder), ending="played"))

    assert [0, 500_000, 2_500_000, 4_500_000, 6_300_000, 7_900_000] == [bar.start_us for bar in columns.bars]
    assert [us / 1000 for us in offsets_us] == pytest.approx([note.offset_ms for note in result.notes], abs=0.02)
    assert [1, *(bar for bar in range(2, BARS + 1) for _ in range(4))] == [note.bar for note in result.notes]


_SET = """\
format = "heeltap.set/1"
title = "A song"

[[item]]
midi = "song.mid"
part = "keys"
"""


@pytest.mark.parametrize("ticks_per_quarter", RESOLUTIONS)
def test_the_drawn_screen_follows_the_bars_of_the_file(tmp_path: Path, ticks_per_quarter: int) -> None:
    """In the middle of each bar the head of the screen names it, and the bar before has the numbers that were played."""
    drill = drill_of(str(write_song(tmp_path / "song.mid", ticks_per_quarter)), part="keys")
    columns = columns_of(drill.plan, count_in_bars=drill.count_in_bars)
    view = view_of(drill, Settings("Pads", "Synth", takes=tmp_path), glyphs_for("utf-8"))
    notes = played(drill.plan, [float(10 + k) for k in range(COUNT)])
    state = step(begin(columns), Begin())[0]
    heads, numbers = [], []
    for bar in columns.bars:
        middle = (bar.start_us + bar.end_us) // 2 + 100_000
        due = [note for note in notes if state.now_us < note.at_us <= middle]
        for event in [*due, Elapsed(middle)]:
            state, _ = step(state, event)
        drawn = ["".join(span.text for span in line) for line in draw_drill(state, view)]
        heads += [number for number in range(1, BARS + 1) if f"bar {number} of {BARS}" in drawn[0]]
        before = [state.strokes[i].offset_us for i in (columns.bars[bar.number - 2].targets if bar.number > 1 else ())]
        numbers.append(all(f"+{(us or 0) // 1000}" in "\n".join(drawn) for us in before))

    assert list(range(1, BARS + 1)) == heads
    assert [True] * BARS == numbers
