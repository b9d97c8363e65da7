"""What is said of a class, from takes whose figures are written out."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.app.practice.make_exercise import make_exercise
from heeltap.classroom.integrity import questions
from heeltap.classroom.students import (
    ClassItem,
    ClassTake,
    Student,
    TakeFigures,
    cell_of,
    differs,
    next_for,
    same_work,
    weaknesses,
)
from heeltap.model.plan_from import plan_of
from heeltap.model.practice_set import Done
from heeltap.model.result import Finding

ITEM = ClassItem(1, "All four", (80.0, 90.0), 2, Done(70.0, None, 2))


def take(
    *,
    tempo_bpm: float = 80.0,
    share: float = 0.9,
    p: float | None = None,
    effect_ms: float = -20.0,
    code: str = "off-beats",
    said: TakeFigures | None = None,
    whole: bool = True,
    offset_ms: np.ndarray | None = None,
    events: str = "",
    item: int = 1,
) -> ClassTake:
    """A take with these figures."""
    found = () if p is None else (Finding(code, "A sentence.", effect_ms, None, p),)
    offsets = np.arange(40.0) % 7 * 3 if offset_ms is None else offset_ms
    return ClassTake(
        item=item,
        tempo_bpm=tempo_bpm,
        date="2026-03-02",
        folder="a take",
        figures=TakeFigures(100, -4.0, 10.0, 0.0),
        in_pocket=share,
        said=said,
        why_unlike="",
        whole=whole,
        delay_known=True,
        findings=found,
        position=np.arange(offsets.size),
        offset_ms=offsets,
        events=events or f"{id(offsets)} {tempo_bpm}",
    )


def student(*takes: ClassTake, name: str = "Tove") -> Student:
    """A student with these takes."""
    return Student(name, ("a.handin",), takes)


def test_a_tempo_is_done_when_enough_whole_takes_meet_the_marks() -> None:
    """Two good ones at 80; at 90 one is too loose and one was broken off."""
    who = student(take(), take(), take(tempo_bpm=90, share=0.5), take(tempo_bpm=90, whole=False))

    cell = cell_of(who, ITEM)

    assert (4, 1, 2, False) == (cell.takes, cell.tempi_done, cell.tempi, cell.done)
    assert (90, 0.5) == (cell.at_bpm, cell.latest.in_pocket if cell.latest else None)


def test_nothing_played_is_nothing_done() -> None:
    """A student without a take of the exercise has no figures."""
    assert (0, 0, None) == (
        cell_of(student(), ITEM).takes,
        cell_of(student(), ITEM).tempi_done,
        cell_of(student(), ITEM).latest,
    )


@pytest.mark.parametrize(("p", "takes", "named"), [(0.012, 4, True), (0.013, 4, False), (0.012, 5, False)])
def test_a_finding_has_to_hold_for_the_whole_page(p: float, takes: int, named: bool) -> None:
    """Its p times the number of takes handed in by all is 5 % or less."""
    class_ = [student(take(p=p)), student(*(take() for _ in range(takes - 1)), name="Odo")]

    found = weaknesses(class_)

    assert (named, ()) == (bool(found[0]), found[1])


def test_of_two_directions_the_surer_one_is_named() -> None:
    """Nobody is told to be early and late in the same place."""
    who = student(take(p=1e-6), take(p=1e-4, effect_ms=15.0), take(p=1e-5))

    (found,) = weaknesses([who])

    assert [("off-beats", -20.0, 2)] == [(one.code, one.effect_ms, one.takes) for one in found]


def test_less_scatter_than_elsewhere_is_no_weakness() -> None:
    """What is better than the rest needs no exercise."""
    assert ((),) == weaknesses([student(take(p=1e-9, code="scatter-off-beats", effect_ms=-5.0))])


def test_what_stands_out_comes_before_what_is_not_done() -> None:
    """The exercise against it, at the tempo at which it showed."""
    who = student(take(p=1e-9))

    step = next_for(who, [ITEM], weaknesses([who])[0])

    assert ("drill", "split 2 --tempo 80") == (step.action, step.exercise)


def test_without_a_weakness_the_first_tempo_that_is_not_done_comes_next() -> None:
    """Then the set goes on where it stopped; when all is done, that is said."""
    none, half, all_ = (
        student(),
        student(take(), take(), take(tempo_bpm=90)),
        student(*[take(), take(tempo_bpm=90)] * 2),
    )

    steps = [next_for(who, [ITEM], ()) for who in (none, half, all_)]

    assert [("play", 80.0), ("finish", 90.0), ("done", None)] == [(step.action, step.tempo_bpm) for step in steps]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (None, False),
        (TakeFigures(100, -4.3, 10.4, 0.01), False),
        (TakeFigures(100, -4.6, 10.0, 0.0), True),
        (TakeFigures(100, -4.0, 3.0, 0.0), True),
        (TakeFigures(100, -4.0, 10.0, 1.0), True),
        (TakeFigures(90, -4.0, 10.0, 0.0), True),
        (TakeFigures(100, None, 10.0, 0.0), True),
    ],
)
def test_own_figures_differ_when_rounding_does_not_explain_it(said: TakeFigures | None, expected: bool) -> None:
    """Half a millisecond and one stroke are let pass."""
    assert expected == differs(take(said=said))


def test_the_same_strokes_at_another_tempo_are_the_same_work() -> None:
    """A tempo is a step of the exercise; another seed, another length or made-up times are not."""
    asked = plan_of(make_exercise("split", 2, bars=8, tempo_bpm=80))
    faster = plan_of(make_exercise("split", 2, bars=8, tempo_bpm=96))
    shorter, ladder = plan_of(make_exercise("split", 2, bars=7, tempo_bpm=80)), replace(asked, at_us=asked.at_us // 2)

    assert [True, True, False, False] == [same_work(one, asked) for one in (asked, faster, shorter, ladder)]


def test_a_take_that_scatters_less_than_a_hand_is_a_question(rng: np.random.Generator) -> None:
    """0.5 ms over forty strokes is asked about, 5 ms is not, 0.5 ms over twenty is not."""
    takes = [take(offset_ms=rng.normal(0, sd, n)) for sd, n in ((0.5, 40), (5.0, 40), (0.5, 20))]

    found = questions([student(*takes)])

    assert [("even", (takes[0],))] == [(one.kind, one.takes) for one in found]


def test_takes_too_even_for_a_hand_are_not_also_asked_about_as_alike(rng: np.random.Generator) -> None:
    """Two machines agree; that is said once of each."""
    takes = [take(offset_ms=rng.normal(0, 0.3, 40)) for _ in range(2)]

    found = questions([student(takes[0]), student(takes[1])])

    assert [("even", (0,)), ("even", (1,))] == [(one.kind, one.who) for one in found]


def test_the_same_events_are_one_question_for_all_who_share_them(rng: np.random.Generator) -> None:
    """Two takes shared by three students, and one that a fourth handed in twice."""
    noise = [rng.normal(0, 8, 40) for _ in range(3)]
    shared = [take(events="a", offset_ms=noise[0]), take(events="b", offset_ms=noise[1])]
    twice = take(events="c", offset_ms=noise[2])

    found = questions([student(*shared), student(*shared), student(*shared), student(twice, twice)])

    assert [("same", (0, 1, 2), 6), ("same", (3,), 2)] == [(one.kind, one.who, len(one.takes)) for one in found]


def test_a_copy_with_a_few_strokes_moved_is_a_question_and_two_takes_by_hand_are_none(rng: np.random.Generator) -> None:
    """Shifted as a whole and with two strokes changed it still agrees in 38 of 40."""
    one, other = rng.normal(0, 5, 40), rng.normal(0, 5, 40)
    copy = one + 7.0
    copy[[3, 20]] += 30

    found = questions([student(take(offset_ms=one)), student(take(offset_ms=copy)), student(take(offset_ms=other))])

    assert [("alike", (0, 1), 0.95)] == [(q.kind, q.who, q.size) for q in found]
