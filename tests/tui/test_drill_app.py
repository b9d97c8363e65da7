"""The drill screen in a terminal of the test's own: keys, takes, ends."""

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from heeltap.app.drill.run import Settings
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.session.session import Feedback, Phase
from heeltap.tui.drill_app import DrillApp
from heeltap.tui.lines_widget import LinesWidget
from tests.app.test_run import a_drill, settings

pytestmark = pytest.mark.live

ROOT = Path(__file__).resolve().parents[2]

Scene = Callable[[DrillApp, Pilot[int]], Awaitable[None]]


def text_of(app: DrillApp) -> str:
    """What is on the screen."""
    sheet = app.query_one(LinesWidget)
    return "\n".join(sheet.render_line(y).text.rstrip() for y in range(app.size.height))


async def until(app: DrillApp, pilot: Pilot[int], met: Callable[[], bool], seconds: float = 20.0) -> None:
    """Let the screen live until something is so."""
    for _ in range(int(seconds / 0.05)):
        if met():
            return
        await pilot.pause(0.05)
    raise AssertionError("it never happened; on the screen:\n" + text_of(app))


def perform(app: DrillApp, scene: Scene, size: tuple[int, int] = (80, 24)) -> None:
    """Run a scene with the screen."""

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await scene(app, pilot)

    asyncio.run(run())


def test_a_whole_take_on_the_screen(tmp_path: Path) -> None:
    """Enter starts; bars fill; the report comes by itself; enter plays again; q leaves and both takes are kept."""
    what = a_drill(bars=1)
    app = DrillApp(what, settings(what, [5.0, -12.0, 0.0, 7.0], takes=tmp_path))
    seen: list[str] = []

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.pause()
        seen.append(text_of(app))
        await pilot.press("enter")
        await until(app, pilot, lambda: bool(app.outcomes))
        await pilot.pause(0.1)
        seen.append(text_of(app))
        await pilot.press("tab")
        await pilot.pause(0.1)
        seen.append(text_of(app))
        await pilot.press("enter")
        await until(app, pilot, lambda: len(app.outcomes) == 2)
        await pilot.press("q")

    perform(app, scene)

    assert "enter start" in seen[0]
    assert "On average" in seen[1]
    assert ["played", "+5", "-12", "0", "+7"] in [line.split() for line in seen[2].splitlines()]
    assert len(list_takes(tmp_path)) == 2
    assert app.return_value == 0


def test_stop_keeps_what_was_played(tmp_path: Path) -> None:
    """Escape ends the take at once; its report says up to where it went."""
    what = a_drill(bars=8)
    app = DrillApp(what, settings(what, [0.0] * 32, takes=tmp_path), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 900_000)
        await pilot.press("escape")
        await until(app, pilot, lambda: bool(app.outcomes))
        await pilot.press("q")

    perform(app, scene)

    assert app.outcomes[0].ending == "stopped"
    assert 3 <= len(load_take(list_takes(tmp_path)[0]).notes) <= 12


def test_ctrl_c_keeps_the_take_and_leaves(tmp_path: Path) -> None:
    """One Ctrl-C in the middle: the take is kept, the screen is left, the exit code says so."""
    what = a_drill(bars=8)
    app = DrillApp(what, settings(what, [0.0] * 32, takes=tmp_path), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 900_000)
        await pilot.press("ctrl+c")
        await until(app, pilot, lambda: app.return_value is not None)

    perform(app, scene)

    assert app.return_value == 130
    assert len(list_takes(tmp_path)) == 1


def test_the_keyboard_is_a_pad(tmp_path: Path) -> None:
    """With keys as the input, the space bar plays; n and p still are commands."""
    what = a_drill(bars=4)
    app = DrillApp(what, Settings("keys", takes=tmp_path, start_delay_us=100_000), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 0)
        for _ in range(3):
            await pilot.press("space")
            await pilot.pause(0.2)
        await pilot.press("n", "p")
        await pilot.pause(0.1)
        assert app.play is not None
        assert app.play.state.feedback is Feedback.STROKE
        assert app.play.state.phase is Phase.PAUSED
        await pilot.press("escape")
        await until(app, pilot, lambda: bool(app.outcomes))
        await pilot.press("q")

    perform(app, scene)

    take = load_take(list_takes(tmp_path)[0])
    assert take.notes.pitch.tolist() == [38, 38, 38]
    assert [] == take.context.left_out
    assert take.context.resolution_ms == 20.0


def test_a_port_that_is_not_there_is_said_on_the_screen(tmp_path: Path) -> None:
    """The error stands on the screen in one line, and the screen lives on."""
    app = DrillApp(a_drill(), Settings("no such device", takes=tmp_path), at_once=True)
    seen: list[str] = []

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "MIDI" in text_of(app))
        seen.append(text_of(app))
        await pilot.press("q")

    perform(app, scene, size=(160, 24))

    assert "expected" in seen[0] or "the system offers none" in seen[0]
    assert app.return_value == 4


def test_drawing_follows_the_size(tmp_path: Path) -> None:
    """After a resize the sheet fits again; a size that is too small says so."""
    app = DrillApp(a_drill(bars=8), Settings("keys", takes=tmp_path))
    seen: list[str] = []

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        for size in ((120, 40), (50, 10)):
            await pilot.resize_terminal(*size)
            await pilot.pause(0.1)
            seen.append(text_of(app))
        await pilot.press("q")

    perform(app, scene)

    assert "bar 8" in seen[0]
    assert "50 x 10 is too small" in seen[1]


_SCRIPT = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from tests.app.test_run import a_drill, settings
from heeltap.tui.drill_app import DrillApp
from heeltap.tui.running import run_drill
if sys.argv[3] == "broken":
    def broken(self):
        if self.play is not None and self.play.now_us > 600_000:
            raise RuntimeError("the screen broke")
        picture(self)
    picture, DrillApp.picture = DrillApp.picture, broken
if __name__ == "__main__":
    what = a_drill(bars=8)
    sys.exit(run_drill(what, settings(what, [0.0] * 32, takes=Path(sys.argv[2])), at_once=True))
"""


def in_a_terminal(tmp_path: Path, mode: str, act: Callable[[int, int], None]) -> tuple[int, bytes]:
    """Run the screen in a pseudo-terminal; ``act`` gets its process and the terminal once bar 1 shows."""
    pty = pytest.importorskip("pty")
    script = tmp_path / "screen.py"
    script.write_text(_SCRIPT)
    takes = tmp_path / "takes"
    parent, child = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
    with subprocess.Popen(
        [sys.executable, str(script), str(ROOT), str(takes), mode],
        stdin=child,
        stdout=child,
        stderr=child,
        env=environment,
        start_new_session=True,
    ) as process:
        os.close(child)
        seen, acted = b"", False
        while True:
            try:
                data = os.read(parent, 65_536)
            except OSError:  # Linux: the other end is gone
                break
            if not data:
                break
            seen += data
            if not acted and b"bar 2 of 8" in seen:
                acted = True
                act(process.pid, parent)
    os.close(parent)
    return process.returncode, seen


_RESTORED = (b"\x1b[?1049l", b"\x1b[?25h")
"""Leave the alternate screen; show the cursor."""


@pytest.mark.slow
def test_ctrl_c_in_a_terminal_restores_it(tmp_path: Path) -> None:
    """After the key the terminal is as it was, the take is kept, and the last words say where."""
    code, seen = in_a_terminal(tmp_path, "whole", lambda pid, terminal: os.write(terminal, b"\x03") and None)

    assert code == 130
    assert all(sequence in seen for sequence in _RESTORED)
    assert len(list_takes(tmp_path / "takes")) == 1
    assert b"Your take is in" in seen.split(_RESTORED[0])[-1]


@pytest.mark.slow
def test_a_signal_from_outside_restores_the_terminal(tmp_path: Path) -> None:
    """SIGTERM ends the take like Ctrl-C."""
    code, seen = in_a_terminal(tmp_path, "whole", lambda pid, terminal: os.kill(pid, signal.SIGTERM))

    assert code == 130
    assert all(sequence in seen for sequence in _RESTORED)
    assert len(list_takes(tmp_path / "takes")) == 1


@pytest.mark.slow
def test_a_screen_that_breaks_restores_the_terminal_and_keeps_the_take(tmp_path: Path) -> None:
    """A fault of ours in the middle of a take costs the screen, not the take."""
    code, seen = in_a_terminal(tmp_path, "broken", lambda pid, terminal: None)

    assert code == 1
    assert all(sequence in seen for sequence in _RESTORED)
    assert b"the screen broke" in seen
    assert len(list_takes(tmp_path / "takes")) == 1
