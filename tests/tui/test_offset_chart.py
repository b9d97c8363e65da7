"""The chart of offsets over the bars, as text."""

import pytest

from heeltap.analysis.analyse import Options, analyse
from heeltap.model.lean import Lean
from heeltap.model.notes import make_notes
from heeltap.model.plan import Section
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.tui.screens.offset_chart import offset_chart
from heeltap.views.bar_sheet import ASCII, UNICODE
from tests.makers.drills import counted_plan, played


def a_result(offsets_ms: list[list[float]], *, lean_ms: float = 0.0, pocket_ms: float | None = None) -> Result:
    """A take of quarters with these offsets a bar; the second half is a section of its own."""
    bars, half = len(offsets_ms), max(1, len(offsets_ms) // 2)
    sections = [Section("verse", 1, half)] + ([Section("chorus", half + 1, bars)] if bars > half else [])
    plan = counted_plan(["1 2 3 4"] * bars, sections=sections)
    notes = played(plan, [ms for bar in offsets_ms for ms in bar])
    table = make_notes([n.at_us for n in notes], [n.pitch for n in notes], [n.velocity for n in notes])
    options = Options(lean=Lean(lean_ms), pocket_ms=pocket_ms, delay_ms=0.0)
    return analyse(Played(table, plan.tempo, plan.metre, plan), options)


EXPECTED = """\
  offsets over the bars, ms (o middle, · strokes, line: lean, colon: pocket)
   +40 |
   +30 |
   +20 :·
   +10 :
     0 +o─────o─────·─────·─────
   -10 :            ·     o
   -20 :            o
   -30 |                  ·
   -40 |            ·
        1           3
        verse       chorus"""


def test_the_chart_reads_as_designed() -> None:
    """A bar that ran away stands below the line, its strokes around it, the sections named underneath."""
    result = a_result([[0, 1, -1, 20], [0, 0, 0, 0], [0, -12, -38, -44], [0, -2, -13, -30]])

    assert "\n".join(offset_chart(result, 78, UNICODE)).splitlines() == EXPECTED.splitlines()


def test_the_line_is_the_lean() -> None:
    """With a lean the rows are numbered around it, and a player who sits on it is on the line."""
    lines = offset_chart(a_result([[15.0] * 4] * 4, lean_ms=15.0), 78, ASCII)

    assert any(line.startswith("   +15 +o-----o-----o-----o") for line in lines)
    assert all(line.isascii() for line in lines)


@pytest.mark.parametrize("width", [28, 40, 78, 200])
def test_it_fits_whatever_the_length(width: int) -> None:
    """Many bars share columns; nothing is wider than asked for but the title."""
    lines = offset_chart(a_result([[5.0, -5.0, 0.0, 9.0]] * 150), width, ASCII)

    assert max(len(line) for line in lines[1:]) <= width
    assert "bars a column" in lines[0] or width == 200


def test_too_little_is_no_chart() -> None:
    """One bar is told better by its numbers."""
    assert offset_chart(a_result([[0.0, 1.0, 2.0, 3.0]]), 78, UNICODE) == []
    assert offset_chart(a_result([[0.0] * 4] * 4), 20, UNICODE) == []


@pytest.mark.parametrize(("pocket_ms", "held"), [(25.0, 4), (10.0, 2), (4.0, 0), (None, 4)])
def test_the_pocket_stands_on_the_axis(pocket_ms: float | None, held: int) -> None:
    """Rows within it have a colon: of the one that was given, else of 4 % of the beat, 20 ms at 120 bpm."""
    bars: list[list[float]] = [[0, 1, -1, 20], [0, 0, 0, 0], [0, -12, -38, -44], [0, -2, -13, -30]]
    result = a_result(bars, pocket_ms=pocket_ms)

    assert held == sum(line[7:8] == ":" for line in offset_chart(result, 78, ASCII)[1:])
