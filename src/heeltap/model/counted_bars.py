"""Bars as a teacher writes them on the board: what is counted, and above which syllables a stroke falls.

Bars that are alike are told once a section. Positions are quarter notes from the bar line.

Inside: `CountedBar`, `CountedVoice`, `counted_exercise`, `counted_plan`.
"""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import IntArray
from heeltap.model.counting import Syllable, counting_line, parse_counting, unit_ticks
from heeltap.model.exercise import Exercise
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import counting_of
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["CountedBar", "CountedVoice", "counted_exercise", "counted_plan"]


@dataclass(frozen=True, slots=True)
class CountedVoice:
    """The strokes of one hand, pad or part in a bar."""

    name: str
    """Empty where there is only one."""
    at_quarter: tuple[float, ...]
    accent: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class CountedBar:
    """One bar, and every other of its section that is like it."""

    bars: tuple[int, ...]
    """Their numbers from 1, increasing."""
    section: str
    """Name of their section; may be empty."""
    length_quarters: float
    unit_quarters: float
    """Length of one counted number: 1 in 4/4, 0.5 in 6/8."""
    syllables: tuple[Syllable, ...]
    voices: tuple[CountedVoice, ...]
    """Only those that play."""
    fill_from_quarter: float | None
    """Where a fill starts; None where there is none."""


def counted_exercise(exercise: Exercise, *, most: int = 12) -> tuple[tuple[CountedBar, ...], int]:
    """The first ``most`` different bars of an exercise, and how many different bars were left out.

    Parameters
    ----------
    exercise : Exercise
    most : int
        Bars to show; two more are shown rather than left out, for they take no more room than saying so.

    Returns
    -------
    bars : tuple of CountedBar
        In the order in which they first come.
    left_out : int
        Different bars beyond those.

    Raises
    ------
    PlanError
        A bar's counting text cannot be read.
    """
    seen: dict[Hashable, list[int]] = {}
    for number, bar in enumerate(exercise.bars, 1):
        seen.setdefault((_section(exercise.sections, number), bar), []).append(number)
    shown = _first(list(seen.values()), most)
    return tuple(_exercise_bar(exercise, bars) for bars in shown), len(seen) - len(shown)


def _exercise_bar(exercise: Exercise, bars: list[int]) -> CountedBar:
    bar, metre = exercise.bars[bars[0] - 1], exercise.metre
    patterns = [parse_counting(line, metre) for line in bar.lines]
    strokes = [at for pattern in patterns for at in pattern.at_tick]
    names = ["" if voice.name == "any" else voice.name for voice in exercise.voices]
    unit = unit_ticks(metre) / TICKS_PER_QUARTER
    return CountedBar(
        tuple(bars),
        _section(exercise.sections, bars[0]),
        metre.bar_quarters,
        unit,
        counting_line(strokes, metre),
        tuple(
            CountedVoice(name, tuple(at / TICKS_PER_QUARTER for at in pattern.at_tick), pattern.accent)
            for name, pattern in zip(names, patterns, strict=True)
            if pattern.at_tick
        ),
        (bar.fill_from - 1) * unit if bar.fill_from else None,
    )


def counted_plan(plan: Plan, *, most: int = 8) -> tuple[tuple[CountedBar, ...], int]:
    """The first ``most`` different bars of any plan, such as a part of a file, and how many were left out.

    Strokes count, whichever keys they take. Bars are alike when the same strokes fall on the same positions in the same
    metre. Rests before the first stroke are left out.

    Parameters
    ----------
    plan : Plan
    most : int
        Bars to show, as in `counted_exercise`.

    Returns
    -------
    bars : tuple of CountedBar
        In the order in which they first come.
    left_out : int
        Different bars beyond those.
    """
    ticks = np.unique(plan.at_tick)
    starts = np.rint(plan.metre.quarter_of_bar(np.arange(1, plan.bars + 2)) * TICKS_PER_QUARTER).astype(np.int64)
    seen: dict[Hashable, list[int]] = {}
    for bar in range(1, plan.bars + 1):
        first, last = np.searchsorted(ticks, starts[bar - 1 : bar + 1])
        within = tuple((ticks[first:last] - starts[bar - 1]).tolist())
        if seen or within:
            key = (_section(plan.sections, bar), within, plan.metre.metre_of_bar(bar))
            seen.setdefault(key, []).append(bar)
    shown = _first(list(seen.values()), most)
    return tuple(_plan_bar(plan, bars, ticks, starts) for bars in shown), len(seen) - len(shown)


def _plan_bar(plan: Plan, bars: list[int], ticks: IntArray, starts: IntArray) -> CountedBar:
    bar = bars[0]
    metre = plan.metre.metre_of_bar(bar)
    inside = ticks[(ticks >= starts[bar - 1]) & (ticks < starts[bar])].tolist()
    at = tuple((tick - int(starts[bar - 1])) / TICKS_PER_QUARTER for tick in inside)
    return CountedBar(
        tuple(bars),
        _section(plan.sections, bar),
        metre.bar_quarters,
        unit_ticks(metre) / TICKS_PER_QUARTER,
        counting_of(plan, bar),
        (CountedVoice("", at, (False,) * len(at)),) if at else (),
        None,
    )


def _first(kinds: list[list[int]], most: int) -> list[list[int]]:
    """The first ``most``, or all where no more than two are left: those take no more room than saying so."""
    return kinds if len(kinds) <= most + 2 else kinds[:most]


def _section(sections: Iterable[Section], bar: int) -> str:
    return next((one.name for one in sections if one.first_bar <= bar <= one.last_bar), "")
