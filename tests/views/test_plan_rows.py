"""The rows of a bar sheet: what each hand or drum plays, where fills stand, which keys are meant."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.ranges import drill_bars
from heeltap.errors import PlanError
from heeltap.model.arrays import as_ints
from heeltap.model.counting import parse_counting, unit_ticks
from heeltap.model.exercise import METRES, Exercise
from heeltap.model.plan_from import plan_of, swing_ticks
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import begin
from heeltap.tui.screens.drill import rows_of_drill
from heeltap.units import TICKS_PER_QUARTER
from heeltap.views.bar_sheet import UNICODE, bar_block, block_height, plain
from heeltap.views.plan_rows import ONE_ROW, PlanRows, plan_rows_of
from tests.makers.drills import counted_plan
from tests.makers.exercises import GRADES, made

WIDTH, GUTTER = 96, 12


def rows_as_drawn(exercise: Exercise) -> list[dict[str, list[tuple[int, str]]]]:
    """For each bar the marks of each labelled line, with the column of each."""
    plan = plan_of(exercise)
    rows, columns = plan_rows_of(plan, exercise), columns_of(plan)
    state, found = begin(columns), []
    for bar in columns.bars:
        lines = plain(bar_block(state, [bar], WIDTH, UNICODE, gutter=GUTTER, rows=rows))
        assert len(lines) == block_height([bar], rows)
        marks = {
            line[:GUTTER].strip(): [(at, mark) for at, mark in enumerate(line[GUTTER:]) if mark in "o#~"]
            for line in lines[1:-1]
        }
        found.append({name: cells for name, cells in marks.items() if cells})
    return found


def rows_as_written(exercise: Exercise) -> list[dict[str, list[tuple[int, str]]]]:
    """The same from the exercise's own text, which `heeltap make` prints."""
    metre, found = exercise.metre, []
    for bar in exercise.bars:
        rows = {}
        for voice, line in zip(exercise.voices, bar.lines, strict=True):
            pattern = parse_counting(line, metre)
            at_tick = [swing_ticks(at, exercise.swing_ratio) for at in pattern.at_tick]
            columns = [int(at / TICKS_PER_QUARTER / metre.bar_quarters * WIDTH + 1e-6) for at in at_tick]
            marks = ["#" if accent else "o" for accent in pattern.accent]
            if marks:
                rows["plan" if voice.name == "any" else voice.name] = list(zip(columns, marks, strict=True))
        if bar.fill_from:
            start = int((bar.fill_from - 1) * unit_ticks(metre) / TICKS_PER_QUARTER / metre.bar_quarters * WIDTH + 1e-6)
            rows["fill"] = [(at, "~") for at in range(start, WIDTH - 1)]
        found.append(rows)
    return found


def near(drawn: dict[str, list[tuple[int, str]]], written: dict[str, list[tuple[int, str]]]) -> bool:
    """Whether both have the same rows and marks, no mark more than a column away."""
    return drawn.keys() == written.keys() and all(
        [mark for _, mark in drawn[name]] == [mark for _, mark in written[name]]
        and all(abs(a - b) <= 1 for (a, _), (b, _) in zip(drawn[name], written[name], strict=True))
        for name in drawn
    )


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_the_sheet_shows_what_make_prints(family: str, grade: int) -> None:
    """Each hand, drum and chord in a row of its own, accents and fills, in every exercise and every metre."""
    for metre in METRES:
        try:
            exercise = made(family, grade, metre)
        except PlanError:  # this grade does not exist in the metre
            continue
        pairs = zip(rows_as_drawn(exercise), rows_as_written(exercise), strict=True)
        wrong = [number for number, (drawn, written) in enumerate(pairs, 1) if not near(drawn, written)]
        assert [] == wrong


def test_fills_are_marked_somewhere() -> None:
    """The exercises of the turn family have fills, so the test above does compare some."""
    assert plan_rows_of(plan_of(made("turn", 6)), made("turn", 6)).fill_from


def test_hands_and_chords_and_drums_have_rows_of_their_own() -> None:
    """Named as the exercise names them."""
    names = {(family, grade): plan_rows_of(plan_of(made(family, grade)), made(family, grade)).names
             for family, grade in GRADES}  # fmt: skip

    assert ("left", "right") == names["anchor", "hands"]
    assert ("",) == names["anchor", "backbeat"]
    assert {"kick", "snare", "hat", "crash"} == set(names["turn", "sixteenths"])
    assert len(names["anchor", "chords"]) >= 3


def test_the_keys_are_said_once() -> None:
    """Notes of a chord by name, drums by key, and that any key will do where it is so."""
    keys = {(family, grade): plan_rows_of(plan_of(made(family, grade)), made(family, grade)).keys
            for family, grade in GRADES}  # fmt: skip

    assert "any key will do" == keys["anchor", "backbeat"]
    assert "any key will do, for left and right" == keys["anchor", "hands"]
    assert keys["anchor", "chords"].startswith("low: C2, ")
    assert ": C4 E4 G4" in keys["anchor", "chords"]
    assert "kick: C2, snare: D2" in keys["turn", "sixteenths"]


def test_a_chord_is_found_by_its_row_though_chords_share_keys() -> None:
    """C4 belongs to two chords; the row is the one that the exercise writes the stroke in."""
    exercise = made("anchor", 10)
    rows = plan_rows_of(plan_of(exercise), exercise)

    assert all(len({row for row, _ in struck}) == len(struck) for struck in rows.struck)
    assert {row for struck in rows.struck for row, _ in struck} == set(range(len(rows.names)))


def test_a_recorded_part_has_rows_for_drums_and_hands() -> None:
    """Drums by the General MIDI map where the part is percussion, hands where every note has one, else a single row."""
    plan = counted_plan(["1 2 3 4"])
    drums = replace(plan, pitch=as_ints([36, 38, 36, 55]))
    hands = replace(plan, pitch=as_ints([40, 60, 40, 60]), hand=as_ints([1, 2, 1, 2]))

    kit = plan_rows_of(drums, percussion=True)

    assert (("kick", "snare", "cymbals"), "keys: C2 D2 G3") == (kit.names, kit.keys)
    assert [((0, False),), ((1, False),), ((0, False),), ((2, False),)] == list(kit.struck)
    assert ("left", "right") == plan_rows_of(hands).names
    assert ("",) == plan_rows_of(drums).names
    assert "any key will do" == plan_rows_of(plan).keys
    many = replace(plan, pitch=as_ints([60, 62, 64, 65]), velocity=np.full(4, 80))
    assert "keys: C4 D4 E4 F4" == plan_rows_of(many).keys
    long = counted_plan(["1 2 3 4"] * 2)
    assert "keys from C4 to G#4" == plan_rows_of(replace(long, pitch=as_ints([60, *range(62, 69)]))).keys


def test_a_bar_of_rest_needs_one_row() -> None:
    """Whatever rows the other bars have, and a row of its own where nothing is known of the plan."""
    rows = PlanRows(("left", "right"), (((0, False), (1, True)), ((1, False),)))

    assert (0, 1) == rows.of_bars([0, 1])
    assert (1,) == rows.of_bars([1])
    assert (0,) == rows.of_bars([])
    assert (0,) == ONE_ROW.of_bars([0, 1, 2])
    assert [True, None] == [rows.mark(0, 1), rows.mark(1, 0)]


@pytest.mark.parametrize(
    ("family", "grade", "bars"), [("turn", 8, (7, 9)), ("anchor", 10, (14, 16)), ("split", 2, (3, 4))]
)
@pytest.mark.parametrize("passes", [1, 3])
def test_bars_of_an_exercise_keep_their_rows(family: str, grade: int, bars: tuple[int, int], passes: int) -> None:
    """In each pass every bar is drawn as in the whole: hands, drums, accents and fills."""
    whole = drill_of(f"{family} {grade}")
    part = drill_bars(whole, bars, passes=passes)
    found = rows_of_drill(part)

    def drawn(drill: Drill, rows: PlanRows, number: int) -> list[str]:
        columns = columns_of(drill.plan)
        lines = plain(bar_block(begin(columns), [columns.bars[number - 1]], WIDTH, UNICODE, gutter=GUTTER, rows=rows))
        return [lines[0][GUTTER:], *lines[1:]]

    expected = [drawn(whole, rows_of_drill(whole), number) for number in range(bars[0], bars[1] + 1)] * passes
    assert expected == [drawn(part, found, number) for number in range(1, part.plan.bars + 1)]
    assert rows_of_drill(whole).keys == found.keys
