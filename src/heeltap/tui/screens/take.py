"""The screen of one take from the history: its report, which scrolls; the player can hear the take.

Inside: `TakeScreen`.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

from heeltap.app.listen.player_control import PlayerControl, piece_of_take, sound_in_use
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, clip, page, room_of
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.listen import LISTEN, listening_commands, listening_keys, listening_words
from heeltap.views.bar_sheet import Line, Span
from heeltap.wording import count

__all__ = ["TAKE_KEYS", "TakeScreen"]

TAKE_KEYS = (MOVE, LISTEN, BACK, HELP, QUIT)


class TakeScreen(QuietScreen):
    """The report of one take."""

    name = "take"
    chosen_by_mouse = False

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._report: list[str] = []
        self._folder = Path()
        self._listening = PlayerControl(lambda: sound_in_use()[0])

    def show(self, folder: Path, report: list[str]) -> None:
        """Show another take."""
        self._listening.stop()
        self._folder, self._report, self.at = folder, report, 0

    @property
    def keys(self) -> tuple[Key, ...]:
        """Those of listening while the take sounds."""
        return listening_keys(self._listening) if self._listening.on else TAKE_KEYS

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Hear the take."""
        return {"l": self._listen, **listening_commands(self._listening)}

    @property
    def count(self) -> int:
        """How many of its lines can stand at the top."""
        return max(1, len(self._report) - room_of(self.host.look) + 1)

    def draw(self, look: Look, message: str) -> list[Line]:
        """As much of the report as fits."""
        shown = self._report[self.at : self.at + room_of(look)]
        below = len(self._report) - self.at - len(shown)
        where = f"{count(below, 'more line')} below" if below > 0 else ""
        lines: list[Line] = [[Span(clip(line, look.width))] for line in shown]
        return page(look, "A take", where, lines, self.keys, message=listening_words(self._listening) or message)

    @property
    def lively(self) -> bool:
        """While the take sounds."""
        return self._listening.on

    def turn(self) -> None:
        """Follow what sounds."""
        self._listening.turn()

    def back(self) -> None:
        """Stop the sound; where nothing sounds, go to the history."""
        if self._listening.on:
            self._listening.stop()
        else:
            self.host.go("history")

    def leave(self) -> None:
        """Stop the sound and give the output back."""
        self._listening.free()

    def _listen(self) -> None:
        folder = self._folder
        self._listening.begin(lambda: piece_of_take(folder, sound_in_use()[1]))
