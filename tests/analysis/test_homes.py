"""Where a part lies as a whole: off-beats are not early beats, and two homes that fit alike are both kept."""

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, Played, analyse
from heeltap.analysis.quantise import quantise
from heeltap.analysis.quantise.homes import Homes, homes_of
from heeltap.analysis.quantise.pulses import as_clock, as_metre, pulses_under
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from tests.bench.bench_offbeats import BIASES_MS, KINDS, part_of, played_us, reading


def homes(onset_us: np.ndarray, bpm: float, metre: str = "4/4", *, delay_known: bool = False) -> Homes:
    """The homes of strokes at these times."""
    clock, metres = as_clock(bpm), as_metre(metre)
    quarter = clock.quarter_at(np.sort(onset_us))
    pulses = pulses_under(metres, clock, quarter)
    return homes_of(pulses.position_of(quarter), pulses, delay_known=delay_known)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bpm", [72, 118, 150, 190])
def test_every_kind_is_read_where_it_was_meant(kind: str, bpm: int, rng: np.random.Generator) -> None:
    """Off-beats alone, sparse, or with a one now and then; beats and eighths beside them; early and late by 40 ms."""
    for bias_ms in BIASES_MS[::2]:
        meant = part_of(kind, rng)
        right, found = reading(meant, played_us(meant, bpm, bias_ms, rng), bpm)

        assert right.mean() >= 0.99
        assert abs(float(np.median(found.offset_ms)) - bias_ms) < 12.0


@pytest.mark.slow
def test_off_beats_at_every_tempo(rng: np.random.Generator) -> None:
    """At least 99 % of the strokes, 60 to 220 bpm, biases to 40 ms."""
    for kind in KINDS:
        shares = []
        for bpm in range(60, 221, 8):
            for bias_ms in BIASES_MS:
                meant = part_of(kind, rng)
                shares.append(reading(meant, played_us(meant, bpm, bias_ms, rng), bpm)[0].mean())

        assert np.mean(shares) >= 0.99, kind


def sixteenths(bias_ms: float) -> np.ndarray:
    """Sixteenths at 120 bpm, each this early or late."""
    return np.arange(256) * 125_000 + 1000 * bias_ms + np.random.default_rng(3).normal(0, 8_000, 256)


def test_two_homes_that_fit_alike_are_both_kept() -> None:
    """Sixteenths 80 ms late are as well 45 ms early: both are homes, and no slot is surer than its home."""
    found = homes(sixteenths(80.0), 120.0)
    slots = quantise(np.round(sixteenths(80.0)).astype(np.int64), 120.0, "4/4")

    assert [-45, 80] == pytest.approx(sorted(found.ms[:2]), abs=4)
    assert found.chance[0] < 0.95
    assert slots.confidence.max() <= found.chance[0] + 1e-9
    assert "could as well lie" in slots.warnings[-1]
    assert "calibrate" in slots.warnings[-1]


def test_a_known_delay_leaves_one_home() -> None:
    """With the delay taken away nobody is 80 ms late by the gear: the same strokes are 45 ms early."""
    known, unknown = (homes(sixteenths(-45.0), 120.0, delay_known=one) for one in (True, False))

    assert known.chance[0] > unknown.chance[0]
    assert known.chance[0] > 0.97


def test_on_the_beat_nothing_else_is_likely() -> None:
    """Eighths on the click, also in 6/8: one home, nothing to be said."""
    eighths = np.arange(128) * 250_000 + np.random.default_rng(1).normal(0, 8_000, 128)
    thirds = np.arange(192) * 200_000 + np.random.default_rng(1).normal(0, 8_000, 192)

    assert homes(eighths, 120.0).chance[0] > 0.99
    assert homes(thirds, 150.0, "6/8").chance[0] > 0.97
    assert () == quantise(np.round(eighths).astype(np.int64), 120.0, "4/4").warnings


def test_the_report_says_both() -> None:
    """The sentence reaches the result of a take without a plan and without a known delay."""
    at = np.round(sixteenths(80.0)).astype(np.int64)
    take = Played(make_notes(at, np.full(256, 60), np.full(256, 80)), steady_tempo(120.0), steady_metre(4, 4), None)

    assert any("could as well lie" in warning for warning in analyse(take, Options()).warnings)
