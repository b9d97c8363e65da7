"""Exercises and recorded parts as plans."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.errors import PlanError
from heeltap.model.arrays import as_ints
from heeltap.model.exercise import Bar, Exercise, Ladder, Voice
from heeltap.model.plan import ANY_PITCH, Section
from heeltap.model.plan_from import accent_beats, counting_of, plan_of, plan_of_part, swing_ticks
from heeltap.model.sections import sections_from_markers, sections_from_text
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo

ANY = (Voice("any"),)


def _exercise(*bars: str, voices: tuple[Voice, ...] = ANY) -> Exercise:
    return Exercise("x", "X", "", Metre(4, 4), 120.0, voices, tuple(Bar((bar,)) for bar in bars))


def test_strokes_lie_at_their_tick_and_time() -> None:
    """At 120 bpm a quarter is half a second, a bar of rest is two seconds."""
    plan = plan_of(_exercise("1 2&", "-", "4"))

    assert [0, 10_080, 15_120, 110_880] == plan.at_tick.tolist()
    assert [0, 500_000, 750_000, 5_500_000] == plan.at_us.tolist()
    assert [ANY_PITCH] * 4 == plan.pitch.tolist()
    assert 3 == plan.bars


def test_a_swung_eighth_is_late_by_its_ratio_and_thirds_stay() -> None:
    """Two to one puts the short eighth on the last third; sixteenths follow in proportion; triplets do not move."""
    assert [0, 3_360, 6_720, 8_400] == [swing_ticks(t, 2.0) for t in (0, 2_520, 5_040, 7_560)]
    assert [3_360, 6_720] == [swing_ticks(t, 3.0) for t in (3_360, 6_720)]


@given(st.integers(0, 400_000), st.floats(1, 4))
def test_swing_keeps_the_order_of_binary_places(tick: int, ratio: float) -> None:
    """Swinging moves nothing earlier, nothing past the next place, and nothing that is on the beat."""
    places = [tick // 2_520 * 2_520 + step for step in (0, 2_520)]
    moved = [swing_ticks(p, ratio) for p in places]

    assert moved[0] < moved[1]
    assert all(m >= p for m, p in zip(moved, places, strict=True))
    assert all(m == p for m, p in zip(moved, places, strict=True) if p % 10_080 == 0)


def test_voices_sound_together_as_one_stroke() -> None:
    """A chord and the other hand on one tick share a stroke; hands and keys are kept."""
    voices = (Voice("low", (36,), "left"), Voice("high", (60, 64), "right"))
    exercise = replace(_exercise(voices=voices), bars=(Bar(("1 2", "1 3")),))

    plan = plan_of(exercise)

    assert [0, 0, 0, 1, 2, 2] == plan.stroke.tolist()
    assert [36, 60, 64, 36, 60, 64] == plan.pitch.tolist()
    assert [1, 2, 2, 1, 2, 2] == plan.hand.tolist()


def test_accents_become_loudness_only_where_there_are_any() -> None:
    """Without accents the plan does not say how loud."""
    assert [112, 80] == plan_of(_exercise(">1 2")).velocity.tolist()
    assert [0, 0] == plan_of(_exercise("1 2")).velocity.tolist()


def test_fill_landing_and_after_are_labelled() -> None:
    """From the fill's unit on it is fill; the new section's first stroke lands, the rest of its bar comes after."""
    exercise = replace(
        _exercise(),
        bars=(Bar(("1 2 3& 4",), 3), Bar(("2 3",)), Bar(("1",))),
        sections=(Section("a", 1, 1), Section("b", 2, 3)),
    )

    assert [0, 0, 1, 1, 1, 2, 3, 0] == plan_of(exercise).kind.tolist()


def test_a_ladder_changes_the_tempo_at_its_bars() -> None:
    """Two bars at 120, then 132: the third bar starts at 4 s and lasts 1.818 s."""
    exercise = replace(_exercise("1", "1", "1", "1"), ladder=Ladder(2, 10.0))

    assert [0, 2_000_000, 4_000_000, 5_818_180] == plan_of(exercise).at_us.tolist()


@pytest.mark.parametrize(
    ("exercise", "told"),
    [
        (_exercise("-"), "no stroke"),
        (_exercise("9"), "found '9'"),
        (replace(_exercise(), bars=(Bar(("1", "2")),)), "bar 1: 2 lines; expected 1"),
    ],
)
def test_what_cannot_be_planned_is_refused(exercise: Exercise, told: str) -> None:
    """An empty exercise, a wrong pattern, too many lines."""
    with pytest.raises(PlanError, match=told):
        plan_of(exercise)


def test_a_part_keeps_the_files_ticks_and_times() -> None:
    """480 a quarter is exact in 10,080; time goes through the file's own tempo map."""
    tempo = TempoMap(480, as_ints([0, 960]), as_ints([500_000, 600_000]))

    plan = plan_of_part([960, 0, 480, 1200], [60, 61, 62, 63], tempo=tempo, metre=steady_metre())

    assert [0, 10_080, 20_160, 25_200] == plan.at_tick.tolist()
    assert [0, 500_000, 1_000_000, 1_300_000] == plan.at_us.tolist()
    assert [61, 62, 60, 63] == plan.pitch.tolist()


def test_notes_within_thirty_milliseconds_are_one_stroke() -> None:
    """A rolled chord is one stroke as far as its last note lies within 30 ms of the first."""
    tempo = steady_tempo(125, ticks_per_quarter=480)  # a tick is a millisecond

    plan = plan_of_part([0, 20, 30, 31, 480], [60] * 5, tempo=tempo, metre=steady_metre())

    assert [0, 0, 0, 1, 2] == plan.stroke.tolist()


def test_markers_start_sections_at_the_nearest_bar_line() -> None:
    """A marker a little before or after the line means that line; what lies before the first is the opening."""
    markers = [(3 * 1920 - 30, "Verse"), (5 * 1920 + 40, "Chorus "), (5 * 1920, "old"), (7 * 1920, " ")]

    found = sections_from_markers(markers, steady_metre(), 8, ticks_per_quarter=480)

    assert (Section("opening", 1, 3), Section("Verse", 4, 5), Section("Chorus", 6, 8)) == found


def test_a_part_gets_its_markers_as_sections_and_its_landings() -> None:
    """The first stroke of the second section lands."""
    plan = plan_of_part(
        [0, 1920, 2400], [60] * 3, tempo=steady_tempo(120, ticks_per_quarter=480), metre=steady_metre(),
        markers=[(0, "a"), (1920, "b")],
    )  # fmt: skip

    assert (Section("a", 1, 1), Section("b", 2, 2)) == plan.sections
    assert [0, 2, 3] == plan.kind.tolist()


def test_a_part_without_notes_is_no_plan() -> None:
    """Nothing to play, nothing to score."""
    with pytest.raises(PlanError, match="no note"):
        plan_of_part([], [], tempo=steady_tempo(120), metre=steady_metre())


def test_sections_are_read_from_text() -> None:
    """Each runs to the next; a late first one leaves an opening; names may hold colons."""
    assert (Section("intro", 1, 4), Section("verse", 5, 12), Section("chorus", 13, 20)) == sections_from_text(
        "intro:1 verse:5 chorus:13", 20
    )
    assert (Section("opening", 1, 2), Section("a:b", 3, 4)) == sections_from_text("a:b:3", 4)
    assert () == sections_from_text("", 4)


@pytest.mark.parametrize("text", ["verse", "verse:", ":3", "verse:x", "a:3 b:3", "a:3 b:2", "a:0", "a:21", "a:²"])
def test_wrong_section_text_is_refused(text: str) -> None:
    """The word is quoted with what was expected."""
    with pytest.raises(PlanError, match="sections: "):
        sections_from_text(text, 20)


def test_the_counting_line_of_a_swung_bar_lies_on_its_strokes() -> None:
    """Every planned stroke stands exactly at one syllable, swung or not."""
    for ratio in (1.0, 1.7, 2.0):
        plan = plan_of(replace(_exercise("1 2 3 4", "1& 2e&a 3tl (4)&"), swing_ratio=ratio))

        places = {round(s.at_quarter * 10_080) for s in counting_of(plan, 2)}

        strokes = plan.at_tick[plan.at_tick >= 40_320] - 40_320
        assert set(strokes.tolist()) <= places


def test_the_counting_line_follows_the_metre_of_its_bar() -> None:
    """A change of metre changes what is counted."""
    metre = MetreMap(np.array([0.0, 4.0]), (Metre(4, 4), Metre(6, 8)))
    plan = plan_of_part([0, 4 * 480 + 240], [60, 60], tempo=steady_tempo(120, ticks_per_quarter=480), metre=metre)

    assert "1 2 3 4" == " ".join(s.text for s in counting_of(plan, 1))
    assert "1 2 3 4 5 6" == " ".join(s.text for s in counting_of(plan, 2))


def test_two_to_one_swing_is_counted_with_the_and() -> None:
    """At 2 to 1 the swung eighth falls on the third of the beat and is still counted as the "and"."""
    plan = plan_of(replace(_exercise("1& 2 3& 4"), swing_ratio=2.0))

    assert ["1", "&", "2", "3", "&", "4"] == [syllable.text for syllable in counting_of(plan, 1)]


def test_accents_of_an_exercise_are_its_beats() -> None:
    """What is accented every time it is played carries an accent; a plan without marks leaves loudness free."""
    assert (1.0, 3.0) == accent_beats(plan_of(_exercise(">1 2 >3 4", ">1 2 >3 4")))
    assert (1.0,) == accent_beats(plan_of(_exercise(">1 2 >3 4", ">1 2 3 4")))
    assert () == accent_beats(plan_of(_exercise("1 2 3 4")))
