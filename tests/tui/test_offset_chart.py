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
  Your offsets over the bars, in ms
  o middle of a bar  · stroke  ── your aim  : in the pocket
  late  +40 |
        +30 |
        +20 :            ·
        +10 :
          0 +·───·───o───────·───·───o───·───·───────────────·───·────────────
        -10 :                                    ·                   o
        -20 :                                        o
        -30 |                                                            ·
 early  -40 |                                        ·   ·
        bar 1                               3
            verse                           chorus"""


def test_the_chart_reads_as_designed() -> None:
    """Late is above and early below, each stroke where it lies in its bar, the bar's median in its middle, and the
    sections named underneath."""
    result = a_result([[0, 1, -1, 20], [0, 0, 0, 0], [0, -12, -38, -44], [0, -2, -13, -30]])

    assert EXPECTED.splitlines() == offset_chart(result, 78, 15, UNICODE)


def test_the_line_is_the_lean() -> None:
    """With a lean the rows are numbered around it, and a player who sits on it is on the line."""
    lines = offset_chart(a_result([[15.0] * 4] * 4, lean_ms=15.0), 78, 20, ASCII)

    assert any(line.startswith("        +15 +.---.---o-") for line in lines)
    assert all(line.isascii() for line in lines)


@pytest.mark.parametrize("bars", [2, 16, 150])
@pytest.mark.parametrize(("width", "height"), [(32, 11), (60, 12), (80, 20), (120, 36), (200, 50)])
def test_it_fits_and_uses_the_whole_width(width: int, height: int, bars: int) -> None:
    """Nothing is wider or higher than asked for; the line of the lean reaches from edge to edge, and so do the strokes."""
    lines = offset_chart(a_result([[5.0, -5.0, 0.0, 9.0]] * bars), width, height, ASCII)

    assert len(lines) <= height
    assert max(map(len, lines[2:])) == width
    if width >= 60:
        assert max(map(len, lines[:2])) <= width
    last = max(line.rfind(mark) for line in lines[2:] for mark in ".o")
    assert last >= width - 1 - (width - 13) / bars / 2


def test_sections_keep_their_names() -> None:
    """Neighbours whose names are too long for their bars stand one below the other, and one at the right edge moves left."""
    bars = [[0.0, 1.0, 2.0, 3.0]] * 12
    names = [("introduction", 1, 1), ("first verse", 2, 3), ("refrain", 4, 11), ("coda with a long name", 12, 12)]
    plan = counted_plan(["1 2 3 4"] * 12, sections=[Section(*row) for row in names])
    notes = played(plan, [ms for bar in bars for ms in bar])
    table = make_notes([n.at_us for n in notes], [n.pitch for n in notes], [n.velocity for n in notes])
    result = analyse(Played(table, plan.tempo, plan.metre, plan), Options(delay_ms=0.0))

    text = "\n".join(offset_chart(result, 80, 20, UNICODE))

    assert all(name in text for name, _, _ in names)


def test_too_little_is_no_chart() -> None:
    """One bar is told better by its numbers, and a picture needs some room."""
    assert [] == offset_chart(a_result([[0.0, 1.0, 2.0, 3.0]]), 78, 20, UNICODE)
    assert [] == offset_chart(a_result([[0.0] * 4] * 4), 20, 20, UNICODE)
    assert [] == offset_chart(a_result([[0.0] * 4] * 4), 78, 9, UNICODE)


@pytest.mark.parametrize(("pocket_ms", "rows"), [(25.0, 4), (10.0, 2), (4.0, 0), (None, 4)])
def test_the_pocket_stands_on_the_axis(pocket_ms: float | None, rows: int) -> None:
    """Rows within it have a colon: of the one that was given, else of 4 % of the beat, 20 ms at 120 bpm."""
    bars: list[list[float]] = [[0, 1, -1, 20], [0, 0, 0, 0], [0, -12, -38, -44], [0, -2, -13, -30]]
    result = a_result(bars, pocket_ms=pocket_ms)

    assert rows == sum(line[12:13] == ":" for line in offset_chart(result, 78, 15, ASCII)[2:])
