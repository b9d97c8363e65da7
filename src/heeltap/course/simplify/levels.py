"""From a real part, four simpler parts: strong beats, all beats, plus eighths, the whole.

What belongs to a beat (ours, from how a teacher reduces a part)
----------------------------------------------------------------
* A note struck on a place that the level keeps stays there.
* A note struck before such a place and *held* over it, by a sixteenth at least, belongs to the place that it covers: a
  pushed chord, a tie. It is struck once, at the first place that it covers, and then held on. Not so a finger left
  down a semitone beside a note that is struck there.
* Notes held over by the *pedal* alone fill in between bass and top, or stand for the beat where nothing else sounds.
* On the two simplest levels a broken chord is put together: what is struck while the bass of the beat sounds, or
  straight after it, fills in between bass and top, and a chord after a single bass note goes on top of it.
* The bass and the top always stay. On those two levels a stroke has at most two notes more, notes new to the chord
  before octaves, none of them within a tone of another unless both were struck there.
* Drums are never moved: what is struck on the place stays; on the two simplest levels one low drum, one snare and one of
  the rest.
* A level that would be empty (a part that plays only between the beats, cut short) gives each place the first stroke
  that follows it before the next place.

Inside: `Simpler`, `simplify`, `bars_of`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.course.simplify.chords import Chord, drum_chord, key_chord
from heeltap.course.simplify.notation import Written
from heeltap.course.simplify.slots import LEVELS, Level, level_slots
from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import BoolArray, IntArray, as_ints
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of_part
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Simpler", "bars_of", "simplify"]

_COVER_TICKS = TICKS_PER_QUARTER // 4
"""A note belongs to a later place when it is held over it by a sixteenth: legato fingers overlap by less."""

_SHORTEST_TICKS = TICKS_PER_QUARTER // 8
"""Least length in what is written down: a thirty-second can be heard as a note."""


@dataclass(frozen=True, slots=True, eq=False)
class Simpler:
    """One of the four forms of a part."""

    level: Level
    plan: Plan
    length_tick: IntArray
    """How long each note of the plan is held, ticks of 10,080 a quarter."""
    same_as_before: bool
    """The form before this one already has all its notes."""
    answered: bool
    """Nothing sounds on the places of this level: each has the stroke that follows it."""


def simplify(
    part: Written,
    *,
    tempo: TempoMap,
    metre: MetreMap,
    drums: bool = False,
    sections: Sequence[Section] = (),
    name: str = "part",
) -> tuple[Simpler, ...]:
    """The four simpler forms of a part, the simplest first.

    Parameters
    ----------
    part : Written
        On its slots.
    tempo, metre : maps
        In any resolution; what comes back has 10,080 ticks a quarter.
    drums : bool
        A drum part: nothing is moved or held.
    sections : Section, optional
        Kept in every form.
    name : str
        Of the part.

    Returns
    -------
    tuple of Simpler
        One a level of `LEVELS`.

    Raises
    ------
    PlanError
        When the part has no note.
    """
    if len(part) == 0:
        raise PlanError(sentence(name, "no note on any slot", "at least one"))
    fine = _fine(tempo)
    bars = bars_of(part, metre, drums=drums)
    forms: list[Simpler] = []
    for level in LEVELS:
        slots = level_slots(level.name, part, metre, bars)
        chords, answered = _chords(part, slots, level.name, drums)
        plan, length = _plan(chords, part, fine, metre, tuple(sections), f"{name}, {level.title.lower()}", bars)
        same = bool(forms) and _same(forms[-1].plan, plan)
        forms.append(Simpler(level, plan, length, same, answered))
    return tuple(forms)


def bars_of(part: Written, metre: MetreMap, *, drums: bool) -> int:
    """Bars of the part, with the one more that its last notes may be held over into.

    Parameters
    ----------
    part : Written
        Not empty.
    metre : MetreMap
    drums : bool
        Nothing is held over.

    Returns
    -------
    int
    """
    bars = int(metre.bar_beat(part.at_tick / TICKS_PER_QUARTER)[0].max())
    end = float(metre.quarter_of_bar(bars + 1)) * TICKS_PER_QUARTER
    return bars + int(not drums and bool(np.any(part.held_tick - end >= _COVER_TICKS)))


def _chords(part: Written, slots: IntArray, level: str, drums: bool) -> tuple[list[Chord], bool]:
    """What is struck on each place, empty ones left out; and whether the level had to take the strokes that follow."""
    place = np.searchsorted(slots, part.at_tick)
    here = np.minimum(place, slots.size - 1)
    struck = (place < slots.size) & (slots[here] == part.at_tick)
    held = _covers(part.held_tick, slots[here], struck, place < slots.size)
    rung = _covers(part.sounding_tick, slots[here], struck | held, place < slots.size)
    free = ~(struck | held | rung)
    first = np.searchsorted(place, np.arange(slots.size + 2)).tolist()
    thin, found = level in ("strong", "beats"), []
    for index, slot in enumerate(slots.tolist()):
        mine, later = (np.arange(first[i], first[i + 1]) for i in (index, index + 1))
        if drums:
            chord = drum_chord(part, slot, mine[struck[mine]], thin=thin)
        else:
            after = later[free[later]] if thin else later[:0]
            chord = key_chord(part, slot, mine[struck[mine]], mine[held[mine]], mine[rung[mine]], after, thin=thin)
        if chord.rows:
            found.append(chord)
    return (found, False) if found else (_answers(part, slots, thin=thin, drums=drums), True)


def _covers(end_tick: IntArray, slot: IntArray, taken: BoolArray, there: BoolArray) -> BoolArray:
    """Notes not yet taken that go on over the next place for a sixteenth at least."""
    flags: BoolArray = there & ~taken & (end_tick - slot >= _COVER_TICKS)
    return flags


def _answers(part: Written, slots: IntArray, *, thin: bool, drums: bool) -> list[Chord]:
    """For each place the first stroke after it and before the next."""
    found, none = [], np.zeros(0, np.int64)
    for slot, following in zip(slots.tolist(), [*slots[1:].tolist(), np.iinfo(np.int64).max], strict=True):
        first, last = np.searchsorted(part.at_tick, (slot, following))
        if first < last:
            rows = np.arange(first, np.searchsorted(part.at_tick, part.at_tick[first], side="right"))
            if drums:
                found.append(drum_chord(part, slot, rows, thin=thin))
            else:
                found.append(key_chord(part, slot, rows, none, none, none, thin=thin))
    return found


def _plan(
    chords: Sequence[Chord],
    part: Written,
    tempo: TempoMap,
    metre: MetreMap,
    sections: tuple[Section, ...],
    name: str,
    bars: int,
) -> tuple[Plan, IntArray]:
    """The plan of the chords and how long each of its notes is held."""
    rows = as_ints(row for chord in chords for row in chord.rows)
    at = as_ints(chord.at_tick for chord in chords for _ in chord.rows)
    order = np.lexsort((part.pitch[rows], at))
    rows, at = rows[order], at[order]
    pitch = part.pitch[rows]
    plan = plan_of_part(
        at, pitch, part.velocity[rows], tempo=tempo, metre=metre, sections=sections, name=name, bars=bars
    )
    stroke = np.cumsum(np.diff(at, prepend=at[0]) > 0).astype(np.int64)
    final = Plan(**{n: getattr(plan, n) for n in Plan.__slots__} | {"stroke": stroke, "swing_ratio": part.swing_ratio})
    return final, _lengths(at, pitch, part, rows)


def _lengths(at: IntArray, pitch: IntArray, part: Written, rows: IntArray) -> IntArray:
    """From the place to the end of the sound, or the note's own length; the same key struck again ends it."""
    own = part.sounding_tick[rows] - part.at_tick[rows]
    left = np.where(at > part.at_tick[rows], part.sounding_tick[rows] - at, own)
    length = np.maximum(left, _SHORTEST_TICKS)
    order = np.lexsort((at, pitch))
    same = np.flatnonzero(np.diff(pitch[order]) == 0)
    gap = at[order[same + 1]] - at[order[same]]
    length[order[same]] = np.minimum(length[order[same]], gap)
    return length


def _same(a: Plan, b: Plan) -> bool:
    return np.array_equal(a.at_tick, b.at_tick) and np.array_equal(a.pitch, b.pitch)


def _fine(tempo: TempoMap) -> TempoMap:
    """The same tempi in ticks of 10,080 a quarter."""
    per_quarter = tempo.ticks_per_quarter
    at = (tempo.at_tick * TICKS_PER_QUARTER * 2 + per_quarter) // (2 * per_quarter)
    last = np.append(np.diff(at) > 0, True)  # of two changes on one tick the later holds
    return TempoMap(TICKS_PER_QUARTER, at[last], tempo.us_per_quarter[last])
