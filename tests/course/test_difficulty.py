"""The difficulty measure and the order of the shipped course."""

from dataclasses import fields, replace

import numpy as np
import pytest

from heeltap.course.difficulty import WEIGHTS, Difficulty, difficulty, slot_weight, syncopation
from heeltap.files.toml.families import FAMILIES, read_family
from heeltap.model.arrays import as_ints
from heeltap.model.counting import parse_counting
from heeltap.model.exercise import METRES, Bar, ClickPlan, Exercise, Voice, parse_metre
from heeltap.model.timeline import Metre
from tests.makers.exercises import made

FOUR = Metre(4, 4)


def _exercise(*bars: str, tempo_bpm: float = 60.0) -> Exercise:
    return Exercise("x", "X", "", FOUR, tempo_bpm, (Voice("any"),), tuple(Bar((bar,)) for bar in bars))


def _sync(text: str) -> float:
    at = parse_counting(text, FOUR).at_tick
    return syncopation(as_ints([*at, 40_320]), FOUR)


@pytest.mark.parametrize(
    ("text", "strength"),
    [
        ("1 2 3 4", 0),
        ("1& 2& 3& 4&", 0),
        ("2 4", 0),
        ("1 2& 4", 1),  # the and of two, held over three: an eighth below a beat
        ("1a 3", 2),  # a sixteenth held over two: two levels
        ("(1)& (2)& (3)& (4)&", 3),  # each held over a beat but the last, which the next bar's one answers
        ("1e 2", 1),  # held over the and only: a sixteenth below an eighth
    ],
)
def test_syncopation_is_the_level_that_is_held_over(text: str, strength: int) -> None:
    """Worked by hand from the rule: weight of the heaviest silent place less the stroke's own."""
    assert strength == _sync(text)


def test_slot_weights_fall_by_one_a_level() -> None:
    """Beats, eighths, sixteenths in 4/4; beats, eighths, sixteenths in 6/8; thirds weigh as halves."""
    assert [0, -2, -1, -2, 0] == [slot_weight(t, FOUR) for t in (0, 2_520, 5_040, 7_560, 10_080)]
    assert [0, -2, -1, 0] == [slot_weight(t, Metre(6, 8)) for t in (0, 2_520, 5_040, 15_120)]
    assert -1 == slot_weight(3_360, FOUR)


def test_the_total_is_the_weighted_sum_of_all_parts() -> None:
    """Every part has a weight and the sum is no other."""
    found = difficulty(made("turn", 9))
    parts = [field.name for field in fields(Difficulty) if field.name != "total"]

    assert set(WEIGHTS) == set(parts)
    assert abs(found.total - sum(WEIGHTS[name] * getattr(found, name) for name in parts)) < 1e-12


def test_parts_are_what_they_say() -> None:
    """Worked by hand at 60 bpm: 8 strokes in the busiest of four bars are 2 a second, 4 of 11 lie half-way."""
    found = difficulty(_exercise("1& 2& 3& 4&", "1", "1", "1"))

    assert 2.0 == found.rate
    assert abs(found.division - 4 / 11) < 1e-12
    assert abs(found.wait - (2 + 2) / 10) < 1e-12  # two gaps of 4 s: two doublings each, over ten gaps
    assert abs(found.change - 1 / 3) < 1e-12


@pytest.mark.parametrize(
    ("easy", "hard"),
    [
        (_exercise("1 2 3 4", "1 2 3 4"), _exercise("1 2 3 4", "1 2 3 4", tempo_bpm=90.0)),
        (_exercise("1 2 3 4", "1 2 3 4"), _exercise("1& 2 3 4", "1& 2 3 4")),
        (_exercise("1 2 3 4"), replace(_exercise("1 2 3 4"), click=ClickPlan("one"))),
        (_exercise("1& 2 3 4&"), _exercise("(1)& 2& 3 (4)&")),
        (
            replace(_exercise(), voices=(Voice("left", (), "left"),), bars=(Bar(("1 2",)),)),
            replace(
                _exercise(),
                voices=(Voice("left", (), "left"), Voice("right", (), "right")),
                bars=(Bar(("1 2", "1 2")),),
            ),
        ),
    ],
)
def test_what_is_plainly_harder_is_harder(easy: Exercise, hard: Exercise) -> None:
    """Faster, finer, with less click, off the beat, with two hands."""
    assert difficulty(easy).total < difficulty(hard).total


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("metre", ["4/4", *(pytest.param(m, marks=pytest.mark.slow) for m in METRES if m != "4/4")])
def test_the_course_is_ordered_by_difficulty(family: str, metre: str) -> None:
    """In 4/4 every grade is harder than the one before (mean of eight seeds); elsewhere (three) ranks agree to 0.8."""
    names = [grade.name for grade in read_family(family).grades]
    seeds = range(1, 9 if metre == "4/4" else 4)
    totals = [np.mean([difficulty(made(family, n, metre, seed)).total for seed in seeds]) for n in names]

    ranks = np.argsort(np.argsort(totals))
    assert parse_metre("4/4") != parse_metre(metre) or np.all(np.diff(totals) > 0)
    assert np.corrcoef(np.arange(len(names)), ranks)[0, 1] >= 0.8
