"""The score: ordered as ears would order, falling with every fault, on a scale that moves when a player gets better."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.analysis.offsets_of import judge_plan
from heeltap.analysis.score import FARTHEST, distance, place_weight, score
from heeltap.model.offsets import Offsets, Tally
from heeltap.model.subdivisions import BEAT, EIGHTH, SIXTEENTH, SWUNG, TRIPLET
from heeltap.model.timeline import MetreMap, steady_metre
from tests.makers.amounts import amount
from tests.makers.judgements import RANDOM, SCORE_TABLE, mean_score, week_of_scores
from tests.makers.players import FIGURES, Player, full_range_player, make_part, ordinary_player, play_part
from tests.makers.tables import noise, offsets_table

CLEAN = Tally(0, 0, 0, 0, 0, 0)

offset_lists = st.lists(st.floats(-150, 150), min_size=1, max_size=30)
leans = st.sampled_from([-15.0, 0.0, 15.0])


def table(offset_ms: list[float] | np.ndarray, *, beat_ms: float = 500.0, seed: int = 1) -> Offsets:
    """Eighths in 4/4 with the given offsets."""
    return offsets_table(np.asarray(offset_ms, dtype=np.float64), np.random.default_rng(seed), beat_ms=beat_ms)


def points(
    offset_ms: list[float] | np.ndarray, tally: Tally = CLEAN, lean_ms: float = 0.0, centre_ms: float | None = None
) -> float:
    """The bare number."""
    value = score(table(offset_ms), tally, lean_ms=lean_ms, centre_ms=centre_ms).value
    assert value is not None
    return value


def test_dead_on_earns_everything() -> None:
    """Every stroke at the lean, none missed, none extra: 100."""
    assert points([0.0] * 40) == 100.0
    assert points([15.0] * 40, lean_ms=15.0) == 100.0


@given(offset_lists, st.data(), leans, st.floats(0, 60))
def test_a_stroke_further_from_the_lean_never_scores_more(
    offsets: list[float], data: st.DataObject, lean: float, more: float
) -> None:
    """Moving one stroke away from the lean, on its own side, never raises the score."""
    row = data.draw(st.integers(0, len(offsets) - 1))
    moved = list(offsets)
    moved[row] += more if offsets[row] >= lean else -more

    assert points(moved, lean_ms=lean) <= points(offsets, lean_ms=lean) + 1e-9


@given(offset_lists, st.integers(0, 20), st.integers(0, 20), st.integers(0, 5))
def test_misses_and_extras_never_score_more(offsets: list[float], missed: int, extra: int, more: int) -> None:
    """More misses or extras never raise the score; which of the struck keys were wrong changes nothing."""
    n = len(offsets)
    wrong = min(more, n)
    before = points(offsets, Tally(n + missed, n, missed, extra, 0, 0))

    assert points(offsets, Tally(n + missed, n, missed + more, extra, 0, 0)) <= before + 1e-9
    assert points(offsets, Tally(n + missed, n, missed, extra + more, 0, 0)) <= before + 1e-9
    assert points(offsets, Tally(n + missed, n - wrong, missed, extra, wrong, 0)) == before


@given(st.floats(0, 3), st.floats(0.05, 2.0))
def test_wider_scatter_and_more_bias_never_score_more(scale: float, more: float) -> None:
    """Stretching all offsets about the lean, or shifting them further, never raises the score."""
    shape = noise("ar35", 64, np.random.default_rng(4), sd_ms=10.0)

    assert points(shape * (scale + more)) <= points(shape * scale) + 1e-9
    assert points(np.abs(shape) + 10 * (scale + more)) <= points(np.abs(shape) + 10 * scale) + 1e-9


@given(st.floats(-80, -1), leans)
def test_the_strict_side_is_across_the_lean(away: float, lean: float) -> None:
    """With a lean behind, early costs more than as much late; ahead, the other way; with none, alike."""
    early, late = points([lean + away] * 8, lean_ms=lean), points([lean - away] * 8, lean_ms=lean)

    if lean == 0:
        assert early == pytest.approx(late)
    else:
        assert (early - late) * lean <= 1e-9


@pytest.mark.parametrize("tempo_bpm", [96.0, 120.0, 160.0])
@pytest.mark.parametrize(("player", "least", "most"), SCORE_TABLE)
def test_the_scale_is_that_of_published_spreads(
    player: tuple[float, float], least: float, most: float, tempo_bpm: float
) -> None:
    """White noise, quarters, lean 0: best trained 2 % of the beat, ordinary 2-4 %, untrained 4-8 % (Repp 2005)."""
    takes, n = (60, 96) if player == RANDOM else (20, 128)

    assert least <= mean_score(player, np.random.default_rng(101), tempo_bpm=tempo_bpm, takes=takes, n=n) <= most


@pytest.mark.parametrize("player", [(0.0, 2.0), (0.0, 4.0), (-3.0, 2.0)])
def test_slow_beats_are_judged_more_strictly_in_percent(player: tuple[float, float]) -> None:
    """The same spread in % of the beat is more milliseconds at 60 bpm, and a flam is heard in milliseconds."""
    slow, usual = (mean_score(player, np.random.default_rng(102), tempo_bpm=bpm, takes=10) for bpm in (60.0, 120.0))

    assert slow < usual - 5


@pytest.mark.parametrize("seed", range(5))
def test_a_week_of_getting_tighter_is_seen(seed: int) -> None:
    """42 takes from 22 to 12 ms of spread: the means of seven days rise by 15 points and never fall by more than 3."""
    days = week_of_scores(np.random.default_rng(200 + seed))

    assert days[-1] - days[0] >= 15
    assert np.diff(days).min() >= -3


def test_early_costs_more_than_late_where_the_lean_is_behind() -> None:
    """20 ms behind is the aim: 8 ms before it costs more than 8 ms after it."""
    assert points([12.0] * 40, lean_ms=20.0) < points([28.0] * 40, lean_ms=20.0)


def test_about_the_takes_own_middle_only_tightness_counts() -> None:
    """With the centre given, a constant delay of 60 ms costs nothing and no side is the strict one."""
    loose = noise("ar0", 64, np.random.default_rng(3), sd_ms=15.0)

    assert points(loose, centre_ms=0.0) == points(loose + 60.0, lean_ms=20.0, centre_ms=60.0)


def test_one_stroke_a_beat_away_does_not_spoil_a_take() -> None:
    """Beyond three half-widths of the pocket distances are all the same."""
    assert distance(table([400.0, -400.0])).tolist() == [FARTHEST, FARTHEST]


@pytest.mark.parametrize("beat_ms", [300.0, 500.0, 1000.0])
@pytest.mark.parametrize("lean", [0.0, 20.0])
@pytest.mark.parametrize("n", [48, 400])
def test_random_timing_earns_nothing(beat_ms: float, lean: float, n: int) -> None:
    """Strokes anywhere between their slots score 0 +- 2 on average."""
    rng = np.random.default_rng(7)
    for per_bar in (4, 8, 16):
        half = 2 * beat_ms / per_bar
        tables = [offsets_table(rng.uniform(-half, half, n), rng, per_bar=per_bar, beat_ms=beat_ms) for _ in range(60)]
        values = [score(one, CLEAN, lean_ms=lean).value for one in tables]

        assert np.mean([v for v in values if v is not None]) == pytest.approx(0.0, abs=2.0)


def graded(grade: str, rng: np.random.Generator) -> Player:
    """A player of one grade: what separates them is spread, bias, rush, misses and extras."""
    spread, bias, rush, missing = {
        "advanced": (8.0, 4.0, 5.0, 0.01),
        "intermediate": (18.0, 12.0, 15.0, 0.04),
        "beginner": (32.0, 20.0, 35.0, 0.10),
        "random": (400.0, 0.0, 0.0, 0.10),
    }[grade]
    swing = rng.uniform(0.75, 1.33)
    return Player(
        bias_ms=bias * swing * rng.choice([-1, 1]),
        spread_ms=spread * swing,
        noise=str(rng.choice(["white", "ar", "wander"])),
        rush_ms=rush,
        missing=missing,
        extra=missing,
    )


def played(player: Player, rng: np.random.Generator, tempo_bpm: float) -> float:
    """Score of one take of a random part, every note judged against the slot it was meant for."""
    part = make_part(rng, str(rng.choice(FIGURES)), tempo_bpm=tempo_bpm, bars=12)
    take = play_part(rng, part, player)
    judged = judge_plan(part, take.notes, take.match, np.ones(len(part)), delay_ms=player.delay_ms)
    value = score(judged.offsets, judged.tally).value
    assert value is not None
    return value


def test_grades_come_out_in_order() -> None:
    """Of pairs of simulated players one grade apart, the better one has the higher score in at least 0.9."""
    rng = np.random.default_rng(11)
    values = {
        grade: np.array(
            [played(graded(grade, rng), rng, float(rng.uniform(60, 130))) for _ in range(amount(80, fast=30))]
        )
        for grade in ("advanced", "intermediate", "beginner")
    }

    assert np.mean(values["advanced"][:, None] > values["intermediate"]) >= 0.9
    assert np.mean(values["intermediate"][:, None] > values["beginner"]) >= 0.9


def test_beginners_score_above_random() -> None:
    """A beginner is above somebody who strikes anywhere in at least 0.9 of pairs."""
    rng = np.random.default_rng(12)
    beginner = np.array(
        [played(graded("beginner", rng), rng, float(rng.uniform(60, 110))) for _ in range(amount(80, fast=30))]
    )
    chance = np.array(
        [played(graded("random", rng), rng, float(rng.uniform(60, 110))) for _ in range(amount(80, fast=30))]
    )

    assert np.mean(beginner[:, None] > chance) >= 0.9


@pytest.mark.parametrize("anyone", [ordinary_player, full_range_player])
@pytest.mark.slow
def test_tempo_matters_little(anyone: object) -> None:
    """Over players whose spread in ms does not depend on the tempo, score and tempo correlate by less than 0.5."""
    rng = np.random.default_rng(13)
    tempo = rng.uniform(50, 200, 150)
    values = [played(anyone(rng), rng, float(bpm)) for bpm in tempo]  # type: ignore[operator]

    assert abs(np.corrcoef(tempo, values)[0, 1]) <= 0.5


def test_nothing_played_is_zero_and_nothing_planned_is_nothing() -> None:
    """All missed scores 0; a take without plan and strokes has no score."""
    empty = table([1.0]).pick(np.zeros(0, np.int64))

    assert score(empty, replace(CLEAN, planned=4, missed=4)).value == 0.0
    assert score(empty, CLEAN).value is None


def test_the_parts_add_up() -> None:
    """Score plus what misses and extras cost is the score without them."""
    shaky = table(noise("ar35", 64, np.random.default_rng(4), sd_ms=15.0))
    clean, full = score(shaky, CLEAN), score(shaky, Tally(70, 64, 6, 8, 0, 0))

    assert full.value is not None
    assert full.value + full.lost_to_misses + full.lost_to_extras == pytest.approx(clean.value, abs=1.0)
    assert full.lost_to_misses > 0 < full.lost_to_extras


def test_the_tightest_take_pays_for_a_missed_stroke() -> None:
    """Dead on but four in a hundred missed is not 100."""
    assert points([0.0] * 96, Tally(100, 96, 4, 0, 0, 0)) < 96


def test_two_and_four_weigh_most_where_there_is_a_backbeat() -> None:
    """4/4 and 6/8 have a backbeat; 3/4 has none."""
    bar, beat = np.ones(4, np.int64), np.array([1.0, 2.0, 3.0, 4.0])
    on = np.full(4, BEAT)

    assert place_weight(bar, beat, on, metre=steady_metre(4, 4)).tolist() == [1.25, 1.5, 1.25, 1.5]
    assert place_weight(bar[:3], beat[:3], on[:3], metre=steady_metre(3, 4)).tolist() == [1.25, 1.25, 1.25]
    assert place_weight(bar[:2], beat[:2], on[:2], metre=steady_metre(6, 8)).tolist() == [1.25, 1.5]


def test_between_the_beats_weighs_less() -> None:
    """Eighths and swung eighths 1, finer 0.75; the thirds of a compound beat are its plain division."""
    bar, beat = np.ones(4, np.int64), np.array([1.5, 1.25, 1.667, 4.333])
    kind = np.array([EIGHTH, SIXTEENTH, SWUNG, TRIPLET])

    assert place_weight(bar, beat, kind, metre=steady_metre(4, 4)).tolist() == [1.0, 0.75, 1.0, 0.75]
    assert place_weight(bar, beat, kind, metre=steady_metre(12, 8)).tolist() == [1.0, 0.75, 1.0, 1.0]


def test_the_weights_follow_a_change_of_metre() -> None:
    """A song that goes from 4/4 to 3/4 loses its backbeat there."""
    song = MetreMap(np.array([0.0, 4.0]), (steady_metre(4, 4).metres[0], steady_metre(3, 4).metres[0]))
    weights = place_weight(np.array([1, 2]), np.array([2.0, 2.0]), np.full(2, BEAT), metre=song)

    assert weights.tolist() == [1.5, 1.25]


@settings(max_examples=50)
@given(offset_lists, leans)
def test_the_score_is_a_number_from_0_to_100(offsets: list[float], lean: float) -> None:
    """Whatever was played, it is a whole number on the scale."""
    found = score(table(offsets), CLEAN, lean_ms=lean)

    assert isinstance(found.value, int)
    assert 0 <= found.value <= 100
