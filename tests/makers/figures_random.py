"""Figures of many small inputs drawn once: histories, swing of few pairs, short tables of findings, moved takes, free tempo.

Inside: `RANDOM_CASES`.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from heeltap.analysis.align import align_free
from heeltap.analysis.findings import findings
from heeltap.analysis.place import find_place
from heeltap.analysis.swing import swing_of
from heeltap.app.practice.advise import course
from heeltap.course.level import level_of
from heeltap.course.next_exercise import next_step
from heeltap.model.past_take import PastTake
from tests.makers.screens import past_take
from tests.makers.situations import a_part, sorted_notes
from tests.makers.tables import FAULTS, noise, offsets_table, plant

_Cases = Iterable[tuple[str, Any]]

_NOW = datetime.fromisoformat("2026-03-04T18:05:00+01:00")


def _histories() -> _Cases:
    """Levels and what comes next after up to 24 takes of any share, tempo, grade, length and day."""
    rng = np.random.default_rng(31)
    grades = course()
    for number in range(60):
        family = str(rng.choice(list(grades)))
        near = int(rng.integers(len(grades[family])))
        takes = [_take(rng, family, near) for _ in range(int(rng.integers(1, 25)))]
        takes.sort(key=lambda take: take.date)
        level = level_of(grades[family], takes, _NOW)
        yield (
            f"{number} {family} {near}",
            (level.rank, level.action, level.strong, level.slowed, level.shares, next_step(takes, grades, _NOW)),
        )


def _take(rng: np.random.Generator, family: str, near: int) -> PastTake:
    """A take of a grade near this one."""
    steps = course()[family]
    step = steps[int(np.clip(near + rng.integers(-1, 2), 0, len(steps) - 1))]
    when = _NOW - timedelta(hours=float(rng.uniform(0, 200)))
    bpm = float(rng.choice([step.tempo_bpm, round(step.tempo_bpm * rng.uniform(0.66, 1.1))]))
    share = float(rng.choice([rng.uniform(0.4, 1.0), 0.66, 0.79, 0.82, 0.9, 0.93]))
    row = past_take(
        when.isoformat(timespec="seconds"), family, step.grade, bpm, float(rng.normal(0, 15)), 90.0, step.title
    )
    planned = int(rng.choice([12, 16, 64]))
    return replace(
        row, held=share, in_pocket=share, n=planned, planned=planned, ending=str(rng.choice(["played", "stopped"]))
    )


def _swings() -> _Cases:
    """Swing of few pairs and many, with outliers and without scatter."""
    rng = np.random.default_rng(32)
    for n in (0, 3, 4, 5, 7, 8, 9, 12, 40):
        pairs = rng.normal(np.log(1.7), 0.12, n)
        yield f"{n}", swing_of(pairs)
        yield f"{n} with outliers", swing_of(np.where(np.arange(n) % 5 == 4, 2.5, pairs))
        yield f"{n} alike", swing_of(np.full(n, 0.5))


def _tables() -> _Cases:
    """Findings of short takes with few sections or none."""
    rng = np.random.default_rng(33)
    for n, sections in ((31, 2), (32, 1), (64, 2), (96, 3), (160, 6)):
        for fault in FAULTS:
            table = plant(offsets_table(noise("ar35", n, rng, sd_ms=6.0), rng, sections=sections), fault, -32.0)
            yield f"{n} {sections} {fault}", findings(table, lean_ms=float(rng.choice([0.0, 12.0])))


def _moved() -> _Cases:
    """Takes in other keys, at other tempi, late, cut, and of nothing that the plan has."""
    rng = np.random.default_rng(34)
    plan = a_part(29)
    for semitones in (-13, -12, -5, -1, 1, 2, 7, 12, 24, 25):
        late_us = rng.normal(0, 9_000, len(plan)).astype(np.int64) + 20_000
        yield (
            f"{semitones:+d}",
            find_place(plan, sorted_notes(np.maximum(plan.at_us + late_us, 0), plan.pitch + semitones)),
        )
    for ratio in (0.5, 0.9, 0.97, 1.005, 1.12, 2.0):
        at = np.round(plan.at_us / ratio).astype(np.int64) + 100_000
        yield f"x{ratio}", find_place(plan, sorted_notes(at, plan.pitch))
    for first, last, shift_us in ((0, 40, 0), (40, 200, 0), (60, 300, -4_000_000), (0, 400, 95_000), (10, 17, 0)):
        rows = slice(first, last)
        at = np.maximum(plan.at_us[rows] + shift_us, 0)
        yield f"{first}-{last} {shift_us}", find_place(plan, sorted_notes(at, plan.pitch[rows]))


def _free() -> _Cases:
    """Free tempo with rolled chords, holds, a slow end and strays."""
    rng = np.random.default_rng(15)
    plan = a_part(23)
    for number in range(4):
        gaps = np.diff(plan.at_us, prepend=plan.at_us[0]) * rng.uniform(0.7, 1.4, len(plan))
        at = np.cumsum(gaps) + rng.normal(0, 8_000, len(plan)) + (rng.random(len(plan)) < 0.02) * 400_000
        at = np.where(np.arange(len(plan)) > len(plan) // 2, at + 2_500_000, at)
        keep = rng.random(len(plan)) > 0.05
        notes = sorted_notes(
            np.round(at[keep]).astype(np.int64),
            np.where(rng.random(len(plan)) < 0.04, plan.pitch + 1, plan.pitch)[keep],
        )
        yield f"{number}", align_free(plan.at_us, plan.pitch, notes.onset_us, notes.pitch)


RANDOM_CASES = (_histories, _swings, _tables, _moved, _free)
"""Generators of a case's name and its figures."""
