"""What the drill screen costs: ``python -m tests.bench.bench_screen [SECONDS]``.

A simulated player drills sixteenths with numbers at each stroke, drawn in a pseudo-terminal of 80x24. Printed is the
processor time of the process that draws, as a share of one core, for ours and for two plainer ways of drawing the same
lines in the same run: every line again with every picture, and one ready-made text widget a line.
"""

import os
import pty
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from rich.text import Text
from textual.app import ComposeResult
from textual.widgets import Static

from heeltap.app.drill.demo import simulated_player
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.run import Settings
from heeltap.devices.fake import script_from_notes
from heeltap.session.session import Feedback
from heeltap.tui import drill_app as screen
from heeltap.tui import text_app
from heeltap.tui.lines_widget import LinesWidget
from heeltap.views.bar_sheet import Line

WAYS = ("ours", "all lines", "a widget a line")


class AllLines(LinesWidget):
    """Draws every line with every picture."""

    def show(self, lines: list[Line]) -> None:
        """Refresh the whole."""
        self._lines = lines
        self.refresh()


class Lines(LinesWidget):
    """One text widget a line."""

    DEFAULT_CSS = "Lines { layout: vertical; } Lines Static { height: 1; }"

    def compose(self) -> ComposeResult:
        """Twenty-four of them."""
        self._rows = [Static() for _ in range(24)]
        yield from self._rows

    def show(self, lines: list[Line]) -> None:
        """Give every widget its text."""
        for row, line in zip(self._rows, lines, strict=False):
            row.update(Text("".join(span.text for span in line)))


def child(way: str, seconds: float) -> None:
    """Draw for so long, then write the processor time a second to the file named in the environment."""
    text_app.LinesWidget = {"ours": LinesWidget, "all lines": AllLines, "a widget a line": Lines}[way]  # type: ignore[misc]
    drill = drill_of("split 6")
    script = script_from_notes(simulated_player(drill.plan, np.random.default_rng(3)))
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings("fake:player", script=script, feedback=Feedback.STROKE, takes=Path(folder))
        app = screen.DrillApp(drill, settings, at_once=True)
        marks: list[tuple[float, float]] = []

        def watch() -> None:
            """Mark the beginning and the end of the stretch that counts."""
            now_us = app.play.now_us if app.play is not None else -1
            used = resource.getrusage(resource.RUSAGE_SELF)
            if now_us > 0 and not marks:
                marks.append((now_us / 1e6, used.ru_utime + used.ru_stime))
            elif marks and len(marks) == 1 and now_us / 1e6 > marks[0][0] + seconds:
                marks.append((now_us / 1e6, used.ru_utime + used.ru_stime))
                app.action_leave()

        app.call_later(app.set_interval, 0.2, watch)
        app.run(mouse=False)
    (from_s, used_s), (to_s, end_s) = marks
    Path(os.environ["BENCH_ANSWER"]).write_text(str((end_s - used_s) / (to_s - from_s)))


def measure(way: str, seconds: float) -> float:
    """Share of a core that drawing takes, in a process and a terminal of its own."""
    parent, terminal = pty.openpty()
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "answer"
        environment = os.environ | {
            "BENCH_ANSWER": str(answer),
            "TERM": "xterm-256color",
            "COLUMNS": "80",
            "LINES": "24",
        }
        command = [sys.executable, "-m", "tests.bench.bench_screen", str(seconds), way]
        with subprocess.Popen(command, stdin=terminal, stdout=terminal, stderr=terminal, env=environment) as process:
            os.close(terminal)
            while process.poll() is None:
                try:
                    os.read(parent, 65_536)
                except OSError:
                    break
        os.close(parent)
        return float(answer.read_text())


def main() -> None:
    """Measure each way and print the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 15.0
    if len(sys.argv) > 2:
        child(sys.argv[2], seconds)
        return
    print(f"80x24, 30 pictures a second, {seconds:g} s each; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    shares = {way: measure(way, seconds) for way in WAYS}
    for way, share in shares.items():
        print(f"{way:<16} {100 * share:5.1f} % of a core   {share / shares['ours']:.1f} x ours")


if __name__ == "__main__":
    main()
