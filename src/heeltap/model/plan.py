"""The plan: the notes that should be played, one row each, whether from an exercise or from a known part.

Conventions: ``at_tick`` counts `heeltap.units.TICKS_PER_QUARTER`; ``at_us`` is measured from the plan's tick 0 (bar 1, beat
1), the count-in lies before it. Notes of one stroke share ``stroke``. Pitch `ANY_PITCH` accepts any key.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import BoolArray, IntArray, freeze_columns
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["ANY_PITCH", "HANDS", "KINDS", "MOST_BARS", "MOST_PLANNED", "Plan", "Section", "kept_rows", "within_bars"]

ANY_PITCH = -1
"""In a plan: whichever key is struck counts."""

HANDS = ("", "left", "right")
"""Names of the codes in ``Plan.hand``; 0 is not known."""

KINDS = ("groove", "fill", "landing", "after")
"""Names of the codes in ``Plan.kind``: ordinary playing, a fill, the new section's first stroke, the bar after it."""


MOST_BARS = 99_999
"""Bars of the longest plan or take: 55 hours of 4/4 at 120 bpm. A damaged file may name bar 2,147,483,647, and tables by bar
would fill the memory. Ours."""

MOST_PLANNED = 100_000
"""Notes of a plan, and of a take: an hour and a half at twenty a second, which takes 3 to 11 s to judge. Ours."""


@dataclass(frozen=True, slots=True)
class Section:
    """A named stretch of whole bars."""

    name: str
    first_bar: int
    last_bar: int
    """Inclusive."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Planned notes in time order (by ``at_tick``, then pitch)."""

    name: str
    at_tick: IntArray
    """Position of each note, ticks of 10,080 per quarter."""
    at_us: IntArray
    """The same in microseconds from bar 1, beat 1."""
    pitch: IntArray
    """0-127, or `ANY_PITCH`."""
    velocity: IntArray
    """Wanted loudness 1-127; 0 where the plan does not say."""
    hand: IntArray
    """Code into `HANDS`."""
    kind: IntArray
    """Code into `KINDS`."""
    stroke: IntArray
    """Index of the stroke that each note belongs to: 0, 0, 1, 2, 2, ..."""
    tempo: TempoMap
    metre: MetreMap
    sections: tuple[Section, ...]
    """In order; may be empty."""
    bars: int
    """Length in bars, rests at the end included."""
    swing_ratio: float = 1.0
    """Stated ratio of the long to the short eighth; 1 is straight. ``at_tick`` already holds the swung positions."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length, time runs backwards or a bar is out of reach."""
        freeze_columns(self, ("at_tick", "at_us", "pitch", "velocity", "hand", "kind", "stroke"))
        for name in ("at_tick", "at_us"):
            if np.any(np.diff(getattr(self, name)) < 0):
                raise ValueError(f"Plan.{name} must not decrease")
        if np.any(self.stroke[:1]) or not np.isin(np.diff(self.stroke), (0, 1)).all():
            raise ValueError("Plan.stroke must count 0, 0, 1, 2, ...")
        if len(self) > MOST_PLANNED:
            raise PlanError(sentence(self.name or "plan", f"{len(self):,} notes", f"at most {MOST_PLANNED:,}"))
        if any(not 1 <= section.first_bar <= MOST_BARS or section.last_bar > MOST_BARS for section in self.sections):
            raise ValueError(f"Plan.sections: bars from 1 to {MOST_BARS:,}")
        last = self.at_tick[-1:] / TICKS_PER_QUARTER
        bars = max(self.bars, int(self.metre.bar_beat(last)[0].max(initial=1)))
        if bars > MOST_BARS:
            raise PlanError(sentence(self.name or "plan", f"bar {bars:,}", f"at most {MOST_BARS:,} bars"))

    def __len__(self) -> int:
        return int(self.at_tick.size)


def within_bars(plan: Plan, stretch: tuple[int, int] | None) -> Plan:
    """The plan without the strokes outside some bars; its clock, bars and sections stay as they are.

    Parameters
    ----------
    plan : Plan
    stretch : (int, int) or None
        First and last bar, from 1; None keeps everything.

    Returns
    -------
    Plan
    """
    if stretch is None:
        return plan
    first, last = stretch
    bar = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)[0]
    return kept_rows(plan, (bar >= first) & (bar <= last))


def kept_rows(plan: Plan, rows: BoolArray) -> Plan:
    """The plan with some of its notes only; its clock, bars and sections stay as they are.

    Parameters
    ----------
    plan : Plan
    rows : bool, shape (len(plan),)
        Which notes stay.

    Returns
    -------
    Plan
    """
    columns = {name: getattr(plan, name)[rows] for name in ("at_tick", "at_us", "pitch", "velocity", "hand", "kind")}
    stroke = np.unique(plan.stroke[rows], return_inverse=True)[1].reshape(-1).astype(np.int64)
    return replace(plan, **columns, stroke=stroke)
