"""The app around a drill: it shows one `QuietScreen` at a time and passes keys, mouse and results of work on to it.

Inside: `MenuApp`.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from textual.events import Key, Resize
from textual.worker import Worker, WorkerState

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.clock import wall_now
from heeltap.errors import HeeltapError
from heeltap.tui import keys as keyboard
from heeltap.tui.page import Look
from heeltap.tui.screen import QuietScreen
from heeltap.tui.screens.exercises import ExercisesScreen
from heeltap.tui.screens.history import HistoryScreen
from heeltap.tui.screens.measure import MeasureScreen, clock_ways, delay_ways
from heeltap.tui.screens.options import OptionsScreen
from heeltap.tui.screens.report import Report
from heeltap.tui.screens.set_up import SetUpScreen
from heeltap.tui.screens.songs import SongsScreen
from heeltap.tui.screens.start import StartScreen
from heeltap.tui.screens.take import TakeScreen
from heeltap.tui.text_app import TextApp
from heeltap.views.bar_sheet import Glyphs, Line

__all__ = ["MenuApp"]

_MOVES = keyboard.moves(10)

_ALONE = ("learn", "measure")
"""Work with devices: it ends by itself or the player breaks it off; the app never throws it away."""

_TURN_S = 0.1
"""Seconds between two looks at what goes on by itself, such as a measurement."""


class MenuApp(TextApp[DrillChoice | None]):
    """Everything around a drill; it returns what the player wants to drill, None to leave heeltap."""

    def __init__(
        self,
        first: str = "start",
        *,
        message: str = "",
        takes: Path | None = None,
        now: Callable[[], datetime] = wall_now,
        interrupted: Callable[[], bool] = lambda: False,
        encoding: str | None = "utf-8",
    ) -> None:
        """The screens around a drill.

        Parameters
        ----------
        first : str
            Name of the first screen.
        message : str
            What the first screen says.
        takes : Path, optional
            The folder of all takes; the user's where not given.
        now : callable
            The date and time.
        interrupted : callable
            Asked ten times a second whether the system wants us to end.
        encoding : str or None
            Of the terminal: where it has no block characters, plain ones are drawn.
        """
        super().__init__(encoding)
        self.exit_code = 0
        self.takes, self.moment, self._interrupted = takes, now, interrupted
        self._message = message or "looking for ports and takes"
        self._told = message
        self._take, self._options = TakeScreen(self), OptionsScreen(self)
        screens = (
            StartScreen(self),
            HistoryScreen(self, self._show_take),
            self._take,
            ExercisesScreen(self),
            SongsScreen(self),
            self._options,
            SetUpScreen(self),
            MeasureScreen(self, "delay", "Delay of the route", lambda found: delay_ways(found, self.glyphs)),
            MeasureScreen(self, "clock", "heeltap's own clock", clock_ways),
        )
        self._quiet_screens = {one.name: one for one in screens}
        self.shown: QuietScreen = self._quiet_screens[first]
        """The screen that is shown."""
        self._lively = False
        """Whether something went on by itself when the screen was drawn last."""
        self._work_of: dict[Worker[object], QuietScreen] = {}

    @property
    def glyphs(self) -> Glyphs:
        """The characters that the terminal has."""
        return self._glyphs

    def on_mount(self) -> None:
        """Read what the first screen shows, and draw it."""
        self.set_interval(_TURN_S, self._turn)
        self.shown.look_again()
        self.picture()

    def on_unmount(self) -> None:
        """Let the screen stop everything that would go on without it."""
        self.shown.leave()

    def on_resize(self, _: Resize) -> None:
        """Fit the new size, which is known once the event has been dealt with."""
        self.call_after_refresh(self.picture)

    def picture(self) -> None:
        """Draw the screen that is shown; nothing once the app is giving the terminal back."""
        if not self._gone:
            self._lively = self.shown.lively  # before it is drawn: what ends from here on is drawn once more
            self._lines_widget.show(self._drawn(self.look))

    @property
    def look(self) -> Look:
        """The size of the terminal, and its characters."""
        return Look(*self.size, self._glyphs)

    def _drawn(self, look: Look) -> list[Line]:
        if self.help_screen.is_open:
            return self.help_screen.draw(look, self.shown.name, self.shown.keys, self.shown.more)
        return self.shown.draw(look, self._message)

    def on_key(self, event: Key) -> None:
        """Do what the key that the player pressed does here."""
        event.prevent_default()
        self.press_key(event.key)

    def press_key(self, name: str) -> None:
        """Do what a key does here; a key that the screen does not list does nothing."""
        everywhere = {"escape": self.shown.back, "q": self.leave, "question_mark": self.help_screen.open}
        commands = {**self.shown.commands, **everywhere}
        if self.help_screen.is_open:
            self.help_screen.press(name)
        elif name in _MOVES and self.shown.moves:
            self._move(_MOVES[name])
        elif name in commands and name in {key.name for key in self.keys_now}:
            commands[name]()
        self.picture()

    @property
    def keys_now(self) -> tuple[keyboard.Key, ...]:
        """Those of the screen that is shown."""
        return self.shown.keys

    def click_line(self, y: int) -> None:
        """Choose the line that stands in row ``y`` of the terminal; a second click on it enters it.

        Which line that is the drawing itself says: it is the one that gets the mark there when it is chosen.
        """
        shown, before = self.shown, self.shown.at
        if not (shown.moves and shown.chosen_by_mouse):
            return
        for at in sorted(range(shown.count), key=lambda at: abs(at - before))[:200]:
            shown.at = at
            line = self._drawn(self.look)[y]
            if line and line[0].role == "now":
                break
        else:
            shown.at = before
            return
        if shown.at == before:
            self.press_key("enter")
        self.picture()

    def _move(self, lines: int) -> None:
        self.shown.at = max(0, min(self.shown.count - 1, self.shown.at + lines))

    def go(self, name: str) -> None:
        """Show another screen."""
        self.shown, self._message = self._quiet_screens[name], ""
        self.shown.look_again()

    def choose(self, choice: DrillChoice) -> None:
        """Show how what the player chose is played; esc comes back to the screen that is shown now."""
        back_to = self.shown.name
        self.go("options")
        self._options.show(choice, back_to)

    def say(self, words: str, *, stays: bool = False) -> None:
        """Put a message above the keys; one that stays outlives what is being read."""
        self._message = words
        if stays:
            self._told = words

    def work(self, name: str, act: Callable[[], object]) -> None:
        """Run ``act`` in a thread for the screen that is shown now, which gets the result even if another is shown by then."""
        worker = self.run_worker(
            act, thread=True, name=name, exclusive=name not in _ALONE, group=name, exit_on_error=False
        )
        self._work_of[worker] = self.shown

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Give a screen what its thread found, or show why it found nothing."""
        worker: Worker[object] = event.worker
        if worker.state is WorkerState.ERROR:
            if not isinstance(worker.error, HeeltapError):
                raise worker.error or RuntimeError("a worker failed")
            self._message = str(worker.error)
            self._work_of.pop(worker).failed(worker.name)
        elif worker.state is WorkerState.SUCCESS:
            self._message, self._told = self._told, ""
            self._work_of.pop(worker).take_in(worker.name, worker.result)
            self._move(0)
        elif worker.state is WorkerState.CANCELLED:
            self._work_of.pop(worker, None)
        self.picture()

    def _show_take(self, folder: Path, report: Report) -> None:
        """Show a take that the player opened, unless the player went elsewhere meanwhile."""
        self._take.show(folder, report)
        if self.shown.name == "history":
            self.go("take")

    def _turn(self) -> None:
        if self._interrupted():
            self.action_interrupt()
        self.shown.turn()
        if self._lively or self.shown.lively:
            self.picture()

    def action_interrupt(self) -> None:
        """Leave, with the exit code of Ctrl-C."""
        self.exit_code = 130
        self.leave()

    def leave(self) -> None:
        """Leave heeltap."""
        self.leave_with(None)

    def leave_with(self, choice: DrillChoice | None) -> None:
        """Leave all screens; heeltap then drills what the player chose."""
        self._gone = True
        self.shown.leave()
        self.exit(choice)
