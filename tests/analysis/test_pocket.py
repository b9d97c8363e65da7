"""The pocket: what a musician would sign, in milliseconds of what sounds and not of the player's own gaps."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, analyse
from heeltap.analysis.pocket import beat_half_width_ms, centre_of, half_width_ms, in_pocket, pocket_of
from heeltap.model.notes import make_notes
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.model.subdivisions import BEAT, EIGHTH, FINE, SIXTEENTH
from heeltap.session.plan_columns import columns_of
from tests.makers.drills import counted_plan
from tests.makers.judgements import quarters_table
from tests.makers.tables import offsets_table


@pytest.mark.parametrize(
    ("tempo_bpm", "half_ms"), [(40, 25.0), (96, 25.0), (120, 20.0), (160, 15.0), (200, 12.0), (300, 12.0)]
)
def test_on_the_beat_it_is_four_percent_within_what_is_heard_as_one_and_as_two(
    tempo_bpm: float, half_ms: float
) -> None:
    """4 % of the beat, never under 12 ms nor over 25."""
    assert float(beat_half_width_ms(60_000 / tempo_bpm)) == pytest.approx(half_ms)


def test_between_the_beats_it_is_half_as_wide_again() -> None:
    """Big beats first: at 120 bpm 20 ms on the beat, 30 on eighths and sixteenths."""
    halves = half_width_ms(500.0, [BEAT, EIGHTH, SIXTEENTH], [500.0, 250.0, 125.0])

    assert halves.tolist() == [20.0, 30.0, 30.0]


def test_a_run_cannot_be_in_the_pocket_by_luck() -> None:
    """Sixty-fourths at 120 bpm stand 31 ms apart: the pocket takes in no more than half of that."""
    assert half_width_ms(500.0, [FINE], [31.25]).tolist() == [31.25 / 4]


def test_a_grace_beside_a_beat_leaves_its_pocket_alone() -> None:
    """A planned neighbour 30 ms away narrows nothing on a beat."""
    assert half_width_ms(500.0, [BEAT], [30.0]).tolist() == [20.0]


def test_the_users_own_half_width_holds_everywhere() -> None:
    """With a pocket given, beats and what lies between have the same."""
    assert half_width_ms(500.0, [BEAT, EIGHTH], [500.0, 250.0], 7.0).tolist() == [7.0, 7.0]


def test_how_often_a_stroke_comes_changes_nothing_on_a_beat() -> None:
    """One stroke in four beats has the pocket that four have: what counts is the click, which sounds on each."""
    sparse = replace(quarters_table(np.array([24.0, 26.0]), np.random.default_rng(1), tempo_bpm=96))
    sparse = replace(sparse, interval_ms=np.full(2, 2500.0))

    assert in_pocket(sparse).tolist() == [True, False]


def test_the_edge_is_inside_and_the_centre_is_the_aim() -> None:
    """20 ms to either side of the centre at 120 bpm."""
    table = offsets_table(np.array([0.0, 30.0, 40.0, 41.0]), np.random.default_rng(1), per_bar=4)

    assert in_pocket(table, centre_ms=20.0).tolist() == [True, True, True, False]
    assert in_pocket(table, centre_ms=20.0, pocket_ms=10.0).tolist() == [False, True, False, False]


def test_the_centre_is_the_middle_where_the_delay_is_not_known() -> None:
    """The lean with a known delay, else the median."""
    table = quarters_table(np.array([40.0, 50.0, 90.0]), np.random.default_rng(1), tempo_bpm=120)

    assert (10.0, 50.0) == tuple(centre_of(table, 10.0, delay_known=known) for known in (True, False))


def robot(early_ms: float, *, delay_ms: float | None = 0.0) -> Result:
    """Two and four at 96 bpm for sixteen bars, every stroke as early as that."""
    plan = counted_plan(["2 4"] * 16, bpm=96)
    at = plan.at_us - round(1000 * early_ms)
    notes = make_notes(at, np.full(at.size, 60), np.full(at.size, 80), duration_us=np.full(at.size, 50_000))
    return analyse(Played(notes, plan.tempo, plan.metre, plan, file="take"), Options(delay_ms=delay_ms))


def test_39_ms_early_is_not_in_the_pocket() -> None:
    """A robot 39 ms early on every backbeat: nothing in the pocket, nothing held, next to no score."""
    result = robot(39.0)

    assert (0.0, 0.0) == (result.overall.in_pocket, result.overall.held)
    assert (result.overall.score or 0) <= 30
    assert 25.0 == result.overall.pocket_ms


def test_the_same_robot_on_gear_of_unknown_delay_is_tight_and_no_more() -> None:
    """All of it may be the gear's delay: the figures are about the take's own middle, which is said to be 39 ms off."""
    result = robot(39.0, delay_ms=None)

    assert (1.0, 100, -39.0) == (result.overall.in_pocket, result.overall.score, result.overall.centre_ms)


def test_the_screen_draws_the_pocket_that_the_report_counts() -> None:
    """Beat for beat the same half-width as the table, in microseconds."""
    plan = counted_plan(["1 & 2 & 3 & 4 &"] * 4, bpm=120)
    notes = make_notes(
        plan.at_us, np.full(len(plan), 60), np.full(len(plan), 80), duration_us=np.full(len(plan), 50_000)
    )
    from heeltap.analysis.analyse import judge_take

    judged, _, _ = judge_take(Played(notes, plan.tempo, plan.metre, plan), Options(delay_ms=0.0))

    assert (1000 * pocket_of(judged.offsets)).tolist() == [one.pocket_us for one in columns_of(plan).targets]
