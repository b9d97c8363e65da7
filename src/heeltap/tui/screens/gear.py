"""The set-up screen and the two that measure: what their keys do, and the work behind them.

Inside: `SetUpPlace`, `MeasurePlace`.
"""

import queue
from collections.abc import Callable, Mapping

from heeltap.app.listen.player_control import PlayerControl, piece_of_click, sound_in_use
from heeltap.app.route import setup as setting_up
from heeltap.app.route.pads import keep_pads, learn_pads
from heeltap.app.route.setup import SetUp
from heeltap.app.route.ways import Broken, Way
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import HeeltapError
from heeltap.session.pad_learning import ROLES, Effect, Skip, Undo
from heeltap.tui.keys import Key
from heeltap.tui.page import Look
from heeltap.tui.screen import Host, Place
from heeltap.tui.screens import gear_rows as setup
from heeltap.views.bar_sheet import Line

__all__ = ["MeasurePlace", "SetUpPlace"]

_CHANGES: Mapping[str, Callable[[SetUp], None]] = {
    "input": setting_up.next_input,
    "output": setting_up.next_output,
    "click": setting_up.next_click,
    "level": setting_up.next_level,
    "start": lambda now: setting_up.next_control(now, "start"),
    "stop": lambda now: setting_up.next_control(now, "stop"),
    "repeat": lambda now: setting_up.next_control(now, "repeat"),
}


class SetUpPlace(Place):
    """What is played and heard, and what is known of the gear."""

    name = "set-up"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self.now = SetUp()
        self._learning = self._leave = False
        self._wishes: queue.SimpleQueue[Skip | Undo] = queue.SimpleQueue()
        self._listening = PlayerControl(lambda: sound_in_use()[0])

    @property
    def keys(self) -> tuple[Key, ...]:
        """Others while pads are learned."""
        return setup.LEARN_KEYS if self._learning else setup.SETUP_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """Where it is kept."""
        return setup.SETUP_HELP

    @property
    def moves(self) -> bool:
        """Not while pads are learned."""
        return not self._learning

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Change the chosen line; or answer what is asked."""
        if self._learning:
            return {"enter": lambda: self._wishes.put(Skip()), "b": lambda: self._wishes.put(Undo())}
        return {"enter": self._change, "r": self.look_again, "l": self._listen}

    @property
    def count(self) -> int:
        """The lines that can be changed."""
        return len(setup.ROWS)

    def draw(self, look: Look, message: str) -> list[Line]:
        """Every line, what is known of the chosen one, a few words of care."""
        told = message or self._listening.problem
        return setup.draw_setup(self.now, self.at, look, message=told, learning=self._learning)

    def look_again(self) -> None:
        """Ports and settings."""
        self.host.work("set-up", setting_up.set_up)

    def take_in(self, work: str, found: object) -> None:
        """How things are now, or that pads were learned."""
        if isinstance(found, SetUp):
            self.now = found
        elif work == "learn":
            self._learning = False
            self.host.say(str(found), stays=True)
            self.look_again()

    def failed(self, work: str) -> None:
        """Nothing is being learned any more."""
        self._learning = self._learning and work != "learn"

    @property
    def lively(self) -> bool:
        """While pads are learned, or the click is heard."""
        return self._learning or self._listening.on

    def turn(self) -> None:
        """Follow the click that is tried."""
        self._listening.turn()

    def back(self) -> None:
        """Break off, or go."""
        if self._learning:
            self._leave = True
        else:
            self._listening.stop()
            self.host.go("start")

    def leave(self) -> None:
        """Let go of every port."""
        self._leave = True
        self._listening.free()

    def _listen(self) -> None:
        """Two bars of the click as it is set."""
        self._listening.begin(lambda: piece_of_click(sound_in_use()[1]))

    def _change(self) -> None:
        """The next choice for the chosen line, or what it leads to."""
        what = setup.ROWS[self.at]
        if what == "pads":
            self._learn()
        elif what in ("delay", "clock"):
            self._listening.stop()
            self.host.go(what)
        else:
            try:
                _CHANGES[what](self.now)
            except HeeltapError as error:
                self.host.say(str(error), stays=True)
            self.look_again()
            if what in ("output", "click", "level"):
                self._listen()

    def _learn(self) -> None:
        """Learn the pads of the input in use."""
        port = (self.now.in_use or ("",))[0]
        if not port or port == KEYS_NAME:
            self.host.say("pads are learned from a device: plug one in and press r")
            return
        self._learning, self._leave = True, False
        self.host.say("the input is being opened")

        def tell(effect: Effect) -> None:
            words = setup.learning_words(effect)
            if words:
                self.host.say(words)

        def learn() -> str:
            found = learn_pads(port, ROLES, tell, asked=self._asked, interrupted=lambda: self._leave)
            if not found:
                return "no pad was learned; nothing was changed"
            keep_pads(port, found)
            return f"{len(found)} pads of {port} are kept"

        self.host.work("learn", learn)

    def _asked(self) -> Skip | Undo | None:
        try:
            return self._wishes.get_nowait()
        except queue.Empty:
            return None


class MeasurePlace(Place):
    """One thing to measure and the ways of doing it: choose one, wait, read what came of it."""

    def __init__(self, host: Host, name: str, title: str, ways: Callable[[SetUp], tuple[Way, ...]]) -> None:
        """``ways`` says what can be done as things are set up now."""
        super().__init__(host)
        self.name, self._title, self._of = name, title, ways
        self._ways: tuple[Way, ...] = ()
        self._told: tuple[str, ...] = ()
        self._done: float | None = None
        """The share that is done; None while nothing is measured."""
        self._leave = False

    @property
    def keys(self) -> tuple[Key, ...]:
        """Only one while it measures."""
        return setup.MEASURE_KEYS if self._done is None else setup.MEASURING_KEYS

    @property
    def lively(self) -> bool:
        """While it measures."""
        return self._done is not None

    @property
    def moves(self) -> bool:
        """Not while it measures."""
        return self._done is None

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Begin."""
        return {"enter": self._begin} if self._done is None else {}

    @property
    def count(self) -> int:
        """The ways."""
        return max(1, len(self._ways))

    def draw(self, look: Look, message: str) -> list[Line]:
        """The ways, how the chosen one goes, and what came of the last."""
        return setup.draw_measure(self._title, self._ways, self.at, look, self._told, self._done, message=message)

    def look_again(self) -> None:
        """As things are set up now."""
        if self._done is None:
            self.host.work(self.name, lambda: self._of(setting_up.set_up()))

    def take_in(self, work: str, found: object) -> None:
        """The ways, or what was measured."""
        if work == self.name and isinstance(found, tuple):
            self._ways = found
        elif work == "measure" and isinstance(found, tuple):
            self._told, self._done = found, None
            self.look_again()

    def failed(self, work: str) -> None:
        """It measures no more."""
        if work == "measure":
            self._done = None

    def back(self) -> None:
        """Break off, or go."""
        if self._done is not None:
            self._leave = True
        else:
            self._told = ()
            self.host.go("set-up")

    def leave(self) -> None:
        """Let go of every port."""
        self._leave = True

    def _begin(self) -> None:
        if not self._ways:
            return
        way = self._ways[self.at]
        self._leave, self._done, self._told = False, 0.0, ()

        def progress(share: float) -> None:
            if self._leave:
                raise Broken
            self._done = share

        def measure() -> tuple[str, ...]:
            try:
                return way.measure(progress)
            except Broken:
                return ("Broken off: nothing was kept.",)

        self.host.work("measure", measure)
