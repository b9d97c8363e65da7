"""How hard an exercise is, as one number, so that a course can be put in order.

The number is a sum of parts that each stand for something a player has to do; which parts and how much each counts is
ours, chosen by what teachers put first and last, not fitted to anybody's playing. Use it to order exercises, not to
compare players.

Inside: `difficulty`, `Difficulty`, `WEIGHTS`, `syncopation`, `slot_weight`.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from heeltap.model.arrays import IntArray
from heeltap.model.counting import bar_ticks, unit_ticks
from heeltap.model.exercise import Exercise, clicks, felt_beats
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["WEIGHTS", "Difficulty", "difficulty", "slot_weight", "syncopation"]


@dataclass(frozen=True, slots=True)
class Difficulty:
    """The parts, each in its own unit, and their weighted sum."""

    rate: float
    """Strokes a second in the busiest quarter of the bars."""
    division: float
    """How finely the beat is cut, averaged over strokes: 0 on the beat, 1 half-way, 1.5 in thirds, 2 in quarters."""
    syncopation: float
    """Longuet-Higgins and Lee's strength a bar (see `syncopation`)."""
    silence: float
    """Share of beats that the click does not play, 0-1."""
    wait: float
    """How long one waits for the next stroke, in doublings of a second beyond the first, averaged over strokes."""
    hands: float
    """How many hands or pads play, less one."""
    chord: float
    """Notes a stroke, on average, less one."""
    change: float
    """Share of bars that differ from the bar before, 0-1."""
    fill: float
    """Share of the strokes that are fill, landing or the bar after."""
    total: float = 0.0
    """The weighted sum: about 1 for the easiest anchor, 10 for the hardest turn."""


WEIGHTS = {
    "rate": 0.7,
    "division": 1.5,
    "syncopation": 0.4,
    "silence": 1.0,
    "wait": 0.8,
    "hands": 0.4,
    "chord": 0.4,
    "change": 0.6,
    "fill": 1.5,
}
"""What one unit of each part adds. Ours."""


def difficulty(exercise: Exercise) -> Difficulty:
    """The difficulty of an exercise at its tempo (the first of its ladder).

    Parameters
    ----------
    exercise : Exercise

    Returns
    -------
    Difficulty

    Raises
    ------
    PlanError
        The exercise cannot be planned.
    """
    plan, metre = plan_of(exercise), exercise.metre
    strokes = np.unique(plan.at_tick)
    seconds_a_tick = 60.0 / exercise.tempo_bpm / TICKS_PER_QUARTER
    by_bar = np.sort(np.bincount(strokes // bar_ticks(metre), minlength=plan.bars))
    busy = by_bar[-max(1, plan.bars // 4) :]
    gaps_s = np.diff(strokes) * seconds_a_tick
    beats = metre.beats * len(exercise.bars)
    parts = {
        "rate": float(busy.mean()) / (bar_ticks(metre) * seconds_a_tick),
        "division": float(np.mean([_fineness(int(tick), metre) for tick in strokes])),
        "syncopation": syncopation(strokes, metre) / len(exercise.bars),
        "silence": 1.0 - clicks(exercise.click, metre, len(exercise.bars)).at_tick.size / beats,
        "wait": float(np.mean(np.log2(np.maximum(gaps_s, 1.0)))) if gaps_s.size else 0.0,
        "hands": float(len({voice.hand or voice.name for voice in exercise.voices}) - 1),
        "chord": _chord(plan),
        "change": _change(exercise),
        "fill": float(np.mean(plan.kind > 0)),
    }
    return Difficulty(**parts, total=sum(WEIGHTS[name] * value for name, value in parts.items()))


def _fineness(tick: int, metre: Metre) -> float:
    """0 on a felt beat, 1 on its first division, 1.5 where that is a third of a quarter, 2 finer."""
    unit, within = divmod(tick % bar_ticks(metre), unit_ticks(metre))
    pulses = felt_beats(metre)
    if within == 0 and unit + 1 in pulses.starts:
        return 0.0
    if len(pulses.starts) < metre.count:
        return 1.0 if within == 0 else 2.0
    if 3 * within % unit_ticks(metre) == 0:
        return 1.5
    return 1.0 if 2 * within == unit_ticks(metre) else 2.0


def _chord(plan: Plan) -> float:
    return len(plan) / (int(plan.stroke[-1]) + 1) - 1.0


def _change(exercise: Exercise) -> float:
    bars = exercise.bars
    return sum(a.lines != b.lines for a, b in pairwise(bars)) / max(1, len(bars) - 1)


def slot_weight(tick: int, metre: Metre) -> int:
    """Metrical weight of a position in its bar: 0 on a felt beat, one less for each level of division below it.

    Levels: felt beats, the units inside a felt beat that has several, halves or thirds of a unit, quarters.

    Parameters
    ----------
    tick : int
        From a bar line.
    metre : Metre

    Returns
    -------
    int
        0 or less.
    """
    pulses, (unit, within) = felt_beats(metre), divmod(tick % bar_ticks(metre), unit_ticks(metre))
    inside = 1 if len(pulses.starts) < metre.count else 0
    if within:
        plain = within * 2 == unit_ticks(metre) or within * 3 % unit_ticks(metre) == 0
        return -inside - (1 if plain else 2)
    return 0 if unit + 1 in pulses.starts else -1


def syncopation(at_tick: IntArray, metre: Metre) -> float:
    """Summed strength of the syncopations of a voice.

    A stroke is syncopated when a position of greater metrical weight follows it before the next stroke, so that a rest or a
    tie stands there; its strength is the difference of the two weights, for the weightiest such position.

    Parameters
    ----------
    at_tick : int64, shape (n,)
        Strokes, ticks from a bar line, increasing.
    metre : Metre

    Returns
    -------
    float
        0 or more.

    Notes
    -----
    Longuet-Higgins & Lee (1984), Music Perception 1, 424-441, from memory. Ours: all felt beats weigh alike, for over a
    drum part two and four are anchors and no syncopation (in the original a stroke on four with nothing on the next one
    has strength 2, here 0); thirds have the weight of halves.
    """
    ticks = np.asarray(at_tick, dtype=np.int64)
    total = 0.0
    for start, following in zip(ticks[:-1].tolist(), ticks[1:].tolist(), strict=True):
        own = slot_weight(start, metre)
        step = unit_ticks(metre) // 4
        places = range((start // step + 1) * step, following, step)
        total += max(0, max((slot_weight(place, metre) for place in places), default=own) - own)
    return total
