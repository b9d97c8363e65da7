"""The tempo of a take and whether it keeps to its grid at all."""

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, Played, analyse
from heeltap.analysis.quantise import quantise
from heeltap.analysis.quantise.tempo_check import off_grid_reason, played_tempo, warp_for, warp_price
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from tests.makers.grooves import Player, make_groove


def _steady(rate: float = 0.0, pulses: int = 128, noise: float = 0.02, seed: int = 1) -> np.ndarray:
    """Places of steady eighths played at another rate."""
    at = np.arange(0, pulses, 0.5) / (1 + rate)
    return np.sort(np.abs(at + np.random.default_rng(seed).normal(0, noise, at.size)))


@pytest.mark.parametrize("rate", [-0.02, -0.003, 0.0, 0.003, 0.01])
def test_the_path_tells_the_rate(rate: float) -> None:
    """Within half a step of the rates tried."""
    tempo_path = played_tempo(_steady(rate), 132)

    assert rate == pytest.approx(float(np.mean(tempo_path.rate)), abs=5e-4)
    assert tempo_path.strength >= tempo_path.strength_as_written


def test_the_bend_undoes_the_rate() -> None:
    """Strokes at a wrong rate, bent by their own pace, stand within 3 % of a pulse of the grid again."""
    at = _steady(0.004, noise=0.0)
    warped = np.interp(at, np.arange(133), warp_for(played_tempo(at, 132), 132))

    assert np.abs(warped * 2 - np.round(warped * 2)).max() / 2 < 0.03 + 0.0005 * 128 / 2


def test_a_player_with_the_click_is_left_alone() -> None:
    """A wander of 15 ms about the click is no other tempo."""
    for seed in range(10):
        rng = np.random.default_rng(seed)
        groove = make_groove(rng, Player("sixteenths", 110.0, bars=32, wander_ms=15.0, spread_ms=10.0, run_ms=-60.0))

        assert 1.0 == quantise(groove.take_us, 110.0, "4/4").tempo_scale


@pytest.mark.parametrize("drift", [0.01, -0.01, 0.03])
def test_a_tempo_that_drifts_is_followed(drift: float) -> None:
    """One to three per cent over 32 bars: told as the player's own doing, at least 97 of 100 slots right."""
    rng = np.random.default_rng(3)
    groove = make_groove(rng, Player("eighths", 118.0, bars=32, spread_ms=9.0, tempo_drift=drift))
    slots = quantise(groove.take_us, 118.0, "4/4")
    has = np.isfinite(groove.meant)

    assert 1 + drift / 2 == pytest.approx(slots.tempo_scale, abs=0.0015)
    assert ("speed up" if drift > 0 else "slow down") in slots.warnings[0]
    assert "if the click" not in slots.warnings[0]
    with np.errstate(invalid="ignore"):
        assert 0.97 <= float((np.abs(slots.quarter - groove.meant)[has] < 0.03).mean())


def test_strokes_at_random_raise_a_doubt() -> None:
    """Of 40 takes at random none is taken for one on the grid; of 40 played ones none is doubted."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        assert off_grid_reason(played_tempo(np.sort(rng.uniform(0, 128, 200)), 130), warped=False)
        assert not off_grid_reason(played_tempo(_steady(seed=int(rng.integers(1000))), 130), warped=False)


def test_random_strokes_have_no_clear_tempo_of_their_own() -> None:
    """Of 200 takes of strokes at random none shows another tempo clearly enough to be believed without a likelier reading."""
    rng = np.random.default_rng(6)
    for _ in range(200):
        tempo_path = played_tempo(np.sort(rng.uniform(0, 64, int(rng.integers(12, 200)))), 66)

        assert warp_price(tempo_path, 66, 500.0) > 0


def test_too_few_strokes_are_not_judged() -> None:
    """From eleven strokes nothing is said."""
    tempo_path = played_tempo(np.sort(np.random.default_rng(7).uniform(0, 30, 11)), 32)

    assert "" == off_grid_reason(tempo_path, warped=False)
    assert np.inf == warp_price(tempo_path, 32, 500.0)


def test_a_nearly_empty_take_has_no_pace() -> None:
    """Blocks with fewer than six strokes are skipped; with none left, nothing is said."""
    tempo_path = played_tempo(np.array([1.0, 200.0, 400.0]), 402)

    assert 0 == tempo_path.rate.size
    assert "" == off_grid_reason(tempo_path, warped=False)


@pytest.mark.parametrize(
    "per_beat", [1, pytest.param(2, marks=pytest.mark.slow), pytest.param(4, marks=pytest.mark.slow)]
)
def test_more_drift_never_scores_better(per_beat: int) -> None:
    """Strokes that speed up evenly over 32 bars: the score falls and stays down, and the drift is said in milliseconds."""
    scores = [score_of_drift(ms, per_beat)[0] for ms in (0, 20, 40, 60, 80, 100, 120, 200, 400, 1000)]

    assert sorted(scores, reverse=True) == scores
    assert 0 == scores[-1]
    warnings = score_of_drift(120, per_beat)[1]
    assert "against the written 120.00 bpm you speed up by 12" in warnings[0]
    assert "if the click really ran at 120.2" in warnings[0]


@pytest.mark.parametrize(("power", "other_click"), [(1, True), (2, False)])
@pytest.mark.parametrize("ms", [100, 120, 160, 200])
def test_a_player_who_gains_faster_and_faster_is_no_other_click(ms: float, power: int, other_click: bool) -> None:
    """32 bars of eighths that gain evenly fit another click; those whose gain grows fit none, and the drift is told alone."""
    gone = np.arange(256) / 256
    at = np.arange(256) * 250_000 - 1000 * ms * gone**power
    onset = np.round(at + np.random.default_rng(5).normal(0, 6_000, 256)).astype(np.int64)
    warnings = quantise(onset, 120.0, "4/4").warnings

    assert "you speed up by" in warnings[0]
    assert other_click == ("if the click really ran" in warnings[0])


def score_of_drift(ms: float, per_beat: int) -> tuple[int, tuple[str, ...]]:
    """Score and warnings of 32 bars at 120 bpm that gain so many milliseconds from the first stroke to the last."""
    count = 128 * per_beat
    at = np.arange(count) * 500_000 / per_beat - 1000 * ms * np.arange(count) / count
    onset = np.round(at + np.random.default_rng(5).normal(0, 6_000, count)).astype(np.int64)
    notes = make_notes(onset, np.full(count, 60), np.full(count, 80))
    result = analyse(Played(notes, steady_tempo(120.0), steady_metre(4, 4), None), Options(delay_ms=0.0))
    assert result.overall.score is not None
    return result.overall.score, result.warnings
