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

_OWN_KEYS = ("name", "title", "metre", "fill", "lift")


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
    lines = _lines(check, row, path, metre)
    if not lines:
        check.wrong(path, "no drum", "a line for one of " + ", ".join(PADS))
    fill, lift = (_table(check, row, path, key) for key in ("fill", "lift"))
    check.only(fill, (*path, "fill"), ("from", *PADS))
    check.only(lift, (*path, "lift"), PADS)
    return DrumPattern(
        name=check.text(row, path, "name"),
        title=check.text(row, path, "title", ""),
        metre=metre,
        lines=lines,
        fill=_lines(check, fill, (*path, "fill"), metre),
        fill_from=check.whole(fill, (*path, "fill"), "from", 0, low=0, high=metre.count),
        lift=_lines(check, lift, (*path, "lift"), metre),
    )


def _table(check: Check, row: dict[str, Any], path: tuple[str | int, ...], key: str) -> dict[str, Any]:
    """The drums of a fill or a lift; none where there is no such key."""
    table = row.get(key, {})
    if isinstance(table, dict):
        return table
    check.wrong((*path, key), repr(table), '{ snare = "..." }')
    return {}


def _lines(check: Check, row: dict[str, Any], path: tuple[str | int, ...], metre: Metre) -> tuple[DrumLine, ...]:
    """The lines of the drums that a table names."""
    lines = []
    for drum in [key for key in row if key in PADS]:
        texts = check.texts(row[drum], (*path, drum))
        bars = tuple(_bar(check, text, metre, (*path, drum)) for text in texts)
        lines.append(DrumLine(drum, PADS[drum], bars or (BarStrokes(),)))
    return tuple(lines)


def _bar(check: Check, text: str, metre: Metre, path: tuple[str | int, ...]) -> BarStrokes:
    try:
        return parse_counting(text, metre)
    except PlanError as error:
        check.planned(path, error)
        return BarStrokes()
