"""Divisions of a pulse and their names."""

import numpy as np

from heeltap.analysis.quantise.states import cost_tables, divisions_for


def test_fine_divisions_need_room() -> None:
    """At 300 bpm nobody means sixths or eighths of the beat; at 60 all are there."""
    assert 6 == divisions_for(1000.0, ()).slots.shape[0]
    assert 4 == divisions_for(200.0, ()).slots.shape[0]


def test_shares_are_probabilities() -> None:
    """They sum to one in both kinds of pulse, and swing has none where beats divide by three."""
    divisions = divisions_for(500.0, (0.6, 0.7))

    np.testing.assert_allclose(divisions.share.sum(1), 1.0)
    assert [0, 0, 0, 0, 0, 0, 1, 1] == divisions.swung.tolist()
    assert divisions.share[1, -2:].max() < 1e-6


def test_every_slot_has_one_name_whichever_division_holds_it() -> None:
    """Parts are distinct, and each division's slots point at them."""
    divisions = divisions_for(1000.0, (0.62,))
    has = np.isfinite(divisions.slots)

    assert (np.diff(divisions.parts) > 1e-6).all()
    np.testing.assert_allclose(divisions.parts[divisions.part_of[has]], divisions.slots[has], atol=1e-9)


def test_the_nearest_slot_wins_and_the_next_pulse_counts() -> None:
    """Places just under the next pulse belong to its first slot, marked 8, with no bit of this pulse."""
    divisions = divisions_for(1000.0, ())
    costs = cost_tables(divisions, 100, 8, 0.02)

    assert 8 == costs.slot[91, 0]
    assert 0 == costs.bit[91, 0]
    assert 0 == costs.slot[95, 0]
    assert 1 == costs.bit[95, 0]
    assert 2 == costs.slot[50, 2]
