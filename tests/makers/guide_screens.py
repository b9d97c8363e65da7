"""Writes the screens that the guide shows from the approved pictures: ``python -m tests.makers.guide_screens``.

A line ``<!-- screen: start-80x24 -->`` in a page names the picture; the code block behind it is replaced. Brackets in the
pictures' names test that a name is never read as markup; the guide does without them. So many blank lines become one.

Inside: `with_screens`, `pages`.
"""

import re
from pathlib import Path

__all__ = ["pages", "with_screens"]

ROOT = Path(__file__).resolve().parents[2]
GOLDEN = ROOT / "tests" / "golden" / "tui"

_BLOCK = re.compile(r"(<!-- screen: (\S+) -->\n\n```\n).*?(?=^```)", re.S | re.M)


def pages() -> list[Path]:
    """The pages of the guide that show a screen."""
    every = sorted((ROOT / "docs" / "guide").glob("*.md"))
    return [page for page in every if _BLOCK.search(page.read_text(encoding="utf-8"))]


def with_screens(text: str) -> str:
    """The page with every screen as it is now."""
    return _BLOCK.sub(lambda found: found.group(1) + _picture(found.group(2)), text)


def _picture(name: str) -> str:
    text = (GOLDEN / f"{name}.txt").read_text(encoding="utf-8").replace(" [bold]", "")
    text = re.sub(r"\[on\](.*?)(?=\s{3})", r"on\1  ", text)
    return re.sub(r"\n{3,}", "\n\n", text)


if __name__ == "__main__":
    for page in pages():
        page.write_text(with_screens(page.read_text(encoding="utf-8")), encoding="utf-8")
