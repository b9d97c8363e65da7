"""Keys as data: what each does, in the words that the bottom line and the help show.

The bottom line, the help, the keyboard and the mouse read the same rows, so none of them says what another does not do.

Inside: `Key`, `bottom_lines`, `lines_needed`, `key_at`, `moves`, and the keys that mean the same on every screen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from heeltap.views.bar_sheet import Line, Span

__all__ = ["BACK", "HELP", "MOVE", "QUIT", "Key", "bottom_lines", "key_at", "lines_needed", "moves"]

_BETWEEN = "  "


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one screen."""

    name: str
    """As Textual calls it: ``enter``, ``escape``, ``n``."""
    does: str
    """In the bottom line: a word or two; empty where it shares the word of the key after it, as "-" and "+ tempo" do."""
    explained: str
    """In the help: a sentence without its point."""
    shown: str = ""
    """What is written for the key where it is not its name."""

    @property
    def text(self) -> str:
        """As it stands in the bottom line."""
        return f"{self.shown or self.name} {self.does}".rstrip()


HELP = Key("question_mark", "help", "this list of keys; any key closes it", "?")
QUIT = Key("q", "quit", "leave heeltap; it keeps the take that you are playing")
BACK = Key("escape", "back", "back to the screen before", "esc")
MOVE = Key(
    "down",
    "move",
    "move by a line; page up and down by a screen, home and end to the ends; the wheel does too",
    "up/down",
)


def moves(screen: int, whole: int = 10**6) -> dict[str, int]:
    """How many lines each key of `MOVE` moves by, on a screen of ``screen`` lines that shows part of ``whole`` lines."""
    return {"down": 1, "up": -1, "pagedown": screen, "pageup": -screen, "home": -whole, "end": whole}


def bottom_lines(keys: Sequence[Key], width: int, lines: int = 1) -> list[Line]:
    """The keys side by side, in exactly so many lines; those that do not fit stand in the help only, whose key stays.

    Parameters
    ----------
    keys : sequence of Key
        In the order in which a player needs them: what does not fit is dropped from the end.
    width : int
        Columns.
    lines : int
        Lines that there are for them.
    """
    return _lines(tuple(keys), width, lines)


@lru_cache(maxsize=32)  # drawn thirty times a second, a tenth of what a picture costs; nobody changes a drawn line
def _lines(keys: tuple[Key, ...], width: int, lines: int) -> list[Line]:
    found: list[Line] = []
    for row in _rows(keys, width, lines):
        line: Line = []
        for at, text in enumerate(_pieces(row)):
            name, space, does = text.partition(" ") if at % 2 else ("", "", text)
            line += [Span(name, "key"), Span(space + does)]
        found.append([span for span in line if span.text])
    return found


def lines_needed(keys: Sequence[Key], width: int, *, least: int, most: int) -> int:
    """How many lines show every key, within these bounds."""
    return min(max(len(_broken(keys, width)), least), most)


def key_at(keys: Sequence[Key], width: int, column: int, line: int = 0, lines: int = 1) -> Key | None:
    """The key whose words stand at a column of one of the bottom lines, which a click there presses; None between keys."""
    row = _rows(keys, width, lines)[line]
    at = 0
    for number, text in enumerate(_pieces(row)):
        if at <= column < at + len(text) and number % 2:
            return row[number // 2]
        at += len(text)
    return None


def _pieces(keys: Sequence[Key]) -> list[str]:
    """Gap, key, gap, key, ..."""
    return [piece for number, key in enumerate(keys) for piece in (_BETWEEN if number else "  ", key.text)]


def _rows(keys: Sequence[Key], width: int, lines: int) -> list[list[Key]]:
    """The keys of each line: as many as fit, help and quit in any case."""
    kept = list(keys)
    while len(rows := _broken(kept, width)) > lines and len(kept) > 1:
        last = next((at for at in range(len(kept) - 1, -1, -1) if kept[at] not in (HELP, QUIT)), len(kept) - 1)
        kept.pop(last)
    return [*rows, *([] for _ in range(lines - len(rows)))][:lines]


def _broken(keys: Sequence[Key], width: int) -> list[list[Key]]:
    """The keys, broken into lines like words; a key that shares the word of the next one stays beside it."""
    rows: list[list[Key]] = [[]]
    for at, key in enumerate(keys):
        together = list(keys[at : at + 2]) if not key.does else [key]
        if rows[-1] and sum(map(len, _pieces([*rows[-1], *together]))) > width:
            rows.append([])
        rows[-1].append(key)
    return rows
