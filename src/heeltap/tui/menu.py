"""The screens around a drill: start, history, set-up. What a key does is decided here; what is drawn, in pure modules.

Inside: `MenuApp`.
"""

import queue
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from textual.events import Click, Key, Resize
from textual.worker import Worker, WorkerState

from heeltap.errors import HeeltapError
from heeltap.files.places import takes_dir
from heeltap.jobs import setting_up
from heeltap.jobs.drill_text import Line, Span
from heeltap.jobs.history import History, history
from heeltap.jobs.keeping import score_kept
from heeltap.jobs.learning import keep_pads, learn_pads
from heeltap.jobs.setting_up import SetUp
from heeltap.jobs.today import Today, Wish, sets_in_reach, today, use_set
from heeltap.live.clock import wall_now
from heeltap.live.learning import ROLES, Effect, Skip, Undo
from heeltap.tui import keys as keyboard
from heeltap.tui import past, setup, start
from heeltap.tui.after import result_lines
from heeltap.tui.drawing import clip
from heeltap.tui.page import Look, help_page, page, room_of
from heeltap.tui.text_app import TextApp

__all__ = ["MenuApp"]

_START, _PAST, _OPEN, _SETUP = "start", "history", "take", "set-up"


class MenuApp(TextApp[Wish | None]):
    """Start, history and set-up; its return value is what the player wants to drill, None to leave."""

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
            Asked twice a second whether the system wants us to end.
        encoding : str or None
            Of the terminal: where it has no block characters, plain ones are drawn.
        """
        super().__init__(encoding)
        self.place = _START
        """Which screen is shown."""
        self.exit_code = 0
        self._takes, self._now, self._interrupted = takes, now, interrupted
        self._message = message or "looking for ports and takes"
        self._told = message
        self._today: Today | None = None
        self._history: History = History((), 0)
        self._setup = SetUp()
        self._order = past.Order.DAY
        self._chosen = {_START: 0, _PAST: 0, _OPEN: 0, _SETUP: 0}
        self._report: list[str] = []
        self._helping = self._learning = self._leave_learning = False
        self._wishes: queue.SimpleQueue[Skip | Undo] = queue.SimpleQueue()

    def on_mount(self) -> None:
        """Look for everything, and draw."""
        self.set_interval(0.5, self._look_for_end)
        self.look_again()
        self.picture()

    def on_unmount(self) -> None:
        """Let nothing go on behind a screen that is gone."""
        self._leave_learning = True

    def on_resize(self, _: Resize) -> None:
        """Fit the new size, which is known once the event has been dealt with."""
        self.call_after_refresh(self.picture)

    def picture(self) -> None:
        """Draw the present screen; nothing once the terminal is being given back."""
        if self._gone:
            return
        self._sheet.show(self._drawn(Look(*self.size, self._marks)))

    def _drawn(self, look: Look) -> list[Line]:
        at, told = self._chosen[self.place], self._message
        if self._helping:
            more = {_START: start.START_HELP, _PAST: past.PAST_HELP, _SETUP: setup.SETUP_HELP}.get(self.place, ())
            return help_page(look, self.place, self._keys(), more)
        if self.place == _START and self._today is not None:
            return start.draw_start(self._today, at, look, message=told)
        if self.place == _PAST:
            rows = past.ordered(self._history.takes, self._order)
            return past.draw_past(rows, self._order, at, look, until=self._now(), message=told)
        if self.place == _OPEN:
            shown = self._report[at : at + room_of(look)]
            below = len(self._report) - at - len(shown)
            where = f"{below} more lines below" if below > 0 else ""
            lines = [[Span(clip(line, look.width))] for line in shown]
            return page(look, "A take", where, lines, past.OPEN_KEYS, message=told)
        if self.place == _SETUP:
            return setup.draw_setup(self._setup, at, look, message=told, learning=self._learning)
        return page(look, "heeltap", "", [], start.START_KEYS, message=told)

    def _keys(self) -> tuple[keyboard.Key, ...]:
        """The keys of where we are."""
        if self._learning:
            return setup.LEARN_KEYS
        table = {_START: start.START_KEYS, _PAST: past.PAST_KEYS, _OPEN: past.OPEN_KEYS, _SETUP: setup.SETUP_KEYS}
        return table[self.place]

    def on_key(self, event: Key) -> None:
        """One key, by the table of where we are."""
        event.prevent_default()
        self.press_key(event.key)

    def press_key(self, name: str) -> None:
        """What a key does here; keys that are not of this screen do nothing."""
        if self._helping:
            self._helping = False
        else:
            moves = {"down": 1, "up": -1, "pagedown": 10, "pageup": -10, "home": -(10**6), "end": 10**6}
            known = {key.name for key in self._keys()}
            if name in moves and not self._learning:
                self._move(moves[name])
            elif name in known:
                self._commands[name]()
        self.picture()

    @property
    def _commands(self) -> Mapping[str, Callable[[], object]]:
        if self._learning:
            return {
                "enter": lambda: self._wishes.put(Skip()),
                "b": lambda: self._wishes.put(Undo()),
                "escape": self._break_off,
            }
        return {
            "enter": self._enter,
            "escape": self._back,
            "q": self.leave,
            "question_mark": self._help,
            "h": lambda: self._go(_PAST),
            "u": lambda: self._go(_SETUP),
            "r": self.look_again,
            "e": self._other_set,
            "o": self._other_order,
        }

    def on_click(self, event: Click) -> None:
        """A click on a key presses it; one on a line of a list chooses it, and a second one there enters it."""
        width, height = self.size
        if self._helping:
            self.press_key("escape")
        elif event.y == height - 1:
            key = keyboard.key_at(self._keys(), width, event.x)
            if key is not None and key is not keyboard.MOVE:
                self.press_key(key.name)
        else:
            self._click_line(event.y)

    def _click_line(self, y: int) -> None:
        """Choose the line of a list that stands at a row of the screen: the one whose choice puts its mark there."""
        look, before = Look(*self.size, self._marks), self._chosen[self.place]
        if self._learning or self.place == _OPEN:
            return
        near = sorted(range(self._count), key=lambda at: abs(at - before))[:200]
        for at in near:
            self._chosen[self.place] = at
            line = self._drawn(look)[y]
            if line and line[0].role == "now":
                break
        else:
            self._chosen[self.place] = before
            return
        if at == before:
            self.press_key("enter")
        self.picture()

    @property
    def _count(self) -> int:
        """How many lines can be chosen here."""
        if self.place == _START:
            return 0 if self._today is None else len(start.rows_of(self._today))
        if self.place == _OPEN:
            return max(1, len(self._report) - room_of(Look(*self.size)) + 1)
        return len(self._history.takes) if self.place == _PAST else len(setup.ROWS)

    def _move(self, lines: int) -> None:
        self._chosen[self.place] = max(0, min(self._count - 1, self._chosen[self.place] + lines))

    def _go(self, place: str) -> None:
        self.place, self._message = place, ""
        if place != _OPEN:
            self.look_again()

    def _back(self) -> None:
        if self.place != _START:
            self._go(_PAST if self.place == _OPEN else _START)

    def _help(self) -> None:
        self._helping = True

    def _other_order(self) -> None:
        orders = list(past.Order)
        self._order, self._chosen[_PAST] = orders[(orders.index(self._order) + 1) % len(orders)], 0

    def _enter(self) -> None:
        if self.place == _START and self._today is not None and self._count:
            self._leave_with(start.rows_of(self._today)[self._chosen[_START]].wish)
        elif self.place == _PAST and self._count:
            take = past.ordered(self._history.takes, self._order)[self._chosen[_PAST]]
            root = takes_dir() if self._takes is None else self._takes
            self._message = "the take is being read"
            self._work("open", lambda: result_lines(score_kept(root / take.folder), self._marks))
        elif self.place == _SETUP:
            self._change(setup.ROWS[self._chosen[_SETUP]])

    def _change(self, what: str) -> None:
        """The next choice for one line of the set-up."""
        if what == "pads":
            self._learn()
            return
        now = self._setup
        change = {"input": setting_up.next_input, "output": setting_up.next_output}.get(what)
        self._try(lambda: setting_up.next_control(now, what) if change is None else change(now))
        self.look_again()

    def _other_set(self) -> None:
        """The next set; after the last one none."""
        choices = (*sets_in_reach(), "")
        present = "" if self._today is None else self._today.set_name
        names = [Path(one).resolve().as_posix() if one.endswith(".toml") else one for one in choices]
        following = choices[(names.index(present) + 1) % len(choices)] if present in names else choices[0]
        self._chosen[_START] = 0
        if self._try(lambda: use_set(following)):
            self.look_again()

    def _try(self, act: Callable[[], object]) -> bool:
        """Do something that may fail in one line."""
        try:
            act()
        except HeeltapError as error:
            self._message = self._told = str(error)
            return False
        return True

    def look_again(self) -> None:
        """Read afresh what the present screen shows; it stays alive meanwhile."""
        if self.place == _START:
            self._work("today", lambda: today(self._takes, now=self._now()))
        elif self.place == _PAST:
            self._work("history", lambda: history(self._takes))
        elif self.place == _SETUP:
            self._work("set-up", setting_up.set_up)

    def _work(self, name: str, act: Callable[[], object]) -> None:
        self.run_worker(act, thread=True, name=name, exclusive=name != "learn", group=name, exit_on_error=False)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Something was read, or could not be."""
        worker: Worker[object] = event.worker
        if worker.state is WorkerState.ERROR:
            if not isinstance(worker.error, HeeltapError):
                raise worker.error or RuntimeError("a worker failed")
            self._message, self._learning = str(worker.error), False
        elif worker.state is WorkerState.SUCCESS:
            self._take_in(worker.name, worker.result)
        self.picture()

    def _take_in(self, name: str, found: object) -> None:
        """What a worker brought."""
        if name != "learn":
            self._message, self._told = self._told, ""
        if isinstance(found, Today):
            self._today = found
        elif isinstance(found, History):
            self._history = found
            self._message = next(iter(found.warnings), "")
        elif isinstance(found, SetUp):
            self._setup = found
        elif name == "open" and isinstance(found, list):
            self._report, self._chosen[_OPEN] = found, 0
            self.place = _OPEN
        elif name == "learn":
            self._learning, self._message, self._told = False, str(found), str(found)
            self.look_again()
        self._move(0)

    def _learn(self) -> None:
        """Learn the pads of the input in use."""
        port = (self._setup.in_use or ("",))[0]
        if not port or port == "keys":
            self._message = "pads are learned from a device: plug one in and press r"
            return
        self._learning, self._leave_learning, self._message = True, False, "the input is being opened"

        def tell(effect: Effect) -> None:
            words = setup.learning_words(effect)
            if words:
                self.call_from_thread(self._say, words)

        def learn() -> str:
            found = learn_pads(port, ROLES, tell, asked=self._asked, interrupted=lambda: self._leave_learning)
            if not found:
                return "no pad was learned; nothing was changed"
            keep_pads(port, found)
            return f"{len(found)} pads of {port} are kept"

        self._work("learn", learn)

    def _say(self, words: str) -> None:
        self._message = words
        self.picture()

    def _asked(self) -> Skip | Undo | None:
        try:
            return self._wishes.get_nowait()
        except queue.Empty:
            return None

    def _break_off(self) -> None:
        self._leave_learning = True

    def _look_for_end(self) -> None:
        if self._interrupted():
            self.action_interrupt()
        self.picture()

    def action_interrupt(self) -> None:
        """Ctrl-C leaves; the exit code says so."""
        self.exit_code = 130
        self.leave()

    def leave(self) -> None:
        """Leave heeltap."""
        self._leave_with(None)

    def _leave_with(self, wish: Wish | None) -> None:
        self._gone = self._leave_learning = True
        self.exit(wish)
