"""What each hand, drum or chord plays: the rows of a bar sheet, where fills stand, and which keys are meant.

Inside: `PlanRows`, `plan_rows_of`, `rows_of_bars`, `ONE_ROW`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from heeltap.model.counting import bar_ticks, parse_counting, unit_ticks
from heeltap.model.exercise import Exercise, Voice
from heeltap.model.pitch import key_name
from heeltap.model.plan import ANY_PITCH, HANDS, Plan
from heeltap.model.plan_from import swing_ticks
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["ONE_ROW", "PlanRows", "plan_rows_of", "rows_of_bars"]

_DRUMS = {
    "kick": (35, 36),
    "snare": (37, 38, 39, 40),
    "hat": (42, 44, 46),
    "toms": (41, 43, 45, 47, 48, 50),
    "cymbals": (49, 51, 52, 53, 55, 57, 59),
}
"""Keys of the General MIDI percussion map, by the drum that a player sees; all others share a row."""

_OTHER_DRUMS = "other"

_FEW_KEYS = 6
"""So many keys are named one by one; of more, only the lowest and the highest."""

Struck = tuple[tuple[int, bool], ...]
"""The rows that a stroke is struck in, each with whether it is accented there."""


@dataclass(frozen=True, slots=True)
class PlanRows:
    """The rows of a plan."""

    names: tuple[str, ...] = ("",)
    """Name of each row, from top to bottom; a single row may have none."""
    struck: tuple[Struck, ...] = ()
    """One a stroke; empty where the plan has a single row, which then takes the strokes' own accents."""
    fill_from: Mapping[int, float] = field(default_factory=dict)
    """Where the fill of a bar begins, quarter notes from its bar line, by bar number from 1."""
    keys: str = ""
    """Which keys are meant, in a line; empty where there is nothing to say."""

    def of_bars(self, strokes: Sequence[int]) -> tuple[int, ...]:
        """The rows in which any of these strokes is struck, from top to bottom; the first row where none is."""
        if not self.struck:
            return (0,)
        return tuple(sorted({row for stroke in strokes for row, _ in self.struck[stroke]})) or (0,)

    def mark(self, stroke: int, row: int) -> bool | None:
        """Whether a stroke is accented in a row; None where it is not struck there."""
        return next((accent for struck, accent in self.struck[stroke] if struck == row), None)


ONE_ROW = PlanRows()
"""A plan of a single voice of which nothing else is known."""


def plan_rows_of(plan: Plan, exercise: Exercise | None = None, *, percussion: bool = False) -> PlanRows:
    """The rows of a plan.

    Parameters
    ----------
    plan : Plan
    exercise : Exercise, optional
        What the plan was made from: a row for each of its voices, and its fills. Without it a recorded part has a row for
        each drum or hand.
    percussion : bool
        Whether the keys of a recorded part are drums.

    Returns
    -------
    PlanRows
    """
    if exercise is not None:
        return _rows_of_exercise(plan, exercise)
    if percussion:
        drums = [_drum(pitch) for pitch in plan.pitch.tolist()]
        names = [name for name in (*_DRUMS, _OTHER_DRUMS) if name in drums]
        return PlanRows(tuple(names), _struck_by(plan, [names.index(drum) for drum in drums]), keys=_keys(plan))
    hands = plan.hand.tolist()
    if set(hands) == {1, 2}:
        return PlanRows(HANDS[1:], _struck_by(plan, [hand - 1 for hand in hands]), keys=_keys(plan))
    return PlanRows(keys=_keys(plan))


def _rows_of_exercise(plan: Plan, exercise: Exercise) -> PlanRows:
    """A row for each voice that is struck anywhere, and the fills as the exercise marks them."""
    at_tick = np.unique(plan.at_tick)
    metre, unit = exercise.metre, unit_ticks(exercise.metre)
    struck: list[list[tuple[int, bool]]] = [[] for _ in range(at_tick.size)]
    for number, bar in enumerate(exercise.bars):
        start = number * bar_ticks(metre)
        for row, line in enumerate(bar.lines):
            pattern = parse_counting(line, metre)
            for at, accent in zip(pattern.at_tick, pattern.accent, strict=True):
                moved = swing_ticks(at, exercise.swing_ratio) if exercise.swing_ratio != 1 else at
                struck[int(np.searchsorted(at_tick, start + moved))].append((row, accent))
    fills = {
        number: (bar.fill_from - 1) * unit / TICKS_PER_QUARTER
        for number, bar in enumerate(exercise.bars, 1)
        if bar.fill_from
    }
    names = tuple("" if voice.name == "any" else voice.name for voice in exercise.voices)
    return PlanRows(names, tuple(map(tuple, struck)), fills, _keys_of_voices(exercise.voices))


def rows_of_bars(rows: PlanRows, whole: Plan, part: Plan, numbers: Sequence[int]) -> PlanRows:
    """The rows of some bars of a plan, as often as they come.

    Parameters
    ----------
    rows : PlanRows
        Of the whole plan.
    whole, part : Plan
        The plan, and the one that holds some of its bars.
    numbers : sequence of int
        The number that each bar of ``part`` has in ``whole``.

    Returns
    -------
    PlanRows
    """
    fills = {bar: rows.fill_from[number] for bar, number in enumerate(numbers, 1) if number in rows.fill_from}
    if not rows.struck:
        return PlanRows(rows.names, (), fills, rows.keys)
    known = dict(zip(_places(whole, range(1, whole.bars + 1)), rows.struck, strict=True))
    struck = tuple(known.get(place, ()) for place in _places(part, numbers))
    return PlanRows(rows.names, struck, fills, rows.keys)


def _places(plan: Plan, numbers: Sequence[int]) -> list[tuple[int, int]]:
    """For each stroke the number of its bar and its ticks from the bar line."""
    at_tick = plan.at_tick[np.unique(plan.stroke, return_index=True)[1]]
    bar = plan.metre.bar_beat(at_tick / TICKS_PER_QUARTER)[0].astype(np.int64)
    within = at_tick - np.rint(plan.metre.quarter_of_bar(bar) * TICKS_PER_QUARTER).astype(np.int64)
    return [(numbers[one - 1], ticks) for one, ticks in zip(bar.tolist(), within.tolist(), strict=True)]


def _struck_by(plan: Plan, row_of_note: Sequence[int]) -> tuple[Struck, ...]:
    """The rows of each stroke, from the row of each note; a recorded part has no accents."""
    strokes = np.unique(plan.stroke, return_inverse=True)[1].tolist()
    found: list[set[int]] = [set() for _ in range(max(strokes, default=-1) + 1)]
    for stroke, row in zip(strokes, row_of_note, strict=True):
        found[stroke].add(row)
    return tuple(tuple((row, False) for row in sorted(rows)) for rows in found)


def _drum(pitch: int) -> str:
    return next((name for name, keys in _DRUMS.items() if pitch in keys), _OTHER_DRUMS)


def _keys_of_voices(voices: Sequence[Voice]) -> str:
    """ "low: C2, answer: C4 E4 G4"; voices on any key are named together."""
    if not any(voice.pitches for voice in voices):
        return "any key will do" if len(voices) == 1 else f"any key will do, for {_listed(voices)}"
    named = [
        f"{voice.name}: {' '.join(map(key_name, voice.pitches))}" if voice.pitches else f"{voice.name}: any key"
        for voice in voices
    ]
    return ", ".join(named)


def _listed(voices: Sequence[Voice]) -> str:
    names = [voice.name for voice in voices]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _keys(plan: Plan) -> str:
    """The keys of a recorded part: each of a few, or the lowest and the highest."""
    keys = sorted(set(plan.pitch.tolist()))
    if ANY_PITCH in keys or not keys:
        return "any key will do"
    if len(keys) <= _FEW_KEYS:
        return f"keys: {' '.join(map(key_name, keys))}"
    return f"keys from {key_name(keys[0])} to {key_name(keys[-1])}"
