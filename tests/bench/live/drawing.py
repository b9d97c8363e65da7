"""A screen that keeps its process busy as screens do: thirty small widgets, new thirty times a second, without a
terminal."""

from collections.abc import Callable

from textual.app import App, ComposeResult
from textual.widgets import Static

__all__ = ["draw_until"]

WIDGETS = 30
FRAMES_A_SECOND = 30


class _Drawing(App[None]):
    """Draws numbers."""

    CSS = "Static { height: 1; }"

    def __init__(self, done: Callable[[], bool]) -> None:
        super().__init__()
        self._done, self._frame = done, 0

    def compose(self) -> ComposeResult:
        """Thirty lines."""
        for i in range(WIDGETS):
            yield Static(id=f"line{i}")

    def on_mount(self) -> None:
        """Start the frames."""
        self.set_interval(1 / FRAMES_A_SECOND, self._tick)

    def _tick(self) -> None:
        if self._done():
            self.exit()
        self._frame += 1
        for i in range(WIDGETS):
            bar = "#" * ((self._frame + 7 * i) % 60)
            self.query_one(f"#line{i}", Static).update(f"[bold]{i:3}[/] {self._frame:6} {bar}")


def draw_until(done: Callable[[], bool]) -> None:
    """Draw until ``done()``, asked once a frame, says so."""
    _Drawing(done).run(headless=True, size=(80, 32))
