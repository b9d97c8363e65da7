"""A part on its slots: what was written already, how long a note sounds, and what the grid left out."""

import numpy as np
import pytest

from heeltap.course.simplify.notation import (
    Written,
    on_placed_slots,
    on_written_slots,
    sounding_until_us,
    written_already,
)
from heeltap.model.arrays import as_ints
from heeltap.units import TICKS_PER_QUARTER


def sounding(held: list[int], pedal: list[tuple[int, int]], pitch: list[int] | None = None) -> list[int]:
    """Ends of notes that start every 100 us, with a pedal of (time, value)."""
    onset = as_ints(100 * n for n in range(len(held)))
    keys = as_ints(pitch or range(60, 60 + len(held)))
    times, values = as_ints(at for at, _ in pedal), as_ints(value for _, value in pedal)
    return sounding_until_us(onset, as_ints(held), keys, times, values).tolist()


def test_without_a_pedal_the_finger_ends_the_note() -> None:
    """No controller in the file at all."""
    assert [50, 170] == sounding([50, 170], [])


def test_the_pedal_holds_what_is_released_while_it_is_down() -> None:
    """Down at 40, up at 300: a note released at 50 sounds to 300, one held to 400 to 400."""
    assert [300, 400] == sounding([50, 400], [(40, 127), (300, 0)])


def test_a_pedal_pressed_after_the_release_holds_nothing() -> None:
    """It has to be down when the finger leaves."""
    assert [50] == sounding([50], [(60, 127), (300, 0)])


def test_half_a_pedal_is_up_below_64() -> None:
    """64 is down, 63 is up."""
    assert [200] == sounding([50], [(10, 64), (200, 63), (300, 0)])


def test_a_pedal_that_never_comes_up_holds_to_the_end() -> None:
    """The end is the last thing that happens in the part."""
    assert [400, 400] == sounding([50, 400], [(40, 127)])


def test_the_same_key_struck_again_ends_the_note() -> None:
    """A key cannot sound twice."""
    assert [100, 300] == sounding([50, 150], [(40, 127), (300, 0)], pitch=[60, 60])


@pytest.mark.parametrize(("ticks_per_quarter", "step"), [(480, 120), (480, 160), (480, 60), (96, 24), (10_080, 1_680)])
def test_notes_on_sixteenths_or_triplets_were_written(ticks_per_quarter: int, step: int) -> None:
    """Sixteenths, eighth triplets, thirty-seconds, sixteenth triplets."""
    assert written_already([n * step for n in range(40)], ticks_per_quarter)


@pytest.mark.parametrize("ticks_per_quarter", [24, 96, 480])
def test_played_notes_were_not_written(rng: np.random.Generator, ticks_per_quarter: int) -> None:
    """Sixteenths at 120 bpm with a spread of 20 ms, in coarse and in fine ticks."""
    quarter = np.arange(400) / 4 + rng.normal(0, 0.04, 400)

    assert not written_already(np.maximum(np.rint(quarter * ticks_per_quarter), 0), ticks_per_quarter)
    assert not written_already([], ticks_per_quarter)


def test_written_notes_go_to_the_nearest_place_and_keep_their_length() -> None:
    """A tick beside the eighth is the eighth; the end moves with it."""
    part = on_written_slots(
        np.array([0.0, 0.502]), np.array([0.4, 0.902]), np.array([0.4, 2.002]), as_ints([60, 62]), as_ints([80, 81])
    )

    assert [0.0, 0.5] == (part.at_tick / TICKS_PER_QUARTER).tolist()
    assert [0.4, 0.9] == pytest.approx(part.held_tick / TICKS_PER_QUARTER)
    assert [0.4, 2.0] == pytest.approx(part.sounding_tick / TICKS_PER_QUARTER)


def test_notes_without_a_slot_are_left_out_and_counted() -> None:
    """So are those before bar 1, and a key that falls twice on one slot is kept once, the longer one."""
    slot = np.array([-0.25, 0.0, np.nan, 1.0, 1.0])
    end = np.array([0.0, 0.5, 0.8, 1.2, 1.9])
    played = np.array([-0.2, 0.0, 0.7, 1.0, 1.1])
    keys, loud = as_ints([60, 60, 60, 62, 62]), as_ints([1, 2, 3, 4, 5])

    part = on_placed_slots(slot, np.zeros(5, np.bool_), 2.0, played, end, end, keys, loud)

    assert ([60, 62], [2, 5], 2, 2.0) == (part.pitch.tolist(), part.velocity.tolist(), part.left_out, part.swing_ratio)


def test_a_part_runs_forwards() -> None:
    """Time order is part of the table's promise."""
    column = as_ints([1, 0])

    with pytest.raises(ValueError, match="must not decrease"):
        Written(column, column.copy(), column.copy(), column.copy(), column.copy(), np.zeros(2, np.bool_))
