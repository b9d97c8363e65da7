"""Some bars of a drill: ranges, loops, a bar to run in, and the count before them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.changes import at_tempo, tempo_of
from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.ranges import MOST_PASSES, drill_bars, from_bar, with_count_in
from heeltap.errors import PlanError
from heeltap.model.excerpt import bars_of_text
from heeltap.model.messages import Schedule
from heeltap.session.plan_columns import columns_of
from tests.makers.written_songs import SONG_US, write_song


@pytest.fixture
def song(tmp_path: Path) -> Drill:
    """The song's keys, with its own drums."""
    return drill_of(str(write_song(tmp_path / "song.mid", 480)), part="keys", click="part:drums")


def ons(drill: Drill) -> list[tuple[int, int]]:
    """When which key of the schedule is struck."""
    rows = zip(drill.schedule.due_us.tolist(), drill.schedule.messages, strict=True)
    return [(due, message[1]) for due, message in rows if message[0] & 0xF0 == 0x90]


def test_a_range_begins_at_zero_and_keeps_its_names(song: Drill) -> None:
    """Bars 4 and 5: the strokes of the song less the beginning of bar 4, the change of tempo where it was."""
    cut = drill_bars(song, (4, 5))
    columns = columns_of(cut.plan, bar_numbers=cut.bar_numbers)

    assert [us - 4_500_000 for us in SONG_US if 4_500_000 <= us < 7_900_000] == cut.plan.at_us.tolist()
    assert ["4", "5"] == [bar.name for bar in columns.bars]
    assert [(0, 1_800_000), (1_800_000, 3_400_000)] == [(bar.start_us, bar.end_us) for bar in columns.bars]
    assert ("song.mid, keys, bars 4-5", "song-bars-4-5") == (cut.title, cut.name)
    assert cut.whole is song


def test_its_drums_are_those_of_these_bars(song: Drill) -> None:
    """Eight quarters of drums after a count of four at the tempo of bar 4; every note that begins is let go."""
    cut = drill_bars(song, (4, 5))
    whole = [(due - 4_500_000, key) for due, key in ons(song) if 4_500_000 <= due < 7_900_000]

    assert [-2_000_000, -1_500_000, -1_000_000, -500_000] == [due for due, _ in ons(cut) if due < 0]
    assert whole == [row for row in ons(cut) if row[0] >= 0]
    assert 8 == len(whole)
    assert cut.schedule.kind.count("off") == len(ons(cut))
    assert 3_400_000 == cut.schedule.end_us


def test_a_loop_is_the_same_bars_again_and_each_pass_a_section(song: Drill) -> None:
    """Three passes of bars 4 and 5: strokes, drums, tempi and beats repeat after 3.4 s; the names repeat, too."""
    one, three = drill_bars(song, (4, 5)), drill_bars(song, (4, 5), passes=3)
    columns = columns_of(three.plan, bar_numbers=three.bar_numbers)
    again = np.concatenate([one.plan.at_us + k * 3_400_000 for k in range(3)])

    assert again.tolist() == three.plan.at_us.tolist()
    assert three.plan.at_us.tolist() == three.plan.tempo.us_at_position(three.plan.at_tick).tolist()
    assert [("pass 1", 1, 2), ("pass 2", 3, 4), ("pass 3", 5, 6)] == [
        (one.name, one.first_bar, one.last_bar) for one in three.plan.sections
    ]
    assert ["4", "5", "4", "5", "4", "5"] == [bar.name for bar in columns.bars]
    assert [0, 1_800_000, 3_400_000, 5_200_000, 6_800_000, 8_600_000] == [bar.start_us for bar in columns.bars]
    assert [(due + k * 3_400_000, key) for k in range(3) for due, key in ons(one) if due >= 0] == [
        row for row in ons(three) if row[0] >= 0
    ]


def test_a_loop_across_a_change_of_metre_keeps_every_bar(song: Drill) -> None:
    """The pick-up and the bar after it, twice: bars of one and of four beats in turn."""
    twice = drill_bars(song, (1, 2), passes=2)

    assert [1, 4, 1, 4] == [len(bar.beat_us) for bar in columns_of(twice.plan).bars]
    assert [0, 500_000, 2_500_000, 3_000_000] == [bar.start_us for bar in columns_of(twice.plan).bars]


def test_the_bar_before_sounds_and_is_not_judged(song: Drill) -> None:
    """Count, then bar 3 of the drums, then bar 4: the count is moved before the bar to run in, nothing of it is planned."""
    cut = drill_bars(song, (4, 5), run_in=True)
    before = [(due, key) for due, key in ons(cut) if due < 0]

    assert [-4_000_000 + k * 500_000 for k in range(4)] == [due for due, _ in before[:4]]
    assert [(due - 4_500_000, key) for due, key in ons(song) if 2_500_000 <= due < 4_500_000] == before[4:]
    assert 4_000_000 == cut.count_in_us
    assert drill_bars(song, (4, 5)).plan.at_us.tolist() == cut.plan.at_us.tolist()


def test_a_click_runs_in_as_well(tmp_path: Path) -> None:
    """Without drums the bar before is a bar of the click, and the click plan of the bars is their own."""
    cut = drill_bars(drill_of("anchor 2", click="backbeat"), (3, 4), run_in=True)
    whole = drill_of("anchor 2", click="backbeat")
    start = int(whole.plan.tempo.us_at_position(whole.plan.metre.quarter_of_bar(3) * 10_080))
    bar_us = start // 2

    assert [(due - start, key) for due, key in ons(whole) if start <= due < start + 2 * bar_us] == [
        row for row in ons(cut) if row[0] >= 0
    ]
    assert [(due - start, key) for due, key in ons(whole) if start - bar_us <= due < start] == [
        row for row in ons(cut) if -bar_us <= row[0] < 0
    ]
    assert -2 * bar_us == ons(cut)[0][0]


def test_a_loop_without_a_number_ends_some_time(song: Drill) -> None:
    """Ten minutes or a hundred passes, whichever is less."""
    assert MOST_PASSES == drill_bars(song, (4, 5), passes=None).passes
    assert 63 == drill_bars(song, None, passes=None).passes


def test_a_range_of_a_range_is_of_the_whole(song: Drill) -> None:
    """Bars are always named as in the song; no range gives the whole back."""
    assert ("2", "3") == tuple(map(str, drill_bars(drill_bars(song, (4, 5)), (2, 3)).bar_numbers))
    assert drill_bars(drill_bars(song, (4, 5))) is song


def test_a_note_that_lasts_into_the_next_bar_is_let_go_at_the_seam(song: Drill) -> None:
    """A drum of two seconds in the last beat is ended at the end of the pass, before the next pass strikes it again."""
    assert song.backing is not None
    old = song.backing
    due = np.where([kind == "off" for kind in old.kind], old.due_us + 2_000_000, old.due_us)
    order = np.argsort(due, kind="stable").tolist()
    columns = (tuple(column[i] for i in order) for column in (old.messages, old.kind))
    backing = Schedule(due[order], *columns, old.end_us)
    twice = drill_bars(replace(song, backing=backing), (4, 4), passes=2)
    rows = list(zip(twice.schedule.due_us.tolist(), twice.schedule.messages, twice.schedule.kind, strict=True))
    down: dict[int, int] = {}
    for _, message, _ in [row for row in rows if row[0] >= 0]:
        down[message[1]] = down.get(message[1], 0) + (1 if message[0] & 0xF0 == 0x90 else -1)

    assert {0} == set(down.values())
    assert 3_600_000 == max(due for due, _, _ in rows)


@pytest.mark.parametrize(("bars", "passes"), [((5, 7), 1), ((0, 2), 1), ((3, 2), 1), ((1, 2), 0), ((1, 2), 101)])
def test_what_cannot_be_is_refused(song: Drill, bars: tuple[int, int], passes: int) -> None:
    """Bars that there are not, and too many passes."""
    with pytest.raises(PlanError, match=r"bars|passes"):
        drill_bars(song, bars, passes=passes)


def test_bar_one_has_nothing_to_run_in(song: Drill) -> None:
    """The line says which bars have."""
    with pytest.raises(PlanError, match=r"^run-in: bar 1, which has no bar before it; expected bars from 2 on"):
        drill_bars(song, (1, 2), run_in=True)


@pytest.mark.parametrize(("text", "expected"), [("14-16", (14, 16)), ("14 - 16", (14, 16)), ("7", (7, 7))])
def test_bars_are_read(text: str, expected: tuple[int, int]) -> None:
    """A range or one bar."""
    assert expected == bars_of_text(text)


@pytest.mark.parametrize("text", ["", "0", "16-14", "a-b", "1-", "1-2-3", "-3"])
def test_other_text_is_refused(text: str) -> None:
    """The line says what is expected."""
    with pytest.raises(PlanError, match="a range such as 14-16"):
        bars_of_text(text)


def test_the_count_can_be_longer(song: Drill) -> None:
    """Two bars: eight clicks before a range, fifteen before the pick-up of the whole; none and nine are refused."""
    two = with_count_in(drill_bars(song, (4, 5)), 2)

    assert 8 == len([due for due, _ in ons(two) if due < 0])
    assert 11 == len([due for due, _ in ons(with_count_in(song, 2)) if due < 0])
    for bars in (0, 9):
        with pytest.raises(PlanError, match="1 to 8"):
            with_count_in(song, bars)


@pytest.mark.parametrize("bars", [None, (4, 5)])
def test_another_tempo_takes_drums_and_bars_along(song: Drill, bars: tuple[int, int] | None) -> None:
    """Twice as slow: strokes, drums and the change of tempo at twice the time; the same bars, from the same song."""
    drill = song if bars is None else drill_bars(song, bars, passes=2)
    slow = at_tempo(drill, tempo_of(drill) / 2)

    assert (2 * drill.plan.at_us).tolist() == slow.plan.at_us.tolist()
    assert [(2 * due, key) for due, key in ons(drill)] == ons(slow)
    assert (drill.bar_numbers, drill.passes, drill.title) == (slow.bar_numbers, slow.passes, slow.title)


def test_the_drill_goes_on_from_a_bar(song: Drill) -> None:
    """What is left of the song from bar 5 on; a loop begins its pass again and has the passes that are left."""
    rest, loop = from_bar(song, 5), from_bar(drill_bars(song, (4, 5), passes=4), 6)

    assert (5, 6) == rest.bar_numbers
    assert [us - 6_300_000 for us in SONG_US if us >= 6_300_000] == rest.plan.at_us.tolist()
    assert (2, (4, 5, 4, 5)) == (loop.passes, loop.bar_numbers)
    assert song is from_bar(song, 1)
