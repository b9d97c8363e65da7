"""The map of the exercises, and how one of them is played: what the screens show, and what they hand to the drill."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.from_settings import OWN_CLICK, DrillChoice, drill_chosen
from heeltap.app.practice.advise import course
from heeltap.app.practice.set_in_use import use_set
from heeltap.course.next_exercise import next_step
from heeltap.devices.systems import PortName
from heeltap.files.toml.beats import read_beats
from heeltap.model.exercise import METRES
from heeltap.model.lean import AUTO, Lean
from heeltap.session.session import Feedback
from heeltap.sound.click import CLICK_SOUNDS
from heeltap.tui.menu_app import MenuApp
from heeltap.tui.page import Look
from heeltap.tui.screens.exercises import CourseMap, GradeState, draw_map, map_of
from heeltap.tui.screens.options import OptionRow, option_rows
from heeltap.views.bar_sheet import UNICODE, plain
from tests.makers.screens import COURSE_TAKES, NOW, course_take
from tests.tui.test_menu_app import perform, text_of, until

Face = Pilot[DrillChoice | None]


@pytest.fixture(autouse=True)
def _ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """One input and one output."""
    names = ([PortName("Keys", "Keys")], [PortName("Synth", "Synth")])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)


def states(found: CourseMap, family: str = "anchor") -> list[GradeState]:
    """How far the player is with each grade of a family."""
    return [grade.state for one in found if one.name == family for grade in one.grades]


def test_the_map_has_every_exercise() -> None:
    """In the order of the course; before any take the first is next and the others are still to come."""
    found = map_of([], NOW)

    assert {family.name: len(family.grades) for family in found} == {
        name: len(steps) for name, steps in course().items()
    }
    assert [GradeState.NEXT, GradeState.NOT_YET] == states(found)[:2]
    assert {GradeState.NOT_YET} == set(states(found, "turn"))


def test_learned_due_begun_and_not_yet() -> None:
    """What went well again on another day is learned, what went well days ago is due, what was played less well is begun."""
    found = map_of(COURSE_TAKES, NOW)

    assert [GradeState.LEARNED, GradeState.LEARNED, GradeState.DUE, GradeState.BEGUN, GradeState.NOT_YET] == states(
        found
    )[:5]
    assert 2 == next(family.learned for family in found if family.name == "anchor")


def test_what_went_well_today_waits_for_tomorrow_and_is_learned_when_it_still_goes_well() -> None:
    """Two good takes: tomorrow. A good one on another day: learned."""
    twice = [course_take(0, 1, 0.97)] * 2
    again = [*[course_take(2, 1, 0.97)] * 2, course_take(0, 1, 0.97)]

    assert GradeState.TOMORROW == states(map_of(twice, NOW))[0]
    assert GradeState.DUE == states(map_of(twice, NOW + timedelta(days=1)))[0]
    assert GradeState.LEARNED == states(map_of(again, NOW))[0]


def test_next_is_what_the_takes_ask_for() -> None:
    """The one exercise that the start screen advises, at its tempo and seed."""
    past = [course_take(0, 1, 0.97)]
    step = next_step(past, course(), NOW)
    marked = [
        (family.name, grade.grade, grade.tempo_bpm, grade.seed)
        for family in map_of(past, NOW)
        for grade in family.grades
        if grade.state is GradeState.NEXT
    ]

    assert [(step.family, step.grade, step.tempo_bpm, step.seed)] == marked


@pytest.mark.parametrize(("width", "height"), [(60, 16), (80, 24), (200, 50)])
def test_the_chosen_exercise_is_on_the_screen(width: int, height: int) -> None:
    """However long the family, with its aim below; nothing is wider than the terminal."""
    found = map_of(COURSE_TAKES, NOW)
    for chosen in range(len(found[0].grades)):
        lines = plain(draw_map(found, 0, chosen, Look(width, height, UNICODE)))
        assert height == len(lines)
        assert max(map(len, lines)) <= width
        assert any(line.startswith(f"> {found[0].grades[chosen].grade} ") for line in lines)
        assert found[0].grades[chosen].aim[:20] in " ".join(" ".join(lines).split())


def rows_of(choice: DrillChoice) -> dict[str, OptionRow]:
    """The lines for a choice, by name."""
    return {row.name: row for row in option_rows(choice, drill_chosen(choice, CLICK_SOUNDS["wood"]))}


def test_every_line_goes_round() -> None:
    """Each choice comes once, in both directions, and after the last the first again."""
    choice = DrillChoice("anchor 3")
    metres, clicks, leans, numbers = [], [], [], []
    for _ in METRES:
        choice = rows_of(choice)["metre"].after
        metres.append(choice.metre)
    choice = DrillChoice("anchor 3")
    for _ in range(8 + sum(str(beat.metre) == "4/4" for beat in read_beats().values())):
        choice = rows_of(choice)["click"].after
        clicks.append(choice.click)
        assert rows_of(choice)["click"].before.click == (OWN_CLICK if len(clicks) == 1 else clicks[-2])
    for _ in range(5):
        choice = rows_of(choice)["lean"].after
        leans.append(choice.lean)
    for _ in Feedback:
        choice = rows_of(choice)["numbers"].after
        numbers.append(choice.feedback)

    assert sorted(METRES) == sorted(map(str, metres))
    assert {"every", "one", "none", "beat:plain"} <= {*clicks}
    assert (len(set(clicks)), OWN_CLICK) == (len(clicks), clicks[-1])
    assert [0.0, 10.0, 20.0, None] == [one.fixed_ms for one in leans if one is not None]
    assert leans[-1] is None
    assert set(Feedback) == set(numbers)


def test_tempi_are_whole_numbers_and_have_ends() -> None:
    """A step of 4 to 5 %, never beyond what can be played."""
    choice = DrillChoice("anchor 1", 99.0)
    row = rows_of(choice)["tempo"]

    assert ("99 bpm", 95.0, 103.0) == (row.value, row.before.tempo_bpm, row.after.tempo_bpm)
    assert 20.0 == rows_of(replace(choice, tempo_bpm=20.0))["tempo"].before.tempo_bpm
    assert 300.0 == rows_of(DrillChoice("first-week:1", 300.0))["tempo"].after.tempo_bpm


def test_another_metre_takes_its_own_tempo_and_drops_drums_that_do_not_fit() -> None:
    """The other choices stay."""
    choice = DrillChoice("anchor 3", 88.0, click="beat:plain", lean=Lean(10.0))

    changed = rows_of(choice)["metre"].after

    assert (None, None, Lean(10.0)) == (changed.tempo_bpm, changed.click, changed.lean)
    assert "every" == rows_of(replace(choice, click="every"))["metre"].after.click


def test_a_sets_exercise_keeps_its_metre() -> None:
    """It is written down already; tempo, click, lean and numbers are the player's."""
    assert ["tempo", "click", "lean", "numbers"] == list(rows_of(DrillChoice("first-week:1")))
    assert "(as in the exercise)" in rows_of(DrillChoice("first-week:1"))["click"].value


def test_another_exercise_in_four_keys(tmp_path: Path) -> None:
    """c, down, enter, enter: the map, the second exercise, how it is played, play."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        await pilot.press("c")
        await until(app, pilot, "All four")
        assert "> backbeat       Two and four" in text_of(app)
        await pilot.press("down", "enter")
        await until(app, pilot, "as in the exercise")
        await pilot.press("enter")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert ("anchor pillars", Feedback.BAR) == (app.return_value.what, app.return_value.feedback)


def test_another_family_metre_tempo_click_lean_and_numbers(tmp_path: Path) -> None:
    """Right turns to the next family, and on the second screen to the next choice of the chosen line; esc goes back."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        await pilot.press("c")
        await until(app, pilot, "All four")
        await pilot.press("right", "enter")
        await until(app, pilot, "Eighths on one beat")
        await pilot.press("right")
        await until(app, pilot, "5/4")
        await pilot.press("left", "left")
        await until(app, pilot, "3/4")
        await pilot.press("down", "right", "down", "left")
        await until(app, pilot, "drums: waltz")
        await pilot.press("down", "left", "down", "right")
        await until(app, pilot, "(auto)")
        await until(app, pilot, "at each stroke")
        await pilot.press("escape")
        await until(app, pilot, "bpm   not yet")
        await pilot.press("enter")
        await until(app, pilot, "4/4")
        await pilot.press("left")
        await until(app, pilot, "3/4")
        await pilot.press("down", "down", "left", "down", "left", "down", "right", "enter")

    app = perform(tmp_path / "takes", scene)

    chosen = app.return_value
    assert chosen is not None
    assert ("split one-beat", "3/4", "beat:waltz", AUTO, Feedback.STROKE) == (
        chosen.what, chosen.metre, chosen.click, chosen.lean, chosen.feedback
    )  # fmt: skip


def test_the_chosen_line_of_the_start_screen_with_other_options(tmp_path: Path) -> None:
    """o shows how it is played; esc comes back to the start screen."""
    use_set("first-week")

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "to do")
        await pilot.press("down", "o")
        await until(app, pilot, "numbers")
        assert "metre  " not in text_of(app)
        await pilot.press("escape")
        await until(app, pilot, "last week")
        await pilot.press("o", "right", "enter")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert "first-week:1" == app.return_value.what


def test_what_cannot_be_made_is_said_and_the_choice_before_stays(tmp_path: Path) -> None:
    """A tempo at which the strokes of this exercise would come too fast."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        app.choose(DrillChoice("split 6", 105.0))
        await pilot.press("down", "right")
        await until(app, pilot, "expected 20 to 105 bpm")
        assert "> tempo        105 bpm" in text_of(app)
        await pilot.press("left")
        await until(app, pilot, "> tempo        100 bpm")
        assert "expected" not in text_of(app)
        await pilot.press("enter")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert 100.0 == app.return_value.tempo_bpm


def test_drums_come_first_for_changes() -> None:
    """A turn begins over drums of its metre; its own click is the next but the drums; other families keep their click."""
    choice = DrillChoice("turn beat", metre="3/4")
    turn, anchor = (
        drill_chosen(choice, CLICK_SOUNDS["wood"]),
        drill_chosen(DrillChoice("anchor all"), CLICK_SOUNDS["wood"]),
    )
    plain = drill_chosen(replace(choice, click=OWN_CLICK), CLICK_SOUNDS["wood"])
    rows = {row.name: row for row in option_rows(choice, turn)}

    assert (True, "", "") == (turn.heard.startswith("beat:"), anchor.heard, plain.heard)
    assert read_beats()[turn.heard.removeprefix("beat:")].metre == turn.plan.metre.metres[0]
    assert "drums" in rows["click"].value
    assert OWN_CLICK in {rows["click"].after.click, *(_after(choice, turn, 3))}


def _after(choice: DrillChoice, drill: Drill, times: int) -> list[str | None]:
    """The clicks that follow one another."""
    found = []
    for _ in range(times):
        choice = next(row.after for row in option_rows(choice, drill) if row.name == "click")
        found.append(choice.click)
    return found
