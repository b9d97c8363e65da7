"""The offsets of a take over its bars, as text: where it ran, where it came back, with the sections named below.

Inside: `offset_chart`.
"""

from collections.abc import Sequence
from statistics import median

from heeltap.model.result import NoteRow, Result, SectionRow
from heeltap.views.bar_sheet import Glyphs

__all__ = ["offset_chart"]

_ROWS = 4
"""Rows on either side of the middle one."""

_STEPS_MS = (5, 10, 15, 20, 30, 50, 75)
"""Milliseconds between two rows; the least that holds the middle of every column."""

_AXIS = 8
"""Columns of the numbers on the left."""

_MOST_WIDE = 6
"""Columns of one bar at most."""


def offset_chart(result: Result, width: int, glyphs: Glyphs) -> list[str]:
    """A chart of ``width`` columns; empty for fewer than two bars or three strokes, which a table tells better.

    The middle row is the lean. Each column is a bar (or several, where they do not fit): ``o`` is the median of its
    strokes, the small dots are the strokes themselves; what lies outside stands in the outermost row. Rows in the pocket
    have a colon on the axis.
    """
    played = [note for note in result.notes if note.offset_ms is not None and note.bar is not None]
    last = max((note.bar or 1 for note in played), default=0)
    if last < 2 or len(played) < 3 or width < _AXIS + 20:
        return []
    room = width - _AXIS - 1
    per_column = -(-last // room)
    columns = -(-last // per_column)
    wide = max(1, min(_MOST_WIDE, room // columns))
    groups = _groups(played, per_column, columns, result.lean_ms)
    middles = [median(group) for group in groups if group]
    step = next((one for one in _STEPS_MS if max(map(abs, middles)) <= _ROWS * one), _STEPS_MS[-1])
    held = _held([result.lean_ms + row * step for row in range(-_ROWS, _ROWS + 1)], result)
    lines = [_title(per_column, glyphs)]
    for row in range(_ROWS, -_ROWS - 1, -1):
        value = result.lean_ms + row * step
        cells = "".join(
            _cell(group, row, step, glyphs).ljust(wide, glyphs.rule if row == 0 else " ") for group in groups
        )
        label = "0" if round(value) == 0 else f"{value:+.0f}"
        axis = "+" if row == 0 else ":" if held[row + _ROWS] else "|"
        lines.append(f"{label:>{_AXIS - 2}} {axis}{cells}".rstrip())
    return [*lines, *_below(result.by_section, last, per_column, wide)]


def _title(per_column: int, glyphs: Glyphs) -> str:
    many = "" if per_column == 1 else f", {per_column} bars a column"
    return f"  offsets over the bars, ms{many} (o middle, {glyphs.empty} strokes, line: lean, colon: pocket)"


def _held(at_ms: Sequence[float], result: Result) -> list[bool]:
    """Which offsets lie in the pocket of a beat."""
    half_ms = result.overall.pocket_ms or 0.0
    return [abs(one - result.overall.centre_ms) <= half_ms for one in at_ms]


def _groups(played: Sequence[NoteRow], per_column: int, columns: int, lean_ms: float) -> list[list[float]]:
    """Offsets beside the lean of each column."""
    groups: list[list[float]] = [[] for _ in range(columns)]
    for note in played:
        groups[((note.bar or 1) - 1) // per_column].append((note.offset_ms or 0.0) - lean_ms)
    return groups


def _cell(group: Sequence[float], row: int, step: int, glyphs: Glyphs) -> str:
    """What stands in one row of a column."""
    if not group:
        return ""
    if _row_of(median(group), step) == row:
        return "o"
    return glyphs.empty if any(_row_of(offset, step) == row for offset in group) else ""


def _row_of(offset_ms: float, step: int) -> int:
    return max(-_ROWS, min(_ROWS, round(offset_ms / step)))


def _below(sections: Sequence[SectionRow], last: int, per_column: int, wide: int) -> list[str]:
    """Bar numbers, and the names of the sections where they begin."""
    starts = {row.first_bar: row.name for row in sections if row.first_bar <= last} or {1: ""}
    numbers, names = "", ""
    for at, (bar, name) in enumerate(sorted(starts.items())):
        column = (bar - 1) // per_column * wide
        following = sorted(starts)[at + 1] if at + 1 < len(starts) else None
        end = None if following is None else (following - 1) // per_column * wide - 1
        if column < len(numbers):
            continue
        numbers = numbers.ljust(column) + str(bar)
        names = names.ljust(column) + name[: None if end is None else max(0, end - column)]
    left = " " * _AXIS
    return [f"{left}{numbers}".rstrip(), *([f"{left}{names}".rstrip()] if names.strip() else [])]
