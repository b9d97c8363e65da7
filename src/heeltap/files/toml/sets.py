"""Set files: TOML that a teacher writes by hand. heeltap tells every mistake at once, with its line and the nearest name.

::

    format = "heeltap.set/1"
    title = "First week"
    for = "beginners"
    done = { in_pocket_percent = 70, takes = 2 }

    [[item]]
    family = "anchor"
    grade = 1
    tempo_bpm = [72, 76, 80]

An item is generated (``family``), an exercise file (``exercise``) or a part of a MIDI file (``midi``); what is said at
the top holds for every item that does not say otherwise. docs/guide/sets.md has all keys.

Inside: `read_set`, `set_from_toml`, `mistakes_in`, `FORMAT`, `TOP_KEYS`, `ITEM_KEYS`.
"""

import difflib
import re
from dataclasses import replace
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, NamedTuple

from heeltap.course.generate import TEMPI
from heeltap.errors import InputFileError, PlanError
from heeltap.files.smf import read_midi
from heeltap.files.toml.check import Check, toml_file_text
from heeltap.files.toml.exercises import read_exercise
from heeltap.files.toml.set_generated import GENERATED, generated, refused
from heeltap.model.exercise import Exercise, Ladder, Pocket, parse_click
from heeltap.model.lean import AUTO, Lean
from heeltap.model.parts import choose_part
from heeltap.model.practice_set import Done, FromFile, Generated, PracticeSet, SetItem

__all__ = ["FORMAT", "ITEM_KEYS", "TOP_KEYS", "mistakes_in", "read_set", "set_from_toml"]

FORMAT = "heeltap.set/1"

_SHARED = ("lean_ms", "pocket_ms", "takes", "done")
"""Keys that the top may set for every item."""

TOP_KEYS = ("format", "title", "for", "notes", *_SHARED, "item")
ITEM_KEYS = ("title", "notes", *GENERATED, "exercise", "midi", "part", "tempo_bpm", "ladder", "click", *_SHARED)
_SOURCES = ("family", "exercise", "midi")
_MOST_ITEMS = 60
_MOST_TAKES = 99
_MOST_TEMPI, _MOST_TAKES_IN_ALL, _MOST_BARS = 200, 1_000, 20_000
"""What a whole set may ask for: a hand-in holds 200 takes, and 20,000 bars take 11 hours at 120 bpm. Ours."""

_MOST_LINES = 20

Key = tuple[str | int, ...]
"""Keys and list positions from the top of the document."""


class _Shared(NamedTuple):
    """What holds for every item that does not say otherwise."""

    lean: Lean | None
    pocket_ms: float | None
    takes: int
    done: Done


def read_set(path: Path) -> PracticeSet:
    """The set in a file; raises `SetFileError` with every mistake, each with its line."""
    return set_from_toml(_text_of(path), where=str(path), name=path.stem, folder=path.parent)


def mistakes_in(path: Path) -> tuple[str, ...]:
    """Every mistake in a set file, one text each: line, key, what was found, what was expected, the nearest name.

    Raises `SetFileError` when there is no text to look at, or it is not TOML.
    """
    check = Check(str(path), _text_of(path))
    _set(check, path.stem, path.parent)
    return tuple(check.mistakes)


def set_from_toml(text: str, *, where: str = "set", name: str = "set", folder: Path = Path()) -> PracticeSet:
    """The set that a TOML text describes; ``folder`` is where the files that it names are looked for."""
    check = Check(where, text)
    found = _set(check, name, folder)
    check.finish()
    return found


def _text_of(path: Path) -> str:
    return toml_file_text(path, "a set file (.toml)")


def _set(check: Check, name: str, folder: Path) -> PracticeSet:
    """The set as far as it can be read; mistakes are left in ``check``."""
    top = check.document
    check.only(top, (), TOP_KEYS)
    if check.text(top, (), "format") not in (FORMAT, ""):
        check.wrong(("format",), repr(top["format"]), f'"{FORMAT}"', "a newer heeltap may have written it")
    shared = _shared(check, top, (), _Shared(None, None, 1, Done()))
    rows = check.tables(top, (), "item")
    if not rows and isinstance(top.get("item"), list):
        check.wrong(("item",), "no exercise", "at least one [[item]]")
    if len(rows) > _MOST_ITEMS:
        check.wrong(("item",), f"{len(rows)} exercises", f"at most {_MOST_ITEMS}")
    _refuse_loads(check, rows)
    items = tuple(_item(check, row, ("item", n), shared, folder) for n, row in enumerate(rows[:_MOST_ITEMS]))
    practice = PracticeSet(
        name=name,
        title=check.text(top, (), "title"),
        audience=check.text(top, (), "for", ""),
        notes=_notes(check, top, ()),
        items=tuple(item for item in items if item is not None),
        folder=str(folder),
    )
    check.mistakes.sort(key=_line_of)
    return practice


def _refuse_loads(check: Check, rows: list[dict[str, Any]]) -> None:
    """Count what a set asks for before anything of it is built; raise `SetFileError` where that is too much."""
    steps, takes, bars = 0, 0, 0
    usual = _count(check.document.get("takes"), 1)
    for row in rows:
        tempi = row.get("tempo_bpm")
        here = max(1, len(tempi)) if isinstance(tempi, list) else 1
        steps += here
        takes += here * _count(row.get("takes"), usual)
        bars += here * _count(row.get("bars"), 0)
    for found, most, what in (
        (steps, _MOST_TEMPI, "tempi in all"),
        (takes, _MOST_TAKES_IN_ALL, "takes in all"),
        (bars, _MOST_BARS, "bars at all tempi together"),
    ):
        if found > most:
            check.wrong(("item",), f"{found:,} {what}", f"at most {most:,}")
            check.finish()


def _count(value: object, usual: int) -> int:
    """A whole number above zero as it stands in the file, else what is usual."""
    return value if isinstance(value, int) and value > 0 else usual


def _line_of(mistake: str) -> int:
    """The line that a mistake names; 0 where it names none."""
    found = re.match(r"line (\d+)", mistake)
    return int(found[1]) if found else 0


def _shared(check: Check, row: dict[str, Any], path: Key, usual: _Shared) -> _Shared:
    """Lean, pocket, takes and marks of the top or of an item."""
    lean = usual.lean
    if "lean_ms" in row:
        auto = row["lean_ms"] == "auto"
        lean = AUTO if auto else Lean(check.number(row, path, "lean_ms", low=-100, high=100))
    pocket = check.number(row, path, "pocket_ms", low=1, high=200) if "pocket_ms" in row else usual.pocket_ms
    takes = check.whole(row, path, "takes", usual.takes, low=1, high=_MOST_TAKES)
    done = _done(check, row, path, usual.done)
    if ("takes" in row or "done" in row) and done.takes > takes:
        where = (*path, "done") if "done" in row else (*path, "takes")
        check.wrong(where, f"{done.takes} takes to meet the marks, {takes} asked for", "no more than are asked for")
    return _Shared(lean, pocket, takes, done)


def _done(check: Check, row: dict[str, Any], path: Key, usual: Done) -> Done:
    table = row.get("done", {})
    here = (*path, "done")
    if not isinstance(table, dict):
        check.wrong(here, repr(table)[:60], "a table: { in_pocket_percent = 80, spread_ms = 20, takes = 2 }")
        return usual
    check.only(table, here, ("in_pocket_percent", "spread_ms", "takes"))
    share, spread = usual.in_pocket_percent, usual.spread_ms
    if "in_pocket_percent" in table:
        share = check.number(table, here, "in_pocket_percent", low=1, high=100)
    if "spread_ms" in table:
        spread = check.number(table, here, "spread_ms", low=1, high=200)
    return Done(share, spread, check.whole(table, here, "takes", usual.takes, low=1, high=_MOST_TAKES))


def _notes(check: Check, row: dict[str, Any], path: Key) -> tuple[str, ...]:
    """Lines for the reader: one text, a text of several lines, or a list of texts."""
    value = row.get("notes", [])
    lines = check.texts(value.strip().splitlines() if isinstance(value, str) else value, (*path, "notes"))
    if len(lines) > _MOST_LINES or not all(line.isprintable() and len(line) <= 400 for line in lines):
        check.wrong((*path, "notes"), "a text that is too long", f"at most {_MOST_LINES} lines of 400 characters")
    return tuple(line.strip() for line in lines)


def _item(check: Check, row: dict[str, Any], path: Key, shared: _Shared, folder: Path) -> SetItem | None:
    """One exercise; None where it cannot be told which."""
    check.only(row, path, ITEM_KEYS)
    named = [key for key in _SOURCES if key in row]
    if len(named) != 1:
        found = " and ".join(named) or "neither family nor exercise nor midi"
        check.wrong(path, found, "one of family, exercise, midi")
        return None
    kind = named[0]
    _foreign(check, row, path, kind)
    own = _shared(check, row, path, shared)
    tempi, ladder, click = _tempi(check, row, path), _ladder(check, row, path), _click(check, row, path)
    source: Generated | FromFile | None
    if kind == "family":
        source, exercise = generated(check, row, path, tempi=tempi, ladder=ladder)
    else:
        source = FromFile(check.text(row, path, kind), check.text(row, path, "part", "") or None)
        exercise = _from_file(check, source, (*path, kind), folder)
    title, notes = check.text(row, path, "title", ""), _notes(check, row, path)
    if source is None:
        return None
    item = SetItem(source, exercise, title, notes, tempi, ladder, click, *own)
    return item if exercise is None else replace(item, exercise=_as_asked(item, exercise))


def _as_asked(item: SetItem, exercise: Exercise) -> Exercise:
    """The exercise with everything that the set says about it."""
    return replace(
        exercise,
        title=item.title or exercise.title,
        tempo_bpm=item.tempo_bpm[0] if item.tempo_bpm else exercise.tempo_bpm,
        ladder=item.ladder or exercise.ladder,
        click=exercise.click if item.click is None else parse_click(item.click),
        pocket=Pocket(item.lean or exercise.pocket.lean, item.pocket_ms or exercise.pocket.half_width_ms),
    )


def _foreign(check: Check, row: dict[str, Any], path: Key, kind: str) -> None:
    """Keys that mean nothing for this kind of item."""
    for key in GENERATED[1:]:
        if key in row and kind != "family":
            check.wrong((*path, key), f"{key} beside {kind}", "it only where the exercise is generated (family)")
    if "part" in row and kind != "midi":
        check.wrong((*path, "part"), f"part beside {kind}", "it only beside midi")
    if "ladder" in row and kind == "midi":
        check.wrong((*path, "ladder"), "a ladder beside midi", "tempo_bpm = [72, 76, 80]: steps from take to take")


def _tempi(check: Check, row: dict[str, Any], path: Key) -> tuple[float, ...]:
    """One tempo or several steps."""
    if "tempo_bpm" not in row:
        return ()
    value, here = row["tempo_bpm"], (*path, "tempo_bpm")
    steps = value if isinstance(value, list) else [value]
    good = [s for s in steps if isinstance(s, int | float) and not isinstance(s, bool) and TEMPI[0] <= s <= TEMPI[1]]
    if len(good) != len(steps) or not 1 <= len(steps) <= 20:
        expected = f"a tempo from {TEMPI[0]:g} to {TEMPI[1]:g} bpm, or a list of 1 to 20 such steps"
        check.wrong(here, repr(value)[:60], expected)
        return ()
    return tuple(float(step) for step in good)


def _ladder(check: Check, row: dict[str, Any], path: Key) -> Ladder | None:
    table, here = row.get("ladder"), (*path, "ladder")
    if table is None:
        return None
    if not isinstance(table, dict):
        check.wrong(here, repr(table)[:60], "{ every_bars = 4, step_percent = 4 }")
        return None
    check.only(table, here, ("every_bars", "step_percent"))
    every = check.whole(table, here, "every_bars", low=1, high=999)
    return Ladder(every, check.number(table, here, "step_percent", low=-50, high=50))


def _click(check: Check, row: dict[str, Any], path: Key) -> str | None:
    if "click" not in row:
        return None
    text = check.text(row, path, "click")
    try:
        parse_click(text)
    except PlanError as e:
        if text:
            refused(check, (*path, "click"), e)
        return None
    return text


def _from_file(check: Check, source: FromFile, path: Key, folder: Path) -> Exercise | None:
    """The exercise in a file; None for MIDI, whose part is only looked for, and where there is a mistake."""
    if not source.path:
        return None
    if PurePosixPath(source.path).is_absolute() or PureWindowsPath(source.path).drive or source.path.startswith("~"):
        expected = "a path from the set's own folder on, so that the set works elsewhere"
        check.wrong(path, repr(source.path), expected)
        return None
    file = folder / source.path
    kind = str(path[-1])
    endings = (".toml",) if kind == "exercise" else (".mid", ".midi", ".rmi", ".kar", ".smf")
    if file.suffix.lower() not in endings:
        check.wrong(path, repr(source.path), f"a file that ends in {' or '.join(endings[:2])}")
    elif not file.is_file():
        check.wrong(path, f"no file {source.path!r}", "a file, named from the set's folder on", _nearest(file, endings))
    else:
        return _content(check, source, path, file)
    return None


def _content(check: Check, source: FromFile, path: Key, file: Path) -> Exercise | None:
    """What is in a file that is there."""
    try:
        if path[-1] == "exercise":
            return read_exercise(file)
        choose_part(read_midi(file), source.part)
    except InputFileError as e:
        key = "part" if source.part is not None and "part" in e.found else path[-1]
        expected = e.expected or ("an exercise without mistakes" if path[-1] == "exercise" else "a MIDI file")
        check.wrong((*path[:-1], key), f"{source.path}: {e.found}", expected, e.hint)
    return None


def _nearest(file: Path, endings: tuple[str, ...]) -> str:
    """The file next to it whose name is the most like it."""
    try:
        names = [one.name for one in sorted(file.parent.iterdir())[:1000] if one.suffix.lower() in endings]
    except OSError:
        return ""
    near = difflib.get_close_matches(file.name, names, 1, 0.4)
    return f"nearest: {near[0]}" if near else ""
