"""One reading: the sums over all paths against enumeration, and the slots that follow."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.quantise import forward_backward as forward_backward
from heeltap.analysis.quantise.forward_backward import HmmParameters, decode_strokes, infer
from heeltap.analysis.quantise.states import _SAME_SLOT, cost_tables, divisions_for


def _parameters(reach: int = 1, sigma: float = 0.03) -> HmmParameters:
    return HmmParameters(
        sigma=sigma, home=0.0, step=0.05, reach=reach, walk=0.02, leap=0.1, roam=0.06, rush=0.05, margin=0.0834
    )


def _enumerate(inference: forward_backward.Inference) -> tuple[np.ndarray, float]:
    """Probability of every state and the total, by adding up every path."""
    likelihood, transitions = inference._likelihood, inference._transitions
    pulses, rows, kinds = likelihood.shape
    states = list(itertools.product(range(rows), range(kinds)))
    posterior, total = np.zeros(likelihood.shape), 0.0
    for path in itertools.product(states, repeat=pulses):
        chance = transitions.start[path[0]] * likelihood[0][path[0]]
        for i in range(1, pulses):
            (k, d), (m, e) = path[i - 1], path[i]
            chance *= transitions.walk[k, m] * transitions.switch[i, d, e] * likelihood[i, m, e]
        total += chance
        for i, state in enumerate(path):
            posterior[i][state] += chance
    return posterior / total, float(np.log(total))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sums_over_paths_equal_enumeration(seed: int) -> None:
    """Three pulses, three offsets in two moods, two divisions: 1,728 paths, same probabilities and likelihood."""
    rng = np.random.default_rng(seed)
    divisions = divisions_for(80.0, ())
    position = np.sort(rng.uniform(0, 2.9, 5))
    share = rng.dirichlet(np.ones(divisions.slots.shape[0]), 3)
    inference = infer(position, share, divisions, _parameters())
    posterior, log_total = _enumerate(inference)
    count = inference.offsets.size

    assert 3 * 2 * 2 == inference._likelihood[0].size
    np.testing.assert_allclose(posterior[:, :count] + posterior[:, count:], inference.posterior, atol=1e-12)
    _, log_likelihood = forward_backward._forward(inference._likelihood.copy(), inference._transitions)
    assert log_total == pytest.approx(log_likelihood, abs=1e-9)


def test_rescaling_does_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rescaled at each pulse or at each eighth: the same probabilities and the same likelihood."""
    rng = np.random.default_rng(4)
    divisions = divisions_for(500.0, (0.66,))
    position = np.sort(rng.uniform(0, 60, 150))
    share = np.tile(divisions.share[0], (61, 1))
    eighth = infer(position, share, divisions, _parameters(4))
    first = eighth.posterior.copy()
    monkeypatch.setattr(forward_backward, "_RESCALE", 1)
    each = infer(position, share, divisions, _parameters(4))

    np.testing.assert_allclose(first, each.posterior, atol=1e-12)
    assert eighth.log_likelihood == pytest.approx(each.log_likelihood, rel=1e-12)


def test_long_rests_stay_finite() -> None:
    """Two strokes a thousand pulses apart."""
    divisions = divisions_for(500.0, ())
    inference = infer(np.array([1.0, 1000.0]), np.tile(divisions.share[0], (1003, 1)), divisions, _parameters(4))

    assert np.isfinite(inference.log_likelihood)
    np.testing.assert_allclose(inference.posterior.sum((1, 2)), 1.0)


def test_ways_on_add_up_to_one() -> None:
    """From every mood and offset the probabilities of the next ones sum to one, and so do the divisions'."""
    divisions = divisions_for(500.0, (0.6,))
    inference = infer(np.array([1.0, 2.0]), np.tile(divisions.share[0], (4, 1)), divisions, _parameters(6))

    np.testing.assert_allclose(inference._transitions.walk.sum(1), 1.0)
    np.testing.assert_allclose(inference._transitions.switch.sum(2), 1.0)
    assert 1.0 == pytest.approx(inference._transitions.start.sum())


def test_a_stroke_just_ahead_of_a_pulse_belongs_to_it() -> None:
    """At 4.97 the slot is part 0 of pulse 5, whichever window read it."""
    divisions = divisions_for(500.0, ())
    position = np.array([1.0, 2.0, 3.0, 4.0, 4.97, 6.0, 7.0])
    decoded = decode_strokes(infer(position, np.tile(divisions.share[0], (9, 1)), divisions, _parameters(4)), position)

    assert [1, 2, 3, 4, 5, 6, 7] == decoded.row.tolist()
    assert [0.0] * 7 == decoded.part.tolist()


def test_a_stray_is_left_out() -> None:
    """A stroke at 3.30 between steady eighths played to a hundredth fits nothing."""
    divisions = divisions_for(240.0, ())
    steady = np.arange(1, 30, 0.5)
    position = np.sort(np.append(steady, 14.29))
    decoded = decode_strokes(
        infer(position, np.tile(divisions.share[0], (32, 1)), divisions, _parameters(4, 0.01)), position
    )

    assert [int(np.searchsorted(position, 14.29))] == np.flatnonzero(decoded.row < 0).tolist()


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
    parameters = replace(_parameters(4), step=step)
    position = np.arange(40) + np.linspace(0.01, 0.99, 40)
    decoded = decode_strokes(infer(position, np.tile(divisions.share[0], (43, 1)), divisions, parameters), position)
    has = decoded.row >= 0

    assert has.sum() > 20
    assert np.abs(position - decoded.row - decoded.part)[has].max() < 0.5
