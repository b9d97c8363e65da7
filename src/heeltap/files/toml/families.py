"""The shipped cells and families of exercises, read from TOML into the types of `heeltap.course.recipes`.

Inside: `read_cells`, `read_family`, `read_family_file`, `read_voices`, `grade_name`, `FAMILIES`.
"""

import difflib
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from heeltap.course.recipes import BEAT_WORDS, Cells, Family, FillRecipe, Grade, SectionRecipe, check_recipe
from heeltap.errors import PlanError, sentence
from heeltap.files.paths import shipped
from heeltap.files.toml.check import Check
from heeltap.model.counting import parse_counting
from heeltap.model.exercise import METRES, PADS, ClickPlan, Voice, parse_click
from heeltap.model.plan import HANDS
from heeltap.model.timeline import Metre

__all__ = ["FAMILIES", "FORMAT", "grade_name", "read_cells", "read_family", "read_family_file", "read_voices"]

FORMAT = "heeltap.family/2"

FAMILIES = ("anchor", "split", "turn")
"""Families that ship with heeltap, in the order in which they are learned."""

_GRADE_KEYS = (
    "name", "number", "title", "title_in", "aim", "aim_in", "tempo_bpm", "most_per_s", "accent", "swing_ratio", "click",
    "voices", "openings", "form", "section",
)  # fmt: skip
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_SECTION_KEYS = ("name", "bars", "phrase", "landing", "fill")
_FILL_KEYS = ("pulses", "bars", "cells", "voice")
_CELL_LENGTHS = {"one": Metre(1, 4), "two": Metre(2, 8), "three": Metre(3, 8)}


@cache
def read_cells() -> Cells:
    """The shipped cells: name to counting text for a felt beat of one, two and three units."""
    path = shipped("exercises/cells.toml")
    check = Check("cells.toml", path.read_text(encoding="utf-8"))
    check.only(check.document, (), ("format", "cells"))
    cells = {}
    for name, row in check.document.get("cells", {}).items():
        check.only(row, ("cells", name), _CELL_LENGTHS)
        texts = [check.text(row, ("cells", name), key) for key in _CELL_LENGTHS]
        for key, text in zip(_CELL_LENGTHS, texts, strict=True):
            try:
                parse_counting(text, _CELL_LENGTHS[key])
            except PlanError as e:
                check.planned(("cells", name, key), e)
        cells[name] = (texts[0], texts[1], texts[2])
    check.finish()
    return cells


@cache
def read_family(name: str) -> Family:
    """A shipped family by name; raises `PlanError` naming the nearest."""
    if name not in FAMILIES:
        near = difflib.get_close_matches(name, FAMILIES, 1, 0.3)
        hint = f"nearest: {near[0]}" if near else ""
        raise PlanError(sentence("family", f"'{name}'", "one of " + ", ".join(FAMILIES), hint))
    return read_family_file(shipped(f"exercises/{name}.toml"))


def grade_name(family: str, grade: str | int) -> str:
    """What a grade is called today: old takes and sets know it by a number.

    Parameters
    ----------
    family : str
        Of a take or set; one that does not ship is let stand.
    grade : str or int
        Name or number; 0 is none.

    Returns
    -------
    str
        Empty for none. A grade that is not in the family keeps the name or number that it was given.
    """
    word = str(grade or "").strip()
    if family not in FAMILIES or not word.isdecimal():
        return word
    return next((have.name for have in read_family(family).grades if have.number == int(word)), word)


def read_family_file(path: Path) -> Family:
    """A family from a file of your own; raises `SetFileError` with every mistake of the file."""
    check = Check(path.name, path.read_text(encoding="utf-8"))
    top = check.document
    check.only(top, (), ("format", "name", "title", "aim", "grade"))
    if check.text(top, (), "format") not in (FORMAT, ""):
        check.wrong(("format",), repr(top["format"]), f'"{FORMAT}"', "a newer heeltap may have written it")
    grades = [_grade(check, row, ("grade", i)) for i, row in enumerate(check.tables(top, (), "grade"))]
    family = Family(
        check.text(top, (), "name"), check.text(top, (), "title"), check.text(top, (), "aim"), tuple(grades)
    )
    for key, values in (("name", [g.name for g in grades]), ("number", [g.number for g in grades if g.number])):
        for index, value in enumerate(values):
            if value in values[:index]:
                check.wrong(("grade", index, key), f"{value!r} twice", "another for each grade")
    check.finish()
    return family


def _grade(check: Check, row: dict[str, Any], path: tuple[str | int, ...]) -> Grade:
    check.only(row, path, _GRADE_KEYS)
    voices = read_voices(check, row, path)
    sections = [
        _section(check, part, (*path, "section", i), voices)
        for i, part in enumerate(check.tables(row, path, "section"))
    ]
    name = check.text(row, path, "name")
    if not _NAME.fullmatch(name):
        check.wrong((*path, "name"), repr(name), "small letters, digits and hyphens, a letter first")
    openings = tuple(_recipes(check, item, (*path, "openings"), voices) for item in check.items(row, path, "openings"))
    accent = check.text(row, path, "accent", "")
    if accent:
        check.name((*path, "accent"), accent, BEAT_WORDS[:5], "beat word")
    return Grade(
        name=name,
        number=check.whole(row, path, "number", 0, low=0, high=99),
        title=check.text(row, path, "title"),
        aim=check.text(row, path, "aim"),
        tempo_bpm=check.number(row, path, "tempo_bpm", low=20, high=300),
        most_per_s=check.number(row, path, "most_per_s", low=1, high=20),
        voices=voices,
        sections=_form(check, row, path, sections, openings) if "form" in row else tuple(sections),
        openings=openings,
        click=_click(check, row, path),
        swing_ratio=check.number(row, path, "swing_ratio", 1.0, low=1, high=4),
        accent=accent,
        titles=_by_metre(check, row, path, "title_in"),
        aims=_by_metre(check, row, path, "aim_in"),
    )


def _by_metre(check: Check, row: dict[str, Any], path: tuple[str | int, ...], key: str) -> dict[str, str]:
    """Texts for the metres in which the usual one is not true."""
    table = row.get(key, {})
    if not isinstance(table, dict):
        check.wrong((*path, key), repr(table), '{ "6/8" = "...", other = "..." }')
        return {}
    check.only(table, (*path, key), (*METRES, "other"))
    return {metre: check.text(table, (*path, key), metre) for metre in table}


def _form(
    check: Check,
    row: dict[str, Any],
    path: tuple[str | int, ...],
    sections: list[SectionRecipe],
    openings: tuple[tuple[str, ...], ...],
) -> tuple[SectionRecipe, ...]:
    """The sections in the order of the form, numbered from their second time on.

    ``+`` behind a name lets it end with its fill; without it the section goes into the change as it is. The first one is
    longer by the longest opening, so that its groove is as long as the others'.
    """
    known = {section.name: section for section in sections}
    found: list[SectionRecipe] = []
    times: dict[str, int] = {}
    for word in check.text(row, path, "form").split():
        name = word.removesuffix("+")
        if not check.name((*path, "form"), name, known, "section"):
            continue
        times[name] = times.get(name, 0) + 1
        called = name if times[name] == 1 else f"{name} {times[name]}"
        fill = known[name].fill if word.endswith("+") else None
        longer = 0 if found else max((len(opening) for opening in openings), default=0)
        found.append(replace(known[name], name=called, fill=fill, bars=known[name].bars + longer))
    return tuple(found)


def _click(check: Check, row: dict[str, Any], path: tuple[str | int, ...]) -> ClickPlan:
    try:
        return parse_click(check.text(row, path, "click", "every"))
    except PlanError as e:
        check.planned((*path, "click"), e)
        return ClickPlan()


def read_voices(check: Check, row: dict[str, Any], path: tuple[str | int, ...]) -> tuple[Voice, ...]:
    """The voices of a grade or an exercise; one hand on any key where none are named.

    A voice that bears a pad's role and gives no keys has the key of `heeltap.model.exercise.PADS`.
    """
    voices = []
    for number, part in enumerate(check.tables(row, path, "voices", [])):
        here = (*path, "voices", number)
        check.only(part, here, ("name", "pitches", "hand"))
        hand = check.text(part, here, "hand", "")
        check.name((*here, "hand"), hand, HANDS, "hand")
        pitches = check.items(part, here, "pitches", [])
        if not all(isinstance(p, int) and not isinstance(p, bool) and 0 <= p <= 127 for p in pitches):
            check.wrong((*here, "pitches"), repr(pitches), "key numbers from 0 to 127")
            pitches = []
        name = check.text(part, here, "name")
        keys = tuple(sorted(set(pitches))) or ((PADS[name],) if name in PADS else ())
        voices.append(Voice(name, keys, hand if hand in HANDS else ""))
    names = [voice.name for voice in voices]
    if len(set(names)) < len(names):
        check.wrong((*path, "voices"), "the same name twice", "another name for each voice")
    return tuple(voices) or (Voice("any"),)


def _section(
    check: Check, row: dict[str, Any], path: tuple[str | int, ...], voices: tuple[Voice, ...]
) -> SectionRecipe:
    check.only(row, path, _SECTION_KEYS)
    phrase = check.items(row, path, "phrase")
    fill = row.get("fill")
    return SectionRecipe(
        name=check.text(row, path, "name"),
        bars=check.whole(row, path, "bars", low=1, high=200),
        phrase=tuple(_recipes(check, item, (*path, "phrase"), voices) for item in phrase),
        landing=_recipes(check, row["landing"], (*path, "landing"), voices) if "landing" in row else (),
        fill=_fill(check, fill, (*path, "fill"), voices) if isinstance(fill, dict) else None,
    )


def _fill(check: Check, row: dict[str, Any], path: tuple[str | int, ...], voices: tuple[Voice, ...]) -> FillRecipe:
    check.only(row, path, _FILL_KEYS)
    cells = check.texts(check.items(row, path, "cells"), (*path, "cells"))
    for cell in cells:
        check.name((*path, "cells"), cell, ("rest", *read_cells()), "cell")
    voice = check.text(row, path, "voice", "")
    if voice:
        check.name((*path, "voice"), voice, [v.name for v in voices], "voice")
    return FillRecipe(
        pulses=check.whole(row, path, "pulses", low=1, high=99),
        cells=cells,
        bars=check.whole(row, path, "bars", 0, low=0, high=8),
        voice=voice,
    )


def _recipes(check: Check, value: Any, path: tuple[str | int, ...], voices: tuple[Voice, ...]) -> tuple[str, ...]:
    recipes = check.texts(value, path)
    for recipe in recipes:
        try:
            check_recipe(recipe, voices, read_cells(), f"recipe '{recipe}'")
        except PlanError as e:
            check.planned(path, e)
    return recipes
