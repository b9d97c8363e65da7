"""The one widget of every screen: it shows lines of text that a pure function drew, and refreshes those that changed.

Inside: `LinesWidget`.
"""

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from heeltap.safe_text import safe_line
from heeltap.views.bar_sheet import Line

__all__ = ["LinesWidget"]

_STYLES = {
    "": Style(),
    "head": Style(bold=True),
    "dim": Style(dim=True),
    "now": Style(bold=True, reverse=True),
    "out": Style(bold=True, underline=True),
    "key": Style(bold=True),
}
"""How each role looks: attributes only, so that a terminal without colours loses no meaning."""


class LinesWidget(Widget):
    """Lines of text with roles, from the top of the screen down."""

    DEFAULT_CSS = "LinesWidget { width: 100%; height: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self._lines: list[Line] = []

    def show(self, lines: list[Line]) -> None:
        """Show these lines; only those that differ are drawn again."""
        before, self._lines = self._lines, lines
        if len(before) != len(lines):
            self.refresh()
            return
        changed = [Region(0, y, self.size.width, 1) for y, line in enumerate(lines) if line != before[y]]
        if changed:
            self.refresh(*changed)

    def render_line(self, y: int) -> Strip:
        """One line of the screen."""
        spans = self._lines[y] if y < len(self._lines) else []
        segments = [Segment(safe_line(span.text), _STYLES[span.role]) for span in spans if span.text]
        return Strip(segments).adjust_cell_length(self.size.width, Style())
