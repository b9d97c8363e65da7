"""The measuring screens: the delay of the route, and heeltap's own clock. Each can be measured in several ways.

Inside: the model `Way`, listed by `delay_ways` and `clock_ways`; the drawing `draw_measure`; the screen `MeasureScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import selftest as selftesting
from heeltap.app.route.run_engine import Progress
from heeltap.devices.inputs import KEYS_NAME
from heeltap.files.calibrations import forget_calibrations
from heeltap.gear.delay import LIMITS, Declined, Delay
from heeltap.sound.audio import Microphone
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, page, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.set_up import SetUp, label_line, read_set_up
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.views.calibration_text import MICROPHONE_HOW, TAP_HOW, words
from heeltap.views.selftest_text import lines

__all__ = [
    "MEASURE_KEYS",
    "MEASURING_KEYS",
    "BrokenOff",
    "MeasureScreen",
    "Way",
    "clock_ways",
    "delay_ways",
    "draw_measure",
]

MEASURE_KEYS = (Key("enter", "begin", "measure in the chosen way, and keep the result"), MOVE, BACK, HELP, QUIT)

MEASURING_KEYS = (Key("escape", "break off", "stop measuring and keep nothing", "esc"), HELP, QUIT)
"""While something is measured."""

_BAR = 40
"""Columns of the bar that shows how far something is."""


class BrokenOff(Exception):
    """A screen's ``progress`` raises it to break off; the engine then ends in order."""


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way of measuring something."""

    name: str
    """In a word or two."""
    how: str
    """What to do and what comes of it."""
    measure: Callable[[Progress], tuple[str, ...]]
    """Does it, keeps what was found, and says so; told how far it is through ``progress``. Raises `HeeltapError`."""


def delay_ways(now: SetUp, glyphs: Glyphs, *, seed: int = 1) -> tuple[Way, ...]:
    """The ways of knowing the delay of the ports in use, first the one that needs no more gear.

    There are none for the computer's keyboard, whose own jitter is 20 ms.
    ``seed`` makes the moments of the clicks that are knocked after.
    """
    in_port = (now.in_use or ("",))[0]
    out_port = now.click_to
    if in_port in ("", KEYS_NAME):
        return ()

    def kept(delay: Delay | Declined) -> tuple[str, ...]:
        if isinstance(delay, Declined):
            return (f"heeltap found no delay: {delay.reason}.",)
        row = calibrating.keep(delay, in_port, out_port)
        return (*words(row, plus_minus=glyphs.plus_minus), LIMITS[delay.method])

    def by_microphone(progress: Progress) -> tuple[str, ...]:
        rng = np.random.default_rng(seed)
        return kept(calibrating.microphone_delay_of(in_port, out_port, Microphone(), rng=rng, progress=progress))

    def forget(_: Progress) -> tuple[str, ...]:
        gone = forget_calibrations(in_port, out_port)
        return ("There was nothing to forget." if not gone else f"Forgotten: {gone}.",)

    same = "You hear the click and yourself through the same output, both late alike: there is nothing to take away."
    drop = (
        f"Forget the delay of {in_port} and {out_port or 'no output'}: then the gear may make you early or late again."
    )
    return (
        Way(
            "tap along",
            TAP_HOW,
            lambda progress: kept(calibrating.tapped_delay(in_port, out_port, progress=progress)),
        ),
        Way("microphone", MICROPHONE_HOW, by_microphone),
        Way("same path", same, lambda _: kept(calibrating.same_path_delay(in_port, out_port))),
        Way("forget", drop, forget),
    )


def clock_ways(now: SetUp, *, seed: int = 1) -> tuple[Way, ...]:
    """The ways of testing heeltap's own clock: in this machine, and through the ports in use where there are both."""

    def test(in_port: str | None, out_port: str | None) -> Callable[[Progress], tuple[str, ...]]:
        def run(progress: Progress) -> tuple[str, ...]:
            rng = np.random.default_rng(seed)
            report = selftesting.selftest(in_port, out_port, rng=rng, progress=progress)
            if report.lost < report.sent:  # an open cable says nothing about the machine
                selftesting.keep(report)
            return tuple(lines(report))

        return run

    inside = "800 notes go through the system's MIDI and come back, 15 seconds; no device is needed."
    ways = [Way("this machine", inside, test(None, None))]
    in_port, out_port = (now.in_use or ("",))[0], now.click_to
    if in_port in now.inputs and out_port in now.outputs:
        cable = f"Connect {out_port} to {in_port} by a cable. The same 800 notes; what else listens to {out_port} may sound."
        ways.append(Way("by a cable", cable, test(in_port, out_port)))
    return tuple(ways)


def draw_measure(
    title: str,
    ways: Sequence[Way],
    chosen: int,
    look: Look,
    told: Sequence[str],
    done: float | None,
    *,
    message: str = "",
) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines.

    Parameters
    ----------
    title : str
        What is measured.
    ways : sequence of Way
    chosen : int
        The chosen way, from 0; the screen says how it goes.
    look : Look
    told : sequence of str
        What came of the last measurement.
    done : float or None
        How far the present one is, 0 to 1; None while nothing is measured.
    message : str
        Shown above the keys.
    """
    body = [label_line(at == chosen, way.name, "", "") for at, way in enumerate(ways)]
    if not ways:
        body = wrapped_lines("Nothing to measure here: plug in a keyboard or pads, and press esc, then r.", look.width)
    else:
        body += [[], *wrapped_lines(ways[chosen].how, look.width)]
    if done is not None:
        full = round(done * _BAR)
        body += [[], [Span(f"  [{'=' * full}{' ' * (_BAR - full)}] {100 * done:.0f} %", "head")]]
    result = [
        line
        for text in told
        for line in (wrapped_lines(text, look.width) if len(text) > look.width - 4 else [_plain(text)])
    ]
    body += [[], *result] if result else []
    return page(look, title, "", body, MEASURE_KEYS if done is None else MEASURING_KEYS, message=message)


def _plain(text: str) -> Line:
    return [Span(f"  {text}")]


class MeasureScreen(QuietScreen):
    """One thing to measure: the player chooses a way, waits, and reads what came of it."""

    def __init__(self, host: Host, name: str, title: str, ways: Callable[[SetUp], tuple[Way, ...]]) -> None:
        """``ways`` lists the ways that there are as things are set up now."""
        super().__init__(host)
        self.name, self._title, self._of = name, title, ways
        self._ways: tuple[Way, ...] = ()
        self._told: tuple[str, ...] = ()
        self._done: float | None = None
        """The share that is done, 0 to 1; None while it measures nothing."""
        self._leave = False

    @property
    def keys(self) -> tuple[Key, ...]:
        """While it measures, only the one that breaks off."""
        return MEASURE_KEYS if self._done is None else MEASURING_KEYS

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
        """Begin to measure."""
        return {"enter": self._begin} if self._done is None else {}

    @property
    def count(self) -> int:
        """The ways."""
        return max(1, len(self._ways))

    def draw(self, look: Look, message: str) -> list[Line]:
        """The ways, how the chosen one goes, and what came of the last."""
        return draw_measure(self._title, self._ways, self.at, look, self._told, self._done, message=message)

    def look_again(self) -> None:
        """List the ways as things are set up now."""
        if self._done is None:
            self.host.work(self.name, lambda: self._of(read_set_up()))

    def take_in(self, work: str, found: object) -> None:
        """Show the ways, or what it measured."""
        if work == self.name and isinstance(found, tuple):
            self._ways = found
        elif work == "measure" and isinstance(found, tuple):
            self._told, self._done = found, None
            self.look_again()

    def failed(self, work: str) -> None:
        """Measure no more."""
        if work == "measure":
            self._done = None

    def back(self) -> None:
        """Break off; where it measures nothing, go to the set-up screen."""
        if self._done is not None:
            self._leave = True
        else:
            self._told = ()
            self.host.go("set-up")

    def leave(self) -> None:
        """Give every port back."""
        self._leave = True

    def _begin(self) -> None:
        if not self._ways:
            return
        way = self._ways[self.at]
        self._leave, self._done, self._told = False, 0.0, ()

        def progress(share: float) -> None:
            if self._leave:
                raise BrokenOff
            self._done = share

        def measure() -> tuple[str, ...]:
            try:
                return way.measure(progress)
            except BrokenOff:
                return ("You broke off; heeltap kept nothing.",)

        self.host.work("measure", measure)
