"""What a player can measure from the set-up screen: the delay of the route, and heeltap's own clock. Each in several ways.

Inside: `Way`, `Broken`, `delay_ways`, `clock_ways`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import selftest as selftesting
from heeltap.app.route.run_engine import Progress
from heeltap.app.route.setup import SetUp
from heeltap.devices.inputs import KEYS_NAME
from heeltap.files.calibrations import forget_calibrations
from heeltap.gear.delay import LIMITS, Declined, Delay
from heeltap.sound.audio import Microphone
from heeltap.views.bar_sheet import Glyphs
from heeltap.views.calibration_text import MICROPHONE_HOW, TAP_HOW, words
from heeltap.views.selftest_text import lines

__all__ = ["Broken", "Way", "clock_ways", "delay_ways"]


class Broken(Exception):
    """Raised by a screen's ``progress`` to break off; the engine then ends in order."""


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
    """The ways of knowing the delay of the ports in use; none for the computer's keyboard, whose own jitter is 20 ms.

    ``seed`` makes the moments of the clicks that are knocked after.
    """
    in_port = (now.in_use or ("",))[0]
    out_port = now.click_to
    if in_port in ("", KEYS_NAME):
        return ()

    def kept(delay: Delay | Declined) -> tuple[str, ...]:
        if isinstance(delay, Declined):
            return (f"No delay could be told: {delay.reason}.",)
        row = calibrating.keep(delay, in_port, out_port)
        return (*words(row, plus_minus=glyphs.plus_minus), LIMITS[delay.method])

    def by_microphone(progress: Progress) -> tuple[str, ...]:
        rng = np.random.default_rng(seed)
        return kept(calibrating.microphone_delay_of(in_port, out_port, Microphone(), rng=rng, progress=progress))

    def forget(_: Progress) -> tuple[str, ...]:
        gone = forget_calibrations(in_port, out_port)
        return ("Nothing was kept." if not gone else f"Forgotten: {gone}.",)

    same = "Click and your own sound come out of the same output, so that you hear both late alike: nothing to correct."
    drop = f"Forget what is kept for {in_port} and {out_port or 'no output'}: early and late may be the gear's again."
    return (
        Way("same path", same, lambda _: kept(calibrating.same_path_delay(in_port, out_port))),
        Way("microphone", MICROPHONE_HOW, by_microphone),
        Way(
            "tap along",
            TAP_HOW,
            lambda progress: kept(calibrating.tapped_delay(in_port, out_port, progress=progress)),
        ),
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
