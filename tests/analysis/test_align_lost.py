"""Silence is silence, and a lost player is found again: the aligner's leaps, both ways."""

import os

import numpy as np
import pytest

from heeltap.analysis.align import align
from tests.bench.bench_lost import LOST, LostFigures, lost_takes, measure, silent_takes

SILENCES = ("exercise rest", "exercise stop", "loop rest", "loop stop")


def _seed() -> int:
    return int(os.environ.get("HEELTAP_SEED") or np.random.SeedSequence().generate_state(1)[0])


@pytest.mark.parametrize("kind", SILENCES)
def test_a_silence_moves_no_stroke(kind: str) -> None:
    """A player who drops out for bars or stops is missing there; no note played elsewhere answers for the silence."""
    got = measure(silent_takes(kind, np.random.default_rng(5), 12), silence=True, calibrated=True)

    assert got.stray == 0
    assert got.f1 >= 0.99


def test_a_loop_that_stops_keeps_what_was_played() -> None:
    """Eight times the same bar, played four times: half is played as planned, half is missing with certainty."""
    plan = (np.arange(8)[:, None] * 2_000_000 + np.array([0, 500_000, 750_000, 1_500_000])).ravel()
    keys = np.tile([60, 62, 64, 65], 8)

    found = align(plan, keys, plan[:16] + 20_000, keys[:16], delay_ms=20.0)

    assert [*range(16), *[-1] * 16] == found.match.tolist()
    assert found.confidence.min() > 0.99


def test_a_dropped_bar_is_found_though_half_of_each_bar_repeats() -> None:
    """A bar left out where every other note is the same in all bars: what follows is matched a bar early, not as wrong keys."""
    keys = np.tile([60, 62, 64, 65], 12)
    keys[1::4] = 40 + 7 * np.arange(12) % 17
    keys[3::4] = 70 + 11 * np.arange(12) % 19
    plan = np.arange(48) * 500_000
    kept = np.concatenate([np.arange(16), np.arange(20, 48)])
    played = plan[kept] - np.where(kept >= 20, 2_000_000, 0)

    found = align(plan, keys, played, keys[kept], delay_ms=0.0)

    assert list(range(17, 44)) == found.match[21:].tolist()
    assert [-1] * 3 == found.match[17:20].tolist()


def test_lost_players_are_found() -> None:
    """Seven takes of each way to lose the click: F1 of the pairs, and misses that are called sure."""
    got = LostFigures()
    for kind in LOST:
        got += measure(lost_takes(kind, np.random.default_rng(8), 7), silence=False, calibrated=False)

    assert got.f1 >= 0.993
    assert got.miss_rate >= 0.99


@pytest.mark.slow
@pytest.mark.parametrize("kind", SILENCES)
@pytest.mark.parametrize("calibrated", [True, False])
def test_no_silence_moves_a_stroke(kind: str, calibrated: bool) -> None:
    """Over 100 fresh takes not one stroke is more than half a beat off."""
    seed = _seed()
    got = measure(silent_takes(kind, np.random.default_rng(seed), 100), silence=True, calibrated=calibrated)

    assert got.stray == 0, seed
    assert got.f1 >= 0.995, seed


@pytest.mark.slow
def test_every_lost_player_is_found() -> None:
    """Over 500 fresh takes F1 is at least 0.993, and of the misses given 0.99 or more at least 99 in 100 are true."""
    seed = _seed()
    got = LostFigures()
    for kind in LOST:
        got += measure(lost_takes(kind, np.random.default_rng(seed), 100), silence=False, calibrated=False)

    assert got.f1 >= 0.993, seed
    assert got.miss_rate >= 0.99, seed
