"""The set-up screen's click, and the screens that measure: what is heard, shown, kept and broken off."""

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import selftest as selftesting
from heeltap.devices.systems import PortName
from heeltap.errors import PortError
from heeltap.files.calibrations import calibrations, selftests
from heeltap.files.settings import Stored, read_settings, write_settings
from heeltap.gear.delay import Declined, Delay
from heeltap.model.messages import Schedule
from heeltap.tui.menu_app import MenuApp
from tests.makers.playbacks import Room
from tests.tui.test_measure import a_report, few_notes
from tests.tui.test_menu_app import perform, text_of, until

pytestmark = pytest.mark.live

Face = Pilot[DrillChoice | None]


@pytest.fixture(autouse=True)
def room(monkeypatch: pytest.MonkeyPatch) -> Room:
    """An input, an output, and a room where the click is heard."""
    names = [PortName("Pads", "Pads")], [PortName("Synth", "Synth")]
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)
    found = Room()
    monkeypatch.setattr("heeltap.app.listen.player_control.Playback", found.open)
    return found


def first(schedule: Schedule) -> tuple[int, int]:
    """Key and velocity of the first click."""
    return schedule.messages[0][1], schedule.messages[0][2]


async def to_set_up(app: MenuApp, pilot: Face) -> None:
    """From the start to the first line of the set-up; a delay that nobody has measured was chosen."""
    await until(app, pilot, "none in use")
    await pilot.press("u")
    await until(app, pilot, "click level")
    await until(app, pilot, "click to     Synth")
    await pilot.press("home")


async def met(app: MenuApp, pilot: Face, what: Callable[[], bool]) -> None:
    """Let the screen live until something is so."""
    for _ in range(200):
        if what():
            return
        await pilot.pause(0.05)
    raise AssertionError("it never happened; on the screen:\n" + text_of(app))


async def to_measure(app: MenuApp, pilot: Face, name: str) -> None:
    """To the screen of the last line but one, or of the last."""
    await to_set_up(app, pilot)
    await pilot.press("end", *(["up"] if name == "delay" else []), "enter")
    await until(app, pilot, "same path" if name == "delay" else "this machine")


def test_the_click_is_changed_and_heard_at_once(tmp_path: Path, room: Room) -> None:
    """Each enter keeps the next sound and plays it through the output in use; one after the other."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        await pilot.press("down", "down")
        assert "> click        wood" in text_of(app)
        await pilot.press("enter")
        await met(app, pilot, lambda: len(room.heard) == 1)
        second = read_settings().click_notes
        await until(app, pilot, f"> click        {second}")
        await pilot.press("enter")
        await met(app, pilot, lambda: len(room.heard) == 2)
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert read_settings().click_notes not in ("", "wood")
    assert ["Synth", "Synth"] == [heard.out_port for heard in room.heard]
    assert first(room.heard[0].schedule)[0] != first(room.heard[1].schedule)[0]
    assert (1, 0) == (room.most, room.open_now)


def test_the_level_is_changed_and_heard_at_once(tmp_path: Path, room: Room) -> None:
    """Louder with each enter, after the loudest the softest: its first click has the velocity that the line says."""
    said = []

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        await pilot.press("down", "down", "down")
        assert "> click level  velocity 110" in text_of(app)
        for number, level in enumerate((127, 50, 65), 1):
            await pilot.press("enter")
            await until(app, pilot, f"> click level  velocity {level}")
            await met(app, pilot, lambda number=number: len(room.heard) == number)
            said.append(level)
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert said == [first(heard.schedule)[1] for heard in room.heard]
    assert 65 == read_settings().click_velocity


def test_another_output_is_heard_there_and_none_is_a_line(tmp_path: Path, room: Room) -> None:
    """Synth, the computer's own sound, none: what is tried goes where the line says."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        await pilot.press("down", "enter")
        await met(app, pilot, lambda: len(room.heard) == 1)
        await until(app, pilot, "> click to     Synth\n")
        await pilot.press("enter")
        await met(app, pilot, lambda: len(room.heard) == 2)
        await until(app, pilot, "> click to     audio")
        await pilot.press("enter")
        await until(app, pilot, "> click to     nothing: only seen")
        await until(app, pilot, "listening: no output")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert ["Synth", "audio"] == [heard.out_port for heard in room.heard]


def test_l_plays_the_click_and_esc_ends_it(tmp_path: Path, room: Room) -> None:
    """From any line, and nothing is changed by it."""
    before = []

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        before.append(read_settings())
        await pilot.press("l")
        await met(app, pilot, lambda: len(room.heard) == 1)
        await pilot.press("escape")
        await until(app, pilot, "none in use")
        await met(app, pilot, lambda: room.open_now == 0)
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert before == [read_settings()]
    assert 8 == sum(message[0] & 0xF0 == 0x90 for message in room.last.schedule.messages)


def test_a_click_that_cannot_be_heard_is_one_line(tmp_path: Path, room: Room) -> None:
    """The setting is kept all the same, and the screen lives on."""
    room.broken = "output 'Synth': it is in use by another program"

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        await pilot.press("down", "down", "down", "enter")
        await until(app, pilot, "it is in use by another program")
        await until(app, pilot, "velocity 127")
        await pilot.press("escape")
        await until(app, pilot, "none in use")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert 127 == read_settings().click_velocity


def test_a_broken_settings_file_is_not_written_over(tmp_path: Path, room: Room) -> None:
    """Its mistake stands on the screen; nothing is heard with half of the settings."""
    write_settings(Stored(out_port="Synth"))
    file = next((tmp_path / "home").glob("settings.toml"))

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        file.write_text(file.read_text() + "\n[click\n")
        await pilot.press("down", "down", "down", "enter")
        await until(app, pilot, "settings.toml")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert "[click\n" in file.read_text()
    assert [] == room.heard


def test_the_delay_is_measured_with_its_share_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bar and the percentage, the result in words, then it is known on the set-up screen."""
    go_on = threading.Event()

    def tapped(in_port: str, out_port: str | None, *, progress: Callable[[float], None]) -> Delay:
        progress(0.35)
        while not go_on.wait(0.01):
            progress(0.35)
        return Delay("microphone", 9.125, 0.75, 20, 1.5)

    monkeypatch.setattr(calibrating, "tapped_delay", tapped)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        assert "> tap along" in text_of(app)
        assert "Tap once with every click" in text_of(app)
        await pilot.press("enter")
        await until(app, pilot, "35 %")
        assert f"[{'=' * 14}{' ' * 26}]" in text_of(app)
        assert text_of(app).splitlines()[-1].strip() == "esc break off  ? help  q quit"
        await pilot.press("up", "enter")
        assert "> tap along" in text_of(app)
        go_on.set()
        await until(app, pilot, "delay 9.1 ms")
        assert "%" not in text_of(app)
        assert "enter begin" in text_of(app)
        await pilot.press("escape")
        await until(app, pilot, "delay        9.1")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert [("Pads", "Synth", 9.125)] == [(row.in_port, row.out_port, row.delay_ms) for row in calibrations()]


def test_esc_breaks_off_and_nothing_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It says so, the ways can be chosen again, and the next esc goes back."""
    ended = threading.Event()

    def tapped(in_port: str, out_port: str | None, *, progress: Callable[[float], None]) -> Delay:
        try:
            for _ in range(1000):
                progress(0.2)
                ended.wait(0.01)
        finally:
            ended.set()
        return Delay("feel", 1.0, 1.0, 40, 1.0)

    monkeypatch.setattr(calibrating, "tapped_delay", tapped)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        await pilot.press("enter")
        await until(app, pilot, "20 %")
        await pilot.press("escape")
        await until(app, pilot, "You broke off; heeltap kept nothing.")
        assert ended.is_set()
        await pilot.press("down")
        assert "> microphone" in text_of(app)
        await pilot.press("escape")
        await until(app, pilot, "click level")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert [] == calibrations()


def test_leaving_in_the_middle_ends_the_measuring(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """q while it measures: heeltap is left, the engine's loop is told to give up, nothing is kept."""
    gave_up = threading.Event()

    def tapped(in_port: str, out_port: str | None, *, progress: Callable[[float], None]) -> Delay:
        try:
            for _ in range(1000):
                progress(0.2)
                gave_up.wait(0.01)
        finally:
            gave_up.set()
        return Delay("feel", 1.0, 1.0, 40, 1.0)

    monkeypatch.setattr(calibrating, "tapped_delay", tapped)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        await pilot.press("enter")
        await until(app, pilot, "20 %")
        await pilot.press("q")

    app = perform(tmp_path / "takes", scene)

    assert app.return_value is None
    assert gave_up.wait(5.0)
    assert [] == calibrations()


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (Declined("12 taps, 32 are needed"), "heeltap found no delay: 12 taps, 32 are needed."),
        (PortError("input 'Pads': it is in use by another program"), "it is in use by another program"),
    ],
)
def test_what_cannot_be_measured_is_said(
    found: Declined | PortError, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one line; the screen lives on and measures again when asked."""
    times = []

    def tapped(in_port: str, out_port: str | None, *, progress: Callable[[float], None]) -> Declined:
        times.append(in_port)
        if isinstance(found, PortError):
            raise found
        return found

    monkeypatch.setattr(calibrating, "tapped_delay", tapped)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        await pilot.press("enter")
        await until(app, pilot, words)
        assert "enter begin" in text_of(app)
        await pilot.press("enter")
        await met(app, pilot, lambda: len(times) == 2)
        await until(app, pilot, "enter begin")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert [] == calibrations()


def test_same_path_and_forget(tmp_path: Path) -> None:
    """Both at once and in words; the set-up screen follows."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        await pilot.press("down", "down", "enter")
        await until(app, pilot, "same output for click and player")
        await pilot.press("end", "enter")
        await until(app, pilot, "Forgotten: 1.")
        await pilot.press("enter")
        await until(app, pilot, "There was nothing to forget.")
        await pilot.press("escape")
        await until(app, pilot, "delay        not known")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)


def test_the_keyboard_has_nothing_to_measure(tmp_path: Path) -> None:
    """The screen says what to do; enter does nothing; esc goes back."""
    write_settings(Stored(in_ports=("keys",)))

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_set_up(app, pilot)
        await pilot.press("end", "up", "enter")
        await until(app, pilot, "Nothing to measure here")
        await pilot.press("enter")
        await pilot.pause(0.1)
        assert "%" not in text_of(app)
        await pilot.press("escape")
        await until(app, pilot, "click level")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)


@pytest.mark.slow
def test_the_clock_is_really_tested_from_its_screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty notes through a real engine beside the living screen: counted, judged, kept, said on the set-up screen."""
    few_notes(monkeypatch, 30)

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "clock")
        assert "by a cable" in text_of(app)
        await pilot.press("enter")
        await until(app, pilot, "30 notes sent, 0 lost")
        await pilot.press("escape")
        await until(app, pilot, "own clock")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)

    assert ["inside"] == [row.loop for row in selftests()]


def test_the_cable_is_the_route_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its report is kept, and the set-up screen trusts the clock from then on."""
    monkeypatch.setattr(selftesting, "selftest", lambda *_, **__: a_report())

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "clock")
        await pilot.press("down")
        assert "Connect Synth to Pads by a cable" in text_of(app)
        await pilot.press("enter")
        await until(app, pilot, "800 notes sent")
        await pilot.press("escape")
        await until(app, pilot, "own clock    tested: 99 of 100 notes within 3 ms")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)


def test_the_mouse_chooses_a_way_and_begins_it(tmp_path: Path) -> None:
    """A click on a way chooses it, a second one begins; while nothing is measured the result stays to be read."""

    async def scene(app: MenuApp, pilot: Face) -> None:
        await to_measure(app, pilot, "delay")
        y = next(at for at, row in enumerate(text_of(app).splitlines()) if row.startswith("  forget"))
        await pilot.click(offset=(4, y))
        assert "> forget" in text_of(app)
        assert "There was nothing to forget." not in text_of(app)
        await pilot.click(offset=(4, y))
        await until(app, pilot, "There was nothing to forget.")
        await pilot.press("q")

    perform(tmp_path / "takes", scene)
