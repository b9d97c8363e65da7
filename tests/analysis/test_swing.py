"""The swing ratio: pairs, average, interval, sections."""

import numpy as np
import pytest

from heeltap.analysis.swing import _student_975, pair_ratios, swing_by_section, swing_of
from heeltap.model.plan import Section


def test_a_pair_needs_beat_off_beat_and_next_beat() -> None:
    """Of five beats one lacks its off-beat, one its next beat and the last has none after it."""
    pulse = np.array([0, 1, 2, 3, 5])
    on = np.array([0.0, 3.0, 6.0, 9.0, 15.0])
    off = np.array([2.0, np.nan, 8.0, 11.0, 17.0])

    rows, ratio = pair_ratios(pulse, on, off)

    assert [0, 2] == rows.tolist()
    np.testing.assert_allclose(np.exp(ratio), [2.0, 2.0])


def test_an_off_beat_outside_its_beat_gives_no_ratio() -> None:
    """Before its beat or after the next there is no long and no short."""
    rows, _ = pair_ratios(np.arange(3), np.array([0.0, 3.0, 6.0]), np.array([-0.1, 6.5, np.nan]))

    assert 0 == rows.size


def test_an_off_beat_on_the_next_beat_gives_no_ratio() -> None:
    """There is no short part to divide by."""
    rows, _ = pair_ratios(np.array([0, 1]), np.array([0.0, 500_000.0]), np.array([500_000.0, np.nan]))

    assert [] == rows.tolist()


def test_ratios_are_averaged_as_logarithms() -> None:
    """Two to one and one to two make one to one, not 1.25."""
    swing = swing_of(np.log([2.0, 0.5, 2.0, 0.5]))

    assert swing is not None
    assert 1.0 == pytest.approx(swing.ratio)
    assert 4 == swing.n


def test_three_pairs_are_too_few() -> None:
    """No ratio from three pairs, nor from none."""
    assert swing_of(np.log([2.0, 2.0, 2.0])) is None
    assert swing_of(np.zeros(0)) is None


def test_one_slip_does_not_move_the_ratio() -> None:
    """Forty pairs near 1.8 and one of 12: the slip is left out."""
    ratio = np.exp(np.random.default_rng(1).normal(np.log(1.8), 0.05, 40))
    plain, slipped = swing_of(np.log(ratio)), swing_of(np.log(np.append(ratio, 12.0)))

    assert plain is not None
    assert slipped is not None
    assert plain.ratio == pytest.approx(slipped.ratio, abs=1e-9)


@pytest.mark.parametrize("freedom", [3, 4, 7, 15, 40, 400])
def test_the_interval_is_students(freedom: int) -> None:
    """The expansion about the normal agrees with SciPy's t to 1 % from 3 degrees of freedom, 0.1 % from 7."""
    from scipy import stats

    error = abs(_student_975(freedom) / stats.t.ppf(0.975, freedom) - 1)

    assert error < (0.01 if freedom < 7 else 0.001)


@pytest.mark.parametrize("rho", [0.0, 0.4])
def test_the_interval_covers_the_truth(rho: float) -> None:
    """Of 600 simulated takes of 60 pairs, nominal 95 %: at least 93 % cover the ratio played, also correlated ones."""
    rng = np.random.default_rng(2)
    covered = 0
    for _ in range(600):
        noise = rng.normal(0, 0.12, 60)
        for i in range(1, 60):
            noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * noise[i]
        swing = swing_of(np.log(2.2) + noise)
        assert swing is not None
        assert swing.ci95 is not None
        covered += swing.ci95[0] <= 2.2 <= swing.ci95[1]

    assert covered >= 0.93 * 600 - 3


def test_sections_have_their_own_ratio() -> None:
    """Bars 1-4 at 1.5, bars 5-8 at 2.5, bar 9 with too few pairs."""
    bar = np.repeat(np.arange(1, 10), 3)
    ratio = np.where(bar <= 4, 1.5, 2.5)
    sections = (Section("verse", 1, 4), Section("chorus", 5, 8), Section("end", 9, 9))

    verse, chorus, end = swing_by_section(sections, bar, np.log(ratio))

    assert verse is not None
    assert chorus is not None
    assert (1.5, 12) == (pytest.approx(verse.ratio), verse.n)
    assert 2.5 == pytest.approx(chorus.ratio)
    assert end is None
