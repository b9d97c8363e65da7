"""The drill screen in a pseudo-terminal of the test's own.

Inside: `in_a_terminal`, `RESTORED`.
"""

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

__all__ = ["RESTORED", "in_a_terminal"]

ROOT = Path(__file__).resolve().parents[2]

SCRIPT = """
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
    script.write_text(SCRIPT)
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
        # A screen that cannot leave is a failed test, not one that never ends.
        watchdog = threading.Timer(60.0, process.kill)
        watchdog.start()
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
        watchdog.cancel()
    os.close(parent)
    return process.returncode, seen


RESTORED = (b"\x1b[?1049l", b"\x1b[?25h")
"""Leave the alternate screen; show the cursor."""
