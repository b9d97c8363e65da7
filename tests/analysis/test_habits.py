"""Bars that come back over several takes: planted ones are found, chance is not."""

import numpy as np
import pytest

from heeltap.analysis.compare.habits import LEAST_TAKES, bars_that_come_back
from heeltap.model.offsets import Offsets
from tests.makers.amounts import amount
from tests.makers.judgements import quarters_table

BARS = 40


def a_take(rng: np.random.Generator, early_in: tuple[int, ...] = (), ms: float = -30.0) -> Offsets:
    """Four strokes a bar that scatter by 8 ms around a wander of 6 ms that forgets itself over a dozen bars."""
    wander, offset = rng.normal(0, 6.0), []
    for stroke in range(4 * BARS):
        wander = 0.98 * wander + rng.normal(0, 6.0 * np.sqrt(1 - 0.98**2))
        offset.append(wander + rng.normal(0, 8.0) + (ms if stroke // 4 + 1 in early_in else 0.0))
    return quarters_table(np.array(offset), rng, tempo_bpm=100.0)


def told(takes: list[Offsets]) -> set[int]:
    """The bars that are told."""
    return {bar for one in bars_that_come_back(takes) for bar in range(one.first_bar, one.last_bar + 1)}


@pytest.mark.parametrize("takes", [5, 10])
def test_planted_bars_are_found(takes: int) -> None:
    """20 and 30 ms in three bars of forty: at least nine in ten of them, and on average the size within 3 ms."""
    rng, found, wanted, beside = np.random.default_rng(11), 0, 0, []
    for ms in (-20.0, -30.0):
        for _ in range(amount(20, fast=5)):
            habits = bars_that_come_back([a_take(rng, (8, 16, 17), ms) for _ in range(takes)])
            found += len({8, 16, 17} & {bar for one in habits for bar in range(one.first_bar, one.last_bar + 1)})
            wanted += 3
            beside += [one.mean_ms - ms for one in habits if one.first_bar in (8, 16)]

    assert found >= 0.9 * wanted
    assert abs(np.mean(beside)) < 3


def test_chance_is_not_told() -> None:
    """With the error held at 5 % over all bars, at most one song in twenty gets a bar."""
    rng = np.random.default_rng(12)
    songs = amount(200, fast=40)

    false = sum(bool(told([a_take(rng) for _ in range(LEAST_TAKES)])) for _ in range(songs))

    assert false <= 0.05 * songs + 2 * np.sqrt(0.05 * songs)


def test_neighbouring_bars_of_one_sign_are_one_habit() -> None:
    """Two bars early, then one late."""
    rng = np.random.default_rng(13)
    takes = []
    for _ in range(8):
        one = a_take(rng, (20, 21), -40.0)
        offset = one.offset_ms + np.where(one.bar == 22, 40.0, 0.0)
        takes.append(quarters_table(offset, rng, tempo_bpm=100.0))

    habits = bars_that_come_back(takes)

    assert [(20, 21, True), (22, 22, False)] == [(one.first_bar, one.last_bar, one.mean_ms < 0) for one in habits]


def test_fewer_takes_and_small_habits_are_not_told() -> None:
    """Four takes are too few; 6 ms are heard by nobody, however sure."""
    rng = np.random.default_rng(14)

    assert () == bars_that_come_back([a_take(rng, (8,), -60.0) for _ in range(LEAST_TAKES - 1)])
    assert set() == told([a_take(rng, (8,), -6.0) for _ in range(60)])


def test_takes_that_hold_a_part_only_count_where_they_play() -> None:
    """Bars that fewer than five takes hold are not asked."""
    rng = np.random.default_rng(15)
    takes = [a_take(rng, (8, 30), -40.0) for _ in range(9)]
    cut = [one if number < 4 else one.pick(one.bar <= 20) for number, one in enumerate(takes)]

    assert {8} == told(cut)
