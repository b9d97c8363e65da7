"""The screen of one take from the history: its report, which scrolls; the player can hear the take.

Inside: `TakeScreen`.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

from heeltap.app.listen.piece import piece_of_listed_bars, piece_of_take
from heeltap.app.listen.player_control import PlayerControl, sound_in_use
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, clip, page, room_of
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.drill_keys import MEASURE
from heeltap.tui.screens.listen import LISTEN, listening_commands, listening_keys, listening_words
from heeltap.tui.screens.report import Report, page_words, report_lines
from heeltap.views.bar_sheet import Line, Span

__all__ = ["TAKE_KEYS", "TakeScreen"]

TAKE_KEYS = (
    LISTEN,
    Key("left", "", "a page back", "left"),
    Key("right", "page", "a page on: the picture, then every number", "right"),
    MOVE,
    BACK,
    HELP,
    QUIT,
)


class TakeScreen(QuietScreen):
    """The report of one take."""

    name = "take"
    chosen_by_mouse = False

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._report = Report("", None)
        self._lines: dict[tuple[int, int], list[str]] = {}
        self._folder = Path()
        self._listening = PlayerControl(lambda: sound_in_use()[0])

    def show(self, folder: Path, report: Report) -> None:
        """Show another take."""
        self._listening.stop()
        self._folder, self._report, self._lines, self.at = folder, report, {}, 0

    @property
    def keys(self) -> tuple[Key, ...]:
        """Those of listening while the take sounds."""
        if self._listening.on:
            return listening_keys(self._listening)
        result = self._report.result
        return TAKE_KEYS if result is None or result.calibration.known else (TAKE_KEYS[0], MEASURE, *TAKE_KEYS[1:])

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Hear the take, turn the pages of its report."""
        turn: dict[str, Callable[[], object]] = {
            "left": lambda: self._turn_page(-1),
            "right": lambda: self._turn_page(1),
        }
        turn["u"] = lambda: self.host.go("delay")
        return {"l": self._listen, **(listening_commands(self._listening) if self._listening.on else turn)}

    @property
    def count(self) -> int:
        """How many of its lines can stand at the top."""
        room = room_of(self.host.look)
        return (len(self._fitted(self.host.look)) - 1) // max(1, room) * room + 1

    def draw(self, look: Look, message: str) -> list[Line]:
        """As much of the report as fits."""
        report, room = self._fitted(look), max(1, room_of(look))
        lines: list[Line] = [[Span(clip(line, look.width))] for line in report[self.at : self.at + room]]
        where = page_words(self.at, report, room)
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

    def _fitted(self, look: Look) -> list[str]:
        """The report for this size, made once."""
        size = look.width, max(1, room_of(look))
        if size not in self._lines:
            self._lines = {size: report_lines(self._report, *size, look.glyphs)}
        return self._lines[size]

    def _turn_page(self, pages: int) -> None:
        self.at = max(0, min(self.count - 1, self.at + pages * room_of(self.host.look)))

    def _listen(self) -> None:
        folder, of_take = self._folder, piece_of_take if self._listening.in_turn else piece_of_listed_bars
        self._listening.begin(lambda: of_take(folder, sound_in_use()[1]))
