"""A practice set as one sheet to put beside the keyboard: a page that prints well, and plain text.

Inside: `Sheet`, `SheetItem`, `sheet_html`, `sheet_text`.
"""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.model.counted_bars import CountedBar
from heeltap.views.counting import bar_words, counted_lines
from heeltap.views.page import page_from
from heeltap.wording import count

__all__ = ["Sheet", "SheetItem", "sheet_html", "sheet_text"]

_WIDTH = 79
"""Columns of the plain text: a printed page in a fixed-width face holds 80."""


@dataclass(frozen=True, slots=True)
class SheetItem:
    """One exercise on the sheet; all texts are ready to be read."""

    number: int
    title: str
    aim: str
    how: str
    """Metre, click, length."""
    target: str
    """Lean and pocket."""
    done: str
    """What counts as done."""
    notes: tuple[str, ...]
    command: str
    """What to type to play it."""
    steps: tuple[str, ...]
    """Tempi in order, the easiest first."""
    takes: int
    """Boxes to tick at each tempo."""
    bars: tuple[CountedBar, ...]
    left_out: int
    """Different bars that are not shown."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A set, ready to be printed."""

    title: str
    audience: str
    notes: tuple[str, ...]
    minutes: int
    """How long it takes to play everything that is asked for once, without pauses."""
    fingerprint: str
    """The first twelve digits."""
    items: tuple[SheetItem, ...]


def sheet_html(sheet: Sheet) -> str:
    """The page, complete in itself. Every text is escaped: titles and notes are other people's."""
    return page_from("sheet.html.j2", filters={"bar_words": bar_words, "across": _across}, sheet=sheet)


def _across(at_quarter: float, bar: CountedBar) -> str:
    """Where a position lies in its bar, per cent of the width; a little is left for the last syllable's own width."""
    return f"{97 * at_quarter / bar.length_quarters:.2f}"


def sheet_text(sheet: Sheet) -> str:
    """The same in plain characters, at most 79 columns but where a bar needs more."""
    lines = [sheet.title, "=" * len(sheet.title)]
    about = [f"For {sheet.audience}."] if sheet.audience else []
    about.append(f"{count(len(sheet.items), 'exercise')}, {sheet.minutes} minutes of playing. Set {sheet.fingerprint}.")
    lines += [*_wrapped(" ".join(about)), *(row for note in sheet.notes for row in _wrapped(note))]
    for item in sheet.items:
        lines += ["", "", *_item_text(item)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False) or [""]


def _item_text(item: SheetItem) -> Sequence[str]:
    """Head, counting lines, tempo steps with boxes, and room for notes."""
    head = f"{item.number}. {item.title}"
    lines = [head, "-" * len(head)]
    for text in (item.aim, f"{item.how}. {item.target}", item.done, *item.notes):
        lines += _wrapped(text) if text else []
    lines.append("")
    section = ""
    for bar in item.bars:
        if bar.section != section:
            section = bar.section
            lines.append(f"{section}:")
        lines += counted_lines(bar)
    if item.left_out:
        lines.append(f"... and {count(item.left_out, 'more bar')} of other kinds")
    lines += ["", *(f"{step:>7}  {'[ ] ' * item.takes}" for step in item.steps)]
    return [*lines, "", f"Play it: {item.command}", "Notes: " + "_" * 60, "       " + "_" * 60]
