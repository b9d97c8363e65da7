"""The tempo that a player taps."""

import numpy as np
import pytest

from heeltap.app.drill.tap_tempo import TAPS, Taps, tapped, tapped_bpm


def taps_at(*at_ms: float, source: str = "Pad") -> Taps:
    """Taps at these moments."""
    taps = Taps()
    for at in at_ms:
        taps = tapped(taps, source, round(at * 1e6) + 10**12)
    return taps


@pytest.mark.parametrize(
    ("beat_ms", "quarters", "bpm"), [(600.0, 1.0, 100.0), (500.0, 1.5, 180.0), (3000.0, 1.0, 20.0)]
)
def test_even_taps_are_their_tempo(beat_ms: float, quarters: float, bpm: float) -> None:
    """Quarters, dotted quarters of 6/8, and the slowest beat there is."""
    assert bpm == tapped_bpm(taps_at(*(k * beat_ms for k in range(TAPS))), quarters)


def test_four_taps_are_whole_and_another_way_begins_anew() -> None:
    """After a long wait, and after a tap on something else, the first tap is the first again."""
    assert [False, True] == [taps_at(0, 600, 1200).whole, taps_at(0, 600, 1200, 1800).whole]
    assert 1 == len(taps_at(0, 600, 4000).at_ns)
    assert 1 == len(tapped(taps_at(0, 600), "the key t", 10**12 + 10**9).at_ns)


def test_all_four_taps_count() -> None:
    """Taps that stray by 15 ms give the tempo to within 3 bpm nearly always; the line through them uses each."""
    rng = np.random.default_rng(3)
    found = np.array([tapped_bpm(taps_at(*(k * 600.0 + rng.normal(0, 15) for k in range(4)))) for _ in range(400)])

    assert np.mean(np.abs(found - 100.0) <= 3.0) > 0.93
