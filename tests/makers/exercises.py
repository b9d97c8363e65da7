"""Exercises of the shipped data, and the golden files that pin them.

``python -m tests.makers.exercises`` writes the golden files anew: only when an exercise is meant to change, because
takes of the old one are then takes of another exercise.
"""

from pathlib import Path

from heeltap.course.generate import generate
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.files.toml.families import FAMILIES, read_cells, read_family
from heeltap.model.exercise import Exercise, Ladder, parse_metre

__all__ = ["GRADES", "golden_text", "made"]

GRADES = [(name, grade.name) for name in FAMILIES for grade in read_family(name).grades]
"""Every family and grade that ships."""


def made(
    family: str,
    grade: str | int,
    metre: str = "4/4",
    seed: int = 1,
    *,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    ladder: Ladder | None = None,
) -> Exercise:
    """An exercise of the shipped data."""
    return generate(
        read_family(family),
        grade,
        metre=parse_metre(metre),
        seed=seed,
        cells=read_cells(),
        tempo_bpm=tempo_bpm,
        bars=bars,
        ladder=ladder,
    )


def golden_text(family: str, grade: str) -> str:
    """A grade in three metres and two seeds."""
    every = [(metre, seed) for metre in ("4/4", "3/4", "6/8") for seed in (1, 2)]
    return "\n".join(exercise_to_toml(made(family, grade, metre, seed)) for metre, seed in every)


if __name__ == "__main__":
    folder = Path(__file__).resolve().parents[1] / "golden" / "exercises"
    for family, grade in GRADES:
        (folder / f"{family}-{grade}.txt").write_text(golden_text(family, grade), encoding="utf-8", newline="\n")
