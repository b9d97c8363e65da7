"""The mouse on every screen: every key that the bottom line shows can be clicked, lists are chosen by it, the wheel moves."""

import asyncio
import os
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from textual.events import Click, MouseEvent, MouseScrollDown, MouseScrollUp
from textual.events import Key as Press
from textual.pilot import Pilot

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.app.drill.run import Settings
from heeltap.app.listen.piece import whole
from heeltap.app.takes.history import history
from heeltap.devices.systems import PortName
from heeltap.files.settings import Stored, write_settings
from heeltap.session.session import Phase
from heeltap.tui.drill_app import DrillApp
from heeltap.tui.keys import Key
from heeltap.tui.lines_widget import LinesWidget
from heeltap.tui.menu_app import MenuApp
from heeltap.tui.running import run_drill, run_home
from heeltap.tui.screens import history as past
from heeltap.tui.screens import measure, set_up, start, take
from heeltap.tui.screens.drill_keys import GUESS_KEYS, drill_keys, report_keys
from heeltap.tui.screens.exercises import EXERCISES_KEYS, map_of
from heeltap.tui.screens.listen import LISTENING_KEYS
from heeltap.tui.screens.measure import clock_ways, delay_ways
from heeltap.tui.screens.options import OPTIONS_KEYS
from tests.app.test_run import a_drill
from tests.makers.kept import keep, keep_many
from tests.makers.playbacks import Room
from tests.makers.screens import COURSE_TAKES, NOW, SETUP, TODAY, a_drill_state, a_report
from tests.makers.terminals import in_a_terminal

pytestmark = pytest.mark.live

App = MenuApp | DrillApp
Face = Pilot[Any]

PIECE = whole((0, 2_000_000), lambda: None, ("the take as played", "the take where it belongs"))
HEARD_KEYS = tuple(key for key in LISTENING_KEYS if key.name != "l")
"""Of what is no list of bars."""


@pytest.fixture(autouse=True)
def room(monkeypatch: pytest.MonkeyPatch) -> Room:
    """An input, an output, and a room where things are heard."""
    names = [PortName("Pads", "Pads")], [PortName("Synth", "Synth")]
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)
    found = Room()
    found.takes_none = True
    monkeypatch.setattr("heeltap.app.listen.player_control.Playback", found.open)
    return found


def rows_of(app: App) -> list[str]:
    """What is on the screen."""
    sheet = app.query_one(LinesWidget)
    return [sheet.render_line(y).text.rstrip() for y in range(app.size.height)]


async def until(app: App, pilot: Face, words: str) -> None:
    """Let the screen live until words are on it."""
    for _ in range(400):
        if words in "\n".join(rows_of(app)):
            return
        await pilot.pause(0.02)
    raise AssertionError(f"no {words!r} on the screen:\n" + "\n".join(rows_of(app)))


def perform(app: App, scene: Callable[[Any, Face], Awaitable[None]], size: tuple[int, int] = (80, 24)) -> None:
    """Run a scene with a screen."""

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await scene(app, pilot)

    asyncio.run(run())


async def mouse(app: App, pilot: Face, of: type[MouseEvent], *places: tuple[int, int]) -> None:
    """Mouse events at these columns and rows, one after the other, then a moment to live."""
    for x, y in places:
        event = of(None, x, y, 0, 0, 1, shift=False, meta=False, ctrl=False, screen_x=x, screen_y=y)
        app.screen._forward_event(event)
    await pilot.pause(0.02)


async def wheel(app: App, pilot: Face, of: type[MouseEvent], times: int = 1) -> None:
    """Turn the wheel by notches, in the middle of the screen."""
    await mouse(app, pilot, of, *[(10, 8)] * times)


def on_start(app: MenuApp) -> None:
    """A set in use, three takes a week."""
    app.shown.today = TODAY


def on_history(app: MenuApp) -> None:
    """Some takes."""
    app.shown = app._quiet_screens["history"]


def on_take(app: MenuApp) -> None:
    """A report that is longer than the screen."""
    app._take.show(Path("nowhere"), a_report())
    app.shown = app._take


def on_heard_take(app: MenuApp) -> None:
    """The same, being heard."""
    on_take(app)
    app._take._listening.begin(lambda: PIECE)
    app._take._listening._hand.submit(int).result()


def on_exercises(app: MenuApp) -> None:
    """The map of a player who has begun."""
    app.shown = app._quiet_screens["exercises"]
    app.shown._map = map_of(COURSE_TAKES, NOW)


def on_options(app: MenuApp) -> None:
    """How an exercise is played."""
    app.choose(DrillChoice("anchor 3"))


def on_set_up(app: MenuApp, *, learning: bool = False) -> None:
    """Pads and a synth."""
    app.shown = app._quiet_screens["set-up"]
    app.shown.now, app.shown._pads.on = SETUP, learning


def on_measure(app: MenuApp, name: str, done: float | None = None) -> None:
    """Every way there is."""
    app.shown = app._quiet_screens[name]
    app.shown._ways = delay_ways(SETUP, app.glyphs) if name == "delay" else clock_ways(SETUP)
    app.shown._done = done


MENUS: dict[str, tuple[Callable[[MenuApp], None], Sequence[Key]]] = {
    "start": (on_start, start.START_KEYS),
    "history": (on_history, past.HISTORY_KEYS),
    "exercises": (on_exercises, EXERCISES_KEYS),
    "options": (on_options, OPTIONS_KEYS),
    "take": (on_take, take.TAKE_KEYS),
    "take heard": (on_heard_take, HEARD_KEYS),
    "set-up": (on_set_up, set_up.SETUP_KEYS),
    "set-up learning": (lambda app: on_set_up(app, learning=True), set_up.LEARN_KEYS),
    "delay": (lambda app: on_measure(app, "delay"), measure.MEASURE_KEYS),
    "delay measuring": (lambda app: on_measure(app, "delay", 0.4), measure.MEASURING_KEYS),
    "clock": (lambda app: on_measure(app, "clock"), measure.MEASURE_KEYS),
    "clock measuring": (lambda app: on_measure(app, "clock", 0.4), measure.MEASURING_KEYS),
}


def ready(app: DrillApp) -> None:
    """Before a take."""


def playing(app: DrillApp) -> None:
    """In bar 3."""
    app.state = a_drill_state(5_700_000)


def paused(app: DrillApp) -> None:
    """A take that is paused."""
    app.state = replace(a_drill_state(5_700_000), phase=Phase.PAUSED, stands=True)


def left_out(app: DrillApp) -> None:
    """Bars that are left out."""
    app.state = replace(a_drill_state(5_700_000), phase=Phase.PAUSED)


def done(app: DrillApp) -> None:
    """The bars of a take that is over."""
    app.state = replace(a_drill_state(30_000_000), phase=Phase.DONE)


def report(app: DrillApp) -> None:
    """Its report."""
    done(app)
    app.after._show(a_report())
    app.after.outcomes.append(None)
    app.after.showing = True


def guess(app: DrillApp) -> None:
    """The question."""
    done(app)
    app.after.asking = True


def heard(app: DrillApp) -> None:
    """The take, being heard."""
    report(app)
    app.listening.begin(lambda: PIECE)
    app.listening._hand.submit(int).result()


def heard_before(app: DrillApp) -> None:
    """The plan, being heard."""
    app.listening.begin(lambda: replace(PIECE, what=("the plan", "the plan")))
    app.listening._hand.submit(int).result()


FEEDBACK = a_drill_state(0).feedback
DRILLS: dict[str, tuple[Callable[[DrillApp], None], Sequence[Key]]] = {
    "drill ready": (ready, drill_keys(Phase.READY, FEEDBACK)),
    "drill playing": (playing, drill_keys(Phase.PLAYING, FEEDBACK)),
    "drill paused": (paused, drill_keys(Phase.PAUSED, FEEDBACK, stands=True)),
    "drill left out": (left_out, drill_keys(Phase.PAUSED, FEEDBACK)),
    "drill done": (done, drill_keys(Phase.DONE, FEEDBACK)),
    "drill report": (report, report_keys(measure=False, worst=bool(a_report().result.replay))),
    "drill guess": (guess, GUESS_KEYS),
    "drill heard": (heard, HEARD_KEYS),
    "drill heard before": (heard_before, [key for key in HEARD_KEYS if key.name != "v"]),
}


def an_app(name: str, takes: Path) -> tuple[App, Callable[[Any], None], Sequence[Key]]:
    """The app of a screen, what brings it there, and the keys that it has then."""
    if name in MENUS:
        return MenuApp(takes=takes, now=lambda: NOW), *MENUS[name]
    return DrillApp(a_drill(8), Settings("keys", takes=takes)), *DRILLS[name]


@pytest.mark.parametrize("name", [*MENUS, *DRILLS])
def test_every_key_of_the_bottom_line_can_be_clicked(name: str, tmp_path: Path) -> None:
    """On its first, middle and last column, and it is the press of that key; beside it nothing is pressed.

    What is on the screen decides: each key of the screen's table that can be read there is looked for as text. A wide
    screen shows all of them.
    """
    app, bring, keys = an_app(name, tmp_path)
    said: list[str] = []
    heard: list[tuple[list[str], list[str]]] = []
    shown_at: dict[int, list[str]] = {}

    async def scene(app: App, pilot: Face) -> None:
        bring(app)
        app.press_key = said.append
        for width in (240, 80):
            if app.size.width != width:
                await pilot.resize_terminal(width, 24)
            app.picture()
            shown, places = keys_with_clicks(app, keys)
            shown_at[width] = [key.name for key in shown]
            await mouse(app, pilot, Click, *places)
            heard.append(([key.name for key in shown if key.name != "down" for _ in range(3)], said[:]))
            said.clear()
        for pressed in shown_at[240]:
            app.post_message(Press(pressed, None))
        await pilot.pause(0.02)
        del app.press_key
        app.shown.leave() if isinstance(app, MenuApp) else app.listening.free()

    perform(app, scene, (240, 24))

    assert [key.name for key in keys] == shown_at[240]
    assert set(shown_at[80]) <= set(shown_at[240])
    assert [expected for expected, _ in heard] == [found for _, found in heard]
    assert shown_at[240] == said


def keys_with_clicks(app: App, keys: Sequence[Key]) -> tuple[list[Key], list[tuple[int, int]]]:
    """The keys that are on the screen, in order, and clicks: three on each of them, one beside it and one above."""
    left, shown, clicks = list(keys), [], []
    for y, row in list(enumerate(rows_of(app)))[-app.key_lines :]:
        rest = row
        while rest:
            key = next((one for one in left if rest == f"  {one.text}" or rest.startswith(f"  {one.text}  ")), None)
            assert key is not None, rest
            at = len(row) - len(rest) + 2
            clicks += [(x, y) for x in (at, at + len(key.text) // 2, at + len(key.text) - 1)]
            clicks += [(at - 1, y), (at, 21 - (app.key_lines - 1))]
            rest = rest[2 + len(key.text) :]
            left.remove(key)
            shown.append(key)
    return shown, clicks


@pytest.mark.parametrize("name", ["start", "history", "set-up", "delay", "clock", "exercises", "options"])
def test_a_line_of_a_list_is_chosen_by_a_click(name: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """Each in turn, from the last to the first; a click above or below the list changes nothing."""
    takes = tmp_path / "takes"
    if name == "history":
        keep_many(takes, [f"2026-03-0{day}T18:00:00+01:00" for day in (1, 2, 3)], rng)
    app, bring, _ = an_app(name, takes)
    chosen: list[int] = []

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        bring(app)
        if name == "history":
            app.shown._history = history(takes)
        app.picture()
        await pilot.pause()
        counted = app.shown.count
        assert counted > 1
        rows = []
        for at in range(counted):
            app.shown.at = at
            app.picture()
            rows.append(next(y for y, row in enumerate(rows_of(app)) if row.startswith("> ")))
        for y in reversed(rows[:-1]):
            await mouse(app, pilot, Click, (6, y))
            chosen.append(app.shown.at)
            assert rows_of(app)[y].startswith("> ")
        said: list[str] = []
        app.press_key = said.append
        await mouse(app, pilot, Click, (6, 1), (6, rows[-1] + 1))
        assert (app.shown.at, said) == (0, [])
        await mouse(app, pilot, Click, (6, rows[0]))
        assert said == ["enter"]
        assert chosen == list(range(counted - 2, -1, -1))

    perform(app, scene)

    assert chosen


@pytest.mark.parametrize("name", ["start", "history", "set-up", "delay", "take"])
def test_the_wheel_moves_by_a_line(name: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """Down and up like the keys, and not beyond either end."""
    takes = tmp_path / "takes"
    if name == "history":
        keep_many(takes, [f"2026-03-0{day}T18:00:00+01:00" for day in (1, 2, 3)], rng)
    app, bring, _ = an_app(name, takes)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        bring(app)
        if name == "history":
            app.shown._history = history(takes)
        before = rows_of(app)
        await wheel(app, pilot, MouseScrollUp)
        assert app.shown.at == 0
        await wheel(app, pilot, MouseScrollDown, 2)
        assert app.shown.at == min(2, app.shown.count - 1)
        assert rows_of(app) != before
        await wheel(app, pilot, MouseScrollUp)
        assert app.shown.at == min(2, app.shown.count - 1) - 1
        await wheel(app, pilot, MouseScrollDown, app.shown.count + 1)
        assert app.shown.at == app.shown.count - 1

    perform(app, scene)


@pytest.mark.parametrize("name", ["set-up learning", "delay measuring"])
def test_nothing_is_chosen_while_it_may_not_be(name: str, tmp_path: Path) -> None:
    """While pads are learned or something is measured, a click on a line and the wheel do nothing."""
    app, bring, _ = an_app(name, tmp_path)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await until(app, pilot, "none in use")
        bring(app)
        app.picture()
        await pilot.click(offset=(6, 4))
        await wheel(app, pilot, MouseScrollDown, 2)
        assert app.shown.at == 0
        app.shown._done = None
        if name == "set-up learning":
            app.shown._pads.on = False

    perform(app, scene)


def test_the_wheel_scrolls_the_report_and_the_bars(tmp_path: Path) -> None:
    """On the drill screen: the first lines go, and come back."""
    app, _, _ = an_app("drill report", tmp_path)

    async def scene(app: DrillApp, pilot: Face) -> None:
        report(app)
        app.picture()
        first = rows_of(app)
        await wheel(app, pilot, MouseScrollDown, 3)
        assert app.after.first == 3
        app.picture()
        assert rows_of(app)[1:5] != first[1:5]
        await wheel(app, pilot, MouseScrollUp, 3)
        app.picture()
        assert rows_of(app) == first
        app.after.showing = False
        done(app)
        app.state = replace(app.state, now_us=0)
        app.picture()
        bars = rows_of(app)
        await wheel(app, pilot, MouseScrollDown)
        assert app._rows == 1
        await wheel(app, pilot, MouseScrollUp)
        app.picture()
        assert rows_of(app) == bars

    perform(app, scene, (80, 16))


@pytest.mark.parametrize("name", ["start", "drill ready"])
def test_a_click_anywhere_closes_the_help_and_nothing_else(name: str, tmp_path: Path) -> None:
    """Not even where a key stood before."""
    app, bring, _ = an_app(name, tmp_path)

    async def scene(app: App, pilot: Face) -> None:
        await pilot.pause(0.1)
        bring(app)
        app.picture()
        x = next(row.index("q quit") for row in rows_of(app)[-2:] if "q quit" in row)
        y = next(at for at, row in enumerate(rows_of(app)) if "q quit" in row)
        await pilot.press("question_mark")
        await until(app, pilot, "any key close")
        await pilot.click(offset=(x, y))
        await until(app, pilot, "q quit")
        assert not app._gone

    perform(app, scene)


async def click_key(app: App, pilot: Face, words: str) -> None:
    """Click on a key of the bottom line by its words, once they are there."""
    await until(app, pilot, words)
    y, row = next((y, row) for y, row in list(enumerate(rows_of(app)))[-app.key_lines :] if words in row)
    await pilot.click(offset=(row.index(words), y))


def test_everything_around_a_drill_by_mouse_alone(tmp_path: Path, room: Room, rng: np.random.Generator) -> None:
    """History, a take and its sound, back, the set-up, the delay, back, and out: no key is pressed."""
    write_settings(Stored(in_ports=("Pads",), out_port="Synth"))
    keep(tmp_path / "takes", date="2026-03-02T18:00:00+01:00", rng=rng)
    app = MenuApp(takes=tmp_path / "takes", now=lambda: NOW)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await click_key(app, pilot, "h history")
        await until(app, pilot, "1 take, by day")
        await click_key(app, pilot, "enter open")
        await click_key(app, pilot, "l listen")
        await until(app, pilot, "you hear the take as played, count-in")
        await click_key(app, pilot, "v other version")
        await until(app, pilot, "you hear the take where it belongs, count-in")
        await click_key(app, pilot, "right on")
        await until(app, pilot, "where it belongs, bar 5")
        await click_key(app, pilot, "left back")
        await until(app, pilot, "where it belongs, bar 1")
        await click_key(app, pilot, "esc silence")
        await click_key(app, pilot, "esc back")
        await click_key(app, pilot, "esc back")
        await click_key(app, pilot, "u set-up")
        await until(app, pilot, "own clock")
        for line in ("click to", "delay"):
            y = next(y for y, row in enumerate(rows_of(app)) if row.startswith(f"  {line}"))
            await pilot.click(offset=(4, y))
        await click_key(app, pilot, "enter change")
        await until(app, pilot, "same path")
        y = next(y for y, row in enumerate(rows_of(app)) if row.startswith("  same path"))
        await pilot.click(offset=(4, y))
        await click_key(app, pilot, "enter begin")
        await until(app, pilot, "same output for click and player")
        await click_key(app, pilot, "esc back")
        await click_key(app, pilot, "esc back")
        await click_key(app, pilot, "q quit")

    perform(app, scene)

    assert (0, None) == (app.exit_code, app.return_value)
    assert (1, 0) == (room.most, room.open_now)


def test_a_take_by_mouse_alone(tmp_path: Path) -> None:
    """Start, pause, stop, the bars, the report, slower, back."""
    app = DrillApp(a_drill(8), Settings("keys", takes=tmp_path, start_delay_us=100_000))

    async def scene(app: DrillApp, pilot: Face) -> None:
        await click_key(app, pilot, "enter start")
        await click_key(app, pilot, "p pause")
        await until(app, pilot, "p go on")
        await click_key(app, pilot, "esc stop")
        await click_key(app, pilot, "tab bars")
        await click_key(app, pilot, "tab report")
        await until(app, pilot, "right page")
        await click_key(app, pilot, "-  + tempo")
        await until(app, pilot, "286 bpm")
        await click_key(app, pilot, "esc back")

    perform(app, scene, (160, 24))

    assert ["stopped"] == [outcome.ending for outcome in app.outcomes]
    assert app.went_back


@pytest.mark.parametrize(("value", "read"), [("off", False), ("OFF ", False), ("0", False), ("no", False), ("", True)])
def test_whether_the_mouse_is_read(value: str, read: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """HEELTAP_MOUSE=off on every screen: Textual is told so by both."""
    told: list[object] = []
    monkeypatch.setenv("HEELTAP_MOUSE", value)
    for app in (MenuApp, DrillApp):
        monkeypatch.setattr(app, "run", lambda self, *, mouse: told.append(mouse))
    run_home()
    run_drill(a_drill(), Settings("keys", takes=tmp_path))

    assert [read, read] == told


@pytest.mark.slow
@pytest.mark.parametrize("value", ["off", "on"])
def test_a_terminal_is_asked_for_the_mouse_only_where_it_is_read(
    value: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With "off" no mouse report of any kind is switched on, so the terminal marks and copies text itself."""
    monkeypatch.setenv("HEELTAP_MOUSE", value)
    code, seen = in_a_terminal(tmp_path, "whole", lambda pid, terminal: os.write(terminal, b"q") and None)

    assert 0 == code
    modes = (b"\x1b[?1000h", b"\x1b[?1002h", b"\x1b[?1003h", b"\x1b[?1015h", b"\x1b[?1006h")
    assert (value == "on") == any(mode in seen for mode in modes)
