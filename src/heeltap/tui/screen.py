"""What every screen around a drill has in common: keys, lines to choose, work that is done meanwhile.

Inside: `Place`, `Host`.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Protocol

from heeltap.app.practice.today import Wish
from heeltap.tui.keys import Key
from heeltap.tui.page import Look
from heeltap.views.bar_sheet import Glyphs, Line

__all__ = ["Host", "Place"]


class Host(Protocol):
    """What a screen may ask of the app that shows it."""

    @property
    def takes(self) -> Path | None:
        """The folder of all takes; None for the user's."""

    @property
    def glyphs(self) -> Glyphs:
        """The characters that the terminal has."""

    @property
    def look(self) -> Look:
        """The size of the terminal, and its characters."""

    def moment(self) -> datetime:
        """The date and time."""

    def work(self, name: str, act: Callable[[], object]) -> None:
        """Do something in a thread and hand what it returns to the screen; an error that is ours becomes the message."""

    def say(self, words: str, *, stays: bool = False) -> None:
        """Put a message above the keys, from any thread; one that stays outlives what is being read."""

    def go(self, name: str) -> None:
        """Show the screen of this name."""

    def leave_with(self, wish: Wish | None) -> None:
        """Leave all screens; a wish is drilled next."""


class Place:
    """One screen. Its lines are chosen by ``at``; a screen without such lines scrolls by it."""

    name = ""
    """As the help calls it."""
    chosen_by_mouse = True
    """Whether its lines can be chosen one by one."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.at = 0
        """The line that is chosen, from 0."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of this screen as it is now."""
        raise NotImplementedError

    @property
    def more(self) -> tuple[str, ...]:
        """What else its help says."""
        return ()

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """What its keys do; those that mean the same everywhere are the app's."""
        raise NotImplementedError

    @property
    def moves(self) -> bool:
        """Whether lines can be chosen now."""
        return True

    @property
    def lively(self) -> bool:
        """Whether something goes on by itself, so that the screen must be drawn again though no key is pressed."""
        return False

    @property
    def count(self) -> int:
        """How many lines can be chosen."""
        raise NotImplementedError

    def draw(self, look: Look, message: str) -> list[Line]:
        """The whole screen."""
        raise NotImplementedError

    def look_again(self) -> None:
        """Read afresh what is shown."""

    def take_in(self, work: str, found: object) -> None:
        """What a piece of work of this screen brought."""

    def turn(self) -> None:
        """A moment has passed."""

    def failed(self, work: str) -> None:
        """A piece of work of this screen came to nothing; the app says why."""

    def back(self) -> None:
        """One step back."""
        self.host.go("start")

    def leave(self) -> None:
        """Let nothing go on behind a screen that is gone."""
