"""The tempo that a player taps: four taps, one way.

Inside: `Taps`, `TAPS`, `tapped`, `tapped_bpm`.
"""

from typing import NamedTuple

import numpy as np

__all__ = ["TAPS", "Taps", "tapped", "tapped_bpm"]

TAPS = 4
"""So many taps are a tempo: a bar of the most usual metre."""

_LONGEST_NS = 3_200_000_000
"""After a longer wait the count begins anew: the slowest tempo of a drill is 20 beats a minute, a beat of 3 s."""


class Taps(NamedTuple):
    """The taps so far."""

    source: str = ""
    """What was tapped on: a port, or the key t."""
    at_ns: tuple[int, ...] = ()
    """When, on one clock."""

    @property
    def whole(self) -> bool:
        """Whether these are enough."""
        return len(self.at_ns) >= TAPS


def tapped(taps: Taps, source: str, at_ns: int) -> Taps:
    """The taps with one more; another source, or a long wait, begins anew.

    Parameters
    ----------
    taps : Taps
    source : str
    at_ns : int
        When.

    Returns
    -------
    Taps
    """
    goes_on = bool(taps.at_ns) and taps.source == source and 0 < at_ns - taps.at_ns[-1] <= _LONGEST_NS
    return Taps(source, (*taps.at_ns, at_ns) if goes_on else (at_ns,))


def tapped_bpm(taps: Taps, beat_quarters: float = 1.0) -> float:
    """The tempo of taps on the beat, whole quarter notes a minute: the slope of the straight line through them (least squares).

    Parameters
    ----------
    taps : Taps
        At least two.
    beat_quarters : float
        Length of the beat that was tapped, in quarter notes.

    Returns
    -------
    float
        Quarter notes a minute.
    """
    beat_ns = float(np.polyfit(np.arange(len(taps.at_ns)), np.array(taps.at_ns, np.float64) - taps.at_ns[0], 1)[0])
    return float(round(60e9 / beat_ns * beat_quarters))
