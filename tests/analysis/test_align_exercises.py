"""Generated exercises, played by a simulated player over a route whose delay nobody knows."""

import numpy as np
import pytest

from heeltap.analysis.align import align
from heeltap.model.arrays import IntArray
from heeltap.model.exercise import METRES
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from tests.makers.exercises import GRADES, made

_KEYS = np.array([60, 48, 72])
"""Keys of a player whose plan accepts any: by hand not known, left, right."""


def _play(plan: Plan, rng: np.random.Generator) -> tuple[IntArray, IntArray, IntArray, float]:
    """Times, keys and planned row (-1 for an extra note) of a take, and the middle of its offsets in ms.

    Ordinary playing: wander of 3 ms a stroke, 10 ms spread, 3 ms within a chord, 5 % missing, 5 % extra.
    """
    strokes = int(plan.stroke[-1]) + 1
    wander = np.cumsum(rng.normal(0, 3, strokes))
    shift = float(rng.uniform(0, 250) + rng.uniform(-40, 40))
    offset = shift + wander - np.median(wander) + rng.normal(0, 10, strokes)
    at_ms = plan.at_us / 1000 + offset[plan.stroke] + rng.normal(0, 3, len(plan))
    rows = np.flatnonzero(rng.random(len(plan)) > 0.05)
    extra = int(rng.poisson(0.05 * len(plan)))
    times = np.concatenate([at_ms[rows], rng.uniform(0, plan.at_us[-1] / 1000, extra)])
    keys = np.concatenate([np.where(plan.pitch < 0, _KEYS[plan.hand], plan.pitch)[rows], np.full(extra, 60)])
    source = np.concatenate([rows, np.full(extra, -1)])
    order = np.argsort(times)
    return np.rint(times * 1000).astype(np.int64)[order], keys[order], source[order], shift


def _check(family: str, grade: str, metre: str, seed: int) -> None:
    plan = plan_of(made(family, grade, metre, seed))
    rng = np.random.default_rng([*map(ord, family), *map(ord, grade), *map(ord, metre), seed])
    at_us, keys, source, shift = _play(plan, rng)

    found = align(plan.at_us, plan.pitch, at_us, keys, plan_stroke=plan.stroke)

    played = source[np.maximum(found.match, 0)]
    right = (found.match >= 0) & (played >= 0) & (plan.stroke[np.maximum(played, 0)] == plan.stroke)
    # Over hundreds of strokes the wander moves the middle itself, and the match says how far.
    assert abs(found.delay_ms - shift) < max(20.0, 2 * found.delay_sd_ms)
    assert 2 * right.sum() / ((found.match >= 0).sum() + (source >= 0).sum()) > 0.8


@pytest.mark.parametrize(("family", "grade"), GRADES)
def test_a_take_finds_its_place_without_a_known_delay(family: str, grade: str) -> None:
    """Delay found to 20 ms, or to what the match says, and notes matched, whatever the delay: no take is laid one stroke off."""
    for metre in ("4/4", "6/8"):
        _check(family, grade, metre, 1)


@pytest.mark.slow
@pytest.mark.parametrize("metre", METRES)
def test_every_take_finds_its_place_without_a_known_delay(metre: str) -> None:
    """The same over all grades and ten seeds."""
    for family, grade in GRADES:
        for seed in range(2, 12):
            _check(family, grade, metre, seed)
