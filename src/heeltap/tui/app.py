"""The drill screen: draws the state of a run 30 times a second at most and passes on keys. It never stamps or decides.

Textual is imported here only. One widget draws line by line and refreshes only the lines that changed; that costs a
fraction of what a widget for every number would. Names of ports and files are text, never markup.

Inside: `DrillApp`, `run_drill`.
"""

import os
import sys
from collections.abc import Callable
from multiprocessing import resource_tracker
from pathlib import Path
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Key, Resize
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from heeltap.errors import HeeltapError
from heeltap.jobs.drill_plan import Drill
from heeltap.jobs.drill_text import Line, Marks, marks_for
from heeltap.jobs.drilling import INTERRUPTED, DrillOutcome, Run, Settings, interrupts
from heeltap.jobs.handsfree import Listener
from heeltap.live import session
from heeltap.live.inputs import KEYS_NAME
from heeltap.live.session import Feedback, Phase, State
from heeltap.live.sheet import sheet_of
from heeltap.report.json import to_json
from heeltap.report.text import WIDTH, render
from heeltap.tui.chart import offset_chart
from heeltap.tui.drawing import View, draw_drill, draw_report

__all__ = ["DrillApp", "run_drill"]

_FRAMES = 30
"""Pictures a second at most."""

_STYLES = {
    "": Style(),
    "head": Style(bold=True),
    "dim": Style(dim=True),
    "now": Style(bold=True, reverse=True),
    "out": Style(bold=True, underline=True),
    "key": Style(bold=True),
}
"""How each role looks: with attributes only, so that no meaning is lost where there are no colours."""

_NEXT_FEEDBACK = {
    Feedback.BAR: Feedback.STROKE,
    Feedback.STROKE: Feedback.AFTER,
    Feedback.AFTER: Feedback.BAR,
    Feedback.FADE: Feedback.BAR,
}


class Sheet(Widget):
    """Lines of text, drawn by somebody else."""

    DEFAULT_CSS = "Sheet { width: 100%; height: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self._lines: list[Line] = []

    def show(self, lines: list[Line]) -> None:
        """Show these lines; only those that differ are drawn again."""
        before, self._lines = self._lines, lines
        if len(before) != len(lines):
            self.refresh()
            return
        changed = [Region(0, y, self.size.width, 1) for y, line in enumerate(lines) if line != before[y]]
        if changed:
            self.refresh(*changed)

    def render_line(self, y: int) -> Strip:
        """One line of the screen."""
        spans = self._lines[y] if y < len(self._lines) else []
        segments = [Segment(span.text, _STYLES[span.role]) for span in spans if span.text]
        return Strip(segments).adjust_cell_length(self.size.width, Style())


class DrillApp(App[int]):
    """One exercise, as often as the player likes."""

    CSS = "Screen { background: ansi_default; color: ansi_default; }"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+c", "interrupt", show=False, priority=True)]

    def __init__(
        self,
        drill: Drill,
        settings: Settings,
        *,
        at_once: bool = False,
        leave_at_end: bool = False,
        interrupted: Callable[[], bool] = lambda: False,
        encoding: str | None = "utf-8",
    ) -> None:
        """A screen for one exercise.

        Parameters
        ----------
        drill, settings
            What is played, and how.
        at_once : bool
            Begin without waiting for a key.
        leave_at_end : bool
            Leave when the take is over instead of showing its report.
        interrupted : callable
            Asked with every picture whether the system wants us to end.
        encoding : str or None
            Of the terminal: where it has no block characters, plain ones are drawn.
        """
        if os.name == "posix":
            # The engine's process needs this helper of multiprocessing, which hands on the descriptor of stderr; once
            # Textual has put its own stderr in place there is none (ValueError: bad value(s) in fds_to_keep).
            resource_tracker.ensure_running()
        super().__init__(ansi_color=True)
        self.drill, self.settings = drill, settings
        self.outcomes: list[DrillOutcome] = []
        """What became of every take of this sitting."""
        self.play: Run | None = None
        """The take that is being played."""
        self._at_once, self._leave_at_end, self._interrupted = at_once, leave_at_end, interrupted
        self._marks = marks_for(encoding)
        self._feedback = settings.feedback
        self._state = self._before()
        self._message, self._busy, self._scroll, self._rows, self._report = "", False, 0, 0, [""]
        self._showing_report = self._leaving = False
        self._exit_code = 0
        self._sheet = Sheet()
        self._listener, self._again = Listener(settings), False

    def compose(self) -> ComposeResult:
        """One widget is the whole screen."""
        yield self._sheet

    def on_mount(self) -> None:
        """Draw from now on."""
        self.set_interval(1 / _FRAMES, self.picture)
        if self._at_once:
            self.begin_take()
        else:
            self._listener.open()

    def on_resize(self, _: Resize) -> None:
        """Fit the new size."""
        self.picture()

    def picture(self) -> None:
        """One turn of the run, and the screen that follows from it."""
        if self._interrupted() and not self._leaving:
            self.action_interrupt()
        if self.play is not None and not self._busy:
            self._again = session.Again() in self.play.turn() or self._again
            self._state = self.play.state
            if self.play.over:
                self.end_take()
        elif not self._busy:
            for press in self._listener.poll():
                self._state, effects = session.step(self._state, press)
                if session.Again() in effects:
                    self.begin_take()
        width, height = self.size
        view = View(
            width,
            height,
            self._marks,
            self._title,
            self._ports,
            aim=self.drill.aim,
            message=self._message,
            scroll=self._rows if self.play is None else 0,
            pads=self._pads,
        )
        if self._showing_report:
            self._scroll = max(0, min(self._scroll, len(self._report) - (height - 3)))
            self._sheet.show(draw_report(self._report, view, self._scroll))
        else:
            self._sheet.show(draw_drill(self._state, view))

    def begin_take(self) -> None:
        """Start the engine; the screen stays alive meanwhile."""
        if self.play is not None or self._busy:
            return
        self._busy, self._showing_report, self._message = True, False, "the ports are being opened"
        self._state = self._before()
        self.run_worker(self._start, thread=True, name="start", exit_on_error=False)

    def end_take(self) -> None:
        """Keep the take and score it; the screen stays alive meanwhile."""
        if self.play is None or self._busy:
            return
        self._busy, self._message = True, "the take is being kept and judged"
        self.run_worker(self.play.finish, thread=True, name="finish", exit_on_error=False)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The engine runs, or the take is kept, or something went wrong."""
        worker: Worker[Run | DrillOutcome] = event.worker
        if worker.state is WorkerState.ERROR:
            self._busy, self.play, error = False, None, worker.error
            if not isinstance(error, HeeltapError):
                raise error if error is not None else RuntimeError("a worker failed")
            self._message = str(error)
            self._exit_code = error.exit_code
        elif worker.state is WorkerState.SUCCESS:
            self._busy, self._message = False, ""
            if isinstance(worker.result, Run):
                self.play = worker.result
                self.play.ask(session.Show(self._feedback.for_take(self.play.take_number)))
            elif isinstance(worker.result, DrillOutcome):
                self._ended(worker.result)
        if self._leaving and worker.is_finished:
            self._leave()

    def on_key(self, event: Key) -> None:
        """Keys: pads first, where the keyboard is one, then commands."""
        character = " " if event.key == "space" else event.character or ""
        playing = self.play is not None and self._state.phase in (Phase.COUNT_IN, Phase.PLAYING)
        if self.play is not None and playing and self._pads:
            self.play.key(" " if event.key == "enter" else character)
        commands: dict[str, Callable[[], object]] = {
            "enter": self.begin_take,
            "escape": self.action_stop,
            "n": self.action_numbers,
            "p": self.action_hold,
            "q": self.action_leave,
            "tab": self.action_turn_page,
            "down": lambda: self._move(1),
            "up": lambda: self._move(-1),
            "pagedown": lambda: self._move(self.size.height - 4),
            "pageup": lambda: self._move(4 - self.size.height),
            "home": lambda: self._move(-len(self._report)),
            "end": lambda: self._move(len(self._report)),
        }
        if event.key in commands:
            event.prevent_default()
            commands[event.key]()

    def action_stop(self) -> None:
        """End the take here."""
        if self.play is not None and not self._busy:
            self.play.stop()

    def action_hold(self) -> None:
        """Hold the take, or let it count again."""
        if self.play is not None and not self._busy:
            held = self.play.state.phase is Phase.PAUSED
            now_us = self.play.now_us
            self.play.ask(session.GoOn(now_us) if held else session.Hold(now_us))

    def action_numbers(self) -> None:
        """Show the numbers at other times."""
        self._feedback = _NEXT_FEEDBACK[self._state.feedback]
        self._state = session.step(self._state, session.Show(self._feedback))[0]
        if self.play is not None and not self._busy:
            self.play.ask(session.Show(self._feedback))

    def action_turn_page(self) -> None:
        """From the report to the bars and back."""
        if self.outcomes and self.play is None:
            self._showing_report = not self._showing_report

    def action_leave(self) -> None:
        """Leave; a take that is being played is kept first."""
        self._leaving = True
        if self.play is not None and not self._busy:
            self.play.stop()
            self.end_take()
        elif not self._busy:
            self._leave()

    def action_interrupt(self) -> None:
        """The same, for Ctrl-C: the exit code says so."""
        self._exit_code = 130
        if self.play is not None and not self._busy:
            self.play.stop(INTERRUPTED)
        self.action_leave()

    def _start(self) -> Run:
        self._listener.close()
        return Run(self.drill, self.settings)

    def _leave(self) -> None:
        self._listener.close()
        self.exit(self._exit_code)

    def _ended(self, outcome: DrillOutcome) -> None:
        """Show what became of the take."""
        self.play, self._state, self._rows = None, outcome.state, 0
        self.outcomes.append(outcome)
        self._report, self._scroll = _report(outcome, self._marks), 0
        self._showing_report = True
        if self._leave_at_end:
            self._leave()
        elif not self._leaving:
            (self.begin_take if self._again else self._listener.open)()
            self._again = False

    def _move(self, lines: int) -> None:
        """Scroll the report by lines, or the bars by rows."""
        if self._showing_report:
            self._scroll += lines
        else:
            last = len(self._state.sheet.bars)
            self._rows = max(-last, min(last, self._rows + lines))

    def _before(self) -> State:
        """The sheet before anything is played."""
        sheet = sheet_of(
            self.drill.plan,
            title=self.drill.title,
            lean_ms=self.drill.lean_ms,
            pocket_ms=self.drill.pocket_ms,
            count_in_bars=self.drill.count_in_bars,
        )
        return session.begin(sheet, self._feedback.for_take(1))

    @property
    def _pads(self) -> bool:
        return KEYS_NAME in self.settings.in_ports

    @property
    def _title(self) -> str:
        bpm = 60e6 / int(self.drill.plan.tempo.us_per_quarter[0])
        dot = self._marks.dot
        return f"{self.drill.title} {dot} {self.drill.plan.metre.metres[0]} {dot} {bpm:.4g} bpm"

    @property
    def _ports(self) -> str:
        return f"in {' and '.join(self.settings.in_ports)}, click {self.settings.out_port or 'only seen'}"


def run_drill(
    drill: Drill,
    settings: Settings,
    *,
    json: str | None = None,
    at_once: bool = False,
    leave_at_end: bool = False,
    kept: bool = True,
) -> int:
    """Show the drill screen until the player leaves; returns the exit code.

    Whatever ends it, the terminal is as it was and the take is kept: the last thing printed says where, unless ``kept`` is
    False, as for a demo, whose take is thrown away.
    """
    with interrupts() as interrupted:
        app = DrillApp(
            drill,
            settings,
            at_once=at_once,
            leave_at_end=leave_at_end,
            interrupted=interrupted.is_set,
            encoding=sys.stdout.encoding,
        )
        try:
            code = app.run(mouse=False)
        finally:
            if app.play is not None:  # the screen broke in the middle of a take
                app.outcomes.append(app.play.finish())
            if kept:
                _say_goodbye(app.outcomes)
    if json and app.outcomes and (result := app.outcomes[-1].result) is not None:
        Path(json).write_bytes(to_json(result, indent=True))
    return (app.return_code or 0) if code is None else code


def _report(outcome: DrillOutcome, marks: Marks) -> list[str]:
    """The report of a take as lines: what the numbers say, the chart, then the rest."""
    lines = []
    if outcome.problem:
        lines += [f"The take could not be kept whole: {outcome.problem}", ""]
    if outcome.ending not in ("played", "stopped"):
        lines += [f"The take ended early: {outcome.ending}.", ""]
    if outcome.result is not None:
        head, sentences, *rest = render(outcome.result).rstrip("\n").split("\n\n")
        chart = "\n".join(offset_chart(outcome.result, WIDTH, marks))
        lines += "\n\n".join(block for block in (head, sentences, chart, *rest) if block).split("\n")
    if outcome.folder is None:
        return [*lines, "Nothing was played; no take was kept."]
    lines += ["", f"The take is kept in {outcome.folder}"]
    return [*lines, f"Note: {outcome.notice}"] if outcome.notice else lines


def _say_goodbye(outcomes: list[DrillOutcome]) -> None:
    """Where the takes are, on the terminal as it was before."""
    for outcome in outcomes:
        if outcome.folder is not None:
            sys.stdout.write(f"The take is kept in {outcome.folder}\n")
        if outcome.problem:
            sys.stderr.write(f"heeltap: {outcome.problem}\n")
