"""From matches and slots to the Offsets table: offsets, counts and columns of takes with known truth."""

import numpy as np
import pytest

from heeltap.analysis.offsets_of import Shift, group_median, judge_grid, judge_plan
from heeltap.analysis.quantise import Slots
from heeltap.model.notes import make_notes
from heeltap.model.plan import Section
from heeltap.model.subdivisions import BEAT, DIVISIONS, EIGHTH
from heeltap.model.timeline import steady_metre, steady_tempo
from tests.makers.plans import plan_of_quarters


def sure(size: int) -> np.ndarray:
    """Full confidence for so many notes."""
    return np.ones(size)


def slots_at(quarter: list[float], division: list[int]) -> Slots:
    """Slots in 4/4 at 120 bpm; nan is no slot."""
    at = np.array(quarter)
    missing = np.isnan(at)
    bar, beat = steady_metre().bar_beat(np.nan_to_num(at))
    return Slots(
        bar=np.where(missing, 0, bar),
        beat=np.where(missing, np.nan, beat),
        quarter=at,
        division=np.array(division),
        offset_ms=np.zeros(at.size),
        confidence=sure(at.size),
        reference_us=np.round(np.nan_to_num(at) * 500_000).astype(np.int64),
        log_ratio=np.full(at.size, np.nan),
        swing=None,
    )


def test_offset_is_played_minus_planned() -> None:
    """Early is negative, late is positive, and the known delay is taken away."""
    plan = plan_of_quarters([0, 1, 2, 3])
    notes = make_notes([10_000, 490_000, 1_020_000, 1_510_000], [60] * 4)

    judged = judge_plan(plan, notes, np.arange(4), sure(4), delay_ms=10.0)

    assert [0.0, -20.0, 10.0, 0.0] == judged.offsets.offset_ms.tolist()


def test_counts_add_up() -> None:
    """Planned notes are matched, on another key, or missed; what nobody planned is extra."""
    plan = plan_of_quarters([0, 1, 2, 3], pitches=[60, 60, 60, 60])
    notes = make_notes([0, 500_000, 700_000, 1_500_000], [60, 62, 70, 60])

    tally = judge_plan(plan, notes, np.array([0, 1, -1, 3]), sure(4)).tally

    assert (4, 2, 1, 1, 1) == (tally.planned, tally.matched, tally.wrong_pitch, tally.missed, tally.extra)


def test_a_chord_is_one_stroke_at_its_median_note() -> None:
    """Three notes of a chord make one row, timed by the middle one; its spread is last minus first."""
    plan = plan_of_quarters([0, 0, 0, 1], pitches=[60, 64, 67, 60])
    notes = make_notes([0, 4_000, 20_000, 500_000], [60, 64, 67, 60], [50, 90, 60, 70])

    offsets = judge_plan(plan, notes, np.arange(4), sure(4)).offsets

    assert [4.0, 0.0] == offsets.offset_ms.tolist()
    assert [20.0, 0.0] == offsets.spread_ms.tolist()
    assert [90, 70] == offsets.velocity.tolist()


def test_doubtful_strokes_are_listed_but_not_judged() -> None:
    """A match that is more doubtful than not stays in the note list and leaves the statistics."""
    judged = judge_plan(plan_of_quarters([0, 1]), make_notes([0, 500_000], [60, 60]), np.arange(2), np.array([1, 0.2]))

    assert 1 == len(judged.offsets)
    assert 1 == judged.doubtful
    assert ["matched", "matched"] == [row.status for row in judged.rows]


def test_musical_columns_name_bar_beat_division_and_neighbours() -> None:
    """The "and" of two in bar 2 is an eighth, a quarter of a second from both neighbours at 120 bpm."""
    plan = plan_of_quarters([4, 5, 5.5, 6], sections=(Section("a", 1, 1), Section("b", 2, 2)))
    notes = make_notes(plan.at_us, [60] * 4)

    offsets = judge_plan(plan, notes, np.arange(4), sure(4)).offsets

    assert [2, 2, 2, 2] == offsets.bar.tolist()
    assert [1.0, 2.0, 2.5, 3.0] == offsets.beat.tolist()
    assert [BEAT, BEAT, EIGHTH, BEAT] == offsets.division.tolist()
    assert [500.0, 250.0, 250.0, 250.0] == offsets.interval_ms.tolist()
    assert [500.0, 500.0, 250.0, 250.0] == offsets.rest_ms.tolist()
    assert [1, 1, 1, 1] == offsets.section.tolist()
    assert [0, 0, 0, 0] == offsets.bars_since_change.tolist()


def test_drums_are_no_distances() -> None:
    """On channel 10 a stroke bears its loudest drum and no leap; on other channels it bears leaps and no drum."""
    plan = plan_of_quarters([0, 1, 1, 2], pitches=[36, 42, 38, 51])
    times, keys, velocities = [0, 500_000, 501_000, 1_000_000], [36, 42, 38, 51], [90, 60, 100, 70]
    kit = make_notes(times, keys, velocities, channel=[9] * 4)
    keyboard = make_notes(times, keys, velocities)
    on_kit, on_keys = (judge_plan(plan, notes, np.arange(4), sure(4)).offsets for notes in (kit, keyboard))

    assert ([36, 38, 51], [0, 0, 0]) == (on_kit.drum.tolist(), on_kit.leap.tolist())
    assert ([-1, -1, -1], [0, 2, 13]) == (on_keys.drum.tolist(), on_keys.leap.tolist())


def test_a_missed_stroke_still_counts_as_a_neighbour() -> None:
    """Intervals come from what was planned, not from what happened to be played."""
    plan = plan_of_quarters([0, 0.5, 1])

    offsets = judge_plan(plan, make_notes([0, 500_000], [60, 60]), np.array([0, -1, 1]), sure(3)).offsets

    assert [250.0, 250.0] == offsets.interval_ms.tolist()


def test_rows_list_missed_notes_at_their_planned_time() -> None:
    """A missed note has its planned place, no velocity and no offset."""
    judged = judge_plan(plan_of_quarters([0, 1]), make_notes([0], [60]), np.array([0, -1]), sure(2))

    missed = judged.rows[1]
    assert ("missed", 0.5, None, 0, 2.0) == (
        missed.status,
        missed.time_s,
        missed.offset_ms,
        missed.velocity,
        missed.beat,
    )


def test_nothing_played_and_nothing_planned_are_answers() -> None:
    """Empty takes and empty plans give empty tables, not errors."""
    nobody = judge_plan(plan_of_quarters([0, 1]), make_notes([], []), np.array([-1, -1]), sure(2))
    nothing = judge_plan(plan_of_quarters([]), make_notes([0], [60]), np.array([], np.int64), sure(0))

    assert (0, 2) == (len(nobody.offsets), nobody.tally.missed)
    assert (0, 1) == (len(nothing.offsets), nothing.tally.extra)


def test_grid_strokes_take_the_offset_from_their_slot() -> None:
    """Two notes of a stroke share its slot and keep their own offsets in the note list."""
    notes = make_notes([5_000, 9_000, 480_000, 900_000], [60, 64, 60, 60])
    slots = slots_at([0.0, 1.0, np.nan], [BEAT, BEAT, -1])

    judged = judge_grid(notes, np.array([0, 0, 1, 2]), slots, tempo=steady_tempo(120), metre=steady_metre())

    assert [7.0, -20.0] == judged.offsets.offset_ms.tolist()
    assert [5.0, 9.0, -20.0, None] == [row.offset_ms for row in judged.rows]
    assert ["matched", "matched", "matched", "unplaced"] == [row.status for row in judged.rows]
    assert (3, 1) == (judged.tally.matched, judged.tally.unplaced)


def test_a_leader_moves_the_reference() -> None:
    """Where the drums lag by 20 ms, a stroke 25 ms behind the click is 5 ms behind the drums, and says how sure that is."""
    plan = plan_of_quarters([0, 1])
    notes = make_notes([25_000, 500_000], [60, 60])
    shift = Shift(np.array([20.0, 0.0]), np.array([3.0, 4.0]))

    offsets = judge_plan(plan, notes, np.arange(2), sure(2), shift=shift).offsets

    assert [5.0, 0.0] == offsets.offset_ms.tolist()
    assert [3.0, 4.0] == offsets.reference_sd_ms.tolist()


def test_group_median_equals_numpy_for_each_group(rng: np.random.Generator) -> None:
    """The one-pass median of groups is the plain median of each; an empty group has none."""
    values, group = rng.normal(size=200), rng.integers(0, 20, size=200)

    medians = group_median(values, group, 21)

    expected = [np.median(values[group == g]) for g in range(20)]
    assert pytest.approx(expected) == medians[:20].tolist()
    assert np.isnan(medians[20])


def test_every_division_code_has_a_name() -> None:
    """Codes index the table of names."""
    assert "beat" == DIVISIONS[BEAT]
