"""`heeltap.place`: the contract, the forced raster, metres, chords, ornaments, runs, and takes that are not on the
grid."""

from dataclasses import replace

import numpy as np
import pytest

import heeltap
from heeltap.analysis.quantise import Slots, quantise
from heeltap.model.subdivisions import BEAT, EIGHTH, GRACE, SIXTEENTH, SWUNG, TRIPLET
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo
from tests.makers.grooves import Groove, Player, draw_player, make_groove


def _right(groove: Groove, slots: Slots) -> float:
    """Share of the onsets with a slot that were given it."""
    has = np.isfinite(groove.meant)
    with np.errstate(invalid="ignore"):
        return float((np.abs(slots.quarter[has] - groove.meant[has]) < 0.03).mean())


def _played(quarters: list[float], bpm: float, offset_ms: float = 0.0) -> np.ndarray:
    return np.round((np.array(quarters) * 60_000.0 / bpm + offset_ms) * 1000).astype(np.int64)


def test_the_public_name_is_this_function() -> None:
    """`heeltap.place` is `core.grid.quantise`."""
    assert quantise is heeltap.quantise


def test_columns_are_as_long_as_the_take_and_in_its_order() -> None:
    """An onset given out of order gets its slot in its own row."""
    slots = quantise([1_000_000, 0, 1_500_000, 500_000, 2_000_000], 120.0, "4/4")

    assert [2.0, 0.0, 3.0, 1.0, 4.0] == slots.quarter.tolist()
    assert [1, 1, 1, 1, 2] == slots.bar.tolist()
    assert [3.0, 1.0, 4.0, 2.0, 1.0] == slots.beat.tolist()
    assert 5 == len(slots)
    for name in ("division", "offset_ms", "confidence", "reference_us", "log_ratio"):
        assert 5 == getattr(slots, name).size


def test_an_empty_take_gives_empty_columns() -> None:
    """No onsets: no rows, no swing, nothing said about the grid."""
    slots = quantise([], 120.0, "4/4")

    assert (0, None, True) == (len(slots), slots.swing, slots.on_grid)


@pytest.mark.parametrize("onset_us", [0, 13_000, 3_600_000_000, -20_000])
def test_one_onset_is_placed(onset_us: int) -> None:
    """A single stroke anywhere gives finite numbers."""
    slots = quantise([onset_us], 120.0, "4/4")

    assert np.isfinite(slots.confidence).all()
    assert slots.placed.all()


def test_columns_cannot_be_written() -> None:
    """The table is read-only."""
    slots = quantise([0], 120.0, "4/4")

    with pytest.raises(ValueError, match="read-only"):
        slots.beat[0] = 2.0


def test_offsets_are_exact_at_the_slot_given() -> None:
    """Played minus slot, to the microsecond, with the early ones negative."""
    offsets = np.array([-12.0, 3.5, 0.0, 20.0] * 8)
    take = np.round((np.arange(32) * 0.5 * 500.0 + offsets) * 1000).astype(np.int64)
    slots = quantise(take, 120.0, "4/4")

    np.testing.assert_allclose(slots.offset_ms, offsets, atol=1e-9)
    np.testing.assert_array_equal(slots.reference_us, np.arange(32) * 250_000)


def test_a_known_delay_is_taken_away() -> None:
    """With its delay given, a delayed take reads like the undelayed one."""
    take = _played([i / 2 for i in range(32)], 100.0, offset_ms=-8.0)

    late = quantise(take + 180_000, 100.0, "4/4", delay_ms=180.0)

    np.testing.assert_array_equal(quantise(take, 100.0, "4/4").quarter, late.quarter)
    np.testing.assert_allclose(late.offset_ms, -8.0, atol=1e-3)


def test_a_number_a_map_and_every_form_of_the_metre_agree() -> None:
    """120, a tempo map of 120; "4/4", (4, 4), a metre map: one answer."""
    take = _played([i / 4 for i in range(64)], 120.0, offset_ms=-15.0)
    first = quantise(take, 120.0, "4/4")

    for tempo in (120, steady_tempo(120.0)):
        for metre in ((4, 4), steady_metre(4, 4)):
            np.testing.assert_array_equal(first.beat, quantise(take, tempo, metre).beat)


def test_a_steady_tempo_is_not_rounded_to_microseconds() -> None:
    """At 107 bpm a quarter is 560,747.66 us; after 2,000 quarters rounding would be 0.67 ms off."""
    slots = quantise(_played([i / 1.0 for i in range(2000)], 107.0), 107.0, "4/4", grid=8)

    assert np.abs(slots.offset_ms).max() < 0.001


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        ({"tempo": 0.0}, "expected 1 to 1000"),
        ({"tempo": float("nan")}, "expected 1 to 1000"),
        ({"metre": "four"}, "expected a form like"),
        ({"metre": "4/5"}, "expected 1 to 64 units"),
        ({"grid": 10}, "expected one of 8, 12, 16, 24"),
        ({"take_us": [0.5]}, "take_us: floating numbers; expected whole microseconds"),
        ({"take_us": ["0"]}, "take_us: type"),
        ({"take_us": [[0]]}, "take_us: shape"),
        ({"take_pitch": [1, 2]}, "expected 1, one for each onset"),
    ],
)
def test_wrong_arguments_are_named(arguments: dict[str, object], match: str) -> None:
    """Each error says which argument, what was found and what was expected."""
    full: dict[str, object] = {"take_us": [0], "tempo": 120.0, "metre": "4/4"} | arguments
    with pytest.raises(ValueError, match=match):
        quantise(**full)  # type: ignore[arg-type]


class TestRaster:
    """`grid=`: plain rounding, nothing followed, nothing left out."""

    @pytest.mark.parametrize("grid", [8, 12, 16, 24])
    def test_every_onset_goes_to_its_own_nearest_slot(self, grid: int, rng: np.random.Generator) -> None:
        """No slot of the raster is nearer than the one given."""
        take = np.sort(rng.integers(-300_000, 60_000_000, 400))
        slots = quantise(take, 97.0, "4/4", grid=grid)
        step_us = 60_000_000 / 97.0 * 4 / grid

        assert slots.placed.all()
        assert np.abs(slots.offset_ms).max() <= step_us / 2000 + 0.003
        np.testing.assert_allclose(slots.quarter * grid / 4, np.round(slots.quarter * grid / 4), atol=1e-6)

    def test_half_way_goes_to_the_earlier_slot_wherever_rounding_left_it(self) -> None:
        """Ticks half-way between sixteenths, rounded to microseconds up or down, all read half a slot late."""
        tick = np.arange(60, 48_000, 120)
        tempo = TempoMap(480, np.array([0]), np.array([434_783]))
        slots = quantise(tempo.us_at(tick), tempo, "4/4", grid=16)

        np.testing.assert_allclose(slots.offset_ms, 434.783 / 8, atol=0.001)

    def test_slots_count_from_the_bar_line(self) -> None:
        """In 7/8 the twelfths start anew with each bar, and the bar line is a slot."""
        bar = 3.5 * 500_000
        take = np.array([0, bar - 20_000, bar + 10_000, bar + 500_000 / 3]).astype(np.int64)
        slots = quantise(take, 120.0, "7/8", grid=12)

        np.testing.assert_allclose([0.0, 3.5, 3.5, 3.5 + 1 / 3], slots.quarter, atol=1e-9)
        assert [1, 2, 2, 2] == slots.bar.tolist()

    def test_divisions_are_named_by_position(self) -> None:
        """Beat, eighth, sixteenth; thirds on a triplet raster."""
        plain = quantise(_played([0, 0.5, 1.25, 2.75], 120.0), 120.0, "4/4", grid=16)
        thirds = quantise(_played([0, 1 / 3, 2 / 3], 120.0), 120.0, "4/4", grid=12)

        assert [BEAT, EIGHTH, SIXTEENTH, SIXTEENTH] == plain.division.tolist()
        assert [BEAT, TRIPLET, TRIPLET] == thirds.division.tolist()

    def test_confidence_is_one_and_there_is_no_swing(self) -> None:
        """A raster has no doubts and hears no swing."""
        slots = quantise(_played([0, 2 / 3, 1, 5 / 3], 120.0), 120.0, "4/4", grid=16)

        assert [1.0] * 4 == slots.confidence.tolist()
        assert slots.swing is None


class TestReading:
    """Without a raster the slots are read from the take."""

    @pytest.mark.parametrize(
        ("style", "metre", "bpm"),
        [
            ("eighths", (4, 4), 60.0),
            ("eighths", (4, 4), 190.0),
            ("eighths", (3, 4), 140.0),
            ("eighths", (7, 8), 150.0),
            ("sixteenths", (4, 4), 96.0),
            ("sixteenths", (5, 4), 120.0),
            ("triplets", (4, 4), 84.0),
            ("triplets", (6, 8), 120.0),
            ("triplets", (12, 8), 150.0),
            ("swing", (4, 4), 140.0),
            ("mixed", (4, 4), 90.0),
        ],
    )
    def test_ordinary_takes_are_read(self, style: str, metre: tuple[int, int], bpm: float) -> None:
        """Spread 8 ms, 20 ms early: at least 98 of 100 strokes get their slot."""
        rng = np.random.default_rng(11)
        groove = make_groove(rng, Player(style, bpm, bars=24, metre=metre, bias_ms=-20.0, spread_ms=8.0))
        slots = quantise(groove.take_us, bpm, metre)

        assert _right(groove, slots) >= 0.98
        assert slots.on_grid
        assert 1.0 == slots.tempo_scale

    def test_beats_of_six_eight_are_dotted_quarters(self) -> None:
        """The thirds of a 6/8 beat are triplets by name, at beats 1, 1 1/3, 1 2/3, 2, ..."""
        slots = quantise(_played([i / 2 for i in range(48)], 90.0, -5.0), 90.0, "6/8")

        np.testing.assert_allclose([1, 4 / 3, 5 / 3, 2, 7 / 3, 8 / 3], slots.beat[:6], atol=1e-9)
        assert [BEAT, TRIPLET, TRIPLET] == slots.division[:3].tolist()

    def test_a_change_of_metre_and_tempo_is_followed(self) -> None:
        """Four bars of 4/4 at 120, then 6/8 at 90: bars, beats and offsets stay right."""
        metre = MetreMap(np.array([0.0, 16.0]), (Metre(4, 4), Metre(6, 8)))
        tempo = TempoMap(480, np.array([0, 16 * 480]), np.array([500_000, 666_667]))
        quarters = np.arange(0, 28, 0.5)
        take = tempo.us_at(np.round(quarters * 480).astype(np.int64)) - 10_000
        slots = quantise(take, tempo, metre)

        np.testing.assert_allclose(slots.quarter, quarters, atol=1e-9)
        np.testing.assert_allclose(slots.offset_ms, -10.0, atol=0.01)
        assert 5 == slots.bar[32]

    def test_notes_struck_together_share_a_slot_and_keep_their_offsets(self) -> None:
        """A chord spread over 14 ms: one slot, three offsets."""
        beats = np.arange(16) * 500_000
        take = np.sort(np.concatenate([beats, beats + 6_000, beats + 14_000]))
        slots = quantise(take, 120.0, "4/4")

        np.testing.assert_array_equal(np.repeat(np.arange(16), 3), slots.quarter)
        np.testing.assert_allclose(np.tile([0.0, 6.0, 14.0], 16), slots.offset_ms, atol=1e-9)

    def test_a_stroke_ahead_of_bar_one_belongs_to_it(self) -> None:
        """An early first stroke at -20 ms is bar 1 beat 1, 20 ms early."""
        slots = quantise(_played([i / 1.0 for i in range(16)], 100.0, -20.0), 100.0, "4/4")

        assert (1, 1.0) == (slots.bar[0], slots.beat[0])
        assert -20.0 == pytest.approx(slots.offset_ms[0])

    def test_a_player_who_runs_past_half_a_slot_is_followed(self) -> None:
        """Runs of 100 ms into fills at 120 bpm (a sixteenth is 125 ms): nine of ten strokes past half a slot are
        right."""
        right = total = 0
        for seed in range(6):
            groove = make_groove(
                np.random.default_rng(seed), Player("sixteenths", 120.0, bars=32, run_ms=-100.0, spread_ms=8.0)
            )
            slots = quantise(groove.take_us, 120.0, "4/4")
            past = groove.in_run & np.isfinite(groove.meant)
            right += int((np.abs(slots.quarter[past] - groove.meant[past]) < 0.03).sum())
            total += int(past.sum())

        assert total > 80
        assert right >= 0.9 * total

    def test_an_ornament_has_no_slot_and_says_so(self) -> None:
        """A soft stroke 35 ms ahead of each fourth beat is named a grace, and the beats keep their offsets."""
        beats = np.arange(64) * 500_000 - 5_000
        take = np.sort(np.concatenate([beats, beats[3::4] - 35_000]))
        grace = np.isin(take, beats[3::4] - 35_000)
        velocity = np.where(grace, 30, 90)
        slots = quantise(take, 120.0, "4/4", take_velocity=velocity, take_pitch=np.full(take.size, 38))

        assert [GRACE] * 16 == slots.division[grace].tolist()
        assert np.isnan(slots.beat[grace]).all()
        np.testing.assert_allclose(slots.offset_ms[~grace], -5.0, atol=1e-9)

    def test_two_hands_are_not_an_ornament_when_the_keys_are_known(self) -> None:
        """A kick 30 ms ahead of the hat on another key keeps its slot."""
        beats = np.arange(64) * 500_000
        take = np.sort(np.concatenate([beats, beats[3::4] - 30_000]))
        early = np.isin(take, beats[3::4] - 30_000)
        slots = quantise(take, 120.0, "4/4", take_pitch=np.where(early, 36, 42), take_velocity=np.full(take.size, 80))

        assert slots.placed[early].all()

    def test_swing_is_named_and_measured(self) -> None:
        """Off-beats at 1.62 of every beat: ratio 1.63, called swung."""
        quarters = np.sort(np.concatenate([np.arange(64), np.arange(64) + 0.62]))
        noise = np.random.default_rng(3).normal(0, 5, quarters.size)
        slots = quantise(np.round((quarters * 400 + noise) * 1000).astype(np.int64), 150.0, "4/4")

        assert slots.swing is not None
        assert 0.62 / 0.38 == pytest.approx(slots.swing.ratio, abs=0.05)
        assert slots.swing.ci95 is not None
        assert slots.swing.ci95[0] < 0.62 / 0.38 < slots.swing.ci95[1]
        assert {BEAT, SWUNG} == set(slots.division.tolist())
        assert np.abs(slots.quarter - quarters).max() < 0.02

    def test_straight_eighths_do_not_swing(self) -> None:
        """Late off-beats of 8 ms at 110 bpm (ratio 1.06) are not swing."""
        quarters = np.arange(128) / 2
        offset = np.where(np.arange(128) % 2, 8.0, 0.0) + np.random.default_rng(4).normal(0, 8, 128)
        slots = quantise(np.round((quarters * 60_000 / 110 + offset) * 1000).astype(np.int64), 110.0, "4/4")

        assert slots.swing is None
        np.testing.assert_array_equal(quarters, slots.quarter)

    def test_confidence_is_a_probability(self) -> None:
        """Between 0 and 1, and lower where two readings are near each other."""
        rng = np.random.default_rng(5)
        clear = make_groove(rng, Player("eighths", 100.0, spread_ms=6.0))
        muddy = make_groove(rng, Player("mixed", 180.0, spread_ms=30.0, bias_ms=50.0))
        sure, unsure = (quantise(one.take_us, one.player.bpm, "4/4").confidence for one in (clear, muddy))

        assert sure.min() >= 0
        assert sure.max() <= 1
        assert unsure.mean() < sure.mean() - 0.1

    def test_a_wrong_tempo_is_noticed_and_told(self) -> None:
        """0.3 % fast for 32 bars: all slots right, the scale told to 0.03 %, one warning with both tempi.

        Offsets are from the click as written, 96 ms ahead in the middle of a take that ends 192 ms ahead.
        """
        groove = make_groove(
            np.random.default_rng(6),
            Player("sixteenths", 120.0, bars=32, spread_ms=10.0, bias_ms=-20.0, tempo_scale=1.003),
        )
        slots = quantise(groove.take_us, 120.0, "4/4")

        assert _right(groove, slots) >= 0.985
        assert 1.003 == pytest.approx(slots.tempo_scale, abs=3e-4)
        assert 1 == len(slots.warnings)
        assert "if the click really ran at 120.3" in slots.warnings[0]
        assert -116.0 == pytest.approx(float(np.nanmean(slots.offset_ms)), abs=6.0)

    def test_strokes_at_random_are_not_on_the_grid(self) -> None:
        """Two hundred strokes at random times: the answer is that, with a reason and no confidence."""
        take = np.sort(np.random.default_rng(7).integers(0, 60_000_000, 200))
        slots = quantise(take, 120.0, "4/4")

        assert not slots.on_grid
        assert "not on this grid" in slots.reason
        assert slots.reason in slots.warnings
        assert slots.confidence.max() <= 0.5

    def test_a_take_at_quite_another_tempo_is_not_on_the_grid(self) -> None:
        """Sixteenths at 131 bpm against a click of 120."""
        groove = make_groove(np.random.default_rng(8), Player("sixteenths", 131.0, spread_ms=8.0))

        assert not quantise(groove.take_us, 120.0, "4/4").on_grid

    def test_moving_the_take_by_whole_bars_changes_the_bars_only(self) -> None:
        """Eight bars later: every quarter 32 on, beats and offsets the same."""
        groove = make_groove(np.random.default_rng(9), Player("sixteenths", 100.0, bars=12, spread_ms=9.0))
        one = quantise(groove.take_us, 100.0, "4/4")
        two = quantise(groove.take_us + 8 * 4 * 600_000, 100.0, "4/4")

        np.testing.assert_allclose(two.quarter, one.quarter + 32, atol=1e-9)
        np.testing.assert_allclose(two.offset_ms, one.offset_ms, atol=1e-6)

    @pytest.mark.parametrize("seed", range(8))
    def test_whoever_plays_the_columns_hold_together(self, seed: int) -> None:
        """Any simulated player: a slot has position, offset and division, or none of them; onset = slot + offset."""
        rng = np.random.default_rng(seed)
        player = replace(draw_player(rng), bars=8)
        groove = make_groove(rng, player)
        slots = quantise(groove.take_us, player.bpm, player.metre)
        on = slots.placed

        np.testing.assert_array_equal(on, np.isfinite(slots.beat) & np.isfinite(slots.offset_ms) & (slots.bar != 0))
        assert set(slots.division[~on].tolist()) <= {-1, GRACE}
        assert (slots.division[on] >= 0).all()
        np.testing.assert_allclose(
            groove.take_us[on] / 1000, slots.reference_us[on] / 1000 + slots.offset_ms[on], atol=0.0011
        )


class TestLength:
    """Cost follows the strokes, and long or uneven takes are read in pieces."""

    def test_a_stray_note_an_age_later_costs_nothing(self) -> None:
        """Thirty years after the take: placed, and the rest unmoved."""
        take = [*(i * 500_000 for i in range(16)), 10**15]
        slots = quantise(take, 120.0, "4/4")

        np.testing.assert_array_equal(slots.quarter, [*range(16), 2e9])

    def test_a_long_take_is_read_in_pieces_without_a_seam(self) -> None:
        """Six hundred bars: at least 99.9 % right, and nothing wrong about the edges."""
        groove = make_groove(
            np.random.default_rng(12), Player("sixteenths", 110.0, bars=600, spread_ms=8.0, grace=0.0, stray=0.0)
        )
        slots = quantise(groove.take_us, 110.0, "4/4")
        edge = np.abs(groove.meant - 2046) < 6

        assert _right(groove, slots) >= 0.999
        assert edge.any()
        np.testing.assert_allclose(slots.quarter[edge], groove.meant[edge], atol=0.01)

    def test_metres_in_turn_keep_their_bar_lines(self) -> None:
        """4/4 and 6/8 in blocks of 16 quarters, where 6/8 is cut short: early strokes on every bar line stay there."""
        metre = MetreMap(np.arange(8) * 16.0, tuple(Metre(4, 4) if i % 2 == 0 else Metre(6, 8) for i in range(8)))
        quarter = np.arange(0, 128, 0.5)
        noise = np.random.default_rng(13).normal(-6, 5, quarter.size)
        slots = quantise(np.round((quarter * 500 + noise) * 1000).astype(np.int64), 120.0, metre)

        np.testing.assert_allclose(slots.quarter, quarter, atol=1e-9)


@pytest.mark.parametrize(
    ("at_us", "grid", "said"),
    [
        ([0, 250_000, 500_000], 8, ""),
        ([0, 125_000, 500_000], 8, "1 note lies exactly half-way between two slots of --grid 8"),
        ([62_500, 187_500, 500_000], 16, "2 notes lie exactly half-way"),
        ([62_510, 187_490, 500_000], 16, ""),
    ],
)
def test_notes_half_way_between_two_slots_are_said(at_us: list[int], grid: int, said: str) -> None:
    """At 120 bpm: exactly half-way, to the microsecond; ten microseconds aside there is a nearer slot."""
    warnings = quantise(at_us, 120.0, "4/4", grid=grid).warnings

    assert bool(said) == bool(warnings)
    assert said in " ".join(warnings)
