"""Tempo and metre: ticks to time and back, bars and beats, also where they change."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.model.arrays import as_ints
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo


def _exact_us(tempo: TempoMap, tick: int) -> Fraction:
    """Time of a tick by fractions, adding up segment after segment: slow, and never rounded."""
    ticks, tempi = tempo.at_tick.tolist(), tempo.us_per_quarter.tolist()
    total = Fraction(0)
    for row, start in enumerate(ticks):
        stop = ticks[row + 1] if row + 1 < len(ticks) else tick
        if tick <= start and row:
            break
        total += Fraction(tempi[row] * (min(tick, stop) - start), tempo.ticks_per_quarter)
    return total


@st.composite
def tempo_maps(draw: st.DrawFn) -> TempoMap:
    """Maps of up to twenty segments at any resolution that a file can have."""
    steps = draw(st.lists(st.integers(1, 100_000), max_size=20))
    tempi = draw(st.lists(st.integers(1, (1 << 24) - 1), min_size=len(steps) + 1, max_size=len(steps) + 1))
    resolution = draw(st.integers(1, 0x7FFF))
    return TempoMap(resolution, as_ints(np.cumsum([0, *steps])), as_ints(tempi))


@given(tempo_maps(), st.lists(st.integers(-100_000, 3_000_000), min_size=1, max_size=20))
def test_every_tick_is_within_half_a_microsecond_of_exact_arithmetic(tempo: TempoMap, ticks: list[int]) -> None:
    """One rounding an event, however many tempo changes lie before it."""
    errors = [abs(us - _exact_us(tempo, tick)) for tick, us in zip(ticks, tempo.us_at(ticks).tolist(), strict=True)]

    assert max(errors) <= Fraction(1, 2)


def test_two_hours_with_thousands_of_tempo_changes_stay_exact(rng: np.random.Generator) -> None:
    """After two hours and 5,000 tempo changes a tick is still within 0.5 us of exact fractions."""
    at_tick = np.arange(5_000) * 1_381
    tempo = TempoMap(480, as_ints(at_tick), as_ints(rng.integers(300_000, 700_001, 5_000)))
    starts = [Fraction(0)]
    for us_per_quarter in tempo.us_per_quarter.tolist():
        starts.append(starts[-1] + Fraction(1_381 * us_per_quarter, 480))
    ticks = rng.integers(0, 6_900_000, 2_000)
    exact = [
        starts[tick // 1_381] + Fraction(tick % 1_381 * int(tempo.us_per_quarter[tick // 1_381]), 480)
        for tick in ticks.tolist()
    ]
    errors = [abs(us - us_exact) for us, us_exact in zip(tempo.us_at(ticks).tolist(), exact, strict=True)]

    assert tempo.us_at(at_tick[-1]) > 7_100_000_000
    assert max(errors) <= Fraction(1, 2)


@given(tempo_maps(), st.lists(st.integers(-100_000, 3_000_000), min_size=1, max_size=20))
def test_nearest_tick_inverts_time(tempo: TempoMap, ticks: list[int]) -> None:
    """A tick's time leads back to it where a tick lasts longer than a microsecond; else to one at the same time."""
    back = tempo.tick_at(tempo.us_at(ticks))
    gentle = bool(np.all(tempo.us_per_quarter > tempo.ticks_per_quarter))

    assert not gentle or ticks == back.tolist()
    assert np.all(
        np.abs(tempo.us_at(back) - tempo.us_at(ticks)) <= np.max(tempo.us_per_quarter) / tempo.ticks_per_quarter
    )


@given(st.integers(0, 7_200_000_000))
def test_nearest_tick_of_any_time_is_half_a_tick_away_at_most(us: int) -> None:
    """A take's onset written at 10,080 ticks a quarter and read back moves by half a tick and one rounding at most."""
    tempo = steady_tempo(93.7)
    tick_us = int(tempo.us_per_quarter[0]) / tempo.ticks_per_quarter

    assert abs(int(tempo.us_at(tempo.tick_at(us))) - us) <= tick_us / 2 + 0.5


def test_tempo_holds_from_its_tick_on() -> None:
    """The tempo of a segment counts from its first tick: a quarter at 120, one at 60, the rest at 240."""
    tempo = TempoMap(100, as_ints([0, 100, 200]), as_ints([500_000, 1_000_000, 250_000]))

    assert [0, 500_000, 1_000_000, 1_500_000, 1_750_000] == tempo.us_at([0, 100, 150, 200, 300]).tolist()
    assert [500_000, 1_000_000, 1_000_000, 250_000] == tempo.us_per_quarter_at(
        [0, 500_000, 1_499_999, 1_500_000]
    ).tolist()


def test_ticks_before_zero_use_the_first_tempo() -> None:
    """A count-in before tick 0 runs at the first tempo, in both directions."""
    tempo = TempoMap(480, as_ints([0, 480]), as_ints([600_000, 300_000]))

    assert [-1_200_000, -1_250] == tempo.us_at([-960, -1]).tolist()
    assert [-960, -1] == tempo.tick_at([-1_200_000, -1_250]).tolist()
    assert [-2.0] == tempo.quarter_at([-1_200_000]).tolist()
    assert [-1_200_000.0] == tempo.us_at_quarter([-2.0]).tolist()
    assert 600_000 == tempo.us_per_quarter_at(-5)


@given(tempo_maps(), st.lists(st.integers(0, 2_000_000), min_size=1, max_size=10))
def test_quarters_and_time_are_inverses(tempo: TempoMap, ticks: list[int]) -> None:
    """Time to quarters and back gives the time again, to a millionth of the time and a microsecond."""
    us = tempo.us_at(ticks)

    assert tempo.us_at_quarter(tempo.quarter_at(us)) == pytest.approx(us, rel=1e-6, abs=1.0)


@pytest.mark.parametrize(
    ("ticks", "tempi", "resolution"),
    [([], [], 480), ([5], [500_000], 480), ([0, 0], [1, 1], 480), ([0], [0], 480), ([0], [1], 0), ([0, 1], [1], 480)],
)
def test_a_broken_tempo_map_is_refused(ticks: list[int], tempi: list[int], resolution: int) -> None:
    """No rows, no row at 0, equal ticks, tempo 0, resolution 0 and unequal columns are errors."""
    with pytest.raises(ValueError, match=r"tempo|TempoMap"):
        TempoMap(resolution, as_ints(ticks), as_ints(tempi))


def test_columns_cannot_be_written() -> None:
    """The arrays of a map are read-only."""
    with pytest.raises(ValueError, match="read-only"):
        steady_tempo(120).at_tick[0] = 1


@pytest.mark.parametrize(
    ("metre", "bar", "beat", "beats"),
    [
        (Metre(4, 4), 4.0, 1.0, 4),
        (Metre(3, 4), 3.0, 1.0, 3),
        (Metre(6, 4), 6.0, 1.0, 6),
        (Metre(2, 2), 4.0, 2.0, 2),
        (Metre(6, 8), 3.0, 1.5, 2),
        (Metre(9, 8), 4.5, 1.5, 3),
        (Metre(12, 8), 6.0, 1.5, 4),
        (Metre(6, 16), 1.5, 0.75, 2),
        (Metre(3, 8), 1.5, 0.5, 3),
        (Metre(7, 8), 3.5, 0.5, 7),
        (Metre(3, 16), 0.75, 0.25, 3),
    ],
    ids=str,
)
def test_bar_and_beat_lengths(metre: Metre, bar: float, beat: float, beats: int) -> None:
    """A beat is the written unit, and three of them in 6, 9 or 12 eighths or sixteenths."""
    assert (bar, beat, beats) == (metre.bar_quarters, metre.beat_quarters, metre.beats)


def test_beats_of_six_eight_are_dotted_quarters() -> None:
    """In 6/8 the fourth eighth is beat 2, and the bar ends after six."""
    bar, beat = steady_metre(6, 8).bar_beat([0, 0.5, 1.0, 1.5, 2.5, 3.0, 4.5])

    assert [1, 1, 1, 1, 1, 2, 2] == bar.tolist()
    assert beat == pytest.approx([1, 4 / 3, 5 / 3, 2, 8 / 3, 1, 2])


def test_beats_of_seven_eight_are_eighths() -> None:
    """In 7/8 there are seven beats, each an eighth."""
    bar, beat = steady_metre(7, 8).bar_beat(np.arange(15) / 2)

    assert [1] * 7 + [2] * 7 + [3] == bar.tolist()
    assert [*range(1, 8), *range(1, 8), 1] == beat.tolist()


def _changes() -> MetreMap:
    """Two bars of 4/4, one of 7/8, then 3/4; then 4/4 that starts inside the second bar of the 3/4."""
    return MetreMap(np.array([0.0, 8.0, 11.5, 15.5]), (Metre(4, 4), Metre(7, 8), Metre(3, 4), Metre(4, 4)))


def test_a_metre_change_starts_a_bar_of_its_own() -> None:
    """Bars count on over changes; a bar that a change cuts short still counts as one."""
    bar, beat = _changes().bar_beat([7.5, 8.0, 11.0, 11.5, 14.5, 15.0, 15.5, 19.5])

    assert [2, 3, 3, 4, 5, 5, 6, 7] == bar.tolist()
    assert [4.5, 1.0, 7.0, 1.0, 1.0, 1.5, 1.0, 1.0] == beat.tolist()


def test_the_start_of_a_bar_is_found_again() -> None:
    """Where a bar starts, `bar_beat` says that bar, beat 1; over all changes, and before 0."""
    metre = _changes()
    bars = np.arange(-3, 12)
    bar, beat = metre.bar_beat(metre.quarter_of_bar(bars))

    assert bars.tolist() == bar.tolist()
    assert beat == pytest.approx(np.ones(bars.size))
    assert [0, 8, 11.5, 14.5, 15.5] == metre.quarter_of_bar([1, 3, 4, 5, 6]).tolist()


def test_metre_of_a_bar_and_of_a_position() -> None:
    """The signature of a bar is the one at its start; before 0 it is the first."""
    metre = _changes()

    assert ["4/4", "4/4", "7/8", "3/4", "3/4", "4/4"] == [str(metre.metre_of_bar(bar)) for bar in range(1, 7)]
    assert "4/4" == str(metre.metre_of_bar(-2))
    assert [0, 0, 0, 1, 3] == metre.row_at([-5, 0, 7.999, 8, 99]).tolist()


def test_positions_before_zero_count_bars_downwards() -> None:
    """The count-in is bar 0, with its beats in the usual order."""
    bar, beat = steady_metre(4, 4).bar_beat([-4.0, -1.0, -4.5])

    assert [0, 0, -1] == bar.tolist()
    assert [1.0, 4.0, 4.5] == beat.tolist()


@given(
    st.lists(st.tuples(st.integers(1, 12), st.integers(0, 4), st.integers(1, 8)), min_size=1, max_size=8),
    st.integers(1, 60),
)
def test_whole_bars_keep_their_numbers_at_any_resolution(spans: list[tuple[int, int, int]], bar: int) -> None:
    """With changes on bar lines only, bar n starts after the lengths of the n-1 bars before it."""
    starts = np.cumsum([0.0, *(4.0 * count / 2**power * bars for count, power, bars in spans)])
    metre = MetreMap(starts[:-1], tuple(Metre(count, 2**power) for count, power, _ in spans))
    lengths = [4.0 * count / 2**power for count, power, bars in spans for _ in range(bars)]
    lengths += [lengths[-1]] * 60

    assert float(metre.quarter_of_bar(bar)) == pytest.approx(sum(lengths[: bar - 1]))
    assert bar == int(metre.bar_beat(metre.quarter_of_bar(bar))[0])


@given(st.integers(1, 12), st.integers(0, 4), st.integers(1, 5), st.integers(0, 9), st.floats(-5e-10, 5e-10))
def test_a_rounding_beside_a_bar_line_is_on_it(count: int, power: int, bars: int, bar: int, error: float) -> None:
    """Half a billionth of a quarter before a bar line, or a change of metre, never gives beat 0 or the bar before."""
    change = Metre(count, 2**power).bar_quarters * bars
    metre = MetreMap(np.array([0.0, change]), (Metre(count, 2**power), Metre(3, 16)))
    found, beat = metre.bar_beat(change + 0.75 * bar + error * 0.75)

    assert bars + 1 + bar == int(found)
    assert 1.0 <= float(beat) <= 1.0 + 1e-8


@given(st.lists(st.floats(-50, 200), min_size=1, max_size=30))
def test_every_position_has_a_beat_of_its_bar(quarters: list[float]) -> None:
    """Beats run from 1 to below the bar's beats plus 1, and later positions never stand in earlier bars."""
    metre = _changes()
    bar, beat = metre.bar_beat(sorted(quarters))
    beats = np.array([metre.metre_of_bar(number).beats for number in bar.tolist()])

    assert np.all(np.diff(bar) >= 0)
    assert np.all((beat >= 1.0) & (beat < beats + 1.0))


@pytest.mark.parametrize("at", [[], [1.0], [0.0, 0.0]])
def test_a_broken_metre_map_is_refused(at: list[float]) -> None:
    """No rows, no row at 0, and equal positions are errors."""
    with pytest.raises(ValueError, match="metre map"):
        MetreMap(np.array(at), tuple(Metre(4, 4) for _ in at))
