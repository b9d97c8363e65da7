"""The report of a take on the screen: pages in the order of use."""

from dataclasses import replace
from datetime import timedelta

import pytest

from heeltap.app.drill.run import DrillOutcome
from heeltap.model.result import Advice, Finding, Replay
from heeltap.session.session import Phase
from heeltap.tui.page import Look
from heeltap.tui.screens.after_take import report_of
from heeltap.tui.screens.drill_keys import REPORT_KEYS
from heeltap.tui.screens.report import Report, draw_report, page_words, played_words, report_lines
from heeltap.views.bar_sheet import ASCII, UNICODE, plain
from tests.makers.screens import NOW, a_drill_state, a_report


def pages(report: Report, width: int = 80, room: int = 20) -> list[list[str]]:
    """The report, page by page."""
    lines = report_lines(report, width, room, UNICODE)
    return [lines[at : at + room] for at in range(0, len(lines), room)]


def a_full_report() -> Report:
    """A report with something to say on every line."""
    report = a_report()
    assert report.result is not None
    finding = Finding("x", "You run into the changes: the bar before is 29 ms early.", -29.0, None, 0.01)
    again, advice = Replay(3, 5, "into the chorus, 32 ms early"), Advice("replay", "Play bars 3-5 again, 5 % slower.")
    return replace(report, result=replace(report.result, findings=(finding,), replay=(again,), advice=(advice,)))


def test_the_first_page_has_everything_that_is_acted_on() -> None:
    """What was played, how it went, what stands out, play again, next: in this order, on one page of 80x24."""
    first = "\n".join(pages(a_full_report())[0])

    words = ["Quarters, 120 bpm, today 18:05", "On average you are", "What stands out", "29 ms early", "Play again",
             "bars 3-5", "Next", "5 % slower"]  # fmt: skip
    at = [first.find(word) for word in words]
    assert -1 not in at
    assert sorted(at) == at
    assert "folder" not in first
    assert "takes/" not in first


def test_picture_and_tables_follow_on_pages_of_their_own() -> None:
    """The chart is whole on the second page; the numbers begin the third, and where the take lies ends the last."""
    first, chart, numbers, *rest = pages(a_full_report())

    assert chart[0].strip() == "Your offsets over the bars, in ms"
    assert any("chorus" in line for line in chart)
    assert numbers[0] == "On this recording"
    assert any(line.startswith("  by beat") for line in numbers)
    assert not any("over the bars" in line for line in [*first, *numbers])
    assert (rest or [numbers])[-1][-1] == "Your take is in takes/2026-03-04"


@pytest.mark.parametrize(("width", "height"), [(60, 16), (80, 24), (120, 40), (200, 50)])
def test_no_line_is_cut(width: int, height: int) -> None:
    """Sentences are broken to the width and the chart is drawn for it, so nothing is clipped on any screen."""
    room = height - 4
    lines = report_lines(a_full_report(), width, room, UNICODE)
    shown = [
        line
        for first in range(0, len(lines), room)
        for line in plain(draw_report(lines, first, Look(width, height), REPORT_KEYS, 2))[2:-2]
    ]

    tables = [line for line in lines if line.startswith(("  by ", "  beat", "  section", "  verse", "  chorus"))]
    assert max(len(line) for line in lines if width >= 80 or line not in tables) <= width
    assert [line[:20].rstrip() for line in lines] == [line[:20].rstrip() for line in shown[: len(lines)]]
    if width >= 80:  # a table has 78 columns whatever the screen has
        assert [line.rstrip() for line in lines] == shown[: len(lines)]


def test_the_screen_says_which_page_it_is() -> None:
    """From the line at the top; a single page needs no number."""
    lines = [str(number) for number in range(45)]

    assert ["page 1 of 3", "page 1 of 3", "page 2 of 3", "page 3 of 3", "page 3 of 3"] == [
        page_words(first, lines, 20) for first in (0, 19, 20, 40, 99)
    ]
    assert "" == page_words(0, lines, 45)


@pytest.mark.parametrize(
    ("ago", "words"),
    [
        (timedelta(0), "today 18:05"),
        (timedelta(days=1), "yesterday 18:05"),
        (timedelta(days=5), "27 February 18:05"),
        (timedelta(days=365), "4 March 2025 18:05"),
        (timedelta(hours=18, minutes=6), "yesterday 23:59"),
    ],
)
def test_when_it_was_played_in_words(ago: timedelta, words: str) -> None:
    """Today and yesterday by name, other days by date, other years with the year; tempi are whole numbers."""
    assert f"Two and four, 96 bpm, {words}" == played_words("Two and four", 95.96, NOW - ago, NOW)


def test_what_broke_is_said_first() -> None:
    """A take that ended early, one that could not be kept, one in which nothing was played."""
    state = replace(a_drill_state(1_000_000), phase=Phase.DONE)
    broken = DrillOutcome(None, None, "the engine stopped", "the disk is full", state)

    lines = pages(report_of(broken, "Quarters, 120 bpm, today 18:05"))[0]

    assert [
        "  heeltap could not keep the whole take: the disk is full",
        "",
        "  The take ended early: the engine stopped.",
    ] == lines[2:5]
    assert "  You played nothing, so heeltap kept no take." in lines


def test_an_unknown_delay_is_said_with_the_way_out() -> None:
    """The score is for tightness then, and the sentence says how early and late can be had."""
    report = a_report()
    assert report.result is not None
    unknown = replace(report.result, calibration=replace(report.result.calibration, known=False, method="none"))

    first = " ".join(" ".join(pages(replace(report, result=unknown))[0]).split())

    assert "for tightness alone" in first
    assert "press u" in first


def test_plain_terminals_get_plain_characters() -> None:
    """The whole report is ASCII where the terminal has nothing else."""
    lines = report_lines(a_full_report(), 80, 20, ASCII)

    assert [] == [line for line in lines if not line.replace("·", ".").isascii()]


def test_too_small_says_so() -> None:
    """Exactly as many lines as there are."""
    lines = plain(draw_report(["a"] * 50, 0, Look(50, 12), REPORT_KEYS, 2))

    assert ["50 x 12 is too small;", "60 x 16 is needed."] == lines[:2]
    assert 12 == len(lines)
