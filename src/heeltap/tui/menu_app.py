"""The screens around a drill: start, history, a take, set-up, measuring. Each is a `Place`; here is what they share.

Inside: `MenuApp`.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from textual.events import Key, Resize
from textual.worker import Worker, WorkerState

from heeltap.app.practice.today import Wish
from heeltap.app.route.ways import clock_ways, delay_ways
from heeltap.clock import wall_now
from heeltap.errors import HeeltapError
from heeltap.tui import keys as keyboard
from heeltap.tui.page import Look
from heeltap.tui.screen import Place
from heeltap.tui.screens.gear import MeasurePlace, SetUpPlace
from heeltap.tui.screens.home import PastPlace, StartPlace, TakePlace
from heeltap.tui.text_app import TextApp
from heeltap.views.bar_sheet import Glyphs, Line

__all__ = ["MenuApp"]

_MOVES = keyboard.moves(10)

_ALONE = ("learn", "measure")
"""Work with devices: it ends by itself or is broken off, never thrown away."""

_TURN_S = 0.1
"""Between two looks at what goes on by itself: what is heard or measured moves on."""


class MenuApp(TextApp[Wish | None]):
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
        self._take = TakePlace(self)
        places = (
            StartPlace(self),
            PastPlace(self, self._show_take),
            self._take,
            SetUpPlace(self),
            MeasurePlace(self, "delay", "Delay of the route", lambda found: delay_ways(found, self.glyphs)),
            MeasurePlace(self, "clock", "heeltap's own clock", clock_ways),
        )
        self._places = {one.name: one for one in places}
        self.place: Place = places[0]
        """Which screen is shown."""
        self._lively = False
        """Whether something went on by itself when the screen was drawn last."""
        self._work_of: dict[Worker[object], Place] = {}

    @property
    def glyphs(self) -> Glyphs:
        """The characters that the terminal has."""
        return self._glyphs

    def on_mount(self) -> None:
        """Look for everything, and draw."""
        self.set_interval(_TURN_S, self._turn)
        self.place.look_again()
        self.picture()

    def on_unmount(self) -> None:
        """Let nothing go on behind a screen that is gone."""
        self.place.leave()

    def on_resize(self, _: Resize) -> None:
        """Fit the new size, which is known once the event has been dealt with."""
        self.call_after_refresh(self.picture)

    def picture(self) -> None:
        """Draw the present screen; nothing once the terminal is being given back."""
        if not self._gone:
            self._lively = self.place.lively  # before it is drawn: what ends from here on is drawn once more
            self._lines_widget.show(self._drawn(self.look))

    @property
    def look(self) -> Look:
        """The size of the terminal, and its characters."""
        return Look(*self.size, self._glyphs)

    def _drawn(self, look: Look) -> list[Line]:
        if self._helping:
            return self.drawn_help(look, self.place.name, self.place.more)
        return self.place.draw(look, self._message)

    def on_key(self, event: Key) -> None:
        """One key, by the table of where we are."""
        event.prevent_default()
        self.press_key(event.key)

    def press_key(self, name: str) -> None:
        """What a key does here; keys that are not of this screen do nothing."""
        everywhere = {"escape": self.place.back, "q": self.leave, "question_mark": self.action_help}
        commands = {**self.place.commands, **everywhere}
        if self._helping:
            self.press_in_help(name)
        elif name in _MOVES and self.place.moves:
            self._move(_MOVES[name])
        elif name in commands and name in {key.name for key in self.keys_now}:
            commands[name]()
        self.picture()

    @property
    def keys_now(self) -> tuple[keyboard.Key, ...]:
        """Those of the place."""
        return self.place.keys

    def click_line(self, y: int) -> None:
        """Choose the line of a list that stands at a row of the screen: the one whose choice puts its mark there. A second
        click there enters it."""
        place, before = self.place, self.place.at
        if not (place.moves and place.chosen_by_mouse):
            return
        for at in sorted(range(place.count), key=lambda at: abs(at - before))[:200]:
            place.at = at
            line = self._drawn(self.look)[y]
            if line and line[0].role == "now":
                break
        else:
            place.at = before
            return
        if place.at == before:
            self.press_key("enter")
        self.picture()

    def _move(self, lines: int) -> None:
        self.place.at = max(0, min(self.place.count - 1, self.place.at + lines))

    def go(self, name: str) -> None:
        """Show another screen."""
        self.place, self._message = self._places[name], ""
        self.place.look_again()

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
        self._work_of[worker] = self.place

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
        if self.place.name == "history":
            self.go("take")

    def _turn(self) -> None:
        if self._interrupted():
            self.action_interrupt()
        self.place.turn()
        if self._lively or self.place.lively:
            self.picture()

    def action_interrupt(self) -> None:
        """Ctrl-C leaves; the exit code says so."""
        self.exit_code = 130
        self.leave()

    def leave(self) -> None:
        """Leave heeltap."""
        self.leave_with(None)

    def leave_with(self, wish: Wish | None) -> None:
        """Leave all screens; a wish is drilled next."""
        self._gone = True
        self.place.leave()
        self.exit(wish)
