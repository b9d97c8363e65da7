"""One reading: the sums over all paths against enumeration, and the slots that follow."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.quantise import forward_backward as passes
from heeltap.analysis.quantise.forward_backward import Setting, decode, read_take
from heeltap.analysis.quantise.states import _SAME_SLOT, cost_tables, divisions_for


def _setting(reach: int = 1, sigma: float = 0.03) -> Setting:
    return Setting(
        sigma=sigma, home=0.0, step=0.05, reach=reach, walk=0.02, leap=0.1, roam=0.06, rush=0.05, margin=0.0834
    )


def _enumerate(reading: passes.Reading) -> tuple[np.ndarray, float]:
    """Probability of every state and the total, by adding up every path."""
    likely, chain = reading._likely, reading._chain
    pulses, rows, kinds = likely.shape
    states = list(itertools.product(range(rows), range(kinds)))
    gamma, total = np.zeros(likely.shape), 0.0
    for path in itertools.product(states, repeat=pulses):
        chance = chain.start[path[0]] * likely[0][path[0]]
        for i in range(1, pulses):
            (k, d), (m, e) = path[i - 1], path[i]
            chance *= chain.walk[k, m] * chain.switch[i, d, e] * likely[i, m, e]
        total += chance
        for i, state in enumerate(path):
            gamma[i][state] += chance
    return gamma / total, float(np.log(total))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sums_over_paths_equal_enumeration(seed: int) -> None:
    """Three pulses, three offsets in two moods, two divisions: 1,728 paths, same probabilities and likelihood."""
    rng = np.random.default_rng(seed)
    divisions = divisions_for(80.0, ())
    place = np.sort(rng.uniform(0, 2.9, 5))
    share = rng.dirichlet(np.ones(divisions.slots.shape[0]), 3)
    reading = read_take(place, share, divisions, _setting())
    gamma, log_total = _enumerate(reading)
    count = reading.offsets.size

    assert 3 * 2 * 2 == reading._likely[0].size
    np.testing.assert_allclose(gamma[:, :count] + gamma[:, count:], reading.gamma, atol=1e-12)
    _, evidence = passes._forward(reading._likely.copy(), reading._chain)
    assert log_total == pytest.approx(evidence, abs=1e-9)


def test_rescaling_does_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rescaled at each pulse or at each eighth: the same probabilities and the same likelihood."""
    rng = np.random.default_rng(4)
    divisions = divisions_for(500.0, (0.66,))
    place = np.sort(rng.uniform(0, 60, 150))
    share = np.tile(divisions.share[0], (61, 1))
    eighth = read_take(place, share, divisions, _setting(4))
    first = eighth.gamma.copy()
    monkeypatch.setattr(passes, "_RESCALE", 1)
    each = read_take(place, share, divisions, _setting(4))

    np.testing.assert_allclose(first, each.gamma, atol=1e-12)
    assert eighth.log_likelihood == pytest.approx(each.log_likelihood, rel=1e-12)


def test_long_rests_stay_finite() -> None:
    """Two strokes a thousand pulses apart."""
    divisions = divisions_for(500.0, ())
    reading = read_take(np.array([1.0, 1000.0]), np.tile(divisions.share[0], (1003, 1)), divisions, _setting(4))

    assert np.isfinite(reading.log_likelihood)
    np.testing.assert_allclose(reading.gamma.sum((1, 2)), 1.0)


def test_ways_on_add_up_to_one() -> None:
    """From every mood and offset the probabilities of the next ones sum to one, and so do the divisions'."""
    divisions = divisions_for(500.0, (0.6,))
    reading = read_take(np.array([1.0, 2.0]), np.tile(divisions.share[0], (4, 1)), divisions, _setting(6))

    np.testing.assert_allclose(reading._chain.walk.sum(1), 1.0)
    np.testing.assert_allclose(reading._chain.switch.sum(2), 1.0)
    assert 1.0 == pytest.approx(reading._chain.start.sum())


def test_a_stroke_just_ahead_of_a_pulse_belongs_to_it() -> None:
    """At 4.97 the slot is part 0 of pulse 5, whichever window read it."""
    divisions = divisions_for(500.0, ())
    place = np.array([1.0, 2.0, 3.0, 4.0, 4.97, 6.0, 7.0])
    seen = decode(read_take(place, np.tile(divisions.share[0], (9, 1)), divisions, _setting(4)), place)

    assert [1, 2, 3, 4, 5, 6, 7] == seen.row.tolist()
    assert [0.0] * 7 == seen.part.tolist()


def test_a_stray_is_left_out() -> None:
    """A stroke at 3.30 between steady eighths played to a hundredth fits nothing."""
    divisions = divisions_for(240.0, ())
    steady = np.arange(1, 30, 0.5)
    place = np.sort(np.append(steady, 14.29))
    seen = decode(read_take(place, np.tile(divisions.share[0], (32, 1)), divisions, _setting(4, 0.01)), place)

    assert [int(np.searchsorted(place, 14.29))] == np.flatnonzero(seen.row < 0).tolist()


def test_costs_are_densities() -> None:
    """Over a pulse the density of a stroke, its skirt and the strays average to about one for every division."""
    divisions = divisions_for(500.0, (0.6,))
    costs = cost_tables(divisions, 400, 33, 0.02)
    slots = np.isfinite(divisions.slots).sum(1)
    mass = np.exp(-costs.stroke).mean(0)

    np.testing.assert_allclose(mass, 0.97 * slots + 0.03, rtol=0.02)


def test_sets_of_struck_slots_share_all_probability() -> None:
    """Without the price of a second stroke, the chances of all sets of a division's slots sum to one."""
    divisions = divisions_for(500.0, ())
    struck = cost_tables(divisions, 400, 33, 0.02).struck
    for row in range(divisions.slots.shape[0]):
        slots = int(np.isfinite(divisions.slots[row]).sum())
        sets = np.arange(1 << slots)
        strokes = np.array([bin(one).count("1") for one in sets])

        assert 1.0 == pytest.approx(float(np.exp(-struck[sets, row] - _SAME_SLOT * strokes).sum()))


@pytest.mark.parametrize("step", [0.031, 0.0137, 0.0254, 0.0447])
def test_no_stroke_is_given_a_slot_a_pulse_away(step: float) -> None:
    """Wherever in its pulse a stroke falls and however wide the steps, its slot is within half a pulse."""
    divisions = divisions_for(500.0, ())
    setting = replace(_setting(4), step=step)
    place = np.arange(40) + np.linspace(0.01, 0.99, 40)
    seen = decode(read_take(place, np.tile(divisions.share[0], (43, 1)), divisions, setting), place)
    has = seen.row >= 0

    assert has.sum() > 20
    assert np.abs(place - seen.row - seen.part)[has].max() < 0.5
