"""The plan of an exercise or of a recorded part: what a take is compared with.

Conventions: as `heeltap.model.plan`. A swung eighth is moved to ``r / (1 + r)`` of its beat, the sixteenths around it in
proportion, thirds not at all; after that ``Plan.at_tick`` holds what should really sound.

Inside: `plan_of`, `plan_of_part`, `counting_of`, `swing_ticks`,
`tempo_of`.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.counting import Syllable, bar_ticks, counting_line, parse_counting, unit_ticks
from heeltap.model.exercise import Exercise
from heeltap.model.plan import ANY_PITCH, HANDS, KINDS, Plan, Section
from heeltap.model.sections import sections_from_markers
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre
from heeltap.units import TICKS_PER_QUARTER, us_per_quarter_from_bpm

__all__ = [
    "accent_beats",
    "counting_of",
    "plan_of",
    "plan_of_part",
    "swing_ticks",
    "tempo_of",
]

ACCENT_VELOCITY, PLAIN_VELOCITY = 112, 80
"""Wanted loudness where an exercise marks accents; one that marks none leaves loudness free. Ours."""

CHORD_US = 30_000
"""Notes of a recorded part within 30 ms of the first are one stroke: two hits further apart are heard as two."""

LADDER_BPM = (10.0, 1_000.0)
"""Where the last step of a ladder may lie, quarter notes a minute. Ours."""

MOST_NOTES = 50_000
"""Of an exercise: 2,000 bars of 25 notes. One that asks for more is a mistake, and costs seconds to build. Ours."""

_GROOVE, _FILL, _LANDING, _AFTER = range(len(KINDS))


def tempo_of(exercise: Exercise) -> TempoMap:
    """The tempo map of an exercise: one row, or one a step where it has a ladder.

    Parameters
    ----------
    exercise : Exercise

    Returns
    -------
    TempoMap
        In ticks of 10,080 per quarter.

    Raises
    ------
    PlanError
        A ladder whose last step lies outside `LADDER_BPM`.
    """
    per_quarter = us_per_quarter_from_bpm(exercise.tempo_bpm)
    if exercise.ladder is None:
        return TempoMap(TICKS_PER_QUARTER, as_ints([0]), as_ints([per_quarter]))
    every = exercise.ladder.every_bars
    steps = range(max(1, -(-len(exercise.bars) // every)))
    factor = 1 + exercise.ladder.step_percent / 100
    # By logarithms: 1.5 to the 2,000th has no float.
    last = math.log(exercise.tempo_bpm) + (len(steps) - 1) * math.log(factor)
    if not math.log(LADDER_BPM[0]) <= last <= math.log(LADDER_BPM[1]):
        found = f"{len(steps) - 1} steps of {exercise.ladder.step_percent:+g} % from {exercise.tempo_bpm:g} bpm"
        expected = f"a last step from {LADDER_BPM[0]:g} to {LADDER_BPM[1]:g} bpm"
        raise PlanError(sentence("ladder", found, expected))
    return TempoMap(
        TICKS_PER_QUARTER,
        as_ints(step * every * bar_ticks(exercise.metre) for step in steps),
        as_ints(us_per_quarter_from_bpm(exercise.tempo_bpm * factor**step) for step in steps),
    )


def accent_beats(plan: Plan) -> tuple[float, ...]:
    """Beats from 1 that the plan accents wherever it plays them; empty for a plan that leaves loudness free.

    Only exercises say what is an accent: the loudness of a recorded part is how somebody played it.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    tuple of float
        Increasing, in the metre's own beats.
    """
    accented = plan.velocity == ACCENT_VELOCITY
    if not accented.any() or not np.isin(plan.velocity, (ACCENT_VELOCITY, PLAIN_VELOCITY)).all():
        return ()
    beat = np.round(plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)[1], 3)
    plain = set(beat[~accented].tolist())
    return tuple(sorted(set(beat[accented].tolist()) - plain))


def swing_ticks(at_tick: int, ratio: float, *, per_beat: int = TICKS_PER_QUARTER) -> int:
    """Position of a straight stroke when eighths are swung ``ratio`` to 1, in ticks, rounded once.

    Parameters
    ----------
    at_tick : int
        Unswung position.
    ratio : float
        Long to short eighth; 1 is straight.
    per_beat : int
        Ticks of the beat that is swung.

    Returns
    -------
    int
        Thirds of a beat are not moved.

    Examples
    --------
    >>> swing_ticks(5_040, 2.0)
    6720
    """
    beat, within = divmod(at_tick, per_beat)
    if (within * 4) % per_beat:
        return at_tick
    late, part = ratio / (1 + ratio), within / per_beat
    moved = 2 * part * late if part <= 0.5 else late + (2 * part - 1) * (1 - late)
    return beat * per_beat + round(moved * per_beat)


def plan_of(exercise: Exercise) -> Plan:
    """The planned strokes of an exercise.

    Notes that fall on one tick are one stroke. A bar is fill from its ``fill_from`` on. The first stroke of every section
    but the first is its landing, the rest of that bar comes after the landing.

    Parameters
    ----------
    exercise : Exercise

    Returns
    -------
    Plan

    Raises
    ------
    PlanError
        A bar that does not fit the metre, a bar with too few lines, an exercise without a stroke, or one of more than
        `MOST_NOTES` notes.
    """
    _refuse_crowds(exercise)
    rows = sorted(row for number in range(len(exercise.bars)) for row in _bar_rows(exercise, number))
    if not rows:
        raise PlanError(sentence(exercise.name or "exercise", "no stroke in any bar", "at least one"))
    tick, pitch, loud, hand, kind = (as_ints(column) for column in zip(*rows, strict=True))
    tempo, metre = tempo_of(exercise), steady_metre(exercise.metre.count, exercise.metre.unit)
    return Plan(
        name=exercise.name,
        at_tick=tick,
        at_us=tempo.us_at(tick),
        pitch=pitch,
        velocity=np.where(loud > 0, ACCENT_VELOCITY, PLAIN_VELOCITY) if loud.any() else loud,
        hand=hand,
        kind=_land(kind, tick, exercise),
        stroke=np.cumsum(np.diff(tick, prepend=tick[0]) > 0).astype(np.int64),
        tempo=tempo,
        metre=metre,
        sections=exercise.sections,
        bars=len(exercise.bars),
        swing_ratio=exercise.swing_ratio,
    )


def _refuse_crowds(exercise: Exercise) -> None:
    """Count the notes of an exercise before they are built; raise `PlanError` where there are too many."""
    keys = [max(1, len(voice.pitches)) for voice in exercise.voices]
    notes = sum(
        len(parse_counting(line, exercise.metre).at_tick) * count
        for bar in exercise.bars
        for line, count in zip(bar.lines, keys, strict=False)
    )
    if notes > MOST_NOTES:
        raise PlanError(sentence(exercise.name or "exercise", f"{notes:,} notes", f"at most {MOST_NOTES:,}"))


def _bar_rows(exercise: Exercise, number: int) -> Iterable[tuple[int, int, int, int, int]]:
    """(tick, pitch, accented, hand, kind) of each note of one bar, counted from 0."""
    bar, metre = exercise.bars[number], exercise.metre
    if len(bar.lines) != len(exercise.voices):
        where, expected = f"{exercise.name}, bar {number + 1}", f"{len(exercise.voices)}, one a voice"
        raise PlanError(sentence(where, f"{len(bar.lines)} lines", expected))
    start = number * bar_ticks(metre)
    fill_tick = (bar.fill_from - 1) * unit_ticks(metre) if bar.fill_from else bar_ticks(metre)
    for voice, line in zip(exercise.voices, bar.lines, strict=True):
        pattern = parse_counting(line, metre)
        for at, accent in zip(pattern.at_tick, pattern.accent, strict=True):
            moved = swing_ticks(at, exercise.swing_ratio) if exercise.swing_ratio != 1 else at
            for pitch in voice.pitches or (ANY_PITCH,):
                yield start + moved, pitch, int(accent), HANDS.index(voice.hand), _FILL if at >= fill_tick else _GROOVE


def _land(kind: IntArray, tick: IntArray, exercise: Exercise) -> IntArray:
    """The kinds with every section's landing and the bar it opens marked; a fill stays a fill."""
    kind = kind.copy()
    length = bar_ticks(exercise.metre)
    for section in exercise.sections[1:]:
        start = (section.first_bar - 1) * length
        inside = (tick >= start) & (tick < start + length) & (kind != _FILL)
        if inside.any():
            kind[inside] = np.where(tick[inside] == tick[inside][0], _LANDING, _AFTER)
    return kind


def plan_of_part(
    at_tick: npt.ArrayLike,
    pitch: npt.ArrayLike,
    velocity: npt.ArrayLike | None = None,
    *,
    tempo: TempoMap,
    metre: MetreMap,
    markers: Sequence[tuple[int, str]] = (),
    sections: Sequence[Section] = (),
    hand: npt.ArrayLike | None = None,
    name: str = "",
    bars: int | None = None,
) -> Plan:
    """The plan that a recorded part is.

    Parameters
    ----------
    at_tick : int, shape (n,)
        Note-ons in the file's own ticks, ``tempo.ticks_per_quarter`` a quarter; any order. Of two on one key at one tick
        only the first is planned.
    pitch, velocity, hand : int, shape (n,)
        Keys; loudness (0 where not given); codes into `heeltap.model.plan.HANDS`.
    tempo, metre : maps
        Of the file.
    markers : pairs of tick and text
        Become sections unless ``sections`` says otherwise.
    sections : sequence of Section
        In order; empty takes the markers.
    name : str
        Of the plan.
    bars : int, optional
        Length; up to the bar of the last note where not given.

    Returns
    -------
    Plan
        Positions in ticks of 10,080 per quarter.

    Raises
    ------
    PlanError
        There is no note.

    Notes
    -----
    Times come from the file's ticks, rounded once; positions are rounded to 10,080 a quarter (exact for the usual 24,
    96, 120, 240 and 480; half a tick, 25 us at 120 bpm, at most).
    """
    ticks = np.atleast_1d(np.asarray(at_tick, dtype=np.int64))
    if ticks.size == 0:
        raise PlanError(sentence(name or "part", "no note", "at least one"))
    keys = _column(pitch, ticks.size)
    order = np.lexsort((keys, ticks))
    # A part doubled by another track is played once: one key can be struck only once at a time.
    twice = (np.diff(ticks[order], prepend=-1) == 0) & (np.diff(keys[order], prepend=ANY_PITCH) == 0)
    order = order[~twice | (keys[order] == ANY_PITCH)]
    ticks = ticks[order]
    per_quarter = tempo.ticks_per_quarter
    fine = (ticks * TICKS_PER_QUARTER * 2 + per_quarter) // (2 * per_quarter)
    at_us = tempo.us_at(ticks)
    length = max(int(metre.bar_beat(fine / TICKS_PER_QUARTER)[0][-1]), bars or 1)
    plan = Plan(
        name=name,
        at_tick=fine,
        at_us=at_us,
        pitch=keys[order],
        velocity=_column(velocity, keys.size)[order],
        hand=_column(hand, keys.size)[order],
        kind=_column(None, ticks.size),
        stroke=_strokes(at_us),
        tempo=tempo,
        metre=metre,
        sections=tuple(sections) or sections_from_markers(markers, metre, length, ticks_per_quarter=per_quarter),
        bars=length,
    )
    return replace(plan, kind=_land_part(plan))


def _column(values: npt.ArrayLike | None, size: int) -> IntArray:
    """A new int64 column of the values, zeros where there are none."""
    return np.zeros(size, np.int64) if values is None else as_ints(np.atleast_1d(np.asarray(values)))


def _strokes(at_us: IntArray) -> IntArray:
    """Index of the stroke of each note: a stroke takes in what starts within `CHORD_US` of its first note."""
    stroke, first, index = np.zeros(at_us.size, np.int64), int(at_us[0]), 0
    for row, at in enumerate(at_us.tolist()):
        if at - first > CHORD_US:
            first, index = at, index + 1
        stroke[row] = index
    return stroke


def _land_part(plan: Plan) -> IntArray:
    """Kinds of a part: landing and after at every section but the first; which bars are fills is not known."""
    kind = plan.kind.copy()
    bar, _ = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)
    for section in plan.sections[1:]:
        inside = np.flatnonzero(bar == section.first_bar)
        if inside.size:
            kind[inside] = np.where(plan.stroke[inside] == plan.stroke[inside[0]], _LANDING, _AFTER)
    return kind


def counting_of(plan: Plan, bar: int, *, least: int = 1) -> tuple[Syllable, ...]:
    """The counting line of one bar of a plan, each syllable where it really falls (swung, if the plan is).

    A planned stroke and its syllable have the same position to a tick in an exercise; in a recorded part it is the
    nearest.

    Parameters
    ----------
    plan : Plan
    bar : int
        From 1.
    least : int
        As in `heeltap.model.counting.counting_line`.

    Returns
    -------
    tuple of Syllable
        Positions in quarter notes from the bar line.
    """
    start = float(plan.metre.quarter_of_bar(bar))
    metre: Metre = plan.metre.metre_of_bar(bar)
    within = plan.at_tick - round(start * TICKS_PER_QUARTER)
    inside = within[(within >= 0) & (within < bar_ticks(metre))].tolist()
    if plan.swing_ratio == 1:
        return counting_line(inside, metre, least=least)
    every = counting_line(range(0, bar_ticks(metre), 840), metre)
    # The half of the beat last: at 2 to 1 it falls on the third, and what is counted there is the swung eighth.
    halves_last = sorted(every, key=lambda s: s.at_quarter % 1 == 0.5)
    straight = {
        swing_ticks(round(s.at_quarter * TICKS_PER_QUARTER), plan.swing_ratio): s.at_quarter for s in halves_last
    }
    places = np.array(sorted(straight))
    nearest = (int(places[np.argmin(np.abs(places - tick))]) for tick in inside)
    line = counting_line([round(straight[at] * TICKS_PER_QUARTER) for at in nearest], metre, least=least)
    return tuple(
        Syllable(swing_ticks(round(s.at_quarter * TICKS_PER_QUARTER), plan.swing_ratio) / TICKS_PER_QUARTER, s.text)
        for s in line
    )
