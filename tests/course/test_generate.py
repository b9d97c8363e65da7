"""The engine and the three shipped families, over all grades, metres and seeds."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.course.generate import LEAST_MARGIN, generate, grade_of, shift_margin
from heeltap.errors import PlanError
from heeltap.files.toml.families import FAMILIES, read_cells, read_family
from heeltap.model.counting import bar_ticks
from heeltap.model.exercise import METRES, Exercise, Ladder
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import Metre
from tests.makers.amounts import amount
from tests.makers.exercises import GRADES, golden_text, made
from tests.makers.plans import plan_of_quarters

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "exercises"
any_exercise = st.tuples(st.sampled_from(GRADES), st.sampled_from(list(METRES)), st.integers(0, 2**63 - 1)).map(
    lambda asked: made(*asked[0], asked[1], asked[2])
)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_has_eight_grades_with_an_aim_each(family: str) -> None:
    """Numbers are 1 and up without a gap, in whatever order the grades are learned; aims are short and all different."""
    grades = read_family(family).grades

    assert list(range(1, len(grades) + 1)) == sorted(grade.number for grade in grades)
    assert len(grades) >= 8
    assert len(grades) == len({grade.aim for grade in grades})
    assert all(20 <= len(grade.aim) <= 110 for grade in grades)


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
    """Sections shrink and grow with the whole; the same rules hold."""
    again = made(exercise.family, exercise.grade, str(exercise.metre), exercise.seed, bars=max(bars, 16))

    assert max(bars, 16) == len(again.bars) == again.sections[-1].last_bar
    assert len(exercise.sections) == len(again.sections)
    assert shift_margin(plan_of(again)) >= LEAST_MARGIN


@given(any_exercise)
@settings(max_examples=amount(60, fast=15))
def test_turns_are_labelled(exercise: Exercise) -> None:
    """In a turn every change has a fill before it and a landing after; in the other families nothing is a fill."""
    plan = plan_of(exercise)
    bar = plan.at_tick // bar_ticks(exercise.metre) + 1
    changes = [section.first_bar for section in exercise.sections[1:]]

    landed = {int(b) for b in bar[plan.kind == 2]}
    assert landed <= set(changes)
    assert (exercise.family == "turn") == bool(np.any(plan.kind == 1))
    if exercise.family == "turn":
        assert set(changes) == landed
        assert {first - 1 for first in changes} <= {int(b) for b in bar[plan.kind == 1]}


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_an_exercise_is_the_same_for_ever(family: str, grade: int) -> None:
    """Each grade in three metres and two seeds against its golden file."""
    golden = (GOLDEN / f"{family}-{grade}.txt").read_text(encoding="utf-8")

    assert golden == golden_text(family, grade)


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_seeds_vary_what_the_grade_leaves_open(family: str, grade: int) -> None:
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
        ({"grade": 99}, "grade 99; expected 1 to 10 .nearest: anchor 10"),
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
        made("anchor", int(asked.pop("grade", 1)), **asked)  # type: ignore[arg-type]


def test_the_usual_tempo_is_in_the_metres_own_beat() -> None:
    """96 beats a minute are 144 quarters in 6/8."""
    assert (96.0, 144.0) == (made("anchor", 1).tempo_bpm, made("anchor", 1, "6/8").tempo_bpm)


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
