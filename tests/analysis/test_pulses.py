"""Clocks, metres, pulses and notes struck together."""

import numpy as np
import pytest

from heeltap.analysis.quantise.pulses import TempoClock, as_clock, as_metre, group_chords, interpolate, pulses_under
from heeltap.model.timeline import Metre, MetreMap, TempoMap


def test_a_clock_and_its_inverse_agree() -> None:
    """Position to time and back, for a number, a map and a bent clock."""
    tempo = TempoMap(480, np.array([0, 1920]), np.array([500_000, 400_000]))
    warp = (np.array([0.0, 4.0, 8.0]), np.array([0.0, 4.1, 8.0]))
    quarter = np.array([-1.0, 0.0, 1.3, 4.0, 7.7, 20.0])

    for clock in (as_clock(93.0), as_clock(tempo), TempoClock(tempo, 1.0, warp)):
        np.testing.assert_allclose(clock.quarter_at(clock.us_at_quarter(quarter)), quarter, atol=1e-9)


def test_beyond_its_ends_a_bend_goes_straight_on() -> None:
    """The outer slopes continue."""
    got = interpolate(np.array([-1.0, 3.0]), np.array([0.0, 1.0, 2.0]), np.array([0.0, 2.0, 3.0]))

    np.testing.assert_allclose([-2.0, 4.0], got)


@pytest.mark.parametrize(
    ("metre", "length", "thirds", "in_bar"),
    [
        ("4/4", 1.0, False, [0, 1, 2, 3]),
        ("2/2", 1.0, False, [0, 1, 2, 3]),
        ("7/8", 0.5, False, [0, 1, 2, 3, 4, 5, 6]),
        ("6/8", 1.5, True, [0, 1]),
        ("9/8", 1.5, True, [0, 1, 2]),
        ("3/8", 0.5, False, [0, 1, 2]),
        ("6/16", 0.75, True, [0, 1]),
    ],
)
def test_pulses_follow_the_metre(metre: str, length: float, thirds: bool, in_bar: list[int]) -> None:
    """Length, division and place in the bar of each pulse."""
    pulses = pulses_under(as_metre(metre), as_clock(120.0), np.linspace(0.0, 30.0, 31))
    first = int(np.flatnonzero(np.abs(pulses.start) < 1e-9)[0])

    assert {length} == set(pulses.length.tolist())
    assert {thirds} == set(pulses.thirds.tolist())
    assert in_bar == pulses.in_bar[first : first + len(in_bar)].tolist()
    np.testing.assert_allclose(pulses.ms, 500.0 * length)


def test_pulses_start_before_the_first_stroke_and_end_after_the_last() -> None:
    """Two on each side, wherever the take begins."""
    for first in (-3.2, 0.0, 123.4):
        pulses = pulses_under(as_metre("4/4"), as_clock(120.0), first + np.arange(11.0))

        assert pulses.start[0] <= first - 2
        assert pulses.start[-1] + pulses.length[-1] >= first + 11


def test_a_metre_change_starts_pulses_anew() -> None:
    """After a bar of 3/4 cut to 2.5 quarters the next metre's pulses begin at its own bar line."""
    metre = MetreMap(np.array([0.0, 2.5]), (Metre(3, 4), Metre(6, 8)))
    pulses = pulses_under(metre, as_clock(120.0), np.arange(7.0))
    inside = pulses.start[(pulses.start >= 0) & (pulses.start < 5)]

    assert [0.0, 1.0, 2.0, 2.5, 4.0] == inside.tolist()


def test_places_and_positions_are_inverse() -> None:
    """A place in pulses leads back to its quarter."""
    pulses = pulses_under(as_metre("6/8"), as_clock(100.0), np.linspace(0.0, 30.0, 31))
    quarter = np.linspace(-1, 29, 61)
    position = pulses.position_of(quarter)
    row = np.floor(position).astype(np.int64)

    np.testing.assert_allclose(pulses.quarter_of(row, position - row), quarter, atol=1e-9)


def test_notes_within_the_window_of_the_first_are_one_stroke() -> None:
    """A chain of notes 15 ms apart does not grow without end."""
    onset = np.array([0, 15_000, 30_000, 45_000, 100_000, 110_000], dtype=float)

    assert [0, 0, 1, 1, 2, 2] == group_chords(onset, 20_000.0).tolist()
    assert [0, 0, 1, 1] == group_chords(np.array([0.0, 19e3, 100e3, 120e3]), 20e3).tolist()
    assert 0 == group_chords(np.zeros(0), 20e3).size


@pytest.mark.parametrize(
    ("metre", "fits"), [("1/4", True), ("64/32", True), ("0/4", False), ("65/4", False), ("4/3", False)]
)
def test_metres_from_one_to_sixty_four_units(metre: str, fits: bool) -> None:
    """One unit a bar is a metre, none is not."""
    if fits:
        assert metre == str(as_metre(metre).metres[0])
    else:
        with pytest.raises(ValueError, match="expected 1 to 64 units"):
            as_metre(metre)
