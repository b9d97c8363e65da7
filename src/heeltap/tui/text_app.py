"""What both apps have in common: one widget, the terminal's own colours, Ctrl-C, keys, mouse and help.

Inside: `TextApp`.
"""

import os
import signal
import threading
from collections.abc import Sequence
from multiprocessing import resource_tracker
from types import FrameType
from typing import ClassVar, TypeVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.driver import Driver
from textual.events import Click, MouseScrollDown, MouseScrollUp

from heeltap.tui.keys import Key, key_at, moves
from heeltap.tui.lines_widget import LinesWidget
from heeltap.tui.page import Look, help_lines, help_page, room_of
from heeltap.tui.screens.drill import LEAST_COLUMNS, LEAST_LINES
from heeltap.views.bar_sheet import Line, glyphs_for

__all__ = ["TextApp"]

Answer = TypeVar("Answer")

_HELP_MOVES = moves(10)


class TextApp(App[Answer]):
    """An app whose screen is one sheet of text."""

    CSS = "Screen { background: ansi_default; color: ansi_default; }"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+c", "interrupt", show=False, priority=True)]

    def __init__(self, encoding: str | None) -> None:
        """An app for a terminal of this encoding: where it has no block characters, plain ones are drawn."""
        if os.name == "posix":
            # The engine's process needs this helper of multiprocessing, which hands on the descriptor of stderr; once
            # Textual has put its own stderr in place there is none (ValueError: bad value(s) in fds_to_keep).
            resource_tracker.ensure_running()
        super().__init__(ansi_color=True)
        self._glyphs = glyphs_for(encoding)
        self._gone = False
        """Whether the terminal is being given back: nothing is drawn any more."""
        self._helping = False
        """Whether the keys of where we are are being explained."""
        self._help_at = 0
        """The line of the help that is the first on the screen."""
        self._lines_widget = LinesWidget()

    def compose(self) -> ComposeResult:
        """One widget is the whole screen."""
        yield self._lines_widget

    def on_ready(self) -> None:
        """Take being stopped and woken from outside for what it is."""
        _wake_once(self._driver)

    @property
    def keys_now(self) -> tuple[Key, ...]:
        """The keys of what is shown now, as the bottom line lists them."""
        raise NotImplementedError

    def press_key(self, name: str) -> None:
        """What a key does now."""
        raise NotImplementedError

    def click_line(self, y: int) -> None:
        """What a click on a line above the keys does."""

    def action_help(self) -> None:
        """Explain the keys of where we are; any key but those that move closes it."""
        self._helping, self._help_at = True, 0

    def press_in_help(self, name: str) -> None:
        """Move in the help, or close it."""
        if name in _HELP_MOVES:
            self._help_at += _HELP_MOVES[name]
        else:
            self._helping = False

    def drawn_help(self, look: Look, of: str, more: Sequence[str]) -> list[Line]:
        """The help of where we are."""
        body = help_lines(look, self.keys_now, more)
        self._help_at = max(0, min(self._help_at, len(body) - room_of(look)))
        return help_page(look, of, body, self._help_at)

    def on_click(self, event: Click) -> None:
        """A click on a key in the bottom line presses it; anywhere else it closes the help."""
        width, height = self.size
        if width < LEAST_COLUMNS or height < LEAST_LINES:
            return
        if self._helping:
            self.press_key("escape")
        elif event.y < height - 1:
            self.click_line(event.y)
        elif (key := key_at(self.keys_now, width, event.x)) is not None and key.name != "down":
            self.press_key(key.name)

    def on_mouse_scroll_down(self, _: MouseScrollDown) -> None:
        """The wheel moves like the keys."""
        self.press_key("down")

    def on_mouse_scroll_up(self, _: MouseScrollUp) -> None:
        """The wheel moves like the keys."""
        self.press_key("up")


def _wake_once(driver: Driver | None) -> None:
    """Let a SIGCONT start the terminal anew only where a suspend closed it before.

    Textual 8.2 starts it at every SIGCONT. After a plain SIGSTOP that makes a second thread that reads the keys: one of the
    two then waits for ever for what the other has read, and the program cannot leave (seen in one of 20 to 50 runs).
    """
    resume = getattr(driver, "_sigcont_application", None)
    if resume is None or threading.current_thread() is not threading.main_thread():
        return

    def wake(number: int, frame: FrameType | None) -> None:
        if getattr(driver, "_must_signal_resume", True):
            resume(number, frame)

    signal.signal(signal.SIGCONT, wake)
