"""What a quiet screen costs with Textual's own widgets: ``python -m tests.bench.bench_widgets [SECONDS]``.

The history of 500 takes is opened in a pseudo-terminal of 80x24, and the choice moves down a line 30 times a second. Each
way runs in a process of its own; printed are the time from the start of the app until the list is drawn, and the processor
time while the choice moves, as a share of one core. The ways: heeltap's screen (lines drawn by one widget), and the same
list, keys and help as Textual's ``DataTable`` with its ``Footer`` and ``Binding``.
"""

import os
import pty
import resource
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import DataTable, Footer, Header, Static

from heeltap.app.takes.history import History
from heeltap.clock import SystemClock
from heeltap.model.past_take import PastTake
from heeltap.tui.menu_app import MenuApp
from heeltap.tui.screens import history as screen
from heeltap.tui.screens.history import ordered, take_text
from heeltap.views.bar_sheet import UNICODE
from tests.makers.screens import NOW, TAKES

WAYS = ("ours", "a DataTable", "a DataTable, whole")
MANY = 500


def many_takes() -> tuple[PastTake, ...]:
    """The same few takes on as many days as are wanted."""
    days = [(NOW - timedelta(days=back)).isoformat() for back in range(MANY)]
    return tuple(replace(TAKES[at % len(TAKES)], date=day, folder=day) for at, day in enumerate(days))


class TableApp(App[None]):
    """The history as a table of Textual's, with its footer."""

    CSS = "Screen { background: ansi_default; color: ansi_default; }"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "open", "open"),
        Binding("o", "order", "other order"),
        Binding("escape", "back", "back"),
        Binding("question_mark", "help", "help"),
        Binding("q", "quit", "quit"),
    ]

    def __init__(self, *, whole: bool) -> None:
        super().__init__(ansi_color=True)
        self._whole = whole

    def compose(self) -> ComposeResult:
        """Title, table, a line for messages, keys."""
        if self._whole:
            yield Header()
        yield DataTable[Text](cursor_type="row", zebra_stripes=False, show_header=True)
        yield Static("", markup=False)
        yield Footer()

    def on_mount(self) -> None:
        """Fill the table; names are text, never markup."""
        table = self.query_one(DataTable)
        if self._whole:
            table.add_columns("date", "exercise", "bpm", "avg", "spread", "pocket", "score")
        else:
            table.add_column("take")
        for take in ordered(many_takes(), screen.Order.DAY):
            text = take_text(take, UNICODE)
            cells = [text[:16], text[18:45], *text[45:].split()][:7] if self._whole else [text]
            table.add_row(*(Text(cell) for cell in cells))


def app_of(way: str) -> App[object]:
    """The app of a way, which measures itself."""
    if way == "ours":
        found = History(many_takes(), 0)
        screen.history = lambda _: found
        app: App[object] = MenuApp(takes=Path("/nowhere"), now=lambda: NOW)
        app.call_later(app.go, "history")
        return app
    return TableApp(whole=way.endswith("whole"))


def child(way: str, seconds: float) -> None:
    """Open the list, move down it for so long, and write both figures to the file named in the environment."""
    began_ns = SystemClock.now_ns()
    app = app_of(way)
    shown: list[float] = []
    marks: list[float] = []

    def used() -> float:
        now = resource.getrusage(resource.RUSAGE_SELF)
        return now.ru_utime + now.ru_stime

    def drawn() -> bool:
        if way == "ours":
            return app.shown.name == "history" and app.shown.count == MANY
        return app.query_one(DataTable).row_count == MANY

    async def press() -> None:
        if not shown and drawn():
            app.call_after_refresh(lambda: shown.append((SystemClock.now_ns() - began_ns) / 1e9))
        elif shown and not marks:
            marks.append(used())
            app.set_timer(seconds, app.exit)
        elif marks:
            app.post_message(_key())

    app.call_later(app.set_interval, 1 / 30, press)
    app.run(mouse=False)
    Path(os.environ["BENCH_ANSWER"]).write_text(f"{shown[0]} {(used() - marks[0]) / seconds}")


def _key() -> object:
    from textual.events import Key

    return Key("down", None)


def measure(way: str, seconds: float) -> tuple[float, float]:
    """Seconds until the list is drawn, and the share of a core while the choice moves."""
    parent, terminal = pty.openpty()
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "answer"
        environment = os.environ | {
            "BENCH_ANSWER": str(answer),
            "HEELTAP_HOME": folder,
            "TERM": "xterm-256color",
            "COLUMNS": "80",
            "LINES": "24",
        }
        command = [sys.executable, "-m", "tests.bench.bench_widgets", str(seconds), way]
        with subprocess.Popen(command, stdin=terminal, stdout=terminal, stderr=terminal, env=environment) as process:
            os.close(terminal)
            threading.Thread(target=_drain, args=(parent,), daemon=True).start()
            process.wait()
        opened, share = answer.read_text().split()
        return float(opened), float(share)


def _drain(parent: int) -> None:
    while True:
        try:
            if not os.read(parent, 65_536):
                return
        except OSError:
            return


def main() -> None:
    """Measure each way three times in turn and print the best of each."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 8.0
    if len(sys.argv) > 2:
        child(sys.argv[2], seconds)
        return
    print(f"80x24, {MANY} takes, {seconds:g} s each; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in WAYS}
    for _ in range(3):
        for way in WAYS:
            found[way].append(measure(way, seconds))
    for way, rows in found.items():
        opened, share = (min(column) for column in zip(*rows, strict=True))
        print(f"{way:<20} drawn after {1e3 * opened:5.0f} ms   {100 * share:5.1f} % of a core while it moves")


if __name__ == "__main__":
    main()
