"""Exercises from a family's data: the same family, grade, metre and seed give the same exercise everywhere.

One engine serves every family: sections are filled bar by bar from recipes, a section's end may turn into a fill, the
first bars are replaced by an opening that cannot be mistaken for itself one stroke later. So a take can be laid over
the plan although the delay between finger and number is not known.

Inside: `generate`, `shift_margin`, `grade_of`, `LEAST_MARGIN`.
"""

import difflib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heeltap.course.recipes import Cells, Draws, Family, Grade, SectionRecipe, build_bar, fill_bar
from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import IntArray
from heeltap.model.counting import bar_ticks
from heeltap.model.exercise import Bar, Exercise, Ladder, Pocket
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["LEAST_MARGIN", "TEMPI", "generate", "grade_of", "shift_margin"]

LEAST_MARGIN = 2
"""Strokes that must meet no other when an opening is laid over itself one or more strokes off: with one, a single
slip of the player makes the wrong reading as good as the right one."""

LEAST_STROKES = 40
"""Strokes of an exercise at its usual length: findings need 32, and a player may miss a few."""

TEMPI = (20.0, 400.0)
"""Slowest and fastest tempo that can be asked for, quarter notes a minute."""

_OPENING_BARS = 4
"""Bars within which the opening must show where it is."""

_SECTION_BARS = 5
"""Bars of a section below which one section less is made: four of groove and the one that may hold a fill."""


def grade_of(family: Family, asked: str | int) -> Grade:
    """One grade of a family.

    Parameters
    ----------
    family : Family
    asked : str or int
        Its name, or the number that it has.

    Returns
    -------
    Grade

    Raises
    ------
    PlanError
        No such grade; the message lists all and names the nearest.
    """
    word = str(asked).strip().lower()
    for grade in family.grades:
        if word in (grade.name, str(grade.number or "")):
            return grade
    names = [grade.name for grade in family.grades]
    expected = ", ".join(f"{g.number} {g.name}" if g.number else g.name for g in family.grades)
    if word.isdecimal() and (numbered := [grade for grade in family.grades if grade.number]):
        near = [min(numbered, key=lambda have: abs(have.number - int(word))).name]
    else:
        near = difflib.get_close_matches(word, names, 1, 0.4)
    hint = f"nearest: {family.name} {near[0]}" if near else ""
    raise PlanError(sentence(family.name, f"grade {word or 'without a name'}", f"one of {expected}", hint))


def shift_margin(plan: Plan, *, bars: int = _OPENING_BARS) -> int:
    """How many notes of the first bars meet no note, at least, when they are laid over themselves shifted.

    Every shift by whole strokes up to one bar either way is tried; notes pushed over the edge of the window count for
    nothing, for the player could have missed them. Ours.

    Parameters
    ----------
    plan : Plan
    bars : int
        The first so many are compared.

    Returns
    -------
    int
        0 where the plan cannot be told from itself a stroke later without a known delay.
    """
    length = round(plan.metre.metres[0].bar_quarters * plan.tempo.ticks_per_quarter)
    rows = plan.at_tick < bars * length
    notes = {(int(at), int(key)) for at, key in zip(plan.at_tick[rows], plan.pitch[rows], strict=True)}
    ticks = sorted({at for at, _ in notes})
    shifts = {b - a for a in ticks for b in ticks if 0 < b - a <= length}
    return min((_unmatched(notes, shift, ticks) for shift in shifts), default=0)


def _unmatched(notes: set[tuple[int, int]], shift: int, ticks: Sequence[int]) -> int:
    moved = {(at + shift, key) for at, key in notes}
    low, high = ticks[0] + shift, ticks[-1]
    return sum(low <= at <= high for at, _ in notes ^ moved)


def generate(
    family: Family,
    grade: str | int,
    *,
    metre: Metre,
    seed: int = 1,
    cells: Cells,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    ladder: Ladder | None = None,
    pocket: Pocket | None = None,
) -> Exercise:
    """An exercise of a family.

    Parameters
    ----------
    family : Family
    grade : str or int
        Name of the grade, or the number that it has.
    metre : Metre
        One of `heeltap.model.exercise.METRES`.
    seed : int
        Picks among what the grade leaves open.
    cells : mapping
        Counting text of the cells.
    tempo_bpm : float, optional
        Quarter notes a minute; the grade's own where not given, in compound metres as so many dotted quarters, slowed
        where the strokes would come faster than the grade allows.
    bars : int, optional
        Length; sections keep their shares, and the last ones are left out where they would be too short. Where not
        given the grade's own, or as much more as gives `LEAST_STROKES`.
    ladder, pocket : optional
        A climbing tempo, and where strokes should sit.

    Returns
    -------
    Exercise

    Raises
    ------
    PlanError
        No such grade, a seed below 0 or past 2**63, a tempo at which the strokes come too fast, too few bars.
    """
    step = grade_of(family, grade)
    length = bars or sum(recipe.bars for recipe in step.sections)
    while True:
        draws = _draws(family.name, step.name, metre, seed)
        made = _opened(family.name, step, length, metre, cells, draws)
        if bars is not None or _strokes(made) >= LEAST_STROKES:
            break
        length += max(_OPENING_BARS, *(len(recipe.phrase) for recipe in step.sections)) * len(step.sections)
    exercise = replace(
        made,
        name=f"{made.name}_s{seed}",
        ladder=ladder,
        pocket=pocket or Pocket(),
        family=family.name,
        grade=step.name,
        seed=seed,
    )
    return _set_tempo(exercise, step, tempo_bpm)


def _opened(family: str, grade: Grade, bars: int, metre: Metre, cells: Cells, draws: Draws) -> Exercise:
    """The exercise of so many bars, its opening included, at the grade's own tempo in quarter notes."""
    sections = _lay_out(grade, bars, family)
    title, aim = grade.text_in(metre)
    exercise = Exercise(
        name=f"{family}-{grade.name}_{metre.count}-{metre.unit}",
        title=title,
        aim=aim,
        metre=metre,
        tempo_bpm=grade.tempo_bpm,
        voices=grade.voices,
        bars=_body(grade, sections, metre, cells, draws),
        sections=sections,
        click=grade.click,
        swing_ratio=grade.swing_ratio if metre.unit == 4 else 1.0,
    )
    return _open(exercise, grade, cells, draws)


def _strokes(exercise: Exercise) -> int:
    return int(plan_of(exercise).stroke[-1]) + 1


def _draws(family: str, grade: str, metre: Metre, seed: int) -> Draws:
    """The stream of an exercise; a seed that an exercise file could not hold is refused."""
    if not 0 <= seed < 2**63:
        raise PlanError(sentence(family, f"seed {seed}", "0 to 9223372036854775807"))
    return Draws("heeltap.generate/2", family, grade, metre, seed)


def _body(grade: Grade, sections: Sequence[Section], metre: Metre, cells: Cells, draws: Draws) -> tuple[Bar, ...]:
    """All bars, before the opening takes the place of the first."""
    recipes = grade.sections[: len(sections)]
    # Behind the last section there is no change to fill into.
    parts = zip(sections, (*recipes[:-1], replace(recipes[-1], fill=None)), strict=True)
    return tuple(bar for section, recipe in parts for bar in _section(recipe, section, grade, metre, cells, draws))


def _lay_out(grade: Grade, bars: int, family: str) -> tuple[Section, ...]:
    """Where the sections lie when the whole has so many bars: all of them, or as many as are long enough."""
    shares = [recipe.bars for recipe in grade.sections]
    fewest = min(2, len(shares))
    least = max(_OPENING_BARS * fewest, *(len(opening) + 1 for opening in grade.openings))
    if not least <= bars <= 999:
        raise PlanError(sentence(f"{family} {grade.name}", f"{bars} bars", f"{least} to 999"))
    shares = shares[: max(fewest, min(len(shares), bars // _SECTION_BARS))]
    ends = [round(bars * sum(shares[: i + 1]) / sum(shares)) for i in range(len(shares))]
    starts = [1] + [end + 1 for end in ends[:-1]]
    return tuple(Section(r.name, a, b) for r, a, b in zip(grade.sections, starts, ends, strict=False))


def _section(
    recipe: SectionRecipe, section: Section, grade: Grade, metre: Metre, cells: Cells, draws: Draws
) -> list[Bar]:
    """The bars of one section, its landing and its fill included."""
    bars = []
    count = section.last_bar - section.first_bar + 1
    for number in range(count):
        choices = recipe.phrase[number % len(recipe.phrase)]
        if number == 0 and recipe.landing:
            choices = recipe.landing
        lines = build_bar(draws.pick(choices), metre, grade.voices, cells, draws, accent=grade.accent)
        fill, from_end = recipe.fill, count - 1 - number
        if fill and from_end <= fill.bars:
            pulses = fill.pulses if from_end == fill.bars else metre.count
            lines, unit = fill_bar(lines, fill, pulses, metre, grade.voices, cells, draws)
            bars.append(Bar(lines, unit))
        else:
            bars.append(Bar(lines))
    return bars


def _open(exercise: Exercise, grade: Grade, cells: Cells, draws: Draws) -> Exercise:
    """The exercise with the first opening, in drawn order, that cannot be mistaken for itself shifted."""
    best, margin = exercise, -1
    for index in draws.order(len(grade.openings)):
        first = tuple(
            Bar(build_bar(recipe, exercise.metre, grade.voices, cells, draws, accent=grade.accent))
            for recipe in grade.openings[index]
        )
        opened = replace(exercise, bars=(*first, *exercise.bars[len(first) :]))
        found = shift_margin(plan_of(opened))
        if found >= LEAST_MARGIN:
            return opened
        if found > margin:
            best, margin = opened, found
    raise PlanError(
        sentence(
            best.name, f"an opening with {margin} telling strokes", f"{LEAST_MARGIN}", "give the grade more openings"
        )
    )


def _set_tempo(exercise: Exercise, grade: Grade, asked_bpm: float | None) -> Exercise:
    """The exercise at its tempo; one that was asked for and is too fast is refused, the usual one slowed."""
    metre = exercise.metre
    felt = metre.beat_quarters if metre.beats < metre.count else 1.0
    usual = grade.tempo_bpm * felt
    plan = plan_of(exercise)
    fastest = _fastest_bpm(plan.at_tick, grade.most_per_s, bar_ticks(metre))
    if exercise.ladder and exercise.ladder.step_percent > 0:
        steps = (len(exercise.bars) - 1) // exercise.ladder.every_bars
        fastest /= (1 + exercise.ladder.step_percent / 100) ** steps
    if asked_bpm is None:
        return replace(exercise, tempo_bpm=usual if usual <= fastest else felt * int(fastest / felt))
    if not TEMPI[0] <= asked_bpm <= min(TEMPI[1], fastest):
        allowed = f"{TEMPI[0]:g} to {int(min(TEMPI[1], fastest))} bpm"
        hint = f"strokes come at most {grade.most_per_s:g} a second in this grade"
        where = f"{exercise.family} {grade.name} in {metre}"
        raise PlanError(sentence(where, f"{asked_bpm:g} bpm", allowed, hint))
    return replace(exercise, tempo_bpm=float(asked_bpm))


def _fastest_bpm(at_tick: IntArray, most_per_s: float, bar: int) -> float:
    """Quarter notes a minute at which the closest two strokes come ``most_per_s`` a second."""
    gaps = np.diff(np.unique(at_tick))
    closest_quarters = float(gaps.min() if gaps.size else bar) / TICKS_PER_QUARTER
    return 60.0 * most_per_s * closest_quarters
