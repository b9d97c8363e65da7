"""Deadlines: exact after any time, taken once, late ones marked."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.engine.deadlines import LATE_US, Pulse, late_clicks, nth_due_ns
from heeltap.model.arrays import as_ints


@given(
    start=st.integers(0, 10**16),
    k=st.integers(0, 10**6),
    us=st.integers(1, 10**7),
    part=st.sampled_from([1, 2, 3, 4, 6]),
)
def test_nth_deadline_is_exact(start: int, k: int, us: int, part: int) -> None:
    """Any click of any tempo is due at its fraction, rounded once: the millionth as exactly as the first."""
    exact = start + Fraction(k * us * 1000, part)

    assert abs(nth_due_ns(start, k, us_per_quarter=us, clicks_per_quarter=part) - exact) <= Fraction(1, 2)


def test_ten_minutes_add_up_to_nothing() -> None:
    """Triplets at 133 bpm: the last click of ten minutes is where it belongs, to the nanosecond."""
    us = 451_128  # 60 s / 133, rounded
    last = nth_due_ns(0, 1330 * 3, us_per_quarter=us, clicks_per_quarter=3)

    assert 1330 * us * 1000 == last


def test_everything_due_is_taken_once() -> None:
    """Deadlines come out in order, each once, however late one asks."""
    pulse = Pulse(as_ints([-1000, 0, 0, 500, 900]), zero_ns=10_000_000)

    assert 9_000_000 == pulse.next_ns
    assert [] == list(pulse.take(8_999_999))
    assert [0] == list(pulse.take(9_000_000))
    assert [1, 2, 3] == list(pulse.take(10_500_000))
    assert 10_900_000 == pulse.next_ns
    assert [4] == list(pulse.take(99_000_000))
    assert pulse.next_ns is None
    assert [] == list(pulse.take(99_000_001))


@pytest.mark.parametrize(("late_us", "expected"), [(-5, False), (0, False), (LATE_US, False), (LATE_US + 1, True)])
def test_late_clicks_are_marked(late_us: int, expected: bool) -> None:
    """More than 2 ms is late; exactly 2 ms is not."""
    due = as_ints([1_000_000])

    assert [expected] == late_clicks(due, due + late_us).tolist()
    assert np.bool_ == late_clicks(due, due).dtype
