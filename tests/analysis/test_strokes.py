"""Strokes from raw notes: what is folded, what is put together, what is kept apart."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.analysis.strokes import Strokes, fold_retriggers, stroke_window_us, strokes
from heeltap.model.notes import Notes, make_notes

MS = 1_000

PAD = [  # onset ms, velocity: bounces 6, 14 and 22 ms after a hit, one true flam at 45 ms
    (0, 110), (500, 110), (506, 40), (1000, 110), (1500, 110), (1514, 40), (2000, 110), (2022, 40),
    (2500, 110), (3000, 110), (3045, 90), (3500, 110),
]  # fmt: skip


def pad_notes() -> Notes:
    """The hits of `PAD` as snare notes."""
    at, velocity = np.array(PAD).T
    return make_notes(at * MS, np.full(at.size, 38), velocity, channel=9)


@pytest.mark.parametrize(("window_ms", "hits"), [(0, 12), (10, 11), (18, 10), (30, 9), (50, 8)])
def test_the_window_decides_how_many_bounces_fold(window_ms: int, hits: int) -> None:
    """Nothing folds at 0; each bounce folds once the window reaches it; the flam only beyond 45 ms."""
    notes, count, kept = fold_retriggers(pad_notes(), retrigger_us=window_ms * MS)

    assert hits == len(notes)
    assert 12 - hits == count
    assert notes.onset_us.tolist() == pad_notes().onset_us[kept].tolist()


def test_a_chain_of_bounces_is_measured_from_the_hit() -> None:
    """Bounces at 12, 24 and 36 ms after a hit: the last lies beyond 30 ms and stays."""
    notes = make_notes([0, 12_000, 24_000, 36_000], [38] * 4, [100, 50, 30, 20])

    assert fold_retriggers(notes).kept.tolist() == [0, 3]


def test_louder_equal_and_other_keys_stay() -> None:
    """Only a softer note of the same key and channel is a bounce."""
    louder = make_notes([0, 5_000], [38, 38], [60, 61])
    equal = make_notes([0, 5_000], [38, 38], [60, 60])
    flam = make_notes([0, 5_000], [38, 40], [90, 40])

    assert [fold_retriggers(n).folded_count for n in (louder, equal, flam)] == [0, 0, 0]


def test_other_channel_is_another_key() -> None:
    """The same pitch on another channel is another instrument."""
    one = make_notes([0, 5_000], [38, 38], [90, 40])
    two = Notes(one.onset_us, one.pitch, one.velocity, np.array([0, 9]), one.track, one.duration_us)

    assert fold_retriggers(one).folded_count == 1
    assert fold_retriggers(two).folded_count == 0


def test_a_chord_is_one_stroke_at_its_median() -> None:
    """Three notes over 12 ms make one stroke: median time, spread, lowest key, loudest note."""
    found = strokes(make_notes([0, 4_000, 12_000, 500_000], [64, 60, 67, 62], [50, 70, 60, 80]))

    assert found.at_us.tolist() == [4_000, 500_000]
    assert found.spread_us.tolist() == [12_000, 0]
    assert found.size.tolist() == [3, 1]
    assert found.pitch.tolist() == [60, 62]
    assert found.velocity.tolist() == [70, 80]
    assert found.stroke_of_note.tolist() == [0, 0, 0, 1]


def test_an_even_chord_takes_the_middle_of_its_two_middle_notes() -> None:
    """The median of four onsets is the mean of the second and third, rounded down."""
    assert strokes(make_notes([0, 3_000, 7_001, 9_000], [60, 64, 67, 70])).at_us.tolist() == [5_000]


def test_a_repeated_key_starts_a_new_stroke() -> None:
    """One key cannot be struck twice at once, so a kept flam on one pad is two strokes; a doubled layer is one."""
    flam = strokes(make_notes([0, 20_000], [38, 38], [60, 90]), window_us=30_000)
    layer = strokes(make_notes([0, 0], [38, 38]), window_us=30_000)

    assert flam.size.tolist() == [1, 1]
    assert layer.size.tolist() == [2]


def test_the_window_follows_the_plan() -> None:
    """A quarter of the gap but at most 30 ms; a planned chord half the gap but at most 60 ms."""
    gaps = np.array([40_000, 100_000, 500_000])

    assert stroke_window_us(gaps).tolist() == [10_000, 25_000, 30_000]
    assert stroke_window_us(gaps, chord=True).tolist() == [20_000, 50_000, 60_000]


def test_a_slow_roll_is_one_stroke_only_where_the_plan_says_chord() -> None:
    """Three keys over 50 ms are a planned chord, or else two strokes."""
    rolled = make_notes([0, 25_000, 50_000], [60, 64, 67])

    assert strokes(rolled, planned_gap_us=500_000, chord=True).size.tolist() == [3]
    assert strokes(rolled, planned_gap_us=500_000).size.tolist() == [2, 1]


def test_without_a_plan_fast_playing_narrows_the_window() -> None:
    """Sixteenths of 75 ms allow 18.75 ms; slow playing 30 ms; nothing to go by 30 ms."""
    fast = np.arange(0, 75_000 * 40, 75_000)

    assert stroke_window_us(None, onset_us=fast) == 18_750
    assert stroke_window_us(None, onset_us=fast * 8) == 30_000
    assert stroke_window_us(None, onset_us=fast[:1]) == 30_000


def test_no_notes_make_no_strokes() -> None:
    """An empty take is empty, not an error."""
    empty = make_notes(np.zeros(0), np.zeros(0))

    assert len(strokes(empty)) == 0
    assert fold_retriggers(empty).folded_count == 0


def slow_strokes(at: list[int], pitch: list[int], window: int) -> list[list[int]]:
    """The rule in plain Python: rows of each stroke."""
    groups: list[list[int]] = []
    for row, (now, key) in enumerate(zip(at, pitch, strict=True)):
        if groups:
            head = groups[-1]
            struck = any(pitch[r] == key and at[r] != now for r in head)
            if now - at[head[0]] <= window and not struck:
                head.append(row)
                continue
        groups.append([row])
    return groups


@given(
    st.lists(st.tuples(st.integers(0, 60_000), st.integers(60, 63)), min_size=1, max_size=40),
    st.integers(0, 40_000),
)
def test_grouping_equals_the_plain_rule(steps: list[tuple[int, int]], window: int) -> None:
    """The vectorised grouping agrees with a note-by-note loop on any input."""
    at = np.cumsum([gap for gap, _ in steps]).tolist()
    pitch = [key for _, key in steps]

    found: Strokes = strokes(make_notes(at, pitch), window_us=window)

    expected = slow_strokes(at, pitch, window)
    assert [group[0] for group in expected] == found.first.tolist()
    assert [len(group) for group in expected] == found.size.tolist()
    assert [int(np.floor(np.median([at[r] for r in group]))) for group in expected] == found.at_us.tolist()
    assert [min(pitch[r] for r in group) for group in expected] == found.pitch.tolist()


@given(st.lists(st.tuples(st.integers(0, 50_000), st.integers(38, 39), st.integers(1, 127)), max_size=40))
def test_folding_twice_changes_nothing(rows: list[tuple[int, int, int]]) -> None:
    """What is left after folding has no bounce in it: no kept pair of neighbours on a key meets the rule."""
    at = np.cumsum([gap for gap, _, _ in rows])
    notes = make_notes(at, [key for _, key, _ in rows], [velocity for *_, velocity in rows])

    once = fold_retriggers(notes)

    assert fold_retriggers(once.notes).folded_count == 0
    assert len(notes) == len(once.notes) + once.folded_count


@pytest.mark.outside
def test_the_live_trace_of_a_bouncing_pad(midi_cases: Path) -> None:
    """Eight bounces fold, the flam stays, and each hit keeps the time of its first message."""
    lines = (midi_cases / "live" / "pad_double_trigger.jsonl").read_text().splitlines()
    messages = [json.loads(line) for line in lines[1:]]
    hits = [m for m in messages if m["bytes"][0] & 0xF0 == 0x90 and m["bytes"][2] > 0]
    at = np.array([round((m["t"] - 10.0) * 1e6) for m in hits])
    notes = make_notes(at, [m["bytes"][1] for m in hits], [m["bytes"][2] for m in hits], channel=9)
    traces = json.loads((midi_cases / "EXPECTED.json").read_text())["live_traces"]
    expected = next(t for t in traces if t["file"].endswith("pad_double_trigger.jsonl"))["expected"]
    want = [h["beat"] * 500.0 + h["offset_ms"] for h in expected["hits"] + expected["extra_hits"]]

    folded = fold_retriggers(notes)

    assert expected["retriggers_merged"] == folded.folded_count
    assert sorted(want) == pytest.approx((strokes(folded.notes).at_us / 1000).tolist())
