"""Drum patterns to play along with: what a drummer would hold under an exercise.

Positions are ticks of 10,080 per quarter from bar 1, beat 1. A pattern is written in the counting text of
`heeltap.model.counting`, one line a drum.

Inside: `DrumPattern`, `DrumLine`, `Hits`, `hits_of`, `lifts`, `patterns_for`, `LOUDNESS`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.counting import BarStrokes, bar_ticks, unit_ticks
from heeltap.model.exercise import PADS, ClickPlan, click_levels, felt_beats
from heeltap.model.plan import Section
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["LOUDNESS", "DrumLine", "DrumPattern", "Hits", "hits_of", "lifts", "patterns_for"]

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
    fill: tuple[DrumLine, ...] = ()
    """What takes over in the bar before a new section; empty is the snare on the last felt beat."""
    fill_from: int = 0
    """Unit from 1 on which the fill starts; 0 is the last felt beat."""
    lift: tuple[DrumLine, ...] = ()
    """Drums that play otherwise in a chorus; a line of rest silences one."""


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Strokes of a drummer in time order; columns are equally long."""

    at_tick: IntArray
    key: IntArray
    strength: FloatArray
    """Above 0, up to 1."""


def hits_of(beat: DrumPattern, bars: int, *, click: ClickPlan | None = None, sections: Sequence[Section] = ()) -> Hits:
    """The strokes of so many bars: a fill into every new section, a crash on its one, more sound in a chorus.

    Parameters
    ----------
    beat : DrumPattern
    bars : int
        From bar 1.
    click : ClickPlan, optional
        ``bars`` leaves out whole bars, ``fade`` fades.
    sections : sequence of Section
        What changes where; without any the pattern goes round and round.

    Returns
    -------
    Hits
        In ticks of 10,080 per quarter.

    Raises
    ------
    PlanError
        Another kind of click: a pattern is not made of beats only.
    """
    levels = [1.0] * bars if click is None else click_levels(click, bars)
    if click is not None and click.kind not in ("every", "bars", "fade"):
        raise PlanError(sentence("click", f"'{click.kind}' of a drum pattern", "every, 'bars 2+2' or fade"))
    length, unit = bar_ticks(beat.metre), unit_ticks(beat.metre)
    landings = {section.first_bar for section in sections[1:]}
    lifted = {bar for one in sections if lifts(one) for bar in range(one.first_bar, one.last_bar + 1)}
    rows = []
    for bar, level in enumerate(levels, 1):
        if level <= 0:
            continue
        played = _bar(beat, bar, lifted=bar in lifted, filled=bar + 1 in landings)
        if bar in landings:
            played = [*((at, line, accent) for at, line, accent in played if at or line.drum not in _CYMBALS), _CRASH]
        for at, line, accent in played:
            own = 1.0 if accent else LOUDNESS.get(line.drum, _OTHER if at % unit else _ON_BEAT)
            rows.append(((bar - 1) * length + at, line.key, own * level))
    rows.sort(key=lambda row: row[:2])
    strength = np.array([row[2] for row in rows], dtype=np.float64)
    return Hits(as_ints(row[0] for row in rows), as_ints(row[1] for row in rows), strength)


def lifts(section: Section) -> bool:
    """Whether a section is one that a drummer lifts: a chorus, by its name.

    Parameters
    ----------
    section : Section

    Returns
    -------
    bool
    """
    return any(word in section.name.casefold() for word in ("chorus", "refrain"))


def patterns_for(patterns: Iterable[DrumPattern], metre: Metre, *, swing_ratio: float = 1.0) -> tuple[DrumPattern, ...]:
    """The patterns that fit, the one to offer first in front.

    Parameters
    ----------
    patterns : iterable of DrumPattern
        In the order in which they are learned.
    metre : Metre
        Of the exercise.
    swing_ratio : float
        Of the exercise: where it swings, one written in thirds would not swing with it and comes last.

    Returns
    -------
    tuple of DrumPattern
    """
    fitting = [pattern for pattern in patterns if pattern.metre == metre]
    return tuple(sorted(fitting, key=lambda pattern: swing_ratio != 1.0 and _in_thirds(pattern)))


def _in_thirds(pattern: DrumPattern) -> bool:
    unit = unit_ticks(pattern.metre)
    return any(at % unit and 3 * at % unit == 0 for line in pattern.lines for bar in line.bars for at in bar.at_tick)


_Stroke = tuple[int, DrumLine, bool]
"""Tick from the bar line, drum, accent."""

_CYMBALS = ("hat", "open-hat", "ride")
"""What the stick leaves when it goes to the crash."""

_CRASH: _Stroke = (0, DrumLine("crash", PADS["crash"], ()), True)


def _bar(beat: DrumPattern, bar: int, *, lifted: bool, filled: bool) -> list[_Stroke]:
    """One bar of the pattern."""
    other = {line.drum: line for line in beat.lift} if lifted else {}
    lines = [other.pop(line.drum, line) for line in beat.lines] + list(other.values())
    groove = [stroke for line in lines for stroke in _strokes(line, bar)]
    if not filled:
        return groove
    start = (beat.fill_from - 1) * unit_ticks(beat.metre) if beat.fill_from else _last_beat(beat.metre)
    fill = [stroke for line in beat.fill or (_plain_fill(beat.metre),) for stroke in _strokes(line, bar)]
    return [stroke for stroke in groove if stroke[0] < start] + [stroke for stroke in fill if stroke[0] >= start]


def _strokes(line: DrumLine, bar: int) -> list[_Stroke]:
    strokes = line.bars[(bar - 1) % len(line.bars)]
    return [(at, line, accent) for at, accent in zip(strokes.at_tick, strokes.accent, strict=True)]


def _last_beat(metre: Metre) -> int:
    return (felt_beats(metre).starts[-1] - 1) * unit_ticks(metre)


def _plain_fill(metre: Metre) -> DrumLine:
    """The snare in eighths on the last felt beat."""
    step = TICKS_PER_QUARTER // 2
    at = tuple(range(_last_beat(metre), bar_ticks(metre), step))
    return DrumLine("snare", PADS["snare"], (BarStrokes(at, (False,) * len(at)),))
