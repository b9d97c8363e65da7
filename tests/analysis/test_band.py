"""The band's hits: who comes first, how wide they are, and what that costs, against a sum of samples."""

import numpy as np
import pytest

from heeltap.analysis.leader.band import DECAY_MS, band_hits

PLACES = np.arange(64.0)


def summed_loss_db(at_ms: np.ndarray, rate_hz: int = 96_000) -> float:
    """Of one hit: the peak of the summed decays, sample by sample, below as many at one moment."""
    t = np.arange(round(rate_hz * 0.2)) / rate_hz * 1000.0
    start = at_ms - at_ms.min()
    total = sum(np.where(t >= one, np.exp(-(t - one) / DECAY_MS), 0.0) for one in start)
    return float(20 * np.log10(at_ms.size / np.max(total)))


@pytest.mark.parametrize(
    ("apart_ms", "gain_db"), [(0.0, 6.02), (1.0, 5.6), (5.0, 4.1), (10.0, 2.7), (20.0, 1.1), (30.0, 0.4)]
)
def test_two_attacks_gain_what_the_formula_says(apart_ms: float, gain_db: float) -> None:
    """Of two decays of 10 ms the peak over one is 20 log10(1 + exp(-d / 10)) dB (derived; no source)."""
    found = band_hits([(PLACES, np.zeros(64)), (PLACES, np.full(64, apart_ms))])

    assert found is not None
    assert gain_db == pytest.approx(20 * np.log10(2) - found.loss_db, abs=0.06)


def test_the_loss_is_that_of_a_direct_sum(rng: np.random.Generator) -> None:
    """Four parts at random: the median over the hits, to 0.05 dB."""
    off = rng.normal(0, 12, (40, 4))
    off = np.round(off * 96) / 96  # on samples
    found = band_hits([(np.arange(40.0), off[:, part]) for part in range(4)])

    assert found is not None
    assert np.median([summed_loss_db(row) for row in off]) == pytest.approx(found.loss_db, abs=0.05)


def test_who_comes_first_how_wide_and_up_to_where_it_adds() -> None:
    """Drums first in three hits of four; 8 ms wide; of two parts 8 ms apart the spread is 5.66 ms: 23 Hz."""
    off = np.where(np.arange(64) % 4 == 3, -8.0, 8.0)
    found = band_hits([(PLACES, np.zeros(64)), (PLACES + 1e-6, off)])

    assert found is not None
    assert ((48, 16), 64, 8.0) == (found.first, found.n, found.width_ms)
    assert 132.5 / np.sqrt(32) == pytest.approx(found.adds_up_to_hz)


def test_only_hits_that_all_share_count() -> None:
    """One part on every quarter, one on eighths, one on halves; a flam counts as one hit at its middle."""
    eighths = np.sort(np.concatenate([np.arange(0, 64, 0.5), [10.0]]))
    flam = np.where(eighths == 10.0, 3.0, 0.0)
    found = band_hits([(PLACES, np.zeros(64)), (eighths, flam), (np.arange(0.0, 64, 2), np.zeros(32))])

    assert found is not None
    assert (32, 0.0) == (found.n, found.width_ms)


def test_a_tight_band_loses_nothing() -> None:
    """All at one moment."""
    found = band_hits([(PLACES, np.zeros(64))] * 3)

    assert found is not None
    assert (0.0, float("inf")) == (found.loss_db, found.adds_up_to_hz)


@pytest.mark.parametrize("quarters", [np.zeros(0), np.arange(15.0), np.arange(100.0, 164.0)])
def test_too_few_shared_hits_are_none(quarters: np.ndarray) -> None:
    """Nothing, fifteen, or others."""
    assert band_hits([(PLACES, np.zeros(64)), (quarters, np.zeros(quarters.size))]) is None


def test_one_part_is_no_band() -> None:
    """A mistake of the caller's."""
    with pytest.raises(ValueError, match="found 1 parts"):
        band_hits([(PLACES, np.zeros(64))])
