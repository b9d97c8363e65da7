"""The engine and the three shipped families, over all grades, metres and seeds."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.course.generate import LEAST_MARGIN, TEMPI, generate, grade_of, shift_margin
from heeltap.errors import PlanError
from heeltap.files.toml.families import FAMILIES, read_cells, read_family
from heeltap.model.counting import bar_ticks
from heeltap.model.exercise import METRES, Exercise, Ladder, parse_metre
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import Metre
from tests.makers.amounts import amount, share
from tests.makers.exercises import GRADES, golden_text, made
from tests.makers.plans import plan_of_quarters

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "exercises"
any_exercise = st.tuples(st.sampled_from(GRADES), st.sampled_from(list(METRES)), st.integers(0, 2**63 - 1)).map(
    lambda asked: made(*asked[0], asked[1], asked[2])
)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_has_eight_grades_with_an_aim_each(family: str) -> None:
    """Names differ, old numbers rise; aims are one sentence of a sensible length in every metre, all different."""
    grades = read_family(family).grades
    numbers = [grade.number for grade in grades if grade.number]

    assert sorted(numbers) == numbers
    assert len(grades) >= 8
    assert len(grades) == len({grade.name for grade in grades})
    for metre in METRES:
        told = [grade.text_in(parse_metre(metre)) for grade in grades]
        assert len(grades) == len({aim for _, aim in told})
        assert all(20 <= len(aim) <= 110 and len(title) <= 36 for title, aim in told)


@pytest.mark.parametrize(
    ("family", "number", "name"), [("anchor", 9, "alone"), ("split", 7, "syncopation"), ("turn", 9, "long")]
)
def test_a_grade_keeps_its_old_number_wherever_it_stands(family: str, number: int, name: str) -> None:
    """Takes and sets from before grades had names mean what they meant, whatever was put in before it."""
    shipped = read_family(family)

    assert name == grade_of(shipped, number).name == grade_of(shipped, str(number)).name == grade_of(shipped, name).name
    assert made(family, number, seed=3) == made(family, name, seed=3)


def test_a_grade_put_in_between_changes_no_other() -> None:
    """The others' exercises are the same to the last stroke."""
    family = read_family("split")
    more = replace(family.grades[2], name="put-in", number=0)
    longer = replace(family, grades=(*family.grades[:1], more, *family.grades[1:]))

    for grade in family.grades:
        asked = {"metre": Metre(3, 4), "seed": 5, "cells": read_cells()}
        assert generate(family, grade.name, **asked) == generate(longer, grade.name, **asked)


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_no_exercise_has_fewer_than_forty_strokes(family: str, grade: str) -> None:
    """In every metre and with several seeds: findings need 32, and a player may miss some."""
    for metre in METRES:
        for seed in share(range(1, 6), every=5):
            assert plan_of(made(family, grade, metre, seed)).stroke[-1] + 1 >= 40


@pytest.mark.parametrize("grade", [grade for family, grade in GRADES if family == "turn"])
@pytest.mark.parametrize("metre", METRES)
def test_a_turn_has_its_causes_apart(grade: str, metre: str) -> None:
    """Five changes or more; four whole bars of groove before each; fills in four bars at least, changes without one."""
    exercise = made("turn", grade, metre)
    plan = plan_of(exercise)
    bar = plan.at_tick // bar_ticks(exercise.metre) + 1
    filled = {number for number, one in enumerate(exercise.bars, 1) if one.fill_from}
    changes = [section.first_bar for section in exercise.sections[1:]]

    assert len(changes) >= 5
    assert sum(change - 1 not in filled for change in changes) >= 2
    assert len(filled) >= 4
    assert np.sum(plan.kind == 1) >= 8
    for section in exercise.sections:
        groove = [n for n in range(section.first_bar, section.last_bar + 1) if n not in filled]
        assert len([n for n in groove if np.any(bar == n)]) >= 4
        assert all(
            n + 1 in filled or n == section.last_bar for n in filled if section.first_bar <= n <= section.last_bar
        )


@pytest.mark.parametrize("grade", [grade for family, grade in GRADES if family == "turn"])
def test_verse_and_chorus_differ(grade: str) -> None:
    """No section is followed by one with the same bars."""
    exercise = made("turn", grade)
    grooves = [{exercise.bars[n - 1].lines for n in range(s.first_bar + 1, s.last_bar)} for s in exercise.sections]

    assert all(a != b for a, b in pairwise(grooves))


@pytest.mark.parametrize("metre", METRES)
def test_the_division_changes_where_it_says_so(metre: str) -> None:
    """In the turn of that name the chorus cuts the beats otherwise than the verse, in 6/8 as well."""
    exercise = made("turn", "division", metre)
    plan, unit = plan_of(exercise), bar_ticks(exercise.metre)
    parts = []
    for section in exercise.sections[2:4]:
        rows = (plan.at_tick // unit >= section.first_bar) & (plan.at_tick // unit < section.first_bar + 2)
        parts.append(set((plan.at_tick[rows] % unit).tolist()))

    assert parts[0] != parts[1]


@pytest.mark.parametrize("name", ["swing", "triplets"])
def test_swing_and_threes_are_no_eighths_in_seven(name: str) -> None:
    """In 7/8 a short beat holds two eighths: long and short, or three, lie across them."""
    plan = plan_of(made("split", name, "7/8"))

    assert np.any(plan.at_tick % 5_040)


@given(any_exercise)
@settings(max_examples=amount(150, fast=37))
def test_every_exercise_can_be_laid_over_a_take_without_a_known_delay(exercise: Exercise) -> None:
    """Shifted by any number of strokes up to a bar, at least two notes of the first four bars are out of place."""
    assert shift_margin(plan_of(exercise)) >= LEAST_MARGIN


@given(any_exercise)
@settings(max_examples=amount(150, fast=37))
def test_every_exercise_is_playable(exercise: Exercise) -> None:
    """Strokes come no faster than the grade says; a hand has one voice's notes, two at most where it is quick."""
    grade = grade_of(read_family(exercise.family), exercise.grade)
    plan = plan_of(exercise)
    starts = np.unique(plan.at_us)

    assert np.diff(starts).min() >= 1e6 / grade.most_per_s - 1
    for hand in range(3):
        rows = plan.hand == hand
        at, count = np.unique(plan.at_us[rows], return_counts=True)
        quick = np.diff(at, prepend=-(10**9)) < 250_000
        pads = 4 if len(exercise.voices) == 4 else 1
        assert np.all(count[quick] <= 2 * pads)
        assert np.all(count <= 5)


@given(any_exercise)
@settings(max_examples=amount(100, fast=25))
def test_sections_cover_the_exercise_and_start_where_they_say(exercise: Exercise) -> None:
    """One after the other, from the first bar to the last; each soon has a stroke."""
    plan = plan_of(exercise)
    bar = plan.at_tick // bar_ticks(exercise.metre) + 1

    assert 1 == exercise.sections[0].first_bar
    assert len(exercise.bars) == exercise.sections[-1].last_bar == plan.bars
    for before, after in zip(exercise.sections, exercise.sections[1:], strict=False):
        assert before.last_bar + 1 == after.first_bar
    for section in exercise.sections:
        assert np.any((bar >= section.first_bar) & (bar <= min(section.first_bar + 1, section.last_bar)))


@given(any_exercise, st.integers(12, 64))
@settings(max_examples=amount(100, fast=25))
def test_a_length_that_is_asked_for_is_kept(exercise: Exercise, bars: int) -> None:
    """Sections shrink and grow with the whole, and the last ones go where there is no room; the same rules hold."""
    again = made(exercise.family, exercise.grade, str(exercise.metre), exercise.seed, bars=max(bars, 16))

    assert max(bars, 16) == len(again.bars) == again.sections[-1].last_bar
    assert [s.name for s in again.sections] == [s.name for s in exercise.sections[: len(again.sections)]]
    assert all(s.last_bar - s.first_bar >= 3 for s in again.sections)
    assert shift_margin(plan_of(again)) >= LEAST_MARGIN


@given(any_exercise)
@settings(max_examples=amount(60, fast=15))
def test_turns_are_labelled(exercise: Exercise) -> None:
    """In a turn every change has a landing, and every fill leads into one; in the other families nothing is a fill."""
    plan = plan_of(exercise)
    bar = plan.at_tick // bar_ticks(exercise.metre) + 1
    changes = [section.first_bar for section in exercise.sections[1:]]

    landed = {int(b) for b in bar[plan.kind == 2]}
    assert landed <= set(changes)
    assert (exercise.family == "turn") == bool(np.any(plan.kind == 1))
    if exercise.family == "turn":
        assert set(changes) == landed
        assert {int(b) for b in bar[plan.kind == 1]} <= {first - back for first in changes for back in (1, 2)}


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_an_exercise_is_the_same_for_ever(family: str, grade: str) -> None:
    """Each grade in three metres and two seeds against its golden file."""
    golden = (GOLDEN / f"{family}-{grade}.txt").read_text(encoding="utf-8")

    assert golden == golden_text(family, grade)


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_seeds_vary_what_the_grade_leaves_open(family: str, grade: str) -> None:
    """Among ten seeds there are at least three different exercises."""
    assert len({made(family, grade, seed=seed).bars for seed in range(10)}) >= 3


def test_equal_spacing_is_known_to_be_ambiguous() -> None:
    """Quarters without end could be themselves a stroke later; a missing one tells by one stroke, two by two."""
    assert 0 == shift_margin(plan_of_quarters(list(map(float, range(16)))))
    assert 1 == shift_margin(plan_of_quarters([0.0, 1.0, 3.0, *map(float, range(4, 16))]))
    assert 2 == shift_margin(plan_of_quarters([0.0, 1.0, *map(float, range(4, 16))]))


def test_different_keys_tell_strokes_apart() -> None:
    """Even quarters whose keys differ cannot be shifted by one; by four they can, where the keys repeat."""
    assert shift_margin(plan_of_quarters(list(map(float, range(16))), pitches=list(range(60, 76)))) > 10
    assert 0 == shift_margin(plan_of_quarters(list(map(float, range(16))), pitches=[60, 61, 62, 63] * 4))


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"grade": 99}, "grade 99; expected one of 1 backbeat, 2 pillars, .*nearest: anchor chords"),
        ({"tempo_bpm": 5.0}, "5 bpm; expected 20 to"),
        ({"tempo_bpm": 399.0}, "strokes come at most 4 a second"),
        ({"bars": 3}, "3 bars; expected 4 to 999"),
        ({"bars": 1000}, "1000 bars"),
        ({"tempo_bpm": float("nan")}, "nan bpm"),
        ({"seed": -1}, "seed -1; expected 0 to"),
        ({"seed": 2**63}, "expected 0 to"),
    ],
)
def test_what_cannot_be_made_says_what_can(asked: dict[str, float], told: str) -> None:
    """Grade, tempo and length each name what there is."""
    with pytest.raises(PlanError, match=told):
        made("anchor", int(asked.pop("grade", 3)), **asked)  # type: ignore[arg-type]


def test_the_usual_tempo_is_in_the_metres_own_beat() -> None:
    """96 beats a minute are 144 quarters in 6/8."""
    assert (96.0, 144.0) == (made("anchor", 1).tempo_bpm, made("anchor", 1, "6/8").tempo_bpm)


def test_the_slowest_tempo_can_be_asked_for() -> None:
    """The limits belong to what can be asked for."""
    slowest = generate(read_family("anchor"), "backbeat", metre=Metre(4, 4), cells=read_cells(), tempo_bpm=TEMPI[0])

    assert slowest.tempo_bpm == TEMPI[0]


def test_a_ladder_may_not_climb_past_what_can_be_played() -> None:
    """The top of the ladder counts, not its foot."""
    fine = made("anchor", 4, tempo_bpm=100.0, ladder=Ladder(4, 5.0))
    assert Ladder(4, 5.0) == fine.ladder

    with pytest.raises(PlanError, match="expected 20 to"):
        made("anchor", 4, tempo_bpm=230.0, ladder=Ladder(4, 5.0))


def test_a_grade_whose_openings_tell_nothing_is_refused() -> None:
    """Even quarters with an even opening could be themselves a beat later: better no exercise than an ambiguous one."""
    family = read_family("anchor")
    even = replace(family.grades[2], openings=(("all:beat",),))
    section = replace(even.sections[0], phrase=(("all:beat",),))
    broken = replace(family, grades=(replace(even, sections=(section,)),))

    with pytest.raises(PlanError, match="an opening with 0 telling strokes; expected 2 "):
        generate(broken, 3, metre=Metre(4, 4), cells=read_cells())
