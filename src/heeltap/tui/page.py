"""The frame that the quiet screens share: a title, a body that scrolls, a message, the keys. Pure text.

Inside: `Look`, `page`, `room_of`, `first_shown`, `help_lines`, `help_page`, `wrapped_lines`.
"""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.tui.keys import MOVE, Key, bottom_line
from heeltap.tui.screens.drill import LEAST_COLUMNS, LEAST_LINES, clean, clip, told_lines, too_small
from heeltap.views.bar_sheet import UNICODE, Glyphs, Line, Span
from heeltap.wording import count

__all__ = ["Look", "first_shown", "help_lines", "help_page", "page", "room_of", "wrapped_lines"]

_AROUND = 5
"""Lines that are not the body: title, blank, blank, message, keys."""


@dataclass(frozen=True, slots=True)
class Look:
    """Where a page is drawn."""

    width: int = 80
    height: int = 24
    glyphs: Glyphs = UNICODE


def room_of(look: Look) -> int:
    """Lines that a body has."""
    return max(0, look.height - _AROUND)


def page(
    look: Look, title: str, where: str, body: Sequence[Line], keys: Sequence[Key], *, message: str = ""
) -> list[Line]:
    """A whole screen, exactly ``look.height`` lines; a body that is too long loses its end, which callers avoid."""
    if look.width < LEAST_COLUMNS or look.height < LEAST_LINES:
        return too_small(look.width, look.height)
    where = clip(clean(where), look.width // 2)
    left = clip("  " + clean(title), look.width - len(where) - 3)
    gap = " " * max(1, look.width - len(left) - len(where) - 2)
    head: Line = [Span(left, "head"), Span(gap), Span(where, "dim")]
    shown = [_clipped(line, look.width) for line in body[: room_of(look)]]
    shown += [[] for _ in range(room_of(look) - len(shown))]
    told = told_lines(message, look.width)
    return [head, [], *shown, *([] for _ in range(2 - len(told))), *told, bottom_line(keys, look.width)]


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
    """The first row of a list on screen: the chosen row stays in the middle, except near the ends."""
    return max(0, min(chosen - room // 2, count - room))


def wrapped_lines(text: str, width: int, indent: str = "  ", role: str = "") -> list[Line]:
    """A paragraph in lines."""
    whole = textwrap.wrap(clean(text), max(20, width - len(indent) - 2), break_on_hyphens=False)
    return [[Span(f"{indent}{line}", role)] for line in whole]


def help_lines(look: Look, keys: Sequence[Key], more: Sequence[str] = ()) -> list[Line]:
    """The keys of a screen, each with what it does, and what else is good to know there."""
    body: list[Line] = []
    for key in keys:
        rows = textwrap.wrap(key.explained, max(20, look.width - 18), break_on_hyphens=False)
        body += [
            [Span(f"  {key.shown or key.name:<12}" if not at else " " * 14, "key"), Span(row)]
            for at, row in enumerate(rows)
        ]
    for text in more:
        body += [[], *wrapped_lines(text, look.width)]
    return body


def help_page(look: Look, of: str, body: Sequence[Line], first: int = 0) -> list[Line]:
    """The lines of a help from ``first`` on."""
    below = len(body) - room_of(look) - first
    where = f"{of}, {count(below, 'more line')} below" if below > 0 else of
    return page(look, "Keys", where, body[first:], (MOVE, Key("escape", "close", "", "any key")))
