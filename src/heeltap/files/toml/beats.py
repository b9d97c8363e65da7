"""The drum patterns that ship with heeltap, and those in a file of your own.

Inside: `read_beats`, `read_beat_file`, `FORMAT`.
"""

from functools import cache
from pathlib import Path
from typing import Any

from heeltap.course.drum_patterns import DrumLine, DrumPattern
from heeltap.errors import PlanError
from heeltap.files.paths import shipped
from heeltap.files.toml.check import Check
from heeltap.model.counting import BarStrokes, parse_counting
from heeltap.model.exercise import PADS, parse_metre
from heeltap.model.timeline import Metre

__all__ = ["FORMAT", "read_beat_file", "read_beats"]

FORMAT = "heeltap.beats/1"

_OWN_KEYS = ("name", "title", "metre")


@cache
def read_beats() -> dict[str, DrumPattern]:
    """The shipped patterns by name, in the order in which they are learned."""
    return read_beat_file(shipped("exercises/beats.toml"))


def read_beat_file(path: Path) -> dict[str, DrumPattern]:
    """Patterns by name from a file; raises `SetFileError` with every mistake of it."""
    check = Check(path.name, path.read_text(encoding="utf-8"))
    top = check.document
    check.only(top, (), ("format", "beat"))
    if check.text(top, (), "format") not in (FORMAT, ""):
        check.wrong(("format",), repr(top["format"]), f'"{FORMAT}"', "a newer heeltap may have written it")
    found: dict[str, DrumPattern] = {}
    for number, row in enumerate(check.tables(top, (), "beat")):
        beat = _beat(check, row, ("beat", number))
        if beat.name in found:
            check.wrong(("beat", number, "name"), repr(beat.name), "another name for each pattern")
        found[beat.name] = beat
    check.finish()
    return found


def _beat(check: Check, row: dict[str, Any], path: tuple[str | int, ...]) -> DrumPattern:
    """One pattern; each drum's line is a text, or a list of texts, one a bar."""
    check.only(row, path, (*_OWN_KEYS, *PADS))
    metre = Metre(4, 4)
    try:
        metre = parse_metre(check.text(row, path, "metre"))
    except PlanError as error:
        check.planned((*path, "metre"), error)
    lines = []
    for drum in [key for key in row if key in PADS]:
        texts = check.texts(row[drum], (*path, drum))
        bars = tuple(_bar(check, text, metre, (*path, drum)) for text in texts)
        lines.append(DrumLine(drum, PADS[drum], bars or (BarStrokes(),)))
    if not lines:
        check.wrong(path, "no drum", "a line for one of " + ", ".join(PADS))
    return DrumPattern(check.text(row, path, "name"), check.text(row, path, "title", ""), metre, tuple(lines))


def _bar(check: Check, text: str, metre: Metre, path: tuple[str | int, ...]) -> BarStrokes:
    try:
        return parse_counting(text, metre)
    except PlanError as error:
        check.planned(path, error)
        return BarStrokes()
