"""Read a hand-written TOML file and tell every mistake at once, with its line and the nearest valid name.

Inside: `Check` (collects mistakes while values are taken out of a document), `parse_toml`, `toml_file_text`, `line_numbers`,
`toml_text`, and the limits of a file.
"""

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from heeltap.errors import PlanError, SetFileError
from heeltap.files.regular import read_text

__all__ = ["REQUIRED", "Check", "line_numbers", "parse_toml", "toml_file_text", "toml_text"]

REQUIRED: Final = object()
"""Default of a key that must be there."""

Place = tuple[str | int, ...]
"""Keys and list positions from the top of the document."""

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\-]+)\s*\]")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_\-]+)["']?\s*=""")
MOST_BYTES = 500_000
"""Of a file: 2,000 bars of five voices. A hand-written one is a hundred times smaller."""

MOST_LINE = 5_000
"""Characters of a line; what heeltap writes itself has under 1,000."""

MOST_MISTAKES = 100
"""Told at once; nobody reads more, and to find the nearest word for each of 100,000 keys takes minutes."""

MOST_DEPTH = 50
"""Parts of a key, each a table in the one before. heeltap's own files have three; a text may hold short sentences."""

_DEEP = re.compile(rf"""(?<![\w"'\-])(?:[\w"'\-]+[ \t]*\.[ \t]*){{{MOST_DEPTH},}}[\w"'\-]""")
"""A key of too many parts. The parser takes the square of their number for it: 108 s for 50,000."""


def line_numbers(text: str) -> dict[Place, int]:
    """Line from 1 of every table header, every key at the start of a line, and every list item on a line of its own."""
    found: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    items: Place | None = None
    for number, line in enumerate(text.splitlines(), 1):
        start = line.lstrip()
        if items is not None:
            if start.startswith("]"):
                items = None
            elif start and start[0] in "\"'[{":
                counts[items] = counts.get(items, -1) + 1
                found[(*items, counts[items])] = number
        elif header := _HEADER.match(line):
            table = _table_path(header[2].split("."), double=header[1] == "[[", counts=counts)
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            found.setdefault((*table, key[1]), number)
            items = (*table, key[1]) if line.rstrip().endswith("[") else None
    return found


def _table_path(words: Sequence[str], *, double: bool, counts: dict[Place, int]) -> Place:
    """Path of a header, with the position in its list behind every name that is one."""
    path: Place = ()
    for depth, word in enumerate(words):
        path = (*path, word)
        if double and depth == len(words) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def toml_file_text(path: Path, what: str, hint: str = "") -> str:
    """The text of a TOML file.

    Parameters
    ----------
    path : Path
    what, hint : str
        What it should be and how to get it, for messages.

    Returns
    -------
    str

    Raises
    ------
    SetFileError
        It cannot be read, is no regular file, is larger than `MOST_BYTES`, or is not UTF-8.
    """
    return read_text(path, SetFileError, MOST_BYTES, what, hint=hint)


def parse_toml(where: str, text: str) -> dict[str, Any]:
    """The document in a TOML text; limits are checked before it is parsed.

    Parameters
    ----------
    where : str
        For messages.
    text : str

    Returns
    -------
    dict

    Raises
    ------
    SetFileError
        It is too long, has too long a line or too deep a key, or is not TOML.
    """
    if len(text) > MOST_BYTES:
        raise SetFileError(where, f"{len(text):,} characters", f"at most {MOST_BYTES:,}")
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_LINE:
            raise SetFileError(
                f"{where}, line {number}", f"{len(line):,} characters", f"at most {MOST_LINE:,} in a line"
            )
        if _DEEP.search(line):
            raise SetFileError(f"{where}, line {number}", "a key of many parts", f"at most {MOST_DEPTH}")
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as e:  # ValueError: TOML's own, and numbers of thousands of digits
        raise SetFileError(where, f"not TOML: {e or 'nested too deeply'}") from e


_LONGEST_WORD = 60
"""Characters of a word that heeltap looks for the nearest one to."""


class Check:
    """A TOML document and the mistakes found in it so far."""

    def __init__(self, where: str, text: str) -> None:
        """Parse the text; a document that is not TOML raises `SetFileError` at once, with its line."""
        self.where = where
        self.mistakes: list[str] = []
        self.document = parse_toml(where, text)
        self._lines = line_numbers(text)

    def wrong(self, path: Place, found: str, expected: str, hint: str = "") -> None:
        """Note a mistake."""
        line = next((self._lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._lines), 0)
        key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".")
        place = ", ".join(part for part in (f"line {line}" if line else "", key) if part)
        text = f"{place}: {found}; expected {expected}" + (f" ({hint})" if hint else "")
        self.mistakes.append(" ".join(text.split()))
        if len(self.mistakes) == MOST_MISTAKES:
            self.mistakes.append(f"that is {MOST_MISTAKES} mistakes; heeltap looked no further")
            self.finish()

    def name(self, path: Place, word: str, known: Iterable[str], what: str) -> bool:
        """Whether a word is a known one; if not, a mistake naming the nearest."""
        names = list(known)
        if word in names:
            return True
        near = difflib.get_close_matches(word[:_LONGEST_WORD], names, 1, 0.4)
        self.wrong(path, f"{what} {_shown(word)}", "one of " + ", ".join(names), f"nearest: {near[0]}" if near else "")
        return False

    def only(self, table: Mapping[str, Any], path: Place, known: Iterable[str]) -> None:
        """Every key of the table that is not known is a mistake."""
        names = list(known)
        for key in table:
            self.name((*path, key), key, names, "key")

    def text(self, table: Mapping[str, Any], path: Place, key: str, default: Any = REQUIRED) -> str:
        """A string of printable characters."""
        value = self._get(table, path, key, default, "a text in quotes")
        if isinstance(value, str) and value.isprintable() and len(value) <= 400:
            return value
        if value is not REQUIRED:
            self.wrong((*path, key), _shown(value), "a text in quotes, one line, at most 400 characters")
        return default if isinstance(default, str) else ""

    def number(
        self, table: Mapping[str, Any], path: Place, key: str, default: Any = REQUIRED, *, low: float, high: float
    ) -> float:
        """A finite number within the bounds."""
        expected = f"a number from {low:g} to {high:g}"
        value = self._get(table, path, key, default, expected)
        if isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high:
            return float(value)
        if value is not REQUIRED:
            self.wrong((*path, key), _shown(value), expected)
        return float(default) if isinstance(default, (int, float)) else low

    def whole(
        self, table: Mapping[str, Any], path: Place, key: str, default: Any = REQUIRED, *, low: int, high: int
    ) -> int:
        """A whole number within the bounds."""
        expected = f"a whole number from {low} to {high}"
        value = self._get(table, path, key, default, expected)
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
            return value
        if value is not REQUIRED:
            self.wrong((*path, key), _shown(value), expected)
        return default if isinstance(default, int) else low

    def items(self, table: Mapping[str, Any], path: Place, key: str, default: Any = REQUIRED) -> list[Any]:
        """A list."""
        value = self._get(table, path, key, default, "a list in [ ]")
        if isinstance(value, list):
            return value
        if value is not REQUIRED:
            self.wrong((*path, key), _shown(value), "a list in [ ]")
        return []

    def tables(self, table: Mapping[str, Any], path: Place, key: str, default: Any = REQUIRED) -> list[dict[str, Any]]:
        """A list of tables; an item that is none is a mistake and left out."""
        rows = self.items(table, path, key, default)
        for number, row in enumerate(rows):
            if not isinstance(row, dict):
                self.wrong((*path, key, number), _shown(row), "a table: key = value")
        return [row for row in rows if isinstance(row, dict)]

    def texts(self, values: Any, path: Place) -> tuple[str, ...]:
        """A list of texts, or one text alone."""
        rows = [values] if isinstance(values, str) else values
        if isinstance(rows, list) and all(isinstance(row, str) for row in rows):
            return tuple(rows)
        self.wrong(path, _shown(values), "a text or a list of texts")
        return ()

    def planned(self, path: Place, error: PlanError) -> None:
        """Note what the core says against a value."""
        text = str(error)
        found, _, expected = text.partition("; expected ")
        self.wrong(path, found, expected or "another value")

    def finish(self) -> None:
        """Raise `SetFileError` with every mistake; do nothing where there is none."""
        if not self.mistakes:
            return
        told = " ".join(f"[{number}] {mistake}" for number, mistake in enumerate(self.mistakes, 1))
        several = f"{len(self.mistakes)} mistakes: {told}"
        error = SetFileError(self.where, self.mistakes[0] if len(self.mistakes) == 1 else several)
        error.mistakes = tuple(self.mistakes)
        raise error

    def _get(self, table: Mapping[str, Any], path: Place, key: str, default: Any, expected: str) -> Any:
        if key in table:
            return table[key]
        if default is REQUIRED:
            self.wrong((*path, key), "nothing", expected)
        return default


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def toml_text(value: Any) -> str:
    """A string, number, flag or list of these as TOML, on one line; half of a surrogate pair becomes U+FFFD."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        whole = escaped.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
        plain = "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in whole)
        return f'"{plain}"'
    return "[" + ", ".join(toml_text(item) for item in value) + "]"
