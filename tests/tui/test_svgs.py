"""Some screens as pictures with weight, underline and reverse, against approved ones.

``python -m tests.makers.svgs`` writes them again. How Textual writes an SVG may change with its version, so the pictures
are compared under the version with which they were made.
"""

from xml.etree import ElementTree

import pytest
import textual

from heeltap.views.bar_sheet import Line, Span, plain
from tests.makers.screens import pictures
from tests.makers.svgs import NAMES, SIZE, drawn, golden, rows_of

MADE_WITH = "8.2"

pytestmark = pytest.mark.skipif(
    textual.__version__.split(".")[:2] != MADE_WITH.split("."),
    reason=f"the pictures were made with Textual {MADE_WITH}, here is {textual.__version__}: it may draw an SVG otherwise",
)


@pytest.mark.parametrize("name", NAMES)
def test_the_picture_is_the_approved_one(name: str) -> None:
    """Word for word, attribute for attribute, place for place."""
    assert golden(name).read_text(encoding="utf-8") == drawn(pictures(*SIZE)[name])


@pytest.mark.parametrize("name", NAMES)
def test_the_approved_picture_says_what_the_screen_says(name: str) -> None:
    """Every line of the screen as text, in its column; the picture is whole XML and names no other computer."""
    picture = golden(name).read_text(encoding="utf-8")
    root = ElementTree.fromstring(picture)

    assert [row.rstrip() for row in plain(pictures(*SIZE)[name])] == _whole(rows_of(picture), SIZE[1])
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert picture.count("://") == 1


def _whole(rows: list[str], height: int) -> list[str]:
    """All rows of a screen, empty ones too."""
    return rows + [""] * (height - len(rows))


def _is(span: Span, role: str) -> bool:
    """Whether it can be seen and has the role."""
    return span.role == role and bool(span.text.strip())


def _changed(lines: list[Line], role: str, to: dict[str, str]) -> list[Line]:
    """The lines, the first piece of a role that can be seen changed."""
    seen = [(y, at) for y, line in enumerate(lines) for at, span in enumerate(line) if _is(span, role)]
    y, at = seen[0]
    lines[y] = [*lines[y][:at], lines[y][at]._replace(**to), *lines[y][at + 1 :]]
    return lines


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("role", "to"),
    [
        ("head", {"text": "  Other words"}),
        ("head", {"role": ""}),
        ("key", {"role": ""}),
        ("dim", {"role": ""}),
        ("now", {"role": "head"}),
        ("out", {"role": "head"}),
    ],
)
def test_a_picture_with_a_change_is_not_the_approved_one(name: str, role: str, to: dict[str, str]) -> None:
    """Another word; bold, dim, reverse or underline lost: each is seen wherever a screen has it."""
    lines = pictures(*SIZE)[name]
    if not any(_is(span, role) for line in lines for span in line):
        assert (name, role) in {("report", "now"), ("start", "out"), ("report", "out"), ("set-up", "out")}
        return

    assert golden(name).read_text(encoding="utf-8") != drawn(_changed(lines, role, to))
