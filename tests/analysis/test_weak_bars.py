"""Bars to play again: what is planted is named with its bars, and whatever is named lies as far off as is heard."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.offsets_of import judge_plan
from heeltap.analysis.weak_bars import WeakBars, heard_ms, weak_bars, with_commands
from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.notes import make_notes
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from heeltap.model.result import Replay
from tests.makers.judgements import rushed_song, rushes_listed
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


def listed(offset_ms: FloatArray, missed: IntArray = NOBODY, **how: float) -> WeakBars:
    """What is to be played again of quarters with the given offsets, at 120 bpm, aimed at the click."""
    return weak_bars(take(offset_ms), missed, centre_ms=how.pop("centre_ms", 0.0), **how)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("beat_ms", "against_drums", "expected"),
    [(1000.0, False, 20.0), (500.0, False, 20.0), (300.0, False, 15.0), (300.0, True, 20.0), (1000.0, True, 20.0)],
)
def test_what_is_heard(beat_ms: float, against_drums: bool, expected: float) -> None:
    """20 ms against drums at any tempo; against a click 5 % of the beat where that is less."""
    assert expected == float(heard_ms(beat_ms, against_drums=against_drums))


def test_a_rush_into_the_chorus_is_named_with_its_bars(rng: np.random.Generator) -> None:
    """Two bars 40 ms early before the change are one entry that says where it leads and by when it is over."""
    offset = rng.normal(0, 8, size=4 * BARS)
    offset[56:64] -= 40

    first = listed(offset).entries[0]

    assert (15, 16) == (first.first_bar, first.last_bar)
    assert first.why.startswith("into chorus, ")
    assert "ms early, back by bar 17" in first.why
    assert np.mean(offset[56:64]) == pytest.approx(first.offset_ms, abs=0.001)


@pytest.mark.parametrize(("tempo_bpm", "per_bar"), [(96, 4), (96, 8), (120, 8)])
def test_three_rushes_of_30_ms_are_listed(tempo_bpm: float, per_bar: int) -> None:
    """Sixteen takes of a song with a spread of 11 ms that wanders: at least 45 of the 48 rushes."""
    found = rushes_listed(np.random.default_rng(300), tempo_bpm=tempo_bpm, per_bar=per_bar)

    assert found >= 45


def test_rushes_that_grow_and_decay_are_listed() -> None:
    """The same with rushes that grow to 30 ms at the change, over a bar, and are gone a bar later: at least 126 of 144."""
    assert rushes_listed(np.random.default_rng(301), rush="ramp", takes=48) >= 126


def test_a_run_to_the_change_and_back_is_said_as_that() -> None:
    """Half a bar of 26 ms before the change and after it; the bars' averages hide it."""
    offset = np.zeros(4 * BARS)
    offset[62:66] = -26.0

    (one,) = listed(offset).entries

    assert (16, 17, -26.0, 4) == (one.first_bar, one.last_bar, one.offset_ms, one.strokes)
    assert "into chorus, 26 ms early from half a bar before to half a bar after, back by bar 18" == one.why


@pytest.mark.parametrize(
    ("rows", "bar", "why"),
    [
        (slice(62, 64), 16, "into chorus, 26 ms early in the half bar before it, back by bar 17"),
        (slice(64, 66), 17, "in chorus, 26 ms early in its first half bar, back by bar 18"),
    ],
)
def test_half_a_bar_at_a_change_is_enough(rows: slice, bar: int, why: str) -> None:
    """Before the change or after it; anywhere else half a bar is no entry."""
    offset = np.zeros(4 * BARS)
    offset[rows] = -26.0
    elsewhere = np.roll(offset, 16)

    (one,) = listed(offset).entries

    assert (bar, bar, why) == (one.first_bar, one.last_bar, one.why)
    assert () == listed(elsewhere).entries


def test_a_player_who_rushes_everywhere_hides_nothing() -> None:
    """Every second bar 30 ms early: the list is full, worst first, and the rest is counted with its bars."""
    offset = np.zeros(4 * BARS)
    for bar in range(0, BARS, 2):
        offset[4 * bar : 4 * bar + 4] = -25.0 - 0.5 * bar

    found = listed(offset)

    assert [31, 29, 27, 25, 23, 21] == [one.first_bar for one in found.entries]
    assert found.more is not None
    assert ((1, 3, 5, 7, 9, 11, 13, 15, 17, 19), (25.0, 34.0)) == (found.more.bars, found.more.between_ms)


@pytest.mark.parametrize("kind", ["early", "late"])
@pytest.mark.parametrize("seed", range(20))
def test_faultless_takes_list_only_what_lies_that_far_out(seed: int, kind: str) -> None:
    """A take that only wanders: whatever is listed lies off on the recording, and no bar that lies off is passed over."""
    table, _ = rushed_song(np.random.default_rng(400 + seed), early_ms=0.0, spread_ms=14.0 if kind == "late" else 11.0)
    found = weak_bars(table, NOBODY, centre_ms=0.0)
    mean = np.bincount(table.bar, table.offset_ms) / np.maximum(np.bincount(table.bar), 1)
    named = {bar for one in found.entries for bar in range(one.first_bar, one.last_bar + 1)}
    behind = set(found.more.bars) if found.more else set()

    for one in found.entries:
        assert one.offset_ms is not None
        assert abs(one.offset_ms) >= 20.0
        if "half bar" not in one.why and "half a bar" not in one.why:
            assert np.mean(mean[one.first_bar : one.last_bar + 1]) == pytest.approx(one.offset_ms, abs=0.01)
    assert set(np.flatnonzero(np.abs(mean) >= 20.0).tolist()) <= named | behind


def test_a_steady_player_has_nothing_to_play_again(rng: np.random.Generator) -> None:
    """Of 200 takes that wander by 6 ms, hardly any names a bar: what nobody hears needs no repair."""
    named = sum(bool(listed(wander(rng, 4 * BARS, ms=6.0)).entries) for _ in range(200))

    assert named <= 4


def test_a_constant_delay_makes_no_bar_late_where_the_centre_is_the_takes_own() -> None:
    """60 ms late throughout, held against its own median: nothing; against the click: everything."""
    offset = np.full(4 * BARS, 60.0)

    assert ((), None) == (listed(offset, centre_ms=60.0).entries, listed(offset, centre_ms=60.0).more)
    assert 6 == len(listed(offset).entries)


def test_what_may_be_the_gears_is_not_named() -> None:
    """25 ms early, with a delay that is known to 30 ms only: nothing to play again."""
    offset = np.full(4 * BARS, -25.0)

    assert () == listed(offset, delay_uncertainty_ms=30.0).entries


def test_missed_strokes_make_a_bar_missing(rng: np.random.Generator) -> None:
    """Two bars of which all was missed are one entry."""
    table = take(rng.normal(0, 8, size=4 * BARS))
    table = table.pick(~np.isin(table.bar, (10, 11)))

    first = weak_bars(table, as_ints([10] * 4 + [11] * 4), centre_ms=0.0).entries[0]

    assert (10, 11, None) == (first.first_bar, first.last_bar, first.offset_ms)
    assert "you missed 8 planned notes" in first.why


def test_a_wild_bar_is_uneven(rng: np.random.Generator) -> None:
    """Strokes thrown to both sides of the beat make it uneven, not early or late."""
    offset = rng.normal(0, 6, size=4 * BARS)
    offset[40:44] = [-60, 55, -50, 50]

    first = listed(offset).entries[0]

    assert (11, "in verse, your strokes spread by 54 ms") == (first.first_bar, first.why)


def test_short_takes_are_judged_like_long_ones() -> None:
    """Two bars are enough to say that the second is 30 ms early."""
    table = take(np.zeros(4 * BARS)).pick(np.arange(4 * BARS) < 8)
    table = replace(table, offset_ms=np.array([0.0] * 4 + [-30.0] * 4))

    assert [2] == [one.first_bar for one in weak_bars(table, NOBODY, centre_ms=0.0).entries]


def test_one_stroke_alone_has_to_lie_farther_off() -> None:
    """A bar of one stroke is named from 30 ms on."""
    table = take(np.zeros(4 * BARS)).pick(np.arange(4 * BARS) % 4 == 0)

    def named(off_ms: float) -> int:
        moved = replace(table, offset_ms=np.where(table.bar == 9, off_ms, 0.0))
        return len(weak_bars(moved, NOBODY, centre_ms=0.0).entries)

    assert (0, 1) == (named(-25.0), named(-31.0))


def test_the_users_own_pocket_says_what_is_off() -> None:
    """With a pocket of 10 ms, 12 ms early is named; with one of 40, 30 ms is not."""
    offset = np.zeros(4 * BARS)
    offset[40:44] = -12.0

    assert (1, 0) == (len(listed(offset, pocket_ms=10.0).entries), len(listed(3 * offset, pocket_ms=40.0).entries))


def test_an_empty_take_has_no_bars() -> None:
    """Nothing planned and nothing played is no list at all."""
    table = take(np.zeros(4 * BARS)).pick(np.zeros(4 * BARS, bool))

    assert WeakBars((), None) == weak_bars(table, NOBODY, centre_ms=0.0)


def test_each_entry_carries_the_command_that_plays_its_bars() -> None:
    """What `heeltap drill` takes, and the bars; none where the part lies nowhere."""
    entry = Replay(14, 16, "")

    assert (
        "heeltap drill song.mid --part keys --bars 14-16" == with_commands([entry], "song.mid --part keys")[0].command
    )
    assert (entry,) == with_commands([entry], "")
