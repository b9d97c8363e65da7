"""What a player reads after a take, in pages and in the order of use.

The first page says what was played, how it went in a sentence, what stands out, what to play again and what comes next;
the second is the picture of the take; then come the sentences and tables with every number, and how far to trust them.

Inside: `Report`, `played_words`, `report_lines`, `draw_report`, `report_room`, `page_words`.
"""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from heeltap.model.result import Result
from heeltap.tui.keys import Key, bottom_lines
from heeltap.tui.page import LEAST_COLUMNS, LEAST_LINES, Look, clean, clip, too_small
from heeltap.tui.screens.offset_chart import offset_chart
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.views.document import NEXT, PLAY_AGAIN, STANDS_OUT, UNKNOWN_DELAY, Listing, average_of, document_of
from heeltap.views.text import WIDTH, table_text
from heeltap.wording import ms

__all__ = ["Report", "draw_report", "page_words", "played_words", "report_lines", "report_room"]

_TITLE = "  Report"

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """Everything that is said of one take."""

    played: str
    """What was played and when, as `played_words` says it."""
    result: Result | None
    """None where nothing could be judged."""
    first: tuple[str, ...] = ()
    """What the player must read before everything else: what broke, what they guessed."""
    last: tuple[str, ...] = ()
    """What stands at the very end: where the take is."""
    counts: str = ""
    """Whether the take counts for the set in which the exercise is; empty where it is in none."""


def played_words(title: str, tempo_bpm: float, when: datetime, now: datetime) -> str:
    """What was played and when: "Two and four, 96 bpm, today 18:05"."""
    days = (now.date() - when.date()).days
    date = f"{when.day} {_MONTHS[when.month - 1]}" + ("" if when.year == now.year else f" {when.year}")
    day = {0: "today", 1: "yesterday"}.get(days, date)
    return f"{title}, {tempo_bpm:.0f} bpm, {day} {when:%H:%M}"


def report_lines(report: Report, width: int, room: int, glyphs: Glyphs) -> list[str]:
    """The report as lines: each of its three parts begins a new page.

    Parameters
    ----------
    report : Report
    width : int
        Columns of the screen.
    room : int
        Lines of a page; every part but the last is filled up with empty lines to whole pages.
    glyphs : Glyphs

    Returns
    -------
    list of str
    """
    parts = [_first_page(report, width)]
    if report.result is not None:
        parts += [offset_chart(report.result, width, room, glyphs), _numbers(report.result, width)]
    parts[-1] += [""] * bool(report.last) + [row for text in report.last for row in _wrapped(text, width)]
    parts = [part for part in parts if part]
    padded = [line for part in parts[:-1] for line in [*part, *[""] * (-len(part) % room)]]
    return [*padded, *parts[-1]]


def _first_page(report: Report, width: int) -> list[str]:
    """What was played, how it went, what stands out, what to play again, what comes next."""
    lines = _wrapped(report.played, width, indent="  ")
    for text in report.first:
        lines += ["", *_wrapped(text, width, indent="  ")]
    if report.result is None:
        return lines
    lines += _wrapped(_in_a_sentence(report.result), width, indent="  ")
    lines += _wrapped(report.counts, width, indent="  ")
    known = {listing.title: listing for half in document_of(report.result).halves for listing in half.lists}
    for title in (STANDS_OUT, PLAY_AGAIN, NEXT):
        if title in known:
            # A key plays the bars, so what a shell would take is left out.
            entries = tuple(text.partition("\n")[0] for text in known[title].entries)
            lines += ["", *_listed(Listing(title, entries), width)]
    return lines


def _in_a_sentence(result: Result) -> str:
    """How the take went."""
    o = result.overall
    if o.n == 0 or o.bias_ms is None or o.spread_ms is None or not result.on_grid:
        return document_of(result).take.sentences[0]
    text = f"{average_of(o.bias_ms, result.calibration)}; your strokes spread by {ms(o.spread_ms)}"
    if o.in_pocket is not None:
        text += f" and {100 * o.in_pocket:.0f} % of them are in the pocket"
    if o.score is None:
        return f"{text}."
    return f"{text}. Score {o.score} of 100." if result.calibration.known else f"{text}. {_tightness(o.score)}"


def _tightness(score: int) -> str:
    return f"Score {score} of 100, for tightness alone. {UNKNOWN_DELAY}"


def _numbers(result: Result, width: int) -> list[str]:
    """Every number, how sure it is, and how far to trust it."""
    document = document_of(result)
    lines: list[str] = []
    for half in document.halves:
        lines += [half.title, *(row for text in half.sentences for row in _wrapped(text, width, indent="  "))]
        for table in half.tables:
            lines += ["", *table_text(table).split("\n")]
        lines.append("")
    return [*lines, *_listed(document.trust, width)]


def _listed(listing: Listing, width: int) -> list[str]:
    """A title and its entries, each with a dash before it."""
    entries = [row for text in listing.entries for row in _wrapped(text, width, indent="    ", first="  - ")]
    return [listing.title, *entries]


def _wrapped(text: str, width: int, *, indent: str = "", first: str | None = None) -> list[str]:
    """A paragraph in lines of at most ``width`` columns, and not wider than is good to read."""
    start = indent if first is None else first
    return textwrap.wrap(
        clean(text),
        max(20, min(width - 1, WIDTH)),
        initial_indent=start,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


def draw_report(
    lines: Sequence[str], first: int, look: Look, keys: Sequence[Key], key_lines: int, *, message: str = ""
) -> list[Line]:
    """The report from line ``first`` on, exactly ``look.height`` lines.

    Parameters
    ----------
    lines : sequence of str
        From `report_lines`, for this width and `report_room`.
    first : int
        The line at the top.
    look : Look
    keys : sequence of Key
        For the bottom lines.
    key_lines : int
        How many bottom lines there are.
    message : str
        Shown above the report.
    """
    if look.width < LEAST_COLUMNS or look.height < LEAST_LINES:
        return too_small(look.width, look.height)
    room = report_room(look, key_lines)
    body: list[Line] = [[Span(clip(line, look.width))] for line in lines[first : first + room]]
    body += [[] for _ in range(room - len(body))]
    where = page_words(first, lines, room)
    gap = " " * (look.width - len(_TITLE) - len(where) - 2)
    told = [Span(clip("  " + clean(message), look.width), "out")] if message else []
    head: Line = [Span(_TITLE, "head"), Span(gap), Span(where, "dim")]
    return [head, told, *body, *bottom_lines(keys, look.width, key_lines)]


def report_room(look: Look, key_lines: int) -> int:
    """Lines of a page of the report."""
    return max(1, look.height - 2 - key_lines)


def page_words(first: int, lines: Sequence[str], room: int) -> str:
    """Which page of the report is shown: "page 1 of 3"; empty where there is only one."""
    pages = -(-len(lines) // room)
    return f"page {min(first // room, pages - 1) + 1} of {pages}" if pages > 1 else ""
