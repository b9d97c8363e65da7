"""The generated exercises of a set file: family, grade, metre, seed and length, with each mistake at its own key.

Inside: `generated`, `refused`, `GENERATED`.
"""

from collections.abc import Sequence
from functools import partial
from typing import Any

from heeltap.course.generate import generate, grade_of
from heeltap.errors import PlanError
from heeltap.files.toml.check import Check
from heeltap.files.toml.families import FAMILIES, read_cells, read_family
from heeltap.model.exercise import Exercise, Ladder, parse_metre
from heeltap.model.practice_set import Generated

__all__ = ["GENERATED", "generated", "refused"]

GENERATED = ("family", "grade", "metre", "seed", "bars")
"""Keys of an item that is generated; the first says that it is."""

Path = tuple[str | int, ...]


def refused(check: Check, path: Path, error: PlanError) -> None:
    """Note what the core says against a value, without the name of the key, which the place tells already."""
    found, _, expected = str(error).partition("; expected ")
    check.wrong(path, found.removeprefix(f"{path[-1]}: "), expected or "another value")


def generated(
    check: Check, row: dict[str, Any], path: Path, *, tempi: Sequence[float], ladder: Ladder | None
) -> tuple[Generated | None, Exercise | None]:
    """What an item asks to be generated, and the exercise at its first tempo; None where there is a mistake.

    Every step of the tempo is tried: a grade has a fastest tempo.
    """
    before = len(check.mistakes)
    family = check.text(row, path, "family")
    known = bool(family) and check.name((*path, "family"), family, FAMILIES, "family")
    grade = str(row.get("grade", "")) if isinstance(row.get("grade"), int) else check.text(row, path, "grade")
    metre = check.text(row, path, "metre", "4/4")
    seed = check.whole(row, path, "seed", 1, low=0, high=2**63 - 1)
    bars = check.whole(row, path, "bars", low=1, high=999) if "bars" in row else None
    try:
        parse_metre(metre)
    except PlanError as e:
        refused(check, (*path, "metre"), e)
    if known and grade:
        try:
            grade = grade_of(read_family(family), grade).name
        except PlanError as e:
            refused(check, (*path, "grade"), e)
    if len(check.mistakes) > before or not known:
        return None, None
    asked = Generated(family, grade, metre, seed, bars)
    return asked, _built(check, path, asked, tempi, ladder)


def _built(
    check: Check, path: Path, asked: Generated, tempi: Sequence[float], ladder: Ladder | None
) -> Exercise | None:
    """The exercise at the first tempo; a refusal is told at the key that brought it about."""
    family, metre, cells = read_family(asked.family), parse_metre(asked.metre), read_cells()
    build = partial(
        generate, family, asked.grade, metre=metre, seed=asked.seed, cells=cells, bars=asked.bars, ladder=ladder
    )
    try:
        usual = build()
    except PlanError as e:
        refused(check, (*path, "bars"), e)
        return None
    steps = []
    for tempo in tempi:
        try:
            steps.append(build(tempo_bpm=tempo))
        except PlanError as e:
            refused(check, (*path, "tempo_bpm"), e)
    return steps[0] if steps else usual
