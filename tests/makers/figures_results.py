"""Figures of whole results: takes of chords and exercises by players of all kinds, judged in many ways.

Inside: `RESULT_CASES`.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from heeltap.analysis.analyse import Options, analyse
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.model.arrays import as_ints
from heeltap.model.lean import AUTO, Lean
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import ANY_PITCH, Plan, Section
from heeltap.model.plan_from import plan_of
from heeltap.model.played import Played
from heeltap.model.result import Result

_Cases = Iterable[tuple[str, Any]]

_EXERCISES = (
    ("anchor", 10, "4/4"),
    ("anchor", 9, "4/4"),
    ("split", 5, "6/8"),
    ("turn", 4, "4/4"),
    ("anchor", 7, "3/4"),
)
"""Chords, held chords, divisions in a compound metre, fills, hands."""

_WAYS = {
    "as it is": Options(),
    "known": Options(delay_ms=5.0, delay_uncertainty_ms=1.5, delay_method="same-path"),
    "unsure": Options(delay_ms=5.0, delay_uncertainty_ms=12.0, delay_method="microphone"),
    "behind": Options(delay_ms=0.0, lean=Lean(15.0), pocket_ms=10.0, split_key=60),
    "own lean": Options(delay_ms=0.0, lean=AUTO, retrigger_ms=0.0, retrigger_of={60: 50.0}),
    "raster": Options(delay_ms=0.0, grid=16),
}


def _play(plan: Plan, rng: np.random.Generator, *, keep: float, late_ms: float, voicing: int, rush_ms: float) -> Notes:
    """The plan, with strokes left out, bounces, keys of other octaves, and a rush that grows over every fourth bar."""
    rows = np.flatnonzero(rng.random(len(plan)) < keep)
    quarter = plan.at_tick[rows] / 10_080
    along = np.where((quarter // plan.metre.counted_metre.bar_quarters) % 4 == 3, quarter % 4 / 4, 0.0)
    us = plan.at_us[rows] + np.round(1000 * (rng.normal(late_ms, 9.0, rows.size) + rush_ms * along)).astype(np.int64)
    pitch = np.where(plan.pitch[rows] == ANY_PITCH, 60, plan.pitch[rows] + 12 * voicing)
    bounce = rng.random(rows.size) < 0.04
    at = np.concatenate([us, us[bounce] + 20_000, us[:3] + 130_000])
    keys = np.concatenate([pitch, pitch[bounce], pitch[:3] + 7])
    loud = np.concatenate([rng.integers(40, 120, rows.size), np.full(int(bounce.sum()), 20), [64] * min(3, rows.size)])
    order = np.argsort(at, kind="stable")
    return make_notes(np.maximum(at[order], 0), keys[order], loud[order], duration_us=np.full(at.size, 90_000))


def _results() -> _Cases:
    """Every number and sentence of the report, with a plan and without, of whole takes and of a few strokes."""
    rng = np.random.default_rng(21)
    for family, grade, metre in _EXERCISES:
        made = make_exercise(family, grade, metre=metre, seed=5)
        plan = plan_of(made)
        for name, way in _WAYS.items():
            notes = _play(
                plan,
                rng,
                keep=float(rng.choice([1.0, 0.97, 0.8])),
                late_ms=float(rng.choice([-25.0, 0.0, 18.0])),
                voicing=int(rng.integers(-1, 2)),
                rush_ms=float(rng.choice([0.0, -45.0])),
            )
            held = None if name == "raster" else plan
            take = Played(notes, plan.tempo, plan.metre, held)
            yield f"{family} {grade} {name}", _told(analyse(take, way))
    for n in (0, 1, 3, 32, 40):
        few = replace(take, plan=plan, notes=take.notes.pick(np.arange(len(take.notes)) < n))
        yield f"{n} notes", _told(analyse(few, Options(delay_ms=0.0)))
        yield f"{n} notes, no plan", _told(analyse(replace(few, plan=None), Options()))


def _songs() -> _Cases:
    """Takes without a plan in a song with sections, rushing into one change only or into all."""
    rng = np.random.default_rng(23)
    plan = plan_of(make_exercise("turn", 2, seed=8))
    sections = tuple(Section(name, first, first + 3) for name, first in (("", 1), ("a", 5), ("b", 9), ("a", 13)))
    for which in ((4,), (4, 8, 12)):
        late = np.where(np.isin(plan.at_tick // 40_320 + 1, which), -40.0, 0.0) + rng.normal(0, 6, len(plan))
        at = np.maximum(plan.at_us + np.round(1000 * late).astype(np.int64), 0)
        order = np.argsort(at, kind="stable")
        notes = make_notes(at[order], np.where(plan.pitch < 0, 60, plan.pitch)[order])
        for planned in (None, plan):
            take = Played(notes, plan.tempo, plan.metre, planned, sections=sections)
            yield f"{which} {planned is None}", _told(analyse(take, Options(delay_ms=0.0)))


def _told(result: Result) -> Any:
    """A result but for its rows of notes, which stand in columns."""
    notes = {
        "bar": as_ints(-1 if note.bar is None else note.bar for note in result.notes),
        "offset": np.array([-999.0 if note.offset_ms is None else note.offset_ms for note in result.notes]),
        "sure": np.array([note.confidence or 0.0 for note in result.notes]),
        "status": [f"{note.status}" for note in result.notes if note.status != "matched"],
    }
    return replace(result, notes=()), notes


def _leans() -> _Cases:
    """Where to aim at several tempi and in several metres."""
    for lean in (AUTO, Lean(-7.0)):
        for metre in ("4/4", "6/8", "3/4"):
            plan = plan_of(make_exercise("anchor", 1, metre=metre, seed=2))
            yield f"{lean} {metre}", (lean.ms_in(plan), [lean.ms_at(ms) for ms in (200.0, 400.0, 2000.0)], lean.written)


RESULT_CASES = (_results, _songs, _leans)
"""Generators of a case's name and its figures."""
