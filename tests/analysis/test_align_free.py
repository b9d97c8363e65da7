"""Matching a take at free tempo: rubato, holes and the search for the strokes' times."""

import numpy as np
import pytest

from heeltap.analysis.align import align_free
from heeltap.analysis.align.free_tempo import broken_times, stroke_times
from tests.makers.performances import pair_f1
from tests.makers.players import FIGURES, make_part


def _rubato(rng: np.random.Generator, beat: np.ndarray, *, swing: float) -> np.ndarray:
    """Times in us of a player whose beat breathes by a share of itself over eight beats, with 8 ms of scatter."""
    slow = 0.55 * (beat + swing * 8 / (2 * np.pi) * np.sin(2 * np.pi * beat / 8))
    return np.round(1e6 * (slow + 0.008 * rng.standard_normal(beat.size))).astype(np.int64)


@pytest.mark.parametrize("figure", FIGURES)
def test_a_breathing_tempo_is_followed(figure: str) -> None:
    """A beat that grows and shrinks by a third within two bars costs no more than a note or two."""
    rng = np.random.default_rng(9)
    part = make_part(rng, figure, bars=12)
    beat = part.at_tick / 10_080
    take_us = _rubato(rng, beat, swing=0.33)
    order = np.argsort(take_us, kind="stable")
    truth = np.argsort(order)

    found = align_free(beat, part.pitch, take_us[order], part.pitch[order])

    assert pair_f1(truth, found.match) > 0.985
    assert not found.delay_known


def test_four_bars_left_out_are_misses(rng: np.random.Generator) -> None:
    """A player who skips four bars and goes on is found again at once; the skipped notes are misses."""
    part = make_part(rng, "two_hands", bars=24)
    beat = part.at_tick / 10_080
    bar = (beat // 4).astype(int)
    kept = np.flatnonzero((bar < 8) | (bar >= 12))
    take_us = _rubato(rng, np.where(beat[kept] >= 48, beat[kept] - 16, beat[kept]), swing=0.1)
    order = np.argsort(take_us, kind="stable")
    truth = np.full(len(part), -1)
    truth[kept[order]] = np.arange(kept.size)

    found = align_free(beat, part.pitch, take_us[order], part.pitch[kept[order]])

    assert pair_f1(truth, found.match) > 0.97


def test_score_time_may_be_in_any_unit(rng: np.random.Generator) -> None:
    """Beats, ticks and halves of beats give the same match."""
    part = make_part(rng, "chords", bars=6)
    take_us = _rubato(rng, part.at_tick / 10_080, swing=0.1)
    found = [
        align_free(position, part.pitch, take_us, part.pitch).match.tolist()
        for position in (part.at_tick, part.at_tick / 10_080, part.at_tick / 5_040)
    ]

    assert found[0] == found[1] == found[2]


def test_a_stroke_far_off_its_neighbours_line_is_not_believed() -> None:
    """Ten strokes half a second apart, one of them a second late and one unknown: both are put on the line."""
    beat = np.arange(11.0)
    stroke = np.array([0, 1, 2, 3, 4, 5, 6, 7, 9, 10])
    at_ms = 500.0 * stroke
    at_ms[4] += 1000.0

    times = stroke_times(beat, stroke, at_ms)

    assert pytest.approx(500.0 * beat) == times


@pytest.mark.parametrize("roll_ms", [300, 600, 1_200])
def test_a_chord_broken_over_a_second_is_matched(roll_ms: int) -> None:
    """Eight notes from the bottom to the top between single notes half a second apart, whose keys the chord shares."""
    chord = [36, 43, 48, 52, 55, 60, 64, 67]
    beat = np.concatenate([np.arange(8.0), np.full(8, 8.0), np.arange(9.0, 17.0)])
    pitch = np.array([60, 64, 67, 72, 67, 64, 62, 59, *chord, 67, 67, 65, 64, 62, 60, 59, 60])
    roll = np.linspace(0, 1_000 * roll_ms, 8)
    after = 500_000 * beat[16:] + 1_000 * roll_ms
    take_us = np.rint(np.concatenate([500_000 * beat[:8], 4_000_000 + roll, after])).astype(np.int64)

    found = align_free(beat, pitch, take_us, pitch)

    assert list(range(24)) == found.match.tolist()


def test_a_stray_note_does_not_break_a_chord() -> None:
    """Four keys together and the same chord broken over a second, one key of the first heard a second late."""
    stroke = np.repeat([0, 1], 4)
    key = np.array([48, 52, 55, 60] * 2)
    at_ms = np.array([0.0, 4.0, 8.0, 1_000.0, 2_000.0, 2_300.0, 2_700.0, 3_000.0])

    own_ms = broken_times(stroke, at_ms, key, stroke, key)

    assert np.isnan(own_ms[:4]).all()
    assert at_ms[4:].tolist() == own_ms[4:].tolist()
