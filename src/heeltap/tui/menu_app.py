"""The screens around a drill: start, history, a take, set-up, measuring. Each is a `QuietScreen`; here is what they share.

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
from heeltap.tui.screens.history import HistoryScreen
from heeltap.tui.screens.measure import MeasureScreen, clock_ways, delay_ways
from heeltap.tui.screens.set_up import SetUpScreen
from heeltap.tui.screens.start import StartScreen
from heeltap.tui.screens.take import TakeScreen
from heeltap.tui.text_app import TextApp
from heeltap.views.bar_sheet import Glyphs, Line

__all__ = ["MenuApp"]

_MOVES = keyboard.moves(10)

_ALONE = ("learn", "measure")
"""Work with devices: it ends by itself or is broken off, never thrown away."""

_TURN_S = 0.1
"""Between two looks at what goes on by itself: what is heard or measured moves on."""


class MenuApp(TextApp[DrillChoice | None]):
    """Everything around a drill; its return value is what the player wants to drill, None to leave."""

    def __init__(
        self,
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
        message : str
            What is said on the first screen.
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
        self._take = TakeScreen(self)
        screens = (
            StartScreen(self),
            HistoryScreen(self, self._show_take),
            self._take,
            SetUpScreen(self),
            MeasureScreen(self, "delay", "Delay of the route", lambda found: delay_ways(found, self.glyphs)),
            MeasureScreen(self, "clock", "heeltap's own clock", clock_ways),
        )
        self._quiet_screens = {one.name: one for one in screens}
        self.shown: QuietScreen = screens[0]
        """The screen that is shown."""
        self._lively = False
        """Whether something went on by itself when the screen was drawn last."""
        self._work_of: dict[Worker[object], QuietScreen] = {}

    @property
    def glyphs(self) -> Glyphs:
        """The characters that the terminal has."""
        return self._glyphs

    def on_mount(self) -> None:
        """Look for everything, and draw."""
        self.set_interval(_TURN_S, self._turn)
        self.shown.look_again()
        self.picture()

    def on_unmount(self) -> None:
        """Let nothing go on behind a screen that is gone."""
        self.shown.leave()

    def on_resize(self, _: Resize) -> None:
        """Fit the new size, which is known once the event has been dealt with."""
        self.call_after_refresh(self.picture)

    def picture(self) -> None:
        """Draw the present screen; nothing once the terminal is being given back."""
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
        """One key, by the table of where we are."""
        event.prevent_default()
        self.press_key(event.key)

    def press_key(self, name: str) -> None:
        """What a key does here; keys that are not of this screen do nothing."""
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
        """Choose the line of a list that stands at a row of the screen: the one whose choice puts its mark there. A second
        click there enters it."""
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

    def say(self, words: str, *, stays: bool = False) -> None:
        """Put a message above the keys; one that stays outlives what is being read."""
        self._message = words
        if stays:
            self._told = words

    def work(self, name: str, act: Callable[[], object]) -> None:
        """Do something in a thread for the screen that is shown; its result is that screen's, wherever the player is then."""
        worker = self.run_worker(
            act, thread=True, name=name, exclusive=name not in _ALONE, group=name, exit_on_error=False
        )
        self._work_of[worker] = self.shown

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Something was read, or could not be."""
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

    def _show_take(self, folder: Path, report: list[str]) -> None:
        """A take was opened; unless the player went elsewhere meanwhile, it is shown."""
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
        """Ctrl-C leaves; the exit code says so."""
        self.exit_code = 130
        self.leave()

    def leave(self) -> None:
        """Leave heeltap."""
        self.leave_with(None)

    def leave_with(self, choice: DrillChoice | None) -> None:
        """Leave all screens; a choice is drilled next."""
        self._gone = True
        self.shown.leave()
        self.exit(choice)
