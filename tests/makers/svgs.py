"""Pictures of some screens with weight and reverse, as SVG drawn by Textual itself: ``python -m tests.makers.svgs``.

What is drawn are the lines of `tests.makers.screens`, through the one widget that every screen has.
"""

import asyncio
import re
from html import unescape
from pathlib import Path

from heeltap.tui.text_app import TextApp
from heeltap.views.bar_sheet import Line
from tests.makers.screens import GOLDEN, pictures

__all__ = ["NAMES", "SIZE", "drawn", "golden", "main", "rows_of"]

NAMES = ("start", "drill", "report", "set-up")
SIZE = (80, 24)

_CELL_PIXELS = 12.2
"""Width of a column in the SVG."""


class _Still(TextApp[None]):
    """An app that shows the same lines for ever."""

    def __init__(self, lines: list[Line]) -> None:
        super().__init__("utf-8")
        self._lines = lines

    def on_mount(self) -> None:
        """Show them."""
        self._lines_widget.show(self._lines)


def drawn(lines: list[Line]) -> str:
    """Lines as SVG, without what differs between two runs or names another computer: ids, title, fonts from elsewhere."""

    async def run() -> str:
        app = _Still(lines)
        async with app.run_test(size=SIZE) as pilot:
            await pilot.pause()
            return app.export_screenshot(title="heeltap")

    picture = re.sub(r"terminal-\d+-", "terminal-", asyncio.run(run()))
    for elsewhere in (r"\s*@font-face \{.*?\}", r"\s*<!--.*?-->", r'<text class="terminal-title".*?</text>'):
        picture = re.sub(elsewhere, "", picture, flags=re.DOTALL)
    return "\n".join(line.rstrip() for line in picture.splitlines()) + "\n"


def rows_of(picture: str) -> list[str]:
    """The text of a picture, row by row, each piece in the column where it is drawn."""
    rows: dict[float, str] = {}
    for x, y, text in re.findall(r'<text [^>]*x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]*)</text>', picture):
        before = rows.get(float(y), "")
        rows[float(y)] = before.ljust(round(float(x) / _CELL_PIXELS)) + unescape(text).replace("\xa0", " ")
    return [row.rstrip() for _, row in sorted(rows.items())]


def golden(name: str) -> Path:
    """Where the approved picture of a screen is kept."""
    return GOLDEN / f"{name}-{SIZE[0]}x{SIZE[1]}.svg"


def main() -> None:
    """Write every picture."""
    GOLDEN.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        golden(name).write_text(drawn(pictures(*SIZE)[name]), encoding="utf-8")


if __name__ == "__main__":
    main()
