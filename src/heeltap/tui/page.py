"""The frame of every screen around a drill: a title, a body, a message, the keys. Pure text.

Inside: `Look`, `page`, `room_of`, `first_shown`, `wrapped_lines`, `told_lines`, `clean`, `clip`, `too_small`, and the
size of the smallest terminal that heeltap can be used on, `LEAST_COLUMNS` by `LEAST_LINES`.
"""

import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.safe_text import safe_line
from heeltap.tui.keys import Key, bottom_lines
from heeltap.views.bar_sheet import UNICODE, Glyphs, Line, Span

__all__ = [
    "LEAST_COLUMNS",
    "LEAST_LINES",
    "Look",
    "clean",
    "clip",
    "first_shown",
    "page",
    "room_of",
    "told_lines",
    "too_small",
    "wrapped_lines",
]

LEAST_COLUMNS, LEAST_LINES = 60, 16
"""Below this nothing useful fits."""

_AROUND = 5
"""Lines that are not the body: title, blank, blank, message, keys."""


@dataclass(frozen=True, slots=True)
class Look:
    """The size of the terminal in columns and lines, and the characters that it can show."""

    width: int = 80
    height: int = 24
    glyphs: Glyphs = UNICODE


def room_of(look: Look) -> int:
    """How many lines there are for a body."""
    return max(0, look.height - _AROUND)


def page(
    look: Look, title: str, where: str, body: Sequence[Line], keys: Sequence[Key], *, message: str = ""
) -> list[Line]:
    """A whole screen, exactly ``look.height`` lines; a body longer than `room_of` loses its end.

    Parameters
    ----------
    look : Look
    title, where : str
        What stands at the top, on the left and on the right.
    body : sequence of Line
    keys : sequence of Key
        For the bottom line.
    message : str
        Shown above the keys, in two lines at most.
    """
    if look.width < LEAST_COLUMNS or look.height < LEAST_LINES:
        return too_small(look.width, look.height)
    where = clip(clean(where), look.width // 2)
    left = clip("  " + clean(title), look.width - len(where) - 3)
    gap = " " * max(1, look.width - len(left) - len(where) - 2)
    head: Line = [Span(left, "head"), Span(gap), Span(where, "dim")]
    shown = [_clipped(line, look.width) for line in body[: room_of(look)]]
    shown += [[] for _ in range(room_of(look) - len(shown))]
    told = told_lines(message, look.width)
    return [head, [], *shown, *([] for _ in range(2 - len(told))), *told, *bottom_lines(keys, look.width)]


def _clipped(line: Line, width: int) -> Line:
    """The line with every span cleaned, cut at the screen's edge."""
    kept: Line = []
    for span in line:
        text = clip(clean(span.text), width)
        kept.append(span._replace(text=text))
        width -= len(text)
        if width <= 0:
            break
    return kept


def first_shown(count: int, room: int, chosen: int) -> int:
    """The number of the row at the top of a list: the chosen row stays in the middle, except near the ends."""
    return max(0, min(chosen - room // 2, count - room))


def wrapped_lines(text: str, width: int, indent: str = "  ", role: str = "") -> list[Line]:
    """A paragraph, broken into lines of at most ``width`` columns."""
    whole = textwrap.wrap(clean(text), max(20, width - len(indent) - 2), break_on_hyphens=False)
    return [[Span(f"{indent}{line}", role)] for line in whole]


def clean(text: str) -> str:
    """The text without anything that would move the cursor or colour the screen: such characters become ``?``."""
    return safe_line(text)


def clip(text: str, width: int) -> str:
    """The text cut to ``width`` columns, with ``~`` for what is cut; a wide character counts as two columns."""
    used = 0
    for at, character in enumerate(text):
        used += 2 if unicodedata.east_asian_width(character) in "WF" else 0 if unicodedata.combining(character) else 1
        if used > width:
            return text[: max(0, at - 1)] + "~" if width else ""
    return text


def told_lines(message: str, width: int) -> list[Line]:
    """A message that the player must read now, in two lines at most; a path may break anywhere."""
    rows = textwrap.wrap(clean(message), width - 4)
    rows = rows if len(rows) < 3 else [rows[0], clip(" ".join(rows[1:]), width - 4)]
    return [[Span("  "), Span(row, "out")] for row in rows]


def too_small(width: int, height: int) -> list[Line]:
    """What heeltap shows on a terminal in which nothing useful fits, exactly ``height`` lines."""
    words = [f"{width} x {height} is too small;", f"{LEAST_COLUMNS} x {LEAST_LINES} is needed."]
    lines: list[Line] = [[Span(clip(word, width))] for word in words[:height]]
    return lines + [[] for _ in range(height - len(lines))]
