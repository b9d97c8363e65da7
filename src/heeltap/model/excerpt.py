"""Some bars of a plan, once or several times over, as a plan of its own that begins at bar 1.

Inside: `Excerpt`, `excerpt`, `repeated`, `bars_of_text`.
"""

import re
from dataclasses import dataclass

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import IntArray
from heeltap.model.plan import Plan, Section
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Excerpt", "bars_of_text", "excerpt", "repeated"]

_BARS = re.compile(r"(\d{1,5})(?:\s*-\s*(\d{1,5}))?")


@dataclass(frozen=True, slots=True, eq=False)
class Excerpt:
    """The plan of some bars, and where they come from."""

    plan: Plan
    first_bar: int
    """Of the whole plan; bar 1 of the excerpt."""
    last_bar: int
    passes: int
    from_us: int
    """Where the first of these bars begins in the whole plan, microseconds."""
    length_us: int
    """One pass, microseconds."""
    from_tick: int
    """As ``from_us``, ticks of 10,080 a quarter."""
    length_ticks: int

    @property
    def numbers(self) -> tuple[int, ...]:
        """The whole plan's number of each bar of the excerpt."""
        return tuple(range(self.first_bar, self.last_bar + 1)) * self.passes


def bars_of_text(text: str) -> tuple[int, int]:
    """The first and the last bar that a person names.

    Parameters
    ----------
    text : str
        ``14-16``, or ``14`` alone.

    Returns
    -------
    tuple of int
        First and last, from 1.

    Raises
    ------
    PlanError
        It is no such text.
    """
    found = _BARS.fullmatch(text.strip())
    first = int(found[1]) if found else 0
    last = int(found[2] or found[1]) if found else 0
    if not 1 <= first <= last:
        raise PlanError(sentence("bars", f"'{text}'", "a range such as 14-16, or one bar such as 14"))
    return first, last


def excerpt(plan: Plan, first_bar: int, last_bar: int, *, passes: int = 1) -> Excerpt:
    """Some bars of a plan, each pass after the other.

    Parameters
    ----------
    plan : Plan
    first_bar, last_bar : int
        Of the plan, from 1; both are in it.
    passes : int
        How often. More than one becomes one section a pass; a single one keeps the plan's own sections.

    Returns
    -------
    Excerpt

    Raises
    ------
    PlanError
        The plan has no such bars.
    """
    if not 1 <= first_bar <= last_bar <= plan.bars:
        raise PlanError(sentence("bars", f"{first_bar}-{last_bar}", f"bars from 1 to {plan.bars}"))
    start, end = (float(plan.metre.quarter_of_bar(bar)) for bar in (first_bar, last_bar + 1))
    ticks = (round(start * TICKS_PER_QUARTER), round(end * TICKS_PER_QUARTER))
    us = (int(plan.tempo.us_at_position(ticks[0])), int(plan.tempo.us_at_position(ticks[1])))
    rows = np.flatnonzero((plan.at_tick >= ticks[0]) & (plan.at_tick < ticks[1]))
    turns = np.repeat(np.arange(passes), rows.size)
    rows = np.tile(rows, passes)
    stroke = plan.stroke[rows] + turns * (int(plan.stroke.max(initial=0)) + 1)
    cut = Plan(
        name=plan.name,
        at_tick=plan.at_tick[rows] - ticks[0] + turns * (ticks[1] - ticks[0]),
        at_us=plan.at_us[rows] - us[0] + turns * (us[1] - us[0]),
        pitch=plan.pitch[rows],
        velocity=plan.velocity[rows],
        hand=plan.hand[rows],
        kind=plan.kind[rows],
        stroke=np.unique(stroke, return_inverse=True)[1].reshape(-1).astype(np.int64),
        tempo=_tempo(plan.tempo, start, end, passes),
        metre=_metre(plan.metre, start, end, passes),
        sections=_sections(plan, first_bar, last_bar, passes),
        bars=(last_bar - first_bar + 1) * passes,
        swing_ratio=plan.swing_ratio,
    )
    return Excerpt(cut, first_bar, last_bar, passes, us[0], us[1] - us[0], ticks[0], ticks[1] - ticks[0])


def _tempo(tempo: TempoMap, start: float, end: float, passes: int) -> TempoMap:
    """The tempi between two positions in quarters, in each pass anew."""
    rate = tempo.ticks_per_quarter
    first, last = round(start * rate), round(end * rate)
    row = int(np.searchsorted(tempo.at_tick, first, side="right")) - 1
    inside = (tempo.at_tick > first) & (tempo.at_tick < last)
    at = np.concatenate([[0], tempo.at_tick[inside] - first])
    value = np.concatenate([tempo.us_per_quarter[row : row + 1], tempo.us_per_quarter[inside]])
    turns = np.repeat(np.arange(passes), at.size)
    ticks, values = np.tile(at, passes) + turns * (last - first), np.tile(value, passes)
    new = np.concatenate([[True], values[1:] != values[:-1]])
    return TempoMap(rate, ticks[new].astype(np.int64), values[new].astype(np.int64))


def _metre(metre: MetreMap, start: float, end: float, passes: int) -> MetreMap:
    """The metres between two positions in quarters, in each pass anew; a pass that ends with a bar cut short says so."""
    row = int(metre.row_at(start))
    inside = [i for i, at in enumerate(metre.at_quarter.tolist()) if start + 1e-9 < at < end - 1e-9]
    at = [0.0, *(float(metre.at_quarter[i]) - start for i in inside)]
    kinds = [metre.metres[row], *(metre.metres[i] for i in inside)]
    whole = abs((end - start - at[-1]) / kinds[-1].bar_quarters % 1.0 - 0.5) > 0.5 - 1e-9
    turns = passes if len(kinds) > 1 or not whole else 1
    return MetreMap(np.array([turn * (end - start) + one for turn in range(turns) for one in at]), tuple(kinds * turns))


def _sections(plan: Plan, first: int, last: int, passes: int) -> tuple[Section, ...]:
    """One section a pass; for a single pass what the plan's own sections have of it."""
    length = last - first + 1
    if passes > 1:
        return tuple(Section(f"pass {k + 1}", 1 + k * length, (k + 1) * length) for k in range(passes))
    kept = [one for one in plan.sections if one.last_bar >= first and one.first_bar <= last]
    return tuple(
        Section(one.name, max(one.first_bar, first) - first + 1, min(one.last_bar, last) - first + 1) for one in kept
    )


def repeated(due: IntArray, start: int, length: int, passes: int) -> tuple[IntArray, IntArray]:
    """Which rows of a column of times lie in the excerpt, pass after pass, and when they then are.

    Parameters
    ----------
    due : int64, shape (n,)
        Times or ticks of the whole.
    start, length : int
        Where the excerpt begins, and how long a pass is, in the same unit.
    passes : int

    Returns
    -------
    rows : int64, shape (m,)
        Indices into ``due``.
    at : int64, shape (m,)
        From the beginning of the excerpt.
    """
    inside = np.flatnonzero((due >= start) & (due < start + length))
    turns = np.repeat(np.arange(passes), inside.size)
    rows = np.tile(inside, passes)
    return rows, np.asarray(due[rows] - start + turns * length, dtype=np.int64)
