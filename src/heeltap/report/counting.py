"""Counted bars as plain text: the counting line, below it one line of marks a voice.

``o`` is a stroke, ``#`` an accented one, ``~`` runs below a fill. Inside: `counted_lines`, `bar_words`.
"""

from collections.abc import Iterable
from itertools import pairwise

from heeltap.core.counted import CountedBar
from heeltap.report import words

__all__ = ["bar_words", "counted_lines"]

_LABEL = 12
"""Columns in front of a line for bar numbers and voices."""

_WIDTH = 64
"""Columns for a bar."""


def bar_words(bar: CountedBar) -> str:
    """Which bars it stands for: "bar 7", "bars 3-5, 9"; many are cut short."""
    text = words.bars(bar.bars)
    if len(text) > 24:
        text = text[:24].rpartition(",")[0] + f" ... ({len(bar.bars)})"
    return text


def counted_lines(bar: CountedBar) -> list[str]:
    """The lines of one bar; the bars that it stands for are told on a line of their own where they are many."""
    per_quarter = _columns_per_quarter(bar)
    label = bar_words(bar)
    first = [] if len(label) < _LABEL - 1 else [label]
    lines = [*first, _line("" if first else label, ((s.at_quarter, s.text) for s in bar.syllables), per_quarter)]
    for voice in bar.voices:
        marks = ("#" if accent else "o" for accent in voice.accent)
        lines.append(_line(voice.name[: _LABEL - 1], zip(voice.at_quarter, marks, strict=True), per_quarter))
    if not bar.voices:
        lines.append("rest")
    if bar.fill_from_quarter is not None:
        start, end = (round(at * per_quarter) for at in (bar.fill_from_quarter, bar.length_quarters))
        lines.append(f"{'fill':<{_LABEL}}{' ' * start}{'~' * max(1, end - start - 1)}")
    return [line.rstrip() for line in lines]


def _columns_per_quarter(bar: CountedBar) -> float:
    """Columns a quarter: every syllable has one and a space behind it where the width allows."""
    places = [s.at_quarter for s in bar.syllables]
    closest = min((b - a for a, b in pairwise(places)), default=bar.unit_quarters)
    return max(min(3 / closest, 12 / bar.unit_quarters, _WIDTH / bar.length_quarters), 2 / bar.unit_quarters)


def _line(label: str, marks: Iterable[tuple[float, str]], per_quarter: float) -> str:
    """Marks in their columns behind a label."""
    text = ""
    for at_quarter, mark in marks:
        text = text.ljust(round(at_quarter * per_quarter)) + mark
    return f"{label:<{_LABEL}}{text}"
