"""Start, history and set-up in a terminal of the test's own: keys, mouse, what they change."""

import asyncio
import os
import threading
from collections.abc import Awaitable, Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from textual.pilot import Pilot

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.app.practice.set_in_use import set_in_use, sets_in_reach
from heeltap.devices.systems import PortName
from heeltap.errors import PortError
from heeltap.files.settings import read_settings
from heeltap.tui.lines_widget import LinesWidget
from heeltap.tui.menu_app import MenuApp
from heeltap.tui.running import mouse_wanted
from tests.makers.kept import keep

pytestmark = pytest.mark.live

NOW = datetime.fromisoformat("2026-03-04T18:05:00+01:00")

Scene = Callable[[MenuApp, "Pilot[DrillChoice | None]"], Awaitable[None]]


@pytest.fixture(autouse=True)
def _ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two inputs and an output whose names would draw if they were markup."""
    names = ([PortName("Pad [b]x[/b]", "Pad [b]x[/b]"), PortName("Keys", "Keys")], [PortName("Synth", "Synth")])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)


def text_of(app: MenuApp) -> str:
    """What is on the screen."""
    sheet = app.query_one(LinesWidget)
    return "\n".join(sheet.render_line(y).text.rstrip() for y in range(app.size.height))


async def until(app: MenuApp, pilot: "Pilot[DrillChoice | None]", words: str) -> None:
    """Let the screen live until words are on it."""
    for _ in range(400):
        if words in text_of(app):
            return
        await pilot.pause(0.05)
    raise AssertionError(f"no {words!r} on the screen:\n" + text_of(app))


def perform(takes: Path, scene: Scene, size: tuple[int, int] = (80, 24), **more: object) -> MenuApp:
    """Run a scene with the screens around a drill."""
    app = MenuApp(takes=takes, now=lambda: NOW, **more)

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await scene(app, pilot)

    asyncio.run(run())
    return app


def test_enter_plays_what_the_takes_ask_for(tmp_path: Path) -> None:
    """With no take at all that is the first exercise of the course; the names of ports are text."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "Pad [b]x[/b], Keys")
        assert "click to  Synth" in text_of(app)
        await pilot.press("enter")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert app.return_value.what == "anchor backbeat"


def test_a_set_is_chosen_and_kept_and_its_exercises_played(tmp_path: Path) -> None:
    """e takes the next set, for the next start too; the row below the advice is its first exercise."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        await pilot.press("e")
        await until(app, pilot, "First week: find the beat")
        await pilot.press("down", "enter")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert app.return_value.what == "first-week:1"
    assert set_in_use() == "first-week"


def test_after_the_last_set_none_is_in_use(tmp_path: Path) -> None:
    """The sets go round."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        for _ in sets_in_reach():
            before = set_in_use()
            await pilot.press("e")
            for _ in range(200):
                if (
                    set_in_use() != before
                    and "looking" not in text_of(app)
                    and app.shown.today.set_name == set_in_use()
                ):
                    break
                await pilot.pause(0.05)
        await pilot.press("e")
        await until(app, pilot, "none in use")

    perform(tmp_path / "takes", scene)

    assert set_in_use() == ""


def test_history_lists_and_opens_every_take(tmp_path: Path, rng: np.random.Generator) -> None:
    """The chosen take's report comes from its folder; esc goes back step by step."""
    for day, family in (("01", "anchor"), ("02", "split")):
        keep(tmp_path / "takes", family, 1, date=f"2026-03-{day}T18:00:00+01:00", rng=rng)

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "last week")
        await pilot.press("h")
        await until(app, pilot, "2 takes, by day")
        assert "> 2026-03-02 18:00  split one-beat" in text_of(app)
        await pilot.press("o")
        assert "by exercise" in text_of(app)
        assert "> 2026-03-01 18:00  anchor backbeat" in text_of(app)
        await pilot.press("enter")
        await until(app, pilot, "On average")
        await pilot.press("end", "escape")
        await until(app, pilot, "2 takes, by exercise")
        await pilot.press("escape")
        await until(app, pilot, "last week")
        await pilot.press("q")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is None


def test_a_damaged_take_is_said_and_nothing_breaks(tmp_path: Path, rng: np.random.Generator) -> None:
    """A take whose folder went in the meantime costs a line."""
    folder = keep(tmp_path / "takes", date="2026-03-01T18:00:00+01:00", rng=rng)

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "last week")
        await pilot.press("h")
        await until(app, pilot, "1 take, by day")
        folder.rename(tmp_path / "elsewhere")
        await pilot.press("enter")
        await until(app, pilot, "/takes/")
        assert "esc back" in text_of(app)
        await pilot.press("q")

    perform(tmp_path / "takes", scene)


def test_set_up_changes_the_settings(tmp_path: Path) -> None:
    """Enter on a line keeps the next choice; a control is never two actions."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        await pilot.press("u")
        await until(app, pilot, "the first that is found")
        await until(app, pilot, "> delay")
        await pilot.press("home")
        await pilot.press("enter")
        await until(app, pilot, "play on      Pad [b]x[/b]\n")
        await pilot.press(*["down"] * 5, "enter")
        await until(app, pilot, "start with   cc64")
        await pilot.press("down", "enter")
        await until(app, pilot, "stop with    cc66")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    stored = read_settings()
    assert stored.in_ports == ("Pad [b]x[/b]",)
    assert stored.controls == {"start": "cc64", "stop": "cc66"}


def test_pads_are_learned_by_hitting_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The questions stand on the screen; enter says that there is no such pad; what was learned is kept."""
    asked = []

    def learning(port: str, roles: tuple[str, ...], tell: Callable, *, asked: Callable, interrupted: Callable) -> dict:
        from heeltap.session.pad_learning import Ask

        tell(Ask("kick"))
        while asked() is None:
            if interrupted():
                return {}
            threading.Event().wait(0.01)
        return {"snare": 38}

    monkeypatch.setattr("heeltap.tui.screens.pads.learn_pads", learning)

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        await pilot.press("u")
        await until(app, pilot, "the first that is found")
        await until(app, pilot, "> delay")
        await pilot.press("home")
        await pilot.press(*["down"] * 4, "enter")
        await until(app, pilot, "kick: hit this pad twice")
        asked.append(text_of(app))
        await pilot.press("enter")
        await until(app, pilot, "snare D2")
        await pilot.press("enter")
        await until(app, pilot, "kick: hit this pad twice")
        await pilot.press("escape")
        await until(app, pilot, "changed nothing")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert "esc break off" in asked[0]
    assert [dict(pads.keys) for pads in read_settings().pads] == [{"snare": 38}]


def test_help_lists_the_keys_of_where_one_is(tmp_path: Path) -> None:
    """Any key closes it, and does nothing else."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        await pilot.press("question_mark")
        assert "use the next set" in text_of(app)
        await pilot.press("e")
        assert "none in use" in text_of(app)
        await pilot.press("u", "question_mark")
        assert "heeltap keeps all of this in settings.toml" in text_of(app)
        await pilot.press("x", "q")

    perform(tmp_path / "takes", scene)


def test_the_mouse_reaches_keys_and_lines(tmp_path: Path) -> None:
    """A click on a key presses it; on a line it chooses it; on the chosen line it plays it."""

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "none in use")
        line = text_of(app).splitlines()[-1]
        await pilot.click(offset=(line.index("e set"), 23))
        await until(app, pilot, "First week: find the beat")
        y = next(at for at, row in enumerate(text_of(app).splitlines()) if " 2  " in row[:8])
        await pilot.click(offset=(8, y))
        assert text_of(app).splitlines()[y].startswith(">  2")
        await pilot.click(offset=(8, y))

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is not None
    assert app.return_value.what == "first-week:2"


def test_the_mouse_can_be_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """HEELTAP_MOUSE=off leaves it to the terminal."""
    assert mouse_wanted()
    monkeypatch.setitem(os.environ, "HEELTAP_MOUSE", "off")
    assert not mouse_wanted()


def test_no_midi_system_is_no_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The start says that none can be reached, the set-up says why."""

    def none() -> None:
        raise PortError("MIDI devices: no system")

    monkeypatch.setattr("heeltap.app.route.ports.list_ports", none)

    async def scene(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await until(app, pilot, "heeltap cannot reach a MIDI system")
        await pilot.press("u")
        await until(app, pilot, "MIDI devices: no system")
        assert "the computer's keyboard" in text_of(app)
        await pilot.press("q")

    perform(tmp_path / "takes", scene)


def test_ctrl_c_and_signals_leave(tmp_path: Path) -> None:
    """Both leave at once with 130; a size that is too small is said before."""

    async def press(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await pilot.resize_terminal(50, 10)
        await pilot.pause(0.2)
        assert "50 x 10 is too small" in text_of(app)
        await pilot.press("ctrl+c")

    async def wait(app: MenuApp, pilot: "Pilot[DrillChoice | None]") -> None:
        await pilot.pause(1.5)

    assert perform(tmp_path / "takes", press).exit_code == 130
    assert perform(tmp_path / "takes", wait, interrupted=lambda: True).exit_code == 130
