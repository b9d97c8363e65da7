"""Kept takes of generated exercises, written to the disk as a drill writes them, without playing them."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from heeltap.app.practice.make_exercise import make_exercise
from heeltap.files.takes.folder import open_take, save_take
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan_from import plan_of

__all__ = ["keep", "keep_many"]


def keep(
    root: Path,
    family: str = "anchor",
    grade: int = 1,
    *,
    date: str = "2026-03-02T18:00:00+01:00",
    spread_ms: float = 8.0,
    late_ms: float = 0.0,
    bars: int | None = 8,
    seed: int = 1,
    rng: np.random.Generator,
    **more: object,
) -> Path:
    """The folder of a take whose strokes scatter by ``spread_ms`` around ``late_ms`` behind the plan."""
    exercise = make_exercise(family, grade, bars=bars, seed=seed)
    plan = plan_of(exercise)
    late_us = np.round(1000 * rng.normal(late_ms, spread_ms, len(plan))).astype(np.int64)
    context = Context(
        heeltap="0",
        name=exercise.name,
        title=exercise.title,
        date=date,
        exercise=exercise_to_toml(exercise),
        plan=plan_out(plan),
        count_in_us=2_000_000,
        seed=exercise.seed,
        **{"ending": "played", "delay_ms": 0.0, **more},
    )
    return save_take(open_take(root, context), context, plan, _notes(plan.at_us + late_us))


def keep_many(root: Path, dates: Sequence[str], rng: np.random.Generator) -> list[Path]:
    """One take of "two and four" for each date."""
    return [keep(root, date=date, rng=rng) for date in dates]


def _notes(at_us: np.ndarray) -> Notes:
    at = np.sort(at_us)
    return make_notes(at, np.full(at.size, 60), np.full(at.size, 80), duration_us=np.full(at.size, 50_000))
