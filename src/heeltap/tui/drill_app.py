"""The app of a drill: it draws the state of a run, at most 30 times a second, and passes keys on. It never stamps or
decides.

One widget draws line by line and refreshes only the lines that changed; that costs a fraction of what a widget for every
number would. Names of ports and files are text, never markup.

Inside: `DrillApp`.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial

from textual.events import Key, Resize
from textual.worker import Worker, WorkerState

from heeltap.app.drill.changes import before, for_pads, next_drill
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.handsfree import Listener
from heeltap.app.drill.ranges import from_bar
from heeltap.app.drill.run import INTERRUPTED, DrillOutcome, Run, Settings, begun
from heeltap.app.drill.voices import mix_of, voices_of
from heeltap.app.listen.player_control import PlayerControl
from heeltap.clock import SystemClock, wall_now
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import HeeltapError
from heeltap.model.mix import Mix
from heeltap.session import session
from heeltap.session.session import Phase
from heeltap.tui import drill_commands as commands
from heeltap.tui import keys as keyboard
from heeltap.tui.before_take import BeforeTake
from heeltap.tui.page import Look
from heeltap.tui.screens import drill_keys
from heeltap.tui.screens.after_take import AfterTake
from heeltap.tui.screens.drill import KEY_LINES, View, draw_drill, drill_key_lines, view_of
from heeltap.tui.screens.listen import listening_commands
from heeltap.tui.screens.report import draw_report, report_room
from heeltap.tui.text_app import TextApp
from heeltap.views.bar_sheet import Line

__all__ = ["DrillApp"]

_FRAMES = 30
"""Pictures a second at most."""


class DrillApp(TextApp[int]):
    """One exercise, as often as the player likes."""

    def __init__(
        self,
        drill: Drill,
        settings: Settings,
        *,
        at_once: bool = False,
        leave_at_end: bool = False,
        guess: bool = False,
        interrupted: Callable[[], bool] = lambda: False,
        encoding: str | None = "utf-8",
        now: Callable[[], datetime] = wall_now,
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
        guess : bool
            Ask "early, on, or late?" before the report is shown.
        interrupted : callable
            Asked with every picture whether the system wants us to end.
        encoding : str or None
            Of the terminal: where it has no block characters, plain ones are drawn.
        now : callable
            The date and time.
        """
        super().__init__(encoding)
        self.drill: Drill = drill
        self.settings: Settings = settings
        self.after = AfterTake(self._glyphs, now, guess=guess)
        """The takes of this sitting, and what of the last one is shown."""
        self.play: Run | None = None
        """The take that is being played."""
        self._at_once, self._leave_at_end, self._interrupted = at_once, leave_at_end, interrupted
        self.feedback = settings.feedback
        self.state = before(self.drill, self.feedback.for_take(1))
        self.message, self._busy, self._rows, self._leaving = "", False, 0, False
        self._exit_code = 0
        self.listener, self._again = Listener(settings), False
        """What hears the inputs between two takes."""
        self.tried, self._first_mix = BeforeTake(), self.mix
        self.went_back, self.wants_delay = False, False
        """Whether the player left for the screen before, not for good; and to measure the delay of the gear."""
        self.listening = PlayerControl(lambda: settings.out_port)
        self._then: Callable[[Drill], Drill] | None = None
        self._view = view_of(drill, settings, self._glyphs)
        """What the drill adds to its state; size, message and keys change with every picture."""

    def on_mount(self) -> None:
        """Draw from now on."""
        self.set_interval(1 / _FRAMES, self.picture)
        if self._at_once:
            self.begin_take()
        else:
            self.message = commands.ask_for_split(self)
            self.listener.open()

    def on_resize(self, _: Resize) -> None:
        """Fit the new size."""
        self.picture()

    def picture(self) -> None:
        """One turn of the run, and the screen that follows from it; nothing once the terminal is being given back."""
        if self._gone:
            return
        if self._interrupted() and not self._leaving:
            self.action_interrupt()
        self._pass_time()
        scroll = self._rows if self.play is None else 0
        message, silent = commands.told(self), self.settings.silent if self.play is None else self.play.silent
        view = replace(self._view, width=self.size.width, height=self.size.height, message=message, scroll=scroll)
        view = replace(view, heard=self.tried.heard, silent=silent)
        self._lines_widget.show(self._drawn(replace(view, keys=self.keys_now)))

    def _pass_time(self) -> None:
        """Follow the take, the hands-free controls, and what sounds."""
        if self.play is not None and not self._busy:
            self._again = session.Again() in self.play.turn() or self._again
            self.state = self.play.state
            if self.play.over:
                self.end_take()
        elif not self._busy:
            for press in self.listener.poll():
                if self.listening.on and "stop" in press.actions:
                    self.listening.stop()
                    continue
                self.state, effects = session.step(self.state, press)
                if session.Again() in effects:
                    self.begin_take()
            self.message = commands.take_split(self) or self.message
            commands.take_hits(self)
        self.listening.turn()

    def _drawn(self, view: View) -> list[Line]:
        """The lines of what is shown now."""
        look = Look(view.width, view.height, view.glyphs)
        if self.help_screen.is_open:
            more = (*drill_keys.DRILL_HELP, *([drill_keys.PADS_HELP] if self.pads else []))
            return self.help_screen.draw(look, "drill", self.keys_now, more)
        if self.after.asking:
            return drill_keys.guess_page(look, view.title, message=self.message)
        if self.listening.now_us is not None and self.listening.of_bars:  # the bars move along with what is heard
            heard = replace(self.state, phase=Phase.PLAYING, now_us=self.listening.now_us, said=(), gaps=())
            return draw_drill(heard, view)
        if self.after.showing:
            lines = self.after.fit(look.width, report_room(look, KEY_LINES))
            return draw_report(lines, self.after.first, look, view.keys, KEY_LINES, message=view.message)
        return draw_drill(self.state, view)

    @property
    def key_lines(self) -> int:
        """One for the help and the question, two for the report, two or more for the bars."""
        if self.after.asking or self.help_screen.is_open:
            return 1
        return KEY_LINES if self.after.showing else drill_key_lines(self.keys_now, self.size.width)

    @property
    def keys_now(self) -> tuple[keyboard.Key, ...]:
        """The keys of what is shown now."""
        return commands.keys_of(self)

    @property
    def mix(self) -> Mix:
        """How loud each voice is."""
        return self.settings.mix_for(self.drill)

    @property
    def idle(self) -> bool:
        """Whether nothing is played, and no take begins or ends."""
        return self.play is None and not self._busy

    @property
    def running(self) -> Run | None:
        """The take that is played; None where none is, and while one begins or ends."""
        return None if self._busy else self.play

    @property
    def outcomes(self) -> list[DrillOutcome]:
        """What became of every take of this sitting."""
        return self.after.outcomes

    def begin_take(self) -> None:
        """Start the engine; the screen stays alive meanwhile."""
        if self.play is not None or self._busy:
            return
        self.after.showing = self.after.asking = self.listener.wants_key = False
        self.tried.forget()
        self.state = before(self.drill, self.feedback.for_take(1))
        self._work("heeltap is opening the ports", self._start)

    def end_take(self) -> None:
        """Keep the take and score it; the screen stays alive meanwhile."""
        if self.play is None or self._busy:
            return
        self._work("heeltap is judging the take", self.play.finish)

    def _work(self, message: str, task: Callable[[], object]) -> None:
        """Do in a thread what takes a moment, and say so; `on_worker_state_changed` takes in what came of it."""
        self._busy, self.message = True, message
        self.run_worker(task, thread=True, exit_on_error=False)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The engine runs, or the take is kept, or something went wrong."""
        worker: Worker[Run | DrillOutcome | tuple[Drill | None, str]] = event.worker
        if worker.state is WorkerState.ERROR:
            self._busy, self.play, error = False, None, worker.error
            if not isinstance(error, HeeltapError):
                raise error if error is not None else RuntimeError("a worker failed")
            self.message = str(error)
            self._exit_code = error.exit_code
        elif worker.state is WorkerState.SUCCESS:
            self._busy, self.message = False, ""
            if isinstance(worker.result, Run):
                self.play = worker.result
                self.play.ask(session.Show(self.feedback.for_take(self.play.take_number)))
            elif isinstance(worker.result, DrillOutcome):
                self._ended(worker.result)
            elif isinstance(worker.result, tuple):
                self._advised(*worker.result)
        if self._leaving and worker.is_finished:
            self._leave()

    def on_key(self, event: Key) -> None:
        """Keys: pads first, where the keyboard is one, then commands."""
        character = " " if event.key == "space" else event.character or ""
        playing = self.play is not None and self.state.phase in (Phase.COUNT_IN, Phase.PLAYING)
        if self.play is not None and playing and self.pads:
            self.play.key(" " if event.key == "enter" else character)
        elif self.play is None:
            self.listener.strike(character, SystemClock().now_ns())
        event.prevent_default()
        self.press_key("plus" if event.key == "equals_sign" else event.key)

    def press_key(self, name: str) -> None:
        """What a key does now; keys that mean nothing here do nothing."""
        if self.listening.problem:
            self.listening.stop()
        if self.help_screen.is_open:
            self.help_screen.press(name)
        elif name in self._moves and self.play is None:
            self._move(self._moves[name])
        elif name in self._commands and name in {key.name for key in self.keys_now}:
            self._commands[name]()

    @property
    def _moves(self) -> dict[str, int]:
        """Lines that a key moves by."""
        page = report_room(Look(*self.size), KEY_LINES)
        return keyboard.moves(page) | (
            {"left": -page, "right": page} if self.after.showing and not self.listening.on else {}
        )

    @property
    def _commands(self) -> Mapping[str, Callable[[], object]]:
        if self.listening.on:
            more: dict[str, Callable[[], object]] = {
                "q": self.action_leave,
                "question_mark": self.help_screen.open,
                "l": partial(commands.listen, self),
            }
            return {**listening_commands(self.listening), **more}
        table = commands.GUESS_COMMANDS if self.after.asking else commands.DRILL_COMMANDS
        return {name: partial(act, self) for name, act in table.items()}

    def action_escape(self) -> None:
        """End the take that is played; where none is, go to the screen before."""
        if self.play is not None or self._busy:
            self.action_stop()
        else:
            self.went_back = True
            self.action_leave()

    def again(self) -> None:
        """End the take, keep it, and begin it again."""
        self._again = True
        self.action_stop()

    def action_change(self, change: Callable[[Drill], Drill], *, goes_on: bool = False) -> None:
        """Make another drill of this one; a take that is played is kept, and the other one begins.

        Where it ``goes_on``, it begins with the bar that is being played.
        """
        if self._busy:
            return
        if self.play is not None:
            bar = self.state.columns.bar_at(max(self.state.now_us, 0)).number
            self._then = (lambda drill: from_bar(change(drill), bar)) if goes_on else change
            self.again()
        else:
            self.changed_to(change)

    def action_next(self) -> None:
        """Take up what the takes so far ask for; to be looked up, which takes a moment."""
        if self.play is None and not self._busy:
            self._work("looking for what comes next", lambda: next_drill(self.settings.takes, sound=self.drill.sound))

    def changed_to(self, change: Callable[[Drill], Drill]) -> bool:
        """Show another drill; False, and a line of why, where it cannot be."""
        try:
            drill, mix = change(self.drill), self.mix
            kept = mix if voices_of(drill) == voices_of(self.drill) else mix_of(drill, mix)
            self.drill, self.settings = drill, replace(self.settings, mix=kept)
        except HeeltapError as error:
            self.message = str(error)
            return False
        self.state, self._rows, self.after.showing = before(self.drill, self.feedback.for_take(1)), 0, False
        self._view, self.message = view_of(self.drill, self.settings, self._glyphs), commands.ask_for_split(self)
        return True

    def action_guess(self, guess: str) -> None:
        """Keep what the player thought, and show the report."""
        self.message = self.after.guessed(guess)

    def action_stop(self) -> None:
        """End the take here."""
        if self.play is not None and not self._busy:
            self.play.stop()

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
        self.listening.free()
        self.listener.close()
        return begun(self.drill, self.settings)

    def _leave(self) -> None:
        self._gone = True
        commands.keep_volumes_of(self, self._first_mix)
        self.listening.free()
        self.listener.close()
        self.exit(self._exit_code)

    def _ended(self, outcome: DrillOutcome) -> None:
        """Show what became of the take."""
        self.play, self.state, self._rows = None, outcome.state, 0
        self.after.ended(outcome, self.drill)
        self._exit_code = 130 if self._exit_code == 130 else outcome.exit_code
        if self._leave_at_end:
            self._leave()
        elif not self._leaving:
            then, again = self._then, self._again
            self._then, self._again = None, False
            if again and (then is None or self.changed_to(then)):
                self.begin_take()
            else:
                self.after.ask()
                self.listener.open()

    def _advised(self, drill: Drill | None, reason: str) -> None:
        """Show what comes next and why."""
        if drill is not None:
            self.changed_to(lambda _: for_pads(drill, self.settings))
        self.message = self.message or reason

    def _move(self, lines: int) -> None:
        """Scroll the report by lines, or the bars by rows."""
        if self.after.showing:
            self.after.first += lines
        else:
            last = len(self.state.columns.bars)
            self._rows = max(-last, min(last, self._rows + lines))

    @property
    def pads(self) -> bool:
        """Whether the computer's keyboard is an instrument."""
        return KEYS_NAME in self.settings.in_ports
