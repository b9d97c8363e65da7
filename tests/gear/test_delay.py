"""The same path, tapping along, and moments that nobody can foresee."""

import numpy as np
import pytest

from heeltap.gear.delay import (
    FEEL,
    LEAST_TAPS,
    LIMITS,
    MICROPHONE,
    SAME_PATH,
    SETTLING,
    Declined,
    Delay,
    feel_offset,
    irregular_us,
    same_path,
)

CLICKS = 600_000 * np.arange(44)


def tapped(rng: np.random.Generator, *, mean_ms: float = -28.0, sd_ms: float = 18.0, alike: float = 0.0) -> np.ndarray:
    """Taps with every click, each like the one before to a degree."""
    noise = np.empty(CLICKS.size)
    noise[0] = rng.standard_normal()
    for i in range(1, CLICKS.size):
        noise[i] = alike * noise[i - 1] + np.sqrt(1 - alike**2) * rng.standard_normal()
    return np.sort(CLICKS + np.rint(1000 * (mean_ms + sd_ms * noise)).astype(np.int64))


def test_same_path_corrects_nothing() -> None:
    """The delay is 0, as unsure as a self-test says, or as two ways over the wire without one."""
    tested, untested = same_path(0.34), same_path()

    assert (0.0, 0.34, SAME_PATH, True) == (tested.delay_ms, tested.uncertainty_ms, tested.method, tested.judges)
    assert (0.0, 2.0) == (untested.delay_ms, untested.uncertainty_ms)


def test_every_method_has_its_limits_in_words() -> None:
    """Nothing is kept without a sentence that says what it does not say."""
    assert {SAME_PATH, MICROPHONE, FEEL} == set(LIMITS)


def test_feel_offset_is_the_median_of_taps_and_never_judges(rng: np.random.Generator) -> None:
    """Median, scatter and number of the taps behind the settling ones; it is never used to judge."""
    delay = feel_offset(tapped(rng), CLICKS)

    assert isinstance(delay, Delay)
    assert (FEEL, False, CLICKS.size - SETTLING) == (delay.method, delay.judges, delay.n)
    assert abs(delay.delay_ms + 28) < delay.uncertainty_ms + 3
    assert delay.spread_ms == pytest.approx(18, abs=6)


@pytest.mark.parametrize("alike", [0.0, 0.4])
def test_feel_interval_covers(rng: np.random.Generator, alike: float) -> None:
    """Of 400 simulated players the interval holds the true offset of 90 % at least, also where taps resemble their
    neighbour."""
    inside = 0
    for _ in range(400):
        delay = feel_offset(tapped(rng, alike=alike), CLICKS)
        assert isinstance(delay, Delay)
        inside += abs(delay.delay_ms + 28) <= delay.uncertainty_ms

    assert inside >= 0.88 * 400  # 0.90 less two standard errors of the count


def test_settling_and_wild_taps_do_not_pull(rng: np.random.Generator) -> None:
    """Four taps 200 ms late at the beginning and one missed click move the median by less than its uncertainty."""
    taps = tapped(rng)
    taps[:4] += 200_000
    taps = np.sort(np.delete(np.append(taps, CLICKS[20] + 250_000), 30))
    delay = feel_offset(taps, CLICKS)

    assert isinstance(delay, Delay)
    assert abs(delay.delay_ms + 28) < delay.uncertainty_ms + 3


def test_nearest_of_two_taps_counts(rng: np.random.Generator) -> None:
    """A second tap in between each two clicks changes nothing."""
    taps = tapped(rng)
    both = np.sort(np.concatenate([taps, taps + 270_000]))

    assert feel_offset(taps, CLICKS) == feel_offset(both, CLICKS)


@pytest.mark.parametrize(
    ("taps", "words"),
    [
        (np.zeros(0, np.int64), "0 taps"),
        (CLICKS[: LEAST_TAPS + SETTLING - 1], f"{LEAST_TAPS - 1} taps"),
        (CLICKS + np.random.default_rng(1).integers(-290_000, 290_000, CLICKS.size), "have a spread of"),
    ],
)
def test_feel_offset_is_declined(taps: np.ndarray, words: str) -> None:
    """Too few taps, and taps that follow no click, make no offset; the reason is said."""
    answer = feel_offset(np.sort(taps), CLICKS)

    assert isinstance(answer, Declined)
    assert words in answer.reason


def test_exactly_enough_taps_make_an_offset() -> None:
    """32 taps behind the settling ones are enough, also perfectly even ones."""
    delay = feel_offset(CLICKS[: LEAST_TAPS + SETTLING] - 12_000, CLICKS)

    assert isinstance(delay, Delay)
    assert (-12.0, LEAST_TAPS, 0.0) == (delay.delay_ms, delay.n, delay.spread_ms)


def test_irregular_moments_keep_their_bounds(rng: np.random.Generator) -> None:
    """From 0, each step within its bounds, and not all alike."""
    at = irregular_us(200, shortest_us=6_000, longest_us=30_000, rng=rng)

    assert (0, 200) == (at[0], at.size)
    assert np.diff(at).min() >= 6_000
    assert np.diff(at).max() <= 30_000
    assert len(set(np.diff(at).tolist())) > 100
    assert irregular_us(0, shortest_us=1, longest_us=2, rng=rng).size == 0
