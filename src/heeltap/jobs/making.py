"""Make an exercise and write it down: as text to read, as a MIDI file to hear, as TOML to keep and change.

Inside: `make`, `families`, `exercise_text`.
"""

from heeltap.core.exercise import Exercise, Ladder, parse_metre
from heeltap.core.generate import generate
from heeltap.core.generate_recipe import Family
from heeltap.files.families import FAMILIES, read_cells, read_family

__all__ = ["families", "make"]


def families() -> tuple[Family, ...]:
    """Every family that ships with heeltap, in the order in which they are learned."""
    return tuple(read_family(name) for name in FAMILIES)


def make(
    family: str,
    grade: int = 1,
    *,
    metre: str = "4/4",
    seed: int = 1,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    ladder: Ladder | None = None,
) -> Exercise:
    """The exercise of a family and grade; the same arguments give the same exercise everywhere.

    Parameters
    ----------
    metre : str
        One of `heeltap.core.exercise.METRES`.
    tempo_bpm : float, optional
        Quarter notes a minute; the grade's own where not given.
    bars : int, optional
        Length without the count-in; the grade's own where not given.

    Raises `PlanError` naming the nearest family, grade or metre, the tempi that are possible, or the least length.
    """
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
