"""The constant delay of your gear: three ways to measure it, and what each is worth.

A click is sent at ``s`` and heard at ``s + O``; a stroke is struck at ``p`` and stamped at ``p + I``. The raw offset is
``p + I - s``, so against the click as you heard it it is too late by ``O + I``: the *delay*, which heeltap takes away.

* Same path: click and your own sound come out of the same output. Then ``O`` delays both, and ``I`` belongs to the sound
  that you hear: you hear them apart by the raw offset, and heeltap takes nothing away.
* Microphone (`heeltap.gear.microphone`): one microphone hears click and knock, and its own latency falls out.
* Tapping along (`feel_offset`): the delay and the habit of tapping early, which nothing can tell apart. This is
  the *feel offset*; heeltap never judges early or late by it.

Inside: `Delay`, `Declined`, `LIMITS`, `LEAST_TAPS`, `same_path`, `feel_offset`, `irregular_us`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.statistics.robust import mad_scale
from heeltap.files.calibrations import FEEL
from heeltap.model.arrays import FloatArray, IntArray, as_ints

__all__ = ["FEEL", "LEAST_TAPS", "LIMITS", "MICROPHONE", "SAME_PATH", "Declined", "Delay", "feel_offset"]
__all__ += ["irregular_us", "same_path"]

SAME_PATH, MICROPHONE = "same-path", "microphone"
"""Methods, as they are kept and shown."""

LIMITS = {
    SAME_PATH: "This holds only while the click and your own sound come out of the same output. If a module plays your keys or "
    "pads by itself and heeltap sends the click there, the way over the wire remains: about 1 ms each way on a DIN cable, "
    "up to 1 ms each way on USB.",
    MICROPHONE: "This is the delay of output and input together, without any habit of yours; the microphone's own delay cancels "
    "out. If the loudspeaker is a metre further from the microphone than the pad, that counts as 2.9 ms. The delay holds "
    "for these ports and this buffer.",
    FEEL: "A feel offset is the delay and your own habit of tapping early together, usually 10 to 80 ms; nothing can tell "
    "the two apart. You can look at it, but heeltap never judges early or late by it.",
}
"""What each method does not say, in words."""

LEAST_TAPS = 32
"""Fewer taps make no feel offset: with the usual spread of 20 ms its average would be unsure by 9 ms and more."""

SETTLING = 4
"""Taps at the beginning that are left out: the first ones search for the beat (common practice, no source)."""

_WIDEST_MS = 60.0
"""Taps with a larger spread than this follow no click: far above the 10-35 ms of people who tap along."""

_WIRE_MS = 2.0
"""Uncertainty of the same path where nothing was measured: two ways over the wire of up to 1 ms each."""


@dataclass(frozen=True, slots=True)
class Delay:
    """A measured delay."""

    method: str
    """`SAME_PATH`, `MICROPHONE` or `FEEL`."""
    delay_ms: float
    """Played as heard is the raw offset minus this; for a feel offset, the taps' median offset."""
    uncertainty_ms: float
    """95 % half-width."""
    n: int
    """Strokes that it rests on; 0 where none were needed."""
    spread_ms: float | None = None
    """Spread of single strokes, as a standard deviation."""

    @property
    def judges(self) -> bool:
        """Whether early and late may be judged by it."""
        return self.method != FEEL


@dataclass(frozen=True, slots=True)
class Declined:
    """No delay could be told."""

    reason: str
    """A sentence that says why, and what to do."""


def same_path(stamp_p99_ms: float | None = None) -> Delay:
    """Nothing to take away; as unsure as the stamps.

    Parameters
    ----------
    stamp_p99_ms : float, optional
        How far the stamps of this route stray, where a self-test measured it; 2 ms is said where none did.
    """
    return Delay(SAME_PATH, 0.0, _WIRE_MS if stamp_p99_ms is None else max(stamp_p99_ms, 0.1), 0)


def feel_offset(tap_us: IntArray, click_us: IntArray) -> Delay | Declined:
    """Where taps sit beside the clicks that they belong to: median, spread, uncertainty.

    Parameters
    ----------
    tap_us : int64, shape (n,)
        Stamps, increasing.
    click_us : int64, shape (m,)
        When the clicks were sent, increasing.

    Notes
    -----
    The first tap nearest to each click counts; the first `SETTLING` clicks that were tapped are left out. Uncertainty:
    1.96 standard errors of a median, widened for taps that resemble their neighbour (lag-one correlation r) by
    sqrt((1 + r) / (1 - r)): textbook formulas, put together by us.
    """
    offset_ms = _nearest(as_ints(tap_us), as_ints(click_us))[SETTLING:]
    n = int(offset_ms.size)
    if n < LEAST_TAPS:
        return Declined(f"{n} taps are of use and heeltap needs {LEAST_TAPS}: tap once with every click")
    spread = mad_scale(offset_ms)
    if spread > _WIDEST_MS:
        return Declined(f"the taps have a spread of {spread:.0f} ms: they do not follow the click")
    centred = offset_ms - np.median(offset_ms)
    power = float(np.mean(centred**2))
    alike = float(np.mean(centred[1:] * centred[:-1])) / power if power > 0 else 0.0
    alike = min(max(alike, 0.0), 0.9)
    error = 1.2533 * spread / np.sqrt(n) * np.sqrt((1 + alike) / (1 - alike))
    return Delay(FEEL, float(np.median(offset_ms)), float(1.96 * error), n, spread)


def _nearest(tap: IntArray, click: IntArray) -> FloatArray:
    """Offset in ms of the nearest tap of each click that has one within half an interval."""
    if tap.size == 0 or click.size < 2:
        return np.zeros(0)
    edges = (click[1:] + click[:-1]) / 2
    owner = np.searchsorted(edges, tap)
    near = np.abs(tap - click[owner]) <= float(np.median(np.diff(click))) / 2
    best: dict[int, int] = {}
    for at, which in zip(tap[near].tolist(), owner[near].tolist(), strict=True):
        off = at - int(click[which])
        if which not in best or abs(off) < abs(best[which]):
            best[which] = off
    return np.array([best[which] for which in sorted(best)], dtype=np.float64) / 1000


def irregular_us(count: int, *, shortest_us: int, longest_us: int, rng: np.random.Generator) -> IntArray:
    """``count`` moments from 0 at intervals that nobody can foresee, microseconds.

    Clicks at such moments can be told from strokes that follow them, and they do not beat with a buffer's period.
    """
    steps = rng.integers(shortest_us, longest_us + 1, max(count - 1, 0))
    return as_ints(np.concatenate([[0], np.cumsum(steps)])[:count])
