"""The help: the keys of the screen that is shown, each with what it does, and what else the player should know there.

Inside: `HelpScreen`, `help_lines`, `help_page`.
"""

import textwrap
from collections.abc import Sequence

from heeltap.tui.keys import MOVE, Key, moves
from heeltap.tui.page import Look, page, room_of, wrapped_lines
from heeltap.views.bar_sheet import Line, Span
from heeltap.wording import count

__all__ = ["HelpScreen", "help_lines", "help_page"]

_MOVES = moves(10)


class HelpScreen:
    """The help of both apps: whether it is open, and how far the player has scrolled it."""

    def __init__(self) -> None:
        self.is_open = False
        """Whether it is shown instead of the screen that it explains."""
        self._first = 0
        """The line of it that stands at the top."""

    def open(self) -> None:
        """Show the help from its first line."""
        self.is_open, self._first = True, 0

    def press(self, name: str) -> None:
        """Scroll by a key that moves; every other key closes the help."""
        if name in _MOVES:
            self._first += _MOVES[name]
        else:
            self.is_open = False

    def draw(self, look: Look, of: str, keys: Sequence[Key], more: Sequence[str]) -> list[Line]:
        """The whole screen, exactly ``look.height`` lines.

        Parameters
        ----------
        look : Look
        of : str
            Name of the screen that is explained.
        keys : sequence of Key
            Its keys.
        more : sequence of str
            Paragraphs that follow the keys.
        """
        body = help_lines(look, keys, more)
        self._first = max(0, min(self._first, len(body) - room_of(look)))
        return help_page(look, of, body, self._first)


def help_lines(look: Look, keys: Sequence[Key], more: Sequence[str] = ()) -> list[Line]:
    """The keys of a screen, each with what it does, then the paragraphs of ``more``."""
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
    """A screen with the lines of a help from line ``first`` on."""
    below = len(body) - room_of(look) - first
    where = f"{of}, {count(below, 'more line')} below" if below > 0 else of
    return page(look, "Keys", where, body[first:], (MOVE, Key("escape", "close", "", "any key")))
