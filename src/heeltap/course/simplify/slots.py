"""Which places of a part each of its simpler forms keeps.

Inside: `LEVELS`, `Level`, `level_slots`.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from heeltap.course.simplify.notation import Written
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.counting import bar_ticks, unit_ticks
from heeltap.model.exercise import felt_beats
from heeltap.model.timeline import Metre, MetreMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["LEVELS", "Level", "level_slots"]


class Level(NamedTuple):
    """One of the four forms of a part."""

    name: str
    title: str
    aim: str
    """What it is for, in one line."""


LEVELS = (
    Level(
        "strong",
        "Strong beats",
        "Only the beats that carry the bar, each with the chord that belongs there: put the pillars up first.",
    ),
    Level("beats", "All beats", "The other beats come in between; the strong ones stay where they were."),
    Level("eighths", "Plus eighths", "The first division of the beat is added; no beat comes sooner for it."),
    Level("whole", "The whole part", "Everything that is written; the beats are still the ones from the first form."),
)
"""From the simplest on."""


def level_slots(level: str, part: Written, metre: MetreMap, bars: int) -> IntArray:
    """Ticks of every slot that a level keeps, increasing.

    ``strong``: the felt beats that carry the bar; ``beats``: all felt beats; ``eighths``: also the halves of a beat, its
    thirds where the part divides that beat in three, its late eighth where the part swings, in 6/8 and the like its
    eighths; ``whole``: wherever the part has a note.

    Parameters
    ----------
    level : str
        Name in `LEVELS`.
    part : Written
    metre : MetreMap
    bars : int
        Length of the part.

    Returns
    -------
    int64, shape (n,)
        Ticks of 10,080 per quarter.
    """
    if level == "whole":
        return np.unique(part.at_tick)
    ticks: list[int] = []
    starts = np.rint(metre.quarter_of_bar(np.arange(1, bars + 2)) * TICKS_PER_QUARTER).astype(np.int64).tolist()
    for bar, (start, following) in enumerate(pairwise(starts), 1):
        found = _bar_slots(level, metre.metre_of_bar(bar))
        ticks += [start + at for at in found if start + at < following]
    beats = as_ints(ticks)
    return np.union1d(beats, _played_between(part, beats)) if level == "eighths" else beats


def _bar_slots(level: str, metre: Metre) -> list[int]:
    """Places of one bar, from its bar line."""
    pulses, unit = felt_beats(metre), unit_ticks(metre)
    if level == "eighths":
        step = unit if len(pulses.starts) < metre.count else unit // 2
        return list(range(0, bar_ticks(metre), step))
    return [(number - 1) * unit for number in (pulses.strong if level == "strong" else pulses.starts)]


def _played_between(part: Written, places: IntArray) -> IntArray:
    """Thirds of a quarter and swung eighths that the part really has."""
    third = np.mod(part.at_tick * 3, TICKS_PER_QUARTER) == 0
    return np.setdiff1d(part.at_tick[third | part.swung], places)
