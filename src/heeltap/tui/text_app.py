"""What both apps have in common: one widget, the terminal's own colours, Ctrl-C, the mouse, the help.

Inside: `TextApp`.
"""

import os
import signal
import threading
from multiprocessing import resource_tracker
from types import FrameType
from typing import ClassVar, TypeVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.driver import Driver
from textual.events import Click, MouseScrollDown, MouseScrollUp

from heeltap.tui.keys import Key, key_at
from heeltap.tui.lines_widget import LinesWidget
from heeltap.tui.page import LEAST_COLUMNS, LEAST_LINES
from heeltap.tui.screens.help import HelpScreen
from heeltap.views.bar_sheet import glyphs_for

__all__ = ["TextApp"]

Answer = TypeVar("Answer")


class TextApp(App[Answer]):
    """An app whose screen is lines of text."""

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
        """Whether the app is giving the terminal back, so that it draws nothing any more."""
        self.help_screen = HelpScreen()
        self._lines_widget = LinesWidget()

    def compose(self) -> ComposeResult:
        """Make the one widget that is the whole screen."""
        yield self._lines_widget

    def on_ready(self) -> None:
        """Let a stop and a wake from outside do no harm."""
        _wake_once(self._driver)

    @property
    def keys_now(self) -> tuple[Key, ...]:
        """The keys of what the app shows now, as the bottom line lists them."""
        raise NotImplementedError

    @property
    def key_lines(self) -> int:
        """How many lines the keys have at the bottom of the screen."""
        return 1

    def press_key(self, name: str) -> None:
        """Do what a key does now."""
        raise NotImplementedError

    def click_line(self, y: int) -> None:
        """Do what a click on a line above the keys does."""

    def on_click(self, event: Click) -> None:
        """Press the key of the bottom line that was clicked; while the help is open, close it."""
        width, height = self.size
        if width < LEAST_COLUMNS or height < LEAST_LINES:
            return
        if self.help_screen.is_open:
            self.press_key("escape")
        elif (line := event.y - height + self.key_lines) < 0:
            self.click_line(event.y)
        elif (key := key_at(self.keys_now, width, event.x, line, self.key_lines)) is not None and key.name != "down":
            self.press_key(key.name)

    def on_mouse_scroll_down(self, _: MouseScrollDown) -> None:
        """Move like the keys do."""
        self.press_key("down")

    def on_mouse_scroll_up(self, _: MouseScrollUp) -> None:
        """Move like the keys do."""
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
