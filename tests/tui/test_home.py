"""heeltap without a command: the start screen on a terminal, the help anywhere else; and start, drill and back."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from heeltap.cli import main


def test_without_a_terminal_it_prints_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is opened that nobody could see."""
    assert main([]) == 0
    assert capsys.readouterr().out.startswith("usage: heeltap")


@pytest.mark.slow
def test_start_drill_and_back_in_a_terminal(tmp_path: Path) -> None:
    """Enter goes to the drill, esc comes back, q leaves with 0 and the terminal as it was."""
    pty = pytest.importorskip("pty")
    parent, child = pty.openpty()
    environment = os.environ | {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24", "NO_COLOR": "1"}
    command = [sys.executable, "-c", "import sys; from heeltap.cli import main; sys.exit(main([]))"]
    with subprocess.Popen(
        command, stdin=child, stdout=child, stderr=child, env=environment, start_new_session=True
    ) as run:
        os.close(child)
        seen = _drive(parent, run)
    os.close(parent)

    assert run.returncode == 0
    assert seen.count(b"\x1b[?1049h") == 3
    assert seen.count(b"\x1b[?1049l") == 3
    assert seen.rindex(b"\x1b[?25h") > seen.rindex(b"\x1b[?25l")


def _drive(terminal: int, run: "subprocess.Popen[bytes]") -> bytes:
    """Press each key once its screen is there; everything that was written."""
    steps = [(b"none in use", b"\r"), (b"ready", b"\x1b"), (b"none in use", b"q")]
    seen, since = b"", 0
    while True:
        try:
            data = os.read(terminal, 65_536)
        except OSError:  # Linux: the other end is gone
            return seen
        if not data:
            return seen
        seen += data
        if steps and steps[0][0] in seen[since:]:
            os.write(terminal, steps.pop(0)[1])
            since = len(seen)
