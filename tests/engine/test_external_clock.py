"""The screen and the result see the same: the incremental matching against the full scoring, on simulated takes."""

import numpy as np
import pytest

from heeltap.session.session import BarDone
from tests.makers.amounts import amount
from tests.makers.followers import Agreement, agreement, follow
from tests.makers.players import FIGURES, Player, full_range_player, make_part, ordinary_player, play_part


def crowd(player: object, takes: int, seed: int) -> Agreement:
    """Takes of every figure at 50-200 bpm, the delay known."""
    rng, total = np.random.default_rng(seed), Agreement(0, 0, 0, 0)
    for row in range(takes):
        part = make_part(rng, FIGURES[row % len(FIGURES)], tempo_bpm=float(rng.uniform(50, 200)))
        total += agreement(part, play_part(rng, part, player(rng)))  # type: ignore[operator]
    return total


@pytest.mark.parametrize("player", [ordinary_player, full_range_player])
@pytest.mark.slow
def test_bars_agree_with_the_full_scoring(player: object) -> None:
    """When a bar is shown at least 99 % of its strokes are as the result will have them, also with 15 % mistakes."""
    seen = crowd(player, amount(14, fast=4), 11)

    assert seen.at_the_bar >= 0.99 * seen.strokes
    assert seen.at_the_end >= 0.99 * seen.strokes


@pytest.mark.slow
@pytest.mark.parametrize("player", [ordinary_player, full_range_player])
def test_many_bars_agree_with_the_full_scoring(player: object) -> None:
    """The same over seventy takes."""
    seen = crowd(player, 70, 12)

    assert seen.at_the_bar >= 0.99 * seen.strokes


def test_an_extra_note_in_a_run_is_put_right_when_the_bar_is_over() -> None:
    """Sixteenths 50 ms early with a stray note: at once the light matcher may slip, the bar that is shown has not."""
    rng = np.random.default_rng(3)
    part = make_part(rng, "sixteenths", tempo_bpm=150.0, bars=8, fills=False)
    take = play_part(rng, part, Player(bias_ms=-50.0, spread_ms=12.0, extra=0.1, missing=0.1, wrong=0.1))

    seen = agreement(part, take)

    assert seen.at_once < seen.at_the_bar
    assert seen.at_the_bar >= 0.99 * seen.strokes


def test_an_unknown_delay_is_followed_from_the_second_bar_on() -> None:
    """180 ms that nobody told: at once every eighth seems another one; the shown bars have the right strokes."""
    rng = np.random.default_rng(5)
    part = make_part(rng, "syncopated", tempo_bpm=120.0, bars=8)
    take = play_part(rng, part, Player(spread_ms=8.0, delay_ms=180.0))

    _, effects, before = follow(part, take.notes, delay_ms=None)
    bars = [effect.result for effect in effects if isinstance(effect, BarDone)]
    shown = [s.offset_us for result in bars[1:] for s in result.strokes if s.offset_us is not None]

    assert len(bars) == 8
    assert abs(np.median(shown) - 180_000) < 5_000
    assert np.ptp(shown) < 80_000
    assert np.ptp([s.offset_us for s in before if s.offset_us is not None]) > 200_000


def test_every_note_is_a_stroke_or_an_extra_once() -> None:
    """Whatever the second look moves, no note is lost and none is counted twice."""
    rng = np.random.default_rng(8)
    for figure in FIGURES:
        part = make_part(rng, figure, tempo_bpm=120.0, bars=8)
        take = play_part(rng, part, full_range_player(rng))
        state, _, _ = follow(part, take.notes, delay_ms=take.delay_ms)
        in_strokes = [note for stroke in state.strokes for note in stroke.notes]
        early = sum(1 for at in take.notes.onset_us.tolist() if at - round(take.delay_ms * 1000) < 0)

        assert len(in_strokes) == len(set(in_strokes))
        assert 0 <= len(take.notes) - len(in_strokes) - len(state.extras) - state.retriggers <= early
