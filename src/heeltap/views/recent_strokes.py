"""The running figure under the bars: how the last strokes lay, in words and signed milliseconds.

Inside: `recent_line`.
"""

from collections.abc import Sequence
from math import sqrt

from heeltap.session.session import State
from heeltap.views.bar_sheet import Glyphs, Line, Span, signed

__all__ = ["recent_line"]

_NUMBERS = ["none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]

_SPREAD_FROM = 3
"""Strokes from which on their spread is said."""


def recent_line(state: State, glyphs: Glyphs) -> Line:
    """How the last strokes lay: "last 16: +8 ms ± 5, two of them early by more than 25".

    Mean and standard deviation are signed milliseconds, the mean as the sheet shows offsets; early and late are told
    beside the lean. Only strokes whose numbers the player may see now are counted; the line is empty while there are none.
    """
    columns = state.columns
    shown = [(index, off) for index, off in state.recent if state.shows(columns.bars[columns.targets[index].bar - 1])]
    lean = f"  lean {signed(columns.lean_us)} ms" if columns.lean_us else ""
    if not shown:
        return [Span(lean, "dim")] if lean else []
    offsets = [(offset + columns.lean_us) / 1000 for _, offset in shown]
    mean = sum(offsets) / len(offsets)
    text = f"last {len(offsets)}: {signed(mean * 1000)} ms"
    if len(offsets) >= _SPREAD_FROM:
        spread = sqrt(sum((offset - mean) ** 2 for offset in offsets) / (len(offsets) - 1))
        text += f" {glyphs.plus_minus} {spread:.0f}"
    pockets_us = [columns.targets[index].pocket_us for index, _ in shown]
    told, role = _outside([offset for _, offset in shown], pockets_us)
    return [Span(lean, "dim"), Span(f"  {text}"), Span(f", {told}", role)]


def _outside(offsets_us: Sequence[int], pockets_us: Sequence[int]) -> tuple[str, str]:
    """How many strokes lie outside their pocket, in words, and how to draw that."""
    pairs = list(zip(offsets_us, pockets_us, strict=True))
    early, late = (sum(offset * sign > pocket for offset, pocket in pairs) for sign in (-1, 1))
    widths = {round(pocket / 1000) for pocket in pockets_us}
    by = f"by more than {widths.pop()}" if len(widths) == 1 else "outside the pocket"
    if not early and not late:
        return ("all in the pocket" if len(pairs) > 1 else "in the pocket"), "dim"
    sides = [(early, "early"), (late, "late")]
    words = [f"{_number(number)} of them {side}" for number, side in sides if number]
    return f"{' and '.join(words)} {by}", ""


def _number(number: int) -> str:
    """A number as a word where there is one, so that it is not taken for milliseconds."""
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)
