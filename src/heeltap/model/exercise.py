"""An exercise as data: what is to be played, over which click, how fast, and where in the beat it should sit.

Everything here is plain and frozen; `heeltap.model.plan_from.plan_of` turns it into planned strokes. Bars and units count
from 1. Patterns are the counting text of `heeltap.model.counting`.

Inside: `Exercise`, `Voice`, `Bar`, `Pocket`, `ClickPlan`, `Clicks`, `Ladder`, `PADS`, `felt_beats`, `parse_click`,
`click_text`, `clicks`, `click_levels`, `parse_metre`, `with_pads`.
"""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints
from heeltap.model.counting import bar_ticks, unit_ticks
from heeltap.model.lean import ON_THE_BEAT, Lean
from heeltap.model.plan import Section
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "CLICKS",
    "METRES",
    "PADS",
    "Bar",
    "ClickPlan",
    "Clicks",
    "Exercise",
    "FeltBeats",
    "Ladder",
    "Pocket",
    "Voice",
    "click_levels",
    "click_text",
    "clicks",
    "felt_beats",
    "parse_click",
    "parse_metre",
    "with_pads",
]

PADS = {
    "kick": 36,
    "snare": 38,
    "hat": 42,
    "open-hat": 46,
    "crash": 49,
    "ride": 51,
    "low-tom": 45,
    "mid-tom": 47,
    "high-tom": 50,
}
"""Roles of pads and their key numbers in the General MIDI percussion map; learned pads replace these."""

_BETWEEN = 0.4
"""Strength of a click between two beats: heard, and never taken for a beat. Ours."""

CLICKS = ("every", "eighths", "backbeat", "one", "bars", "fade", "none")
"""Kinds of click: every beat; two and four; the one only; bars on and off; fading out; the count-in only."""


class FeltBeats(NamedTuple):
    """How a bar falls into felt beats; numbers are written units from 1."""

    starts: tuple[int, ...]
    """Unit on which each felt beat starts: 1 4 in 6/8, 1 3 5 in 7/8."""
    strong: tuple[int, ...]
    """Those that carry the bar: one and three in 4/4."""
    back: tuple[int, ...]
    """Those that answer: two and four in 4/4."""


METRES = {
    "2/4": FeltBeats((1, 2), (1,), (2,)),
    "3/4": FeltBeats((1, 2, 3), (1,), (2, 3)),
    "4/4": FeltBeats((1, 2, 3, 4), (1, 3), (2, 4)),
    "5/4": FeltBeats((1, 2, 3, 4, 5), (1, 4), (3, 5)),
    "6/8": FeltBeats((1, 4), (1,), (4,)),
    "7/8": FeltBeats((1, 3, 5), (1,), (3, 5)),
    "12/8": FeltBeats((1, 4, 7, 10), (1, 7), (4, 10)),
}
"""Metres that exercises are made in. Common practice, no source; 5/4 is taken as 3+2, 7/8 as 2+2+3."""


@dataclass(frozen=True, slots=True)
class Pocket:
    """Where a stroke should sit."""

    lean: Lean = ON_THE_BEAT
    """Offset to aim at."""
    half_width_ms: float | None = None
    """Half-width of the window around the lean; None is 4 % of the beat, 12 to 25 ms."""


@dataclass(frozen=True, slots=True)
class ClickPlan:
    """Which beats the click plays."""

    kind: str = "every"
    """One of `CLICKS`."""
    bars_on: int = 0
    """For ``bars``: so many bars with the click ..."""
    bars_off: int = 0
    """... and so many without, in turn, from bar 1."""


@dataclass(frozen=True, slots=True, eq=False)
class Clicks:
    """The clicks of an exercise, count-in not included; columns are equally long."""

    at_tick: IntArray
    """Position from bar 1, beat 1."""
    strength: FloatArray
    """Loudness, 1 for the one, 0.7 for other beats, 0.4 between beats, less while fading; never 0."""
    is_one: BoolArray
    """Whether it is the first beat of a bar."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """A tempo that climbs while you play."""

    every_bars: int
    """A new tempo after so many bars."""
    step_percent: float
    """Each step multiplies the tempo by 1 + this / 100; negative slows down."""


@dataclass(frozen=True, slots=True)
class Voice:
    """Something that is struck: a hand on any key, a key, a chord, a pad."""

    name: str
    """``any``, ``right``, ``left``, a pad's role, or whatever the file calls it."""
    pitches: tuple[int, ...] = ()
    """Keys of each stroke, 0-127, increasing; empty accepts any key."""
    hand: str = ""
    """``left``, ``right`` or empty."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar."""

    lines: tuple[str, ...]
    """Counting text of each voice, in the order of ``Exercise.voices``."""
    fill_from: int = 0
    """Unit from which on the bar is a fill; 0 where it is not."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise, complete: nothing else is needed to play and judge it."""

    name: str
    """Short, unique, printable: ``anchor-backbeat_4-4_s7``."""
    title: str
    aim: str
    """What it is for, in one line."""
    metre: Metre
    tempo_bpm: float
    """Quarter notes a minute, also in 6/8."""
    voices: tuple[Voice, ...]
    bars: tuple[Bar, ...]
    sections: tuple[Section, ...] = ()
    """In order, covering every bar; empty is one nameless section."""
    click: ClickPlan = field(default_factory=ClickPlan)
    pocket: Pocket = field(default_factory=Pocket)
    swing_ratio: float = 1.0
    """Long to short eighth; 1 is straight."""
    ladder: Ladder | None = None
    count_in_bars: int = 1
    family: str = ""
    """``anchor``, ``split``, ``turn``; empty when written by hand."""
    grade: str = ""
    """Name of the grade; empty when written by hand."""
    seed: int = 0
    """What the generator was started with."""


def parse_metre(text: str) -> Metre:
    """The metre that a text such as ``3/4`` names.

    Parameters
    ----------
    text : str
        One of `METRES`.

    Returns
    -------
    Metre

    Raises
    ------
    PlanError
        Another metre; the message names the nearest.
    """
    if text in METRES:
        count, unit = text.split("/")
        return Metre(int(count), int(unit))
    near = difflib.get_close_matches(text, METRES, 1, 0.3)
    hint = f"nearest: {near[0]}" if near else ""
    raise PlanError(sentence("metre", f"'{text}'", "one of " + ", ".join(METRES), hint))


def felt_beats(metre: Metre) -> FeltBeats:
    """The felt beats of a metre, as unit numbers from 1.

    Parameters
    ----------
    metre : Metre
        For one outside `METRES` its own beats are taken, the first strong, the others answering.

    Returns
    -------
    FeltBeats
    """
    known = METRES.get(str(metre))
    if known:
        return known
    step = max(1, round(metre.beat_quarters * metre.unit / 4))
    starts = tuple(range(1, metre.count + 1, step))
    return FeltBeats(starts, starts[:1], starts[1:] or starts)


def with_pads(exercise: Exercise, keys: Mapping[str, int]) -> Exercise:
    """The exercise for pads that send other keys.

    Parameters
    ----------
    exercise : Exercise
    keys : mapping
        Key number 0-127 by the name of the voice; names that no voice has are passed over.

    Returns
    -------
    Exercise
        Voices named in ``keys`` have that key alone.

    Raises
    ------
    PlanError
        A key outside 0-127.
    """
    wrong = {name: key for name, key in keys.items() if not 0 <= key <= 127}
    if wrong:
        raise PlanError(
            sentence("pads", ", ".join(f"{name} {key}" for name, key in wrong.items()), "keys from 0 to 127")
        )
    voices = (replace(v, pitches=(keys[v.name],)) if v.name in keys else v for v in exercise.voices)
    return replace(exercise, voices=tuple(voices))


def parse_click(text: str) -> ClickPlan:
    """The click plan that a text names.

    Parameters
    ----------
    text : str
        ``every``, ``eighths``, ``backbeat``, ``one``, ``fade``, ``none``, or ``bars 2+2`` (bars on + bars off).

    Returns
    -------
    ClickPlan

    Raises
    ------
    PlanError
        Another text; the message names the nearest.
    """
    words = text.split()
    if len(words) == 1 and words[0] in CLICKS and words[0] != "bars":
        return ClickPlan(words[0])
    if len(words) == 2 and words[0] == "bars":
        parts = words[1].split("+")
        if len(parts) == 2 and all(p.isdecimal() and p.isascii() and 1 <= int(p) <= 64 for p in parts):
            return ClickPlan("bars", int(parts[0]), int(parts[1]))
    near = difflib.get_close_matches(words[0] if words else "", CLICKS, 1, 0.4)
    expected = "every, eighths, backbeat, one, fade, none, or bars 2+2 (bars on + bars off, 1 to 64 each)"
    raise PlanError(sentence("click", f"'{text}'", expected, f"nearest: {near[0]}" if near else ""))


def click_text(click: ClickPlan) -> str:
    """The text that `parse_click` reads back.

    Parameters
    ----------
    click : ClickPlan

    Returns
    -------
    str
    """
    return f"bars {click.bars_on}+{click.bars_off}" if click.kind == "bars" else click.kind


def clicks(click: ClickPlan, metre: Metre, bars: int) -> Clicks:
    """Every click of so many bars.

    A fading click loses nothing in the first quarter of the bars, then falls evenly and is silent in the last quarter.

    Parameters
    ----------
    click : ClickPlan
    metre : Metre
    bars : int
        From bar 1; the count-in is not part of it.

    Returns
    -------
    Clicks
        Positions in ticks from bar 1, beat 1, increasing.
    """
    beat = round(metre.beat_quarters * TICKS_PER_QUARTER)
    pulses, unit, length = felt_beats(metre), unit_ticks(metre), bar_ticks(metre)
    if click.kind == "one":
        places = [0]
    elif click.kind == "backbeat":
        places = [(start - 1) * unit for start in pulses.back]
    elif click.kind == "eighths":
        places = list(range(0, length, min(beat, TICKS_PER_QUARTER // 2)))
    else:
        places = list(range(0, length, beat))
    rows = []
    for bar, level in enumerate(click_levels(click, bars)):
        rows += [
            (bar * length + at, level * (1.0 if at == 0 else 0.7 if at % beat == 0 else _BETWEEN), at == 0)
            for at in places
            if level > 0
        ]
    return Clicks(
        as_ints(at for at, _, _ in rows),
        np.array([strength for _, strength, _ in rows], dtype=np.float64),
        np.array([one for _, _, one in rows], dtype=np.bool_),
    )


def click_levels(click: ClickPlan, bars: int) -> list[float]:
    """Loudness factor of each of so many bars, 0 where the click is silent.

    Parameters
    ----------
    click : ClickPlan
    bars : int

    Returns
    -------
    list of float, length ``bars``
        0 to 1.

    Examples
    --------
    >>> click_levels(ClickPlan("bars", 1, 1), 3)
    [1.0, 0.0, 1.0]
    """
    return [_level(click, bar, bars) for bar in range(bars)]


def _level(click: ClickPlan, bar: int, bars: int) -> float:
    """Loudness factor of one bar counted from 0."""
    if click.kind == "none":
        return 0.0
    if click.kind == "bars":
        return 1.0 if bar % (click.bars_on + click.bars_off) < click.bars_on else 0.0
    if click.kind == "fade":
        return min(1.0, max(0.0, (0.75 * bars - bar) / (0.5 * bars)))
    return 1.0
