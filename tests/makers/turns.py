"""Simulated takes of the turn exercises with a fault at the changes: each played once, slow wander on top.

Offsets are ms, negative is early. All randomness comes from ``rng`` and the exercises' seeds.

Inside: `FAULTS_AT_CHANGES`, `turn_take`, `RIGHT`, `TURNS`.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from heeltap.analysis.findings.from_columns import as_offsets
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan_from import plan_of
from heeltap.model.sections import section_columns
from heeltap.units import TICKS_PER_QUARTER
from tests.makers.exercises import GRADES, made
from tests.makers.tables import FAULTS, noise

__all__ = ["FAULTS_AT_CHANGES", "RIGHT", "TURNS", "turn_take"]


def _fills_and_landing(table: Offsets) -> FloatArray:
    """Fills 30 ms ahead after their first stroke, the new section's first bar 15 ms early."""
    fill = table.kind == 1
    starts = fill & ~np.concatenate(([False], fill[:-1]))
    return np.where(fill & ~starts, -30.0, np.where(table.bars_since_change == 0, -15.0, 0.0))


FAULTS_AT_CHANGES: dict[str, Callable[[Offsets], FloatArray]] = {
    "fills run ahead after their one, landing bar early": _fills_and_landing,
    "fills early": lambda table: 30.0 * FAULTS["fills"](table),
    "last bar early": lambda table: 25.0 * FAULTS["rush-into-change"](table),
    "rush that grows and decays": lambda table: 30.0 * FAULTS["rush-back-in-3"](table),
    "landing bar early": lambda table: np.where(table.bars_since_change == 0, -15.0, 0.0),
}
"""Offset of each stroke by fault, ms."""

TURNS = [grade for family, grade in GRADES if family == "turn"]
"""Names of the grades of the turns, in the order of the course."""

RIGHT = {"into-change", "fills", "landing", "after-change"}
"""Codes of the family: any of them names such a fault, any other is an untruth."""


def turn_take(grade: str | int, seed: int, fault: str, rng: np.random.Generator) -> Offsets:
    """One playing of a turn exercise, 8 ms of slow wander and the fault on it."""
    plan = plan_of(made("turn", grade, seed=seed))
    first = np.unique(plan.stroke, return_index=True)[1]
    at = plan.at_tick[first]
    bar, beat = plan.metre.bar_beat(at / TICKS_PER_QUARTER)
    table = as_offsets(
        {
            "bar": bar,
            "beat": beat,
            "kind": plan.kind[first],
            "section": section_columns(bar, plan.sections)[0],
            "drum": plan.pitch[first],
            "velocity": rng.normal(80, 6, at.size).round(),
            "rest_ms": np.diff(at, prepend=at[:1] - TICKS_PER_QUARTER) * 600.0 / TICKS_PER_QUARTER,
            "offset_ms": np.zeros(at.size),
        }
    )
    wander = noise("wander", at.size, rng, sd_ms=8.0)
    return replace(table, offset_ms=FAULTS_AT_CHANGES[fault](table) + wander)
