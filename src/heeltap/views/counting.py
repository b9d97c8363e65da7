"""Bars as you count them, in plain text: the counting line, and below it one line of marks for each voice.

``o`` is a stroke, ``#`` an accented one, ``~`` runs below a fill. Inside: `counted_lines`, `bar_words`.
"""

from collections.abc import Iterable
from itertools import pairwise
from math import ceil

from heeltap import wording as words
from heeltap.model.counted_bars import CountedBar

__all__ = ["bar_words", "counted_lines"]

_LABEL = 12
"""Columns in front of a line for bar numbers and voices."""

_WIDTH = 67
"""Columns for a bar, so that a line has 79."""


def bar_words(bar: CountedBar) -> str:
    """Which bars it stands for: "bar 7", "bars 3-5, 9"; many are cut short."""
    text = words.bars(bar.bars)
    if len(text) > 24:
        text = text[:24].rpartition(",")[0] + f" ... ({len(bar.bars)})"
    return text


def counted_lines(bar: CountedBar) -> list[str]:
    """The lines of one bar; the bars that it stands for are told on a line of their own where they are many."""
    width = _unit_width(bar)
    label = bar_words(bar)
    first = [] if len(label) < _LABEL - 1 else [label]
    lines = [*first, _line("" if first else label, ((s.at_quarter, s.text) for s in bar.syllables), bar, width)]
    for voice in bar.voices:
        marks = ("#" if accent else "o" for accent in voice.accent)
        lines.append(_line(voice.name[: _LABEL - 1], zip(voice.at_quarter, marks, strict=True), bar, width))
    if not bar.voices:
        lines.append("rest")
    if bar.fill_from_quarter is not None:
        start, end = (_column(at, bar, width) for at in (bar.fill_from_quarter, bar.length_quarters))
        lines.append(f"{'fill':<{_LABEL}}{' ' * start}{'~' * max(1, end - start - 1)}")
    return [line.rstrip() for line in lines]


def _unit_width(bar: CountedBar) -> int:
    """Columns of one counted number: three for each syllable in the finest, fewer where the bar would be too wide, but
    always a space between two syllables."""
    within = [round(s.at_quarter / bar.unit_quarters % 1.0, 3) for s in bar.syllables]
    finest = 4 if {0.25, 0.75} & set(within) else 3 if 0.333 in within else 2 if 0.5 in within else 1
    units = round(bar.length_quarters / bar.unit_quarters)
    width = min(3 * finest, max(_WIDTH // units, 2))
    while any(
        _column(b.at_quarter, bar, width) <= _column(a.at_quarter, bar, width) + len(a.text)
        for a, b in pairwise(bar.syllables)
    ):
        width += 1
    return width


def _column(at_quarter: float, bar: CountedBar, width: int) -> int:
    """Column of a place: numbers every ``width``, what lies between them in proportion, rounded up."""
    unit, within = divmod(at_quarter / bar.unit_quarters + 1e-6, 1.0)
    return int(unit) * width + ceil(within * width - 1e-3)


def _line(label: str, marks: Iterable[tuple[float, str]], bar: CountedBar, width: int) -> str:
    """Marks in their columns behind a label."""
    text = ""
    for at_quarter, mark in marks:
        text = text.ljust(_column(at_quarter, bar, width)) + mark
    return f"{label:<{_LABEL}}{text}"
