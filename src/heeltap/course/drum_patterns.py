"""Drum patterns to play along with: what a drummer would hold under an exercise.

Positions are ticks of 10,080 per quarter from bar 1, beat 1. A pattern is written in the counting text of
`heeltap.model.counting`, one line a drum.

Inside: `DrumPattern`, `DrumLine`, `Hits`, `hits_of`, `LOUDNESS`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.counting import BarStrokes, bar_ticks, unit_ticks
from heeltap.model.exercise import ClickPlan, click_levels
from heeltap.model.timeline import Metre

__all__ = ["LOUDNESS", "DrumLine", "DrumPattern", "Hits", "hits_of"]

LOUDNESS = {"kick": 1.0, "snare": 0.9}
"""Strength of each drum against the loudest; others have 0.6, on a beat 0.7. Ours."""

_OTHER, _ON_BEAT = 0.6, 0.7


@dataclass(frozen=True, slots=True)
class DrumLine:
    """One drum of a pattern."""

    drum: str
    """Role of the pad, one of `heeltap.model.exercise.PADS`."""
    key: int
    """Key number, 0-127."""
    bars: tuple[BarStrokes, ...]
    """One or more bars, over and over."""


@dataclass(frozen=True, slots=True)
class DrumPattern:
    """A drum pattern."""

    name: str
    title: str
    metre: Metre
    lines: tuple[DrumLine, ...]
    """In the order in which they are written."""


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Strokes of a drummer in time order; columns are equally long."""

    at_tick: IntArray
    key: IntArray
    strength: FloatArray
    """Above 0, up to 1."""


def hits_of(beat: DrumPattern, bars: int, *, click: ClickPlan | None = None) -> Hits:
    """The strokes of so many bars.

    Parameters
    ----------
    beat : DrumPattern
    bars : int
        From bar 1.
    click : ClickPlan, optional
        ``bars`` leaves out whole bars, ``fade`` fades; other kinds raise `PlanError`, since a pattern is not made of
        beats only.

    Returns
    -------
    Hits
        In order of time; strength 0 to 1.

    Raises
    ------
    PlanError
        The click is of a kind that a pattern cannot have.
    """
    levels = [1.0] * bars if click is None else click_levels(click, bars)
    if click is not None and click.kind not in ("every", "bars", "fade"):
        raise PlanError(sentence("click", f"'{click.kind}' of a drum pattern", "every, 'bars 2+2' or fade"))
    length, unit = bar_ticks(beat.metre), unit_ticks(beat.metre)
    rows = []
    for bar, level in enumerate(levels):
        for line in beat.lines if level > 0 else ():
            pattern = line.bars[bar % len(line.bars)]
            for at, accent in zip(pattern.at_tick, pattern.accent, strict=True):
                own = 1.0 if accent else LOUDNESS.get(line.drum, _OTHER if at % unit else _ON_BEAT)
                rows.append((bar * length + at, line.key, own * level))
    rows.sort(key=lambda row: row[:2])
    strength = np.array([row[2] for row in rows], dtype=np.float64)
    return Hits(as_ints(row[0] for row in rows), as_ints(row[1] for row in rows), strength)
