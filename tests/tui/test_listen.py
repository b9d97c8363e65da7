"""Hearing a take again on the screen: after a take, before one, from the history, and silence in time."""

from pathlib import Path

import numpy as np
import pytest
from textual.pilot import Pilot

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.player_setup import Player
from heeltap.app.drill.run import DrillOutcome, Run, Settings, drill
from heeltap.devices.systems import PortName
from heeltap.files.settings import Stored, write_settings
from heeltap.session.handsfree import Controls, Trigger
from heeltap.session.session import Phase
from heeltap.tui.drill_app import DrillApp
from tests.app.test_run import a_drill, settings
from tests.makers.kept import keep
from tests.makers.playbacks import Room
from tests.tui import test_menu_app as menus
from tests.tui.test_drill_app import perform, text_of, until
from tests.tui.test_handsfree import a_foot

pytestmark = pytest.mark.live

BPM, BARS = 960.0, 6
BAR_US = 250_000
"""At that tempo."""


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> DrillOutcome:
    """A real take, 12 ms late on every beat."""
    what = a_drill(BARS, BPM)
    how = settings(what, [12.0] * 4 * BARS, takes=tmp_path_factory.mktemp("takes"), delay_ms=0.0)
    return drill(what, how, lambda *_: None)


@pytest.fixture(autouse=True)
def room(monkeypatch: pytest.MonkeyPatch) -> Room:
    """Where everything is heard."""
    found = Room()
    found.takes_none = True
    monkeypatch.setattr("heeltap.app.listen.player_control.Playback", found.open)
    return found


def an_app(tmp_path: Path, **more: object) -> DrillApp:
    """A scripted player, and no output."""
    what = a_drill(BARS, BPM)
    how = settings(what, [12.0] * 4 * BARS, takes=tmp_path / "takes", delay_ms=0.0)
    return DrillApp(what, how, **more)


async def says(app: DrillApp, pilot: Pilot[int], words: str) -> None:
    """Let the screen live until words are on it."""
    await until(app, pilot, lambda: words in text_of(app))


async def after_a_take(app: DrillApp, pilot: Pilot[int], taken: DrillOutcome) -> None:
    """The screen as a take leaves it."""
    app._ended(taken)
    await says(app, pilot, "On average")


def test_a_take_is_heard_and_the_bars_move(tmp_path: Path, room: Room, taken: DrillOutcome) -> None:
    """l after a take: the listed bars in both versions; l again the whole take as played, and the bars instead of the report,
    at the bar that is heard; v, jumps; esc, the report."""
    app = an_app(tmp_path)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await after_a_take(app, pilot, taken)
        await pilot.press("l")
        await says(app, pilot, "you hear the take as played, bar 1")
        assert text_of(app).splitlines()[-1].split("  ")[1:4] == ["esc silence", "l whole take", "left back"]
        listed = app.listening._piece
        assert listed is not None
        room.last.now_us = listed.starts_us[listed.moved_at.index(True)] + 1
        await says(app, pilot, "you hear the take where it belongs, bar 1")
        await pilot.press("l")
        await says(app, pilot, "you hear the take as played, count-in")
        assert text_of(app).splitlines()[-1].split("  ")[1:4] == ["esc silence", "v other version", "left back"]
        room.last.now_us = 1
        await says(app, pilot, "you hear the take as played, bar 1")
        assert "bar 1 of 6" in text_of(app)
        assert "On average" not in text_of(app)
        assert "+12" in text_of(app)
        room.last.now_us = BAR_US
        await says(app, pilot, "as played, bar 2")
        assert "bar 2 of 6" in text_of(app)

        await pilot.press("v")
        await says(app, pilot, "you hear the take where it belongs, bar 2")
        assert room.last.moved
        await pilot.press("right")
        await says(app, pilot, "you hear the take where it belongs, bar 5")
        await pilot.press("left")
        await says(app, pilot, "you hear the take where it belongs, bar 1")
        await pilot.press("escape")
        await says(app, pilot, "On average")
        assert "you hear" not in text_of(app)
        await pilot.press("q")

    perform(app, scene)

    assert [None, None, 4 * BAR_US, 0] == [heard.from_us for heard in room.heard]
    assert (1, 0) == (room.most, room.open_now)


def test_only_its_own_keys_do_anything_meanwhile(tmp_path: Path, room: Room) -> None:
    """While something is heard neither a take begins nor the drill changes; help stands and closes; q leaves silently."""
    app = an_app(tmp_path)
    what = app.drill

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played")
        await pilot.press("enter", "minus", "m", "x", "n", "tab", "r", "p", "l", "v")
        await pilot.pause(0.1)
        assert (app.play, app._busy, app.drill, app.went_back) == (None, False, what, False)
        assert "you hear" in text_of(app)
        await pilot.press("question_mark")
        await says(app, pilot, "four bars back")
        assert "other version" not in text_of(app)
        await pilot.press("escape")
        await says(app, pilot, "you hear what is to be played")
        await pilot.press("q")

    perform(app, scene)

    assert (0, [], 1) == (app.return_value, app.outcomes, len(room.heard))
    assert (1, 0) == (room.last.stops, room.open_now)


def test_before_a_take_the_plan_is_heard(tmp_path: Path, room: Room) -> None:
    """Every note of it and its click, through the output of the drill; there is no other version; esc leads back."""
    app = an_app(tmp_path)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played, count-in")
        assert "other version" not in text_of(app)
        await pilot.press("escape")
        await says(app, pilot, "enter start")
        assert (app.state.phase, app.went_back) == (Phase.READY, False)
        await pilot.press("escape")

    perform(app, scene)

    schedule = room.last.schedule
    strokes = [due for due, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind == "played"]
    assert 4 * BARS == len(strokes)
    assert "count-in" in schedule.kind
    assert app.went_back


def test_it_ends_by_itself(tmp_path: Path, room: Room, taken: DrillOutcome) -> None:
    """The report is there again without a key."""
    app = an_app(tmp_path)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await after_a_take(app, pilot, taken)
        await pilot.press("l")
        await says(app, pilot, "you hear the take as played")
        room.last.over = True
        await says(app, pilot, "On average")
        assert "you hear" not in text_of(app)
        await pilot.press("q")

    perform(app, scene)

    assert 1 == room.last.stops


def test_no_output_is_one_line_and_the_screen_lives_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next key takes the line away and does what it does."""
    monkeypatch.undo()
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    app = an_app(tmp_path)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "listening: no output")
        assert "enter start" in text_of(app)
        await pilot.press("enter")
        await until(app, pilot, lambda: app.play is not None)
        assert "no output" not in text_of(app)
        await pilot.press("q")
        await until(app, pilot, lambda: app.return_value is not None)

    perform(app, scene)

    assert ["stopped"] == [outcome.ending for outcome in app.outcomes]


def test_beginning_a_take_stops_the_sound_first(tmp_path: Path, room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """The output is free before the engine of the take opens its ports."""
    app = an_app(tmp_path)
    open_then: list[int] = []

    class Watched(Run):
        def __init__(self, *given: object, **more: object) -> None:
            open_then.append(room.open_now)
            super().__init__(*given, **more)

    monkeypatch.setattr("heeltap.app.drill.run.Run", Watched)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played")
        app.begin_take()
        await until(app, pilot, lambda: app.play is not None)
        assert "you hear" not in text_of(app)
        await pilot.press("q")
        await until(app, pilot, lambda: app.return_value is not None)

    perform(app, scene)

    assert [0] == open_then
    assert 1 == room.last.stops


def hands_free(tmp_path: Path, action: str, press_us: int) -> DrillApp:
    """A foot that presses a pedal with one action once, so long after the ports were opened."""
    player = Player(controls=Controls({action: Trigger("cc", 64)}))
    return DrillApp(
        a_drill(bars=8),
        Settings("fake:", script=a_foot(press_us), takes=tmp_path / "takes", start_delay_us=100_000, player=player),
    )


def test_the_pedal_that_stops_silences(tmp_path: Path, room: Room) -> None:
    """No take begins and the screen stays where it was."""
    app = hands_free(tmp_path, "stop", 900_000)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played")
        await until(app, pilot, lambda: not app.listening.on, 6.0)
        await pilot.pause(0.1)
        assert "enter start" in text_of(app)
        assert (app.play, app._busy) == (None, False)
        await pilot.press("q")

    perform(app, scene)

    assert ([], 1, 0) == (app.outcomes, room.last.stops, room.open_now)


def test_the_pedal_that_starts_begins_a_take_in_silence(tmp_path: Path, room: Room) -> None:
    """What was heard stops; the take counts in."""
    app = hands_free(tmp_path, "start", 900_000)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played")
        await until(app, pilot, lambda: app.play is not None, 8.0)
        assert not app.listening.on
        assert "you hear" not in text_of(app)
        await pilot.press("q")
        await until(app, pilot, lambda: app.return_value is not None)

    perform(app, scene)

    assert (1, 0) == (room.last.stops, room.open_now)


def test_l_at_the_question_is_the_guess(tmp_path: Path, room: Room, taken: DrillOutcome) -> None:
    """Where it is asked "early, on, or late?", l says late and nothing sounds; afterwards it listens."""
    app = an_app(tmp_path, guess=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        app._ended(taken)
        await says(app, pilot, "early, on, or late?")
        await pilot.press("l")
        await says(app, pilot, "You said: late.")
        assert [] == room.heard
        await pilot.press("l")
        await says(app, pilot, "you hear the take as played")
        await pilot.press("q")

    perform(app, scene)


def test_l_does_nothing_while_a_take_is_played(tmp_path: Path, room: Room) -> None:
    """Nothing sounds into it; where the computer's keyboard is the instrument, l is a pad."""
    app = DrillApp(a_drill(8, BPM), Settings("keys", takes=tmp_path, start_delay_us=100_000), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 0)
        await pilot.press("l")
        await pilot.pause(0.1)
        await pilot.press("escape")
        await until(app, pilot, lambda: bool(app.outcomes))
        await pilot.press("q")

    perform(app, scene)

    assert [] == room.heard


@pytest.fixture
def _gear(monkeypatch: pytest.MonkeyPatch) -> None:
    """An input and an output."""
    names = ([PortName("Keys", "Keys")], [PortName("Synth", "Synth")])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)


@pytest.mark.usefixtures("_gear")
def test_a_take_of_the_history_is_heard(tmp_path: Path, room: Room, rng: np.random.Generator) -> None:
    """Through the output of the settings; its report stays; esc is silence first, then the history."""
    keep(tmp_path / "takes", date="2026-03-02T18:00:00+01:00", rng=rng)

    async def scene(app: menus.MenuApp, pilot: "Pilot[object]") -> None:
        await menus.until(app, pilot, "last week")
        await pilot.press("h")
        await menus.until(app, pilot, "1 take, by day")
        await pilot.press("l")
        await menus.until(app, pilot, "1 take, by day")
        assert [] == room.heard
        await pilot.press("enter")
        await menus.until(app, pilot, "l listen")
        await pilot.press("l")
        await menus.until(app, pilot, "you hear the take as played, count-in")
        assert "On average" in menus.text_of(app)
        assert "esc silence" in menus.text_of(app)
        room.last.now_us = 5 * 2_500_000
        await menus.until(app, pilot, "as played, bar 6")
        await pilot.press("v")
        await menus.until(app, pilot, "you hear the take where it belongs, bar 6")
        await pilot.press("left")
        await menus.until(app, pilot, "where it belongs, bar 1")
        await pilot.press("escape")
        await menus.until(app, pilot, "l listen")
        assert "you hear" not in menus.text_of(app)
        await pilot.press("escape")
        await menus.until(app, pilot, "1 take, by day")
        await pilot.press("q")

    menus.perform(tmp_path / "takes", scene)

    assert ["Synth"] * 2 == [heard.out_port for heard in room.heard]
    assert [None, 0] == [heard.from_us for heard in room.heard]
    assert (1, 0) == (room.most, room.open_now)


@pytest.mark.usefixtures("_gear")
def test_leaving_from_an_open_take_is_silent(tmp_path: Path, room: Room, rng: np.random.Generator) -> None:
    """q while a take is heard: when the screens are gone the output is free."""
    keep(tmp_path / "takes", date="2026-03-02T18:00:00+01:00", rng=rng)

    async def scene(app: menus.MenuApp, pilot: "Pilot[object]") -> None:
        await menus.until(app, pilot, "last week")
        await pilot.press("h")
        await menus.until(app, pilot, "1 take, by day")
        await pilot.press("enter")
        await menus.until(app, pilot, "l listen")
        await pilot.press("l")
        await menus.until(app, pilot, "you hear")
        await pilot.press("q")

    menus.perform(tmp_path / "takes", scene)

    assert (1, 0) == (len(room.heard), room.open_now)


@pytest.mark.usefixtures("_gear")
def test_a_take_cannot_be_heard_without_an_output(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rng: np.random.Generator
) -> None:
    """One line below its report, and the report is still read and left."""
    monkeypatch.undo()
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    names = ([PortName("Keys", "Keys")], [PortName("Synth", "Synth")])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)
    write_settings(Stored(out_port="none"))
    keep(tmp_path / "takes", date="2026-03-02T18:00:00+01:00", rng=rng)

    async def scene(app: menus.MenuApp, pilot: "Pilot[object]") -> None:
        await menus.until(app, pilot, "last week")
        await pilot.press("h")
        await menus.until(app, pilot, "1 take, by day")
        await pilot.press("enter")
        await menus.until(app, pilot, "l listen")
        await pilot.press("l")
        await menus.until(app, pilot, "listening: no output")
        assert "On average" in menus.text_of(app)
        await pilot.press("end", "escape")
        await menus.until(app, pilot, "1 take, by day")
        await pilot.press("q")

    menus.perform(tmp_path / "takes", scene)


def test_the_drill_keeps_its_own_sound(tmp_path: Path, room: Room) -> None:
    """What is heard goes where the drill sends its click."""
    what: Drill = a_drill()
    app = DrillApp(what, Settings("keys", "audio", takes=tmp_path))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("l")
        await says(app, pilot, "you hear what is to be played")
        await pilot.press("q")

    perform(app, scene)

    assert "audio" == room.last.out_port
