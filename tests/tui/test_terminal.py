"""The terminal after something broke: whole again, whoever died."""

import os
import signal
import subprocess
import threading
from pathlib import Path

import pytest

from heeltap.app.takes.finish_take import recover
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.engine.terminal_rescue import LEAVE, Terminal, give_back, terminal_now
from heeltap.files.takes.folder import list_takes, load_take
from tests.engine.timing import nap, now_ns
from tests.makers.terminals import RESTORED, in_a_terminal

pytestmark = pytest.mark.slow


def engines_of(pid: int) -> list[int]:
    """The engines that a process started."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text().rsplit(")", 1)[1].split()[1])
            command = (path.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if parent == pid and b"spawn_main" in command:
            found.append(int(path.parent.name))
    return found


def test_a_killed_screen_has_its_terminal_given_back(tmp_path: Path) -> None:
    """SIGKILL of the process that draws: the engine leaves the full screen and shows the cursor; the take is whole."""
    code, seen = in_a_terminal(tmp_path, "whole", lambda pid, terminal: os.kill(pid, signal.SIGKILL))

    end = now_ns() + 10_000_000_000
    while not (found := recover(tmp_path / "takes")):
        assert now_ns() < end
        nap(0.05)
    assert code == -signal.SIGKILL
    assert LEAVE in seen
    assert found[0].problem == ""
    assert found[0].folder is not None
    assert score_kept(found[0].folder).counts.missed == 0


def test_a_terminal_is_given_back_when_everything_is_killed(tmp_path: Path) -> None:
    """SIGKILL of screen and engine together: a second later the ordinary screen, the cursor, the echo and Ctrl-C are back."""
    termios = pytest.importorskip("termios")
    modes: list[int] = []

    def act(pid: int, terminal: int) -> None:
        shell = os.open(os.readlink(f"/proc/{pid}/fd/0"), os.O_RDWR | os.O_NOCTTY)  # the shell that started it

        def look() -> None:
            modes.append(termios.tcgetattr(shell)[3])
            os.close(shell)

        modes.append(termios.tcgetattr(shell)[3])
        for number in (pid, *engines_of(pid)):
            os.kill(number, signal.SIGKILL)
        threading.Timer(1.5, look).start()

    code, seen = in_a_terminal(tmp_path, "whole", act)
    wanted = termios.ISIG | termios.ICANON | termios.ECHO

    assert -signal.SIGKILL == code
    assert [0, wanted] == [mode & wanted for mode in modes]
    assert LEAVE in seen


def test_a_killed_engine_leaves_the_screen_alive(tmp_path: Path) -> None:
    """SIGKILL of the engine: the report comes and says what broke, q leaves, the terminal is whole, the take kept."""

    def act(pid: int, terminal: int) -> None:
        for engine in engines_of(pid):
            os.kill(engine, signal.SIGKILL)
        nap(2.0)
        os.write(terminal, b"q")

    code, seen = in_a_terminal(tmp_path, "whole", act)

    assert 4 == code
    assert all(sequence in seen for sequence in RESTORED)
    assert b"Your take is in" in seen.split(RESTORED[0])[-1]
    (folder,) = list_takes(tmp_path / "takes")
    assert "unexpectedly" in load_take(folder).context.ending


def test_a_frozen_screen_goes_on_where_the_music_is(tmp_path: Path) -> None:
    """SIGSTOP for two seconds, then Ctrl-C: no note of the meantime is missing, the terminal is whole."""

    def act(pid: int, terminal: int) -> None:
        os.kill(pid, signal.SIGSTOP)
        nap(2.0)
        os.kill(pid, signal.SIGCONT)
        nap(0.5)
        os.write(terminal, b"\x03")

    code, seen = in_a_terminal(tmp_path, "whole", act)

    (folder,) = list_takes(tmp_path / "takes")
    result = score_kept(folder)
    assert code == 130
    assert all(sequence in seen for sequence in RESTORED)
    assert result.counts.missed == 0
    assert result.counts.matched >= 10


def test_a_terminal_is_what_it_was_and_a_pipe_is_none(tmp_path: Path) -> None:
    """Modes that were changed come back; where there is no terminal there is nothing to remember, or to give back."""
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    parent, child = pty.openpty()
    before = terminal_now(child)
    assert before is not None
    raw = list(before.modes)
    raw[3] &= ~termios.ECHO
    termios.tcsetattr(child, termios.TCSANOW, raw)

    code = "import sys; from tests.tui.test_terminal import *; give_back(Terminal(sys.argv[1], eval(sys.argv[2])))"
    done = subprocess.run(["python", "-c", code, before.path, repr(before.modes)], check=False, capture_output=True)

    assert done.returncode == 0, done.stderr
    assert termios.tcgetattr(child)[3] == before.modes[3]
    assert LEAVE == os.read(parent, len(LEAVE))
    with open(tmp_path / "file", "w") as file:
        assert terminal_now(file.fileno()) is None
    give_back(Terminal(str(tmp_path / "no such terminal"), before.modes))
    os.close(parent)
    os.close(child)
