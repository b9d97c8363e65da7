"""Simpler parts: what belongs to a beat, what stays when there is too much, and that nothing is invented."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.course.simplify.levels import Simpler, simplify
from heeltap.course.simplify.notation import Written
from heeltap.course.simplify.slots import LEVELS, level_slots
from heeltap.errors import PlanError
from heeltap.model.plan import Plan, Section
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.units import TICKS_PER_QUARTER
from tests.makers.amounts import amount
from tests.makers.written import Row, written

Struck = list[tuple[float, list[int]]]
"""Place in quarters and the keys struck there."""


def forms(part: Written, *, metre: tuple[int, int] = (4, 4), drums: bool = False) -> dict[str, Simpler]:
    """The four forms by name, at 120 bpm."""
    found = simplify(part, tempo=steady_tempo(120), metre=steady_metre(*metre), drums=drums, name="part")
    return {form.level.name: form for form in found}


def struck(form: Simpler) -> Struck:
    """What is struck where."""
    plan = form.plan
    return [
        (tick / TICKS_PER_QUARTER, plan.pitch[plan.at_tick == tick].tolist())
        for tick in np.unique(plan.at_tick).tolist()
    ]


def chord(at: float, held: float, *keys: int) -> list[Row]:
    """Keys struck and released together."""
    return [(at, held, key) for key in keys]


def test_the_four_forms_add_division_by_division() -> None:
    """One and three, all four, eighths, all: each keeps what the one before had."""
    part = written(*[(at / 4, at / 4 + 0.2, 60 + at) for at in range(16)])

    found = forms(part)

    assert [(0, [60]), (2, [68])] == struck(found["strong"])
    assert [(0, [60]), (1, [64]), (2, [68]), (3, [72])] == struck(found["beats"])
    assert [at / 2 for at in range(8)] == [at for at, _ in struck(found["eighths"])]
    assert [at / 4 for at in range(16)] == [at for at, _ in struck(found["whole"])]
    assert not any(form.same_as_before or form.answered for form in found.values())


def test_a_pushed_chord_belongs_to_the_beat_that_it_is_held_over() -> None:
    """Struck on the "and" of four and held into the next bar, it is that bar's one, until eighths are played."""
    part = written(*chord(0, 1, 48, 64), *chord(3.5, 6, 50, 65))

    found = forms(part)

    assert [(0, [48, 64]), (4, [50, 65])] == struck(found["strong"]) == struck(found["beats"])
    assert [(0, [48, 64]), (3.5, [50, 65])] == struck(found["eighths"])
    assert [2.0] * 2 == [length / TICKS_PER_QUARTER for length in found["beats"].length_tick.tolist()[2:]]


def test_a_chord_that_is_held_on_is_struck_once() -> None:
    """A whole note is the chord of the one; two, three and four have nothing to strike."""
    part = written(*chord(0, 4, 48, 55, 64), (4, 5, 48))

    assert [(0, [48, 55, 64]), (4, [48])] == struck(forms(part)["beats"])


def test_a_chord_on_two_held_over_three_is_the_chord_of_three() -> None:
    """Where only the pillars are played it is struck on the second of them; with all beats it is on its own."""
    part = written((0, 0.5, 48), *chord(1, 4, 60, 64, 67))

    found = forms(part)

    assert [(0, [48]), (2, [60, 64, 67])] == struck(found["strong"])
    assert [(0, [48]), (1, [60, 64, 67])] == struck(found["beats"])


@pytest.mark.parametrize(("end", "place"), [(4.24, None), (4.25, 4)])
def test_legato_is_no_tie(end: float, place: int | None) -> None:
    """A note that hangs over the next beat by less than a sixteenth ends there."""
    part = written((0, 0.9, 60), (3.5, end, 62), (4, 5, 72))

    assert place == next((at for at, keys in struck(forms(part)["strong"]) if 62 in keys), None)


def test_what_is_shorter_than_a_thirty_second_is_one() -> None:
    """So that it can be heard; longer notes keep their length."""
    form = forms(written((0, 0.01, 60), (1, 1.4, 62)))["whole"]

    assert [0.125, 0.4] == pytest.approx(form.length_tick / TICKS_PER_QUARTER)


def test_a_finger_left_down_beside_a_struck_note_is_no_tie() -> None:
    """The ornament's key a semitone above the tune, let go late; a suspension a fourth above the bass is one."""
    part = written((0, 1, 48), (1.5, 2.5, 73), (1.5, 3, 65), *chord(2, 3, 60, 72))

    assert (2, [60, 65, 72]) == struck(forms(part)["strong"])[1]


def test_the_pedal_alone_fills_in_and_never_takes_bass_or_top() -> None:
    """Notes of the beat before that ring on under the pedal: between bass and top yes, above and below no."""
    part = written((0, 1, 36), (1, 1.5, 84, 4), (1, 1.5, 55, 4), (1, 1.5, 30, 4), *chord(2, 3, 48, 64))

    assert (2, [48, 55, 64]) == struck(forms(part)["strong"])[1]


def test_a_pedalled_chord_stands_for_a_beat_on_which_nothing_else_sounds() -> None:
    """Struck short before the beat and held by the pedal over it."""
    part = written((0, 0.5, 36), (1.5, 1.7, 52, 4), (1.5, 1.7, 60, 4))

    assert (2, [52, 60]) == struck(forms(part)["strong"])[1]


def test_a_passing_note_under_the_pedal_does_not_rub() -> None:
    """F under the pedal beside the E of the new chord is left out."""
    part = written((0, 1, 36), (1, 1.5, 53, 4), *chord(2, 3, 40, 52, 64))

    assert (2, [40, 52, 64]) == struck(forms(part)["strong"])[1]


def test_a_broken_chord_is_put_together_while_its_bass_sounds() -> None:
    """Bass held, the chord's notes one by one under the tune: on the simplest forms they are one stroke."""
    part = written((0, 2, 48), (0, 2, 76), (0.5, 1, 67), (1, 1.5, 64), (1.5, 2, 67))

    found = forms(part)

    assert [(0, [48, 64, 67, 76])] == struck(found["strong"])
    assert [(0, [48, 67, 76]), (1, [64])] == struck(found["beats"])
    assert [(0, [48, 76]), (0.5, [67]), (1, [64]), (1.5, [67])] == struck(found["eighths"])


def test_the_chord_after_a_bass_note_goes_on_top_of_it() -> None:
    """A waltz: on the one bass and chord together, with all beats bass, chord, chord."""
    part = written((0, 0.9, 36, 3), *chord(1, 1.5, 60, 64), *chord(2, 2.5, 60, 64))

    found = forms(part, metre=(3, 4))

    assert [(0, [36, 60, 64])] == struck(found["strong"])
    assert [(0, [36]), (1, [60, 64]), (2, [60, 64])] == struck(found["beats"])


@pytest.mark.parametrize(("bass_end", "keys"), [(0.8, [36, 60, 64]), (0.7, [36])])
def test_a_chord_straight_after_the_bass_is_its_chord_without_the_pedal_too(bass_end: float, keys: list[int]) -> None:
    """A sixteenth at most between the bass note's end and the chord; further apart they are two things."""
    part = written((0, bass_end, 36), *chord(1, 1.5, 60, 64))

    assert [(0, keys)] == struck(forms(part, metre=(3, 4))["strong"])


def test_what_follows_below_is_another_voice() -> None:
    """A chord under a single note is not put on top of it."""
    part = written((0, 2, 60), *chord(1, 2, 40, 47))

    assert [(0, [60])] == struck(forms(part)["strong"])


def test_a_tune_is_not_made_into_chords() -> None:
    """A single line, held or under the pedal, stays a single line."""
    part = written(*[(at / 2, at / 2 + 0.5, 60 + 2 * at, 4) for at in range(8)])

    assert [1, 1] == [len(keys) for _, keys in struck(forms(part)["strong"])]


def test_a_full_chord_keeps_bass_and_top_and_two_new_notes() -> None:
    """Octaves go first; the forms with eighths and the whole have all six notes."""
    part = written(*chord(0, 1, 36, 48, 52, 55, 60, 72))

    found = forms(part)

    assert [(0, [36, 52, 55, 72])] == struck(found["strong"]) == struck(found["beats"])
    assert [(0, [36, 48, 52, 55, 60, 72])] == struck(found["eighths"]) == struck(found["whole"])


def test_seconds_that_are_struck_together_stay() -> None:
    """A written rub is meant."""
    part = written(*chord(0, 1, 48, 60, 62, 67))

    assert [(0, [48, 60, 62, 67])] == struck(forms(part)["strong"])


def test_drums_are_neither_moved_nor_held() -> None:
    """What falls on the place stays: on the simplest forms a low drum, a snare and the loudest of the rest."""
    part = written(
        (0, 0.1, 36), (0, 0.1, 42), (0, 0.1, 49), (1, 1.1, 38), (1, 1.1, 42), (1.5, 4, 36), (3.5, 8, 49), loud=(49,)
    )

    found = forms(part, drums=True)

    assert [(0, [36, 49])] == struck(found["strong"])
    assert [(0, [36, 49]), (1, [38, 42])] == struck(found["beats"])
    assert [(0, [36, 42, 49]), (1, [38, 42]), (1.5, [36]), (3.5, [49])] == struck(found["eighths"])


@pytest.mark.parametrize("drums", [False, True])
def test_a_part_between_the_beats_answers_them(drums: bool) -> None:
    """Short chords on every "and": a form that would be empty gives each beat the stroke that follows it, and says so."""
    part = written(*(row for at in range(4) for row in chord(at + 0.5, at + 0.7, 60, 64)))

    found = forms(part, drums=drums)

    assert [True, True, False, False] == [found[level.name].answered for level in LEVELS]
    assert [0, 2] == [at for at, _ in struck(found["strong"])]
    assert [0, 1, 2, 3] == [at for at, _ in struck(found["beats"])]
    assert [0.5, 1.5, 2.5, 3.5] == [at for at, _ in struck(found["eighths"])]


def test_six_eight_has_one_strong_beat_two_beats_and_six_eighths() -> None:
    """The felt beats are dotted quarters; sixteenths come with the whole."""
    part = written(*[(at / 4, at / 4 + 0.1, 60) for at in range(12)])

    found = forms(part, metre=(6, 8))

    assert [0] == [at for at, _ in struck(found["strong"])]
    assert [0, 1.5] == [at for at, _ in struck(found["beats"])]
    assert [0, 0.5, 1, 1.5, 2, 2.5] == [at for at, _ in struck(found["eighths"])]
    assert 12 == len(struck(found["whole"]))


def test_triplets_and_swung_eighths_count_as_the_first_division() -> None:
    """A third stays where it is, the late eighth of a swung beat too; sixteenths wait for the whole."""
    part = written(
        (0, 0.3, 60), (1 / 3, 0.6, 62), (2 / 3, 1, 64), (1, 1.5, 65), (1.62, 2, 67), (2.25, 2.4, 69), swung=(1.62,)
    )

    found = forms(part)

    assert [0, 1 / 3, 2 / 3, 1, 1.62] == pytest.approx([at for at, _ in struck(found["eighths"])], abs=1e-4)
    assert 6 == len(struck(found["whole"]))


def test_a_form_that_adds_nothing_says_so() -> None:
    """Quarters only: eighths and the whole are the same as all beats."""
    found = forms(written(*[(at, at + 0.5, 60) for at in range(4)]))

    assert [False, False, True, True] == [found[level.name].same_as_before for level in LEVELS]


def test_sections_length_and_tempo_stay() -> None:
    """Every form is as long as the part, has its sections, and times in whole microseconds."""
    part = written(*[(at, at + 0.5, 60) for at in range(16)], (16.25, 16.5, 60))
    sections = (Section("verse", 1, 3), Section("chorus", 4, 5))

    for form in simplify(part, tempo=steady_tempo(90, ticks_per_quarter=480), metre=steady_metre(), sections=sections):
        assert (5, sections) == (form.plan.bars, form.plan.sections)
        assert 4 * round(60e6 / 90) == form.plan.at_us[form.plan.at_tick == 4 * TICKS_PER_QUARTER][0]


def test_a_part_without_a_note_is_refused() -> None:
    """There is nothing to make simpler."""
    with pytest.raises(PlanError, match="no note on any slot"):
        forms(written())


@st.composite
def parts(draw: st.DrawFn) -> Written:
    """Any part on twelfths of a quarter, fingers and pedal held for however long."""
    rows = draw(
        st.lists(
            st.tuples(st.integers(0, 95), st.integers(1, 30), st.integers(30, 90), st.integers(0, 30)),
            min_size=1,
            max_size=60,
            unique_by=lambda row: (row[0], row[2]),
        )
    )
    return written(*((at / 12, (at + held) / 12, key, (at + held + rung) / 12) for at, held, key, rung in rows))


@given(parts(), st.booleans(), st.sampled_from([(4, 4), (3, 4), (6, 8), (7, 8)]))
@settings(max_examples=amount(150, fast=37))
def test_nothing_is_invented(part: Written, drums: bool, metre: tuple[int, int]) -> None:
    """Whatever the part: strokes only on the level's places, keys only of the part and no more often, never fewer strokes
    than the form before, no key struck while it sounds, and the lowest key that is struck on a kept place stays there."""
    found = simplify(part, tempo=steady_tempo(100), metre=steady_metre(*metre), drums=drums)

    strokes = 0
    for form in found:
        plan: Plan = form.plan
        slots = level_slots(form.level.name, part, steady_metre(*metre), plan.bars)
        assert np.isin(plan.at_tick, slots).all()
        assert (np.bincount(plan.pitch, minlength=128) <= np.bincount(part.pitch, minlength=128)).all()
        assert len(plan) == np.unique(plan.at_tick * 128 + plan.pitch).size == form.length_tick.size
        assert (form.length_tick > 0).all()
        for key in np.unique(plan.pitch).tolist():
            starts, lengths = plan.at_tick[plan.pitch == key], form.length_tick[plan.pitch == key]
            assert (starts[:-1] + lengths[:-1] <= starts[1:]).all()
        count = np.unique(plan.at_tick).size
        assert form.answered or count >= strokes
        strokes = 0 if form.answered else count
        if not drums and not form.answered:
            for slot in np.intersect1d(slots, part.at_tick).tolist():
                lowest = int(part.pitch[part.at_tick == slot].min())
                assert plan.pitch[plan.at_tick == slot].min() <= lowest
    assert len(part) == len(found[-1].plan)
