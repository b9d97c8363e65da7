"""Clock, hand and correction: the published estimators on hand-checkable numbers and on simulated players."""

import numpy as np
import pytest

from heeltap.core.clockmotor import clock_and_motor, phase_correction

EXAMPLE_A = [500, 506, 497, 503, 508, 499, 495, 504, 501, 507]
"""Checked by hand: mean 502, sum of squares 170, lag-one products -45."""

EXAMPLE_B = [500, 512, 494, 507, 489, 505, 496, 509, 491, 497]
"""Checked by hand: outside the model."""


def unpaced(rng: np.random.Generator, n: int, clock: float, motor: float, drift: float = 0.0) -> np.ndarray:
    """Intervals of a two-level player: clock interval plus difference of motor delays."""
    delay = rng.normal(0, motor, n + 1)
    return 500 + drift * np.arange(n) + rng.normal(0, clock, n) + np.diff(delay)


def paced(rng: np.random.Generator, n: int, alpha: float, timer: float = 10.0, motor: float = 5.0) -> np.ndarray:
    """Asynchronies of a player who takes back a share alpha of each: the linear phase-correction model."""
    delay = rng.normal(0, motor, n + 200)
    noise = rng.normal(0, timer, n + 200)
    out = np.zeros(n + 200)
    for k in range(1, n + 200):
        out[k] = (1 - alpha) * out[k - 1] + noise[k] + delay[k] - delay[k - 1]
    return out[200:]


def test_hand_checked_example() -> None:
    """Variance 17, lag one -.264706, motor 2.1213, clock 2.8284 (Wing & Kristofferson 1973, divided by n)."""
    found = clock_and_motor(EXAMPLE_A, detrend=False, least=10)

    assert found.lag1 == pytest.approx(-0.264706, abs=5e-7)
    assert found.motor_sd_ms == pytest.approx(2.1213, abs=5e-5)
    assert found.clock_sd_ms == pytest.approx(2.8284, abs=5e-5)
    assert found.reason == ""


def test_hand_checked_example_outside_the_bound() -> None:
    """Lag one -.6335 would make the clock's variance -15: the model is declined, not clipped."""
    found = clock_and_motor(EXAMPLE_B, detrend=False, least=10)

    assert found.lag1 == pytest.approx(-0.6335, abs=5e-5)
    assert (found.clock_sd_ms, found.motor_sd_ms) == (None, None)
    assert "does not fit this take" in found.reason


def test_too_short_a_stretch_is_declined() -> None:
    """Ninety-nine intervals are not enough, a hundred are."""
    rng = np.random.default_rng(1)
    intervals = unpaced(rng, 100, 10, 5)

    assert "99 intervals" in clock_and_motor(intervals[:99]).reason
    assert clock_and_motor(intervals).reason == ""


def test_a_wandering_tempo_is_declined() -> None:
    """Intervals that rise and fall slowly are outside the bound on the other side."""
    wave = 500 + 20 * np.sin(np.arange(120) / 8) + np.random.default_rng(2).normal(0, 3, 120)

    assert "tempo wanders" in clock_and_motor(wave).reason


def test_recovery_at_128_intervals() -> None:
    """Clock 10 and hand 5 ms come back within 3 % on average, and few takes are declined (published rate 2.6 %)."""
    rng = np.random.default_rng(3)
    found = [clock_and_motor(unpaced(rng, 128, 10, 5)) for _ in range(1500)]
    fits = [f for f in found if f.clock_sd_ms is not None and f.motor_sd_ms is not None]

    assert np.sqrt(np.mean([f.clock_sd_ms**2 for f in fits])) == pytest.approx(10, rel=0.03)  # type: ignore[operator]
    assert np.sqrt(np.mean([f.motor_sd_ms**2 for f in fits])) == pytest.approx(5, rel=0.06)  # type: ignore[operator]
    assert 1 - len(fits) / len(found) <= 0.05


def test_drift_is_taken_out_first() -> None:
    """A steady slowing of 0.3 ms an interval is reported and does not look like a bad clock."""
    rng = np.random.default_rng(4)
    found = [clock_and_motor(unpaced(rng, 256, 10, 5, drift=0.3)) for _ in range(100)]
    clock = [f.clock_sd_ms for f in found if f.clock_sd_ms is not None]

    assert np.mean([f.drift_ms_per_interval for f in found]) == pytest.approx(0.3, abs=0.01)  # type: ignore[arg-type]
    assert np.mean(clock) == pytest.approx(10, rel=0.05)


@pytest.mark.parametrize(
    ("alpha", "mean", "scatter"), [(0.2, 0.27, 0.12), (0.5, 0.59, 0.18), (0.8, 0.91, 0.19), (1.1, 1.18, 0.14)]
)
def test_alpha_at_sixty_strokes(alpha: float, mean: float, scatter: float) -> None:
    """Means and scatter of 400 simulated takes of 60 equal an independent implementation's of the same equations."""
    rng = np.random.default_rng(5)
    found = [phase_correction(paced(rng, 60, alpha)).alpha for _ in range(400)]
    values = np.array([a for a in found if a is not None])

    assert values.size == 400
    assert values.mean() == pytest.approx(mean, abs=0.05)
    assert values.std() == pytest.approx(scatter, abs=0.04)


def test_alpha_sharpens_with_more_strokes() -> None:
    """At 480 strokes alpha .5 reads .5 within .05."""
    rng = np.random.default_rng(6)
    found = [phase_correction(paced(rng, 480, 0.5)).alpha for _ in range(100)]

    assert np.mean(found) == pytest.approx(0.5, abs=0.05)  # type: ignore[arg-type]


def test_alpha_is_one_decimal() -> None:
    """No more digits than one take supports."""
    alpha = phase_correction(paced(np.random.default_rng(7), 60, 0.5)).alpha

    assert alpha is not None
    assert alpha == round(alpha, 1)


def test_bias_does_not_change_alpha() -> None:
    """A constant earliness is no correction."""
    taps = paced(np.random.default_rng(8), 100, 0.4)

    assert phase_correction(taps - 40).alpha == phase_correction(taps).alpha


def test_declined_when_short_lost_or_inhuman() -> None:
    """Under 60 strokes, with many missed pulses, or with no variation at all, nothing is said."""
    taps = paced(np.random.default_rng(9), 100, 0.4)
    holes = taps.copy()
    holes[::10] = np.nan

    assert "59 strokes" in phase_correction(taps[:59]).reason
    assert "10 of 100 pulses" in phase_correction(holes).reason
    assert "equally far" in phase_correction(np.full(100, -3.0)).reason


def test_a_few_lost_beats_are_bridged() -> None:
    """One beat lost by 300 ms in a hundred does not carry the estimate away."""
    taps = paced(np.random.default_rng(10), 100, 0.4)
    slip = taps.copy()
    slip[50] = 300.0
    before, after = phase_correction(taps).alpha, phase_correction(slip).alpha

    assert before is not None
    assert after == pytest.approx(before, abs=0.15)
