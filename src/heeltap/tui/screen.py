"""What every screen around a drill has in common: keys, lines to choose from, and work that a thread does for it.

Inside: `QuietScreen`, `Host`.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Protocol

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.tui.keys import Key
from heeltap.tui.page import Look
from heeltap.views.bar_sheet import Glyphs, Line

__all__ = ["Host", "QuietScreen"]


class Host(Protocol):
    """What a screen may ask of the app that shows it."""

    @property
    def takes(self) -> Path | None:
        """The folder of all takes; None for the user's own."""

    @property
    def glyphs(self) -> Glyphs:
        """The characters that the terminal can show."""

    @property
    def look(self) -> Look:
        """The size of the terminal, and its characters."""

    def moment(self) -> datetime:
        """The date and time now."""

    def work(self, name: str, act: Callable[[], object]) -> None:
        """Run ``act`` in a thread and hand what it returns to the screen; an error of heeltap's own becomes the message."""

    def say(self, words: str, *, stays: bool = False) -> None:
        """Show a message above the keys, from any thread; one that ``stays`` is still there after the next reading."""

    def go(self, name: str) -> None:
        """Show the screen of this name."""

    def choose(self, choice: DrillChoice) -> None:
        """Show how what the player chose is played: the metre, the tempo and the like; esc comes back to this screen."""

    def leave_with(self, choice: DrillChoice | None) -> None:
        """Leave all screens; heeltap then drills what the player chose, or ends where that is None."""


class QuietScreen:
    """One screen around a drill: start, history, a take, set-up, measuring.

    It is quiet because it is drawn only when something changes. The player chooses its lines with ``at``; a screen
    without lines to choose scrolls by ``at``.
    """

    name = ""
    """As the help calls it."""
    chosen_by_mouse = True
    """Whether a click chooses a line."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.at = 0
        """The chosen line, from 0."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of this screen as it is now."""
        raise NotImplementedError

    @property
    def more(self) -> tuple[str, ...]:
        """What its help says beside the keys, a paragraph each."""
        return ()

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """What each of its keys does; the app carries out those that mean the same on every screen."""
        raise NotImplementedError

    @property
    def moves(self) -> bool:
        """Whether the player can choose a line now."""
        return True

    @property
    def lively(self) -> bool:
        """Whether something goes on by itself, so that the app must draw the screen again though nobody presses a key."""
        return False

    @property
    def count(self) -> int:
        """How many lines the player can choose from."""
        raise NotImplementedError

    def draw(self, look: Look, message: str) -> list[Line]:
        """The whole screen, exactly ``look.height`` lines."""
        raise NotImplementedError

    def look_again(self) -> None:
        """Read afresh what the screen shows."""

    def take_in(self, work: str, found: object) -> None:
        """Take over what a thread found for this screen; ``work`` is the name under which the screen began it."""

    def turn(self) -> None:
        """Follow what goes on by itself; the app calls this ten times a second."""

    def failed(self, work: str) -> None:
        """Forget a piece of work that raised an error; the app says why it did."""

    def back(self) -> None:
        """Go one step back."""
        self.host.go("start")

    def leave(self) -> None:
        """Stop everything that would go on behind a screen that is gone."""
