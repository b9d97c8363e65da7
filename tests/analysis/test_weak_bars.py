"""Bars to play again: planted faults are found, named with their bars, and a faultless player is left in peace."""

import numpy as np

from heeltap.analysis.offsets_of import judge_plan
from heeltap.analysis.weak_bars import judge_bars, replay
from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.notes import make_notes
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from tests.makers.plans import plan_of_quarters

BARS = 32
VERSE_CHORUS = (Section("verse", 1, 16), Section("chorus", 17, BARS))
NOBODY = as_ints([])


def take(offset_ms: FloatArray) -> Offsets:
    """Quarter notes over 32 bars played with the given offsets."""
    plan = plan_of_quarters([float(q) for q in range(4 * BARS)], sections=VERSE_CHORUS)
    notes = make_notes(plan.at_us + np.round(offset_ms * 1000).astype(np.int64) + 200_000, [60] * len(plan))
    return judge_plan(plan, notes, np.arange(len(plan)), np.ones(len(plan)), delay_ms=200.0).offsets


def wander(rng: np.random.Generator, size: int, *, ms: float) -> FloatArray:
    """Slow wander with 0.9 from stroke to stroke plus a fifth of white noise, as real playing has."""
    slow = np.zeros(size)
    for i in range(1, size):
        slow[i] = 0.9 * slow[i - 1] + rng.normal(0, np.sqrt(1 - 0.81))
    return ms * (np.sqrt(0.8) * slow + np.sqrt(0.2) * rng.normal(size=size))


def test_a_rush_into_the_chorus_is_named_with_its_bars(rng: np.random.Generator) -> None:
    """Two bars 40 ms early before the change are one entry that says where it leads and by when it is over."""
    offset = rng.normal(0, 8, size=4 * BARS)
    offset[56:64] -= 40

    table = take(offset)
    found = replay(judge_bars(table, NOBODY, BARS, centre_ms=0.0), table.sections)

    assert (15, 16) == (found[0].first_bar, found[0].last_bar)
    assert found[0].why.startswith("into chorus, ")
    assert "ms early, back by bar 17" in found[0].why


def test_a_steady_player_has_nothing_to_play_again(rng: np.random.Generator) -> None:
    """Of 200 takes that wander by 6 ms, hardly any names a bar: what nobody hears needs no repair."""
    named = 0
    for _ in range(200):
        table = take(wander(rng, 4 * BARS, ms=6.0))
        named += bool(replay(judge_bars(table, NOBODY, BARS, centre_ms=0.0), table.sections))

    assert named <= 4


def test_a_named_bar_can_be_heard(rng: np.random.Generator) -> None:
    """Whatever the noise, a bar is called early or late only beyond twice the audible difference of the beat: 25 ms."""
    bars = [
        bar
        for _ in range(100)
        for bar in judge_bars(take(wander(rng, 4 * BARS, ms=20.0)), NOBODY, BARS, centre_ms=0.0)
        if bar.verdict in ("early", "late")
    ]

    assert bars
    assert all(abs(bar.mean_ms) >= 25.0 for bar in bars)


def test_missed_strokes_make_a_bar_missing(rng: np.random.Generator) -> None:
    """A bar of which more was missed than played is worth playing again."""
    table = take(rng.normal(0, 8, size=4 * BARS)).pick(np.arange(4 * BARS) // 4 != 9)

    bars = judge_bars(table, as_ints([10, 10, 10, 10]), BARS, centre_ms=0.0)

    assert "missing" == next(bar.verdict for bar in bars if bar.bar == 10)
    assert "4 planned strokes were not played" in replay(bars, table.sections)[0].why


def test_a_wild_bar_is_scattered(rng: np.random.Generator) -> None:
    """Strokes thrown to both sides of the beat are scatter, not early or late."""
    offset = rng.normal(0, 6, size=4 * BARS)
    offset[40:44] = [-60, 55, -50, 60]

    bars = judge_bars(take(offset), NOBODY, BARS, centre_ms=0.0)

    assert "scattered" == next(bar.verdict for bar in bars if bar.bar == 11)


def test_too_few_bars_say_nothing(rng: np.random.Generator) -> None:
    """Without eight bars the take's own noise is not known, so no bar is judged early or late."""
    table = take(rng.normal(0, 8, size=4 * BARS)).pick(np.arange(4 * BARS) < 16)

    assert {"unsure"} == {bar.verdict for bar in judge_bars(table, NOBODY, 4, centre_ms=0.0)}


def test_an_empty_take_has_no_bars() -> None:
    """Nothing planned and nothing played is no list at all."""
    table = take(np.zeros(4 * BARS)).pick(np.zeros(4 * BARS, bool))

    assert () == judge_bars(table, NOBODY, 0, centre_ms=0.0)
    assert () == replay((), ())
