"""The offsets of a take over its bars, as text: where it ran, where it came back, with the sections named below.

Inside: `offset_chart`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from heeltap.model.result import NoteRow, Result, SectionRow
from heeltap.tui.page import clip
from heeltap.views.bar_sheet import Glyphs

__all__ = ["offset_chart"]

_STEPS_MS = (2, 5, 10, 15, 20, 30, 50, 75)
"""Milliseconds between two rows; the chart takes the least that holds the middle of every bar."""

_AXIS = 12
"""Columns of the numbers on the left: "  late +20 |"."""

_LEAST_WIDTH = _AXIS + 20

_LEAST_ROWS, _MOST_ROWS = 2, 8
"""Rows on either side of the middle one."""

_NAME_LINES = 3
"""Lines for names of sections: neighbours whose names are longer than the section stand one below the other."""

_AROUND = 3 + _NAME_LINES
"""Lines that are not rows: two above, the bar numbers and the names below."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """How the take is laid out."""

    lean_ms: float
    bars: int
    columns: int
    """For the bars, the axis not counted."""
    beats: int
    """Beats of the longest bar."""
    rows: int
    """On either side of the middle one."""
    step_ms: int

    def column(self, bar: int, beat: float) -> int:
        """Where a beat of a bar stands, both from 1."""
        at = (bar - 1 + (beat - 1) / self.beats) * self.columns / self.bars
        return max(0, min(self.columns - 1, int(at + 1e-6)))

    def row(self, offset_ms: float) -> int:
        """The row of an offset, 0 for the lean; what lies outside stands in the outermost row."""
        return max(-self.rows, min(self.rows, round((offset_ms - self.lean_ms) / self.step_ms)))


def offset_chart(result: Result, width: int, height: int, glyphs: Glyphs) -> list[str]:
    """A chart of the whole ``width`` and at most ``height`` lines, early below and late above.

    Every stroke is a small dot where it lies in the take, ``o`` in the middle of a bar is the median of the bar, and the
    middle row is the lean. Rows in the pocket of a beat have a colon on the axis.

    Returns
    -------
    list of str
        Empty for fewer than two bars or three strokes, which a table tells better, and where there is no room.
    """
    played = [note for note in result.notes if note.offset_ms is not None and note.bar is not None]
    bars = max((note.bar or 1 for note in played), default=0)
    rows = min((height - _AROUND - 1) // 2, _MOST_ROWS)
    if bars < 2 or len(played) < 3 or width < _LEAST_WIDTH or rows < _LEAST_ROWS:
        return []
    middles = _middles(played)
    furthest = max(abs(middle - result.lean_ms) for middle in middles.values())
    step = next((one for one in _STEPS_MS if furthest <= rows * one), _STEPS_MS[-1])
    beats = max(int(note.beat or 1) for note in played)
    frame = _Frame(result.lean_ms, bars, width - _AXIS - 1, beats, rows, step)
    return [*_title(glyphs), *_drawn(frame, played, middles, result, glyphs), *_below(frame, result.by_section)]


def _middles(played: Sequence[NoteRow]) -> dict[int, float]:
    """The median offset of each bar that has strokes, ms."""
    by_bar: dict[int, list[float]] = {}
    for note in played:
        by_bar.setdefault(note.bar or 1, []).append(note.offset_ms or 0.0)
    return {bar: median(offsets) for bar, offsets in by_bar.items()}


def _title(glyphs: Glyphs) -> list[str]:
    return [
        "  Your offsets over the bars, in ms",
        f"  o middle of a bar  {glyphs.empty} stroke  {glyphs.rule * 2} your aim  : in the pocket",
    ]


def _drawn(
    frame: _Frame, played: Sequence[NoteRow], middles: dict[int, float], result: Result, glyphs: Glyphs
) -> list[str]:
    """The rows from the latest to the earliest, each with its number."""
    cells = {row: [glyphs.rule if row == 0 else " "] * frame.columns for row in range(-frame.rows, frame.rows + 1)}
    for note in played:
        cells[frame.row(note.offset_ms or 0.0)][frame.column(note.bar or 1, note.beat or 1.0)] = glyphs.empty
    for bar, middle in middles.items():
        cells[frame.row(middle)][frame.column(bar, 1 + frame.beats / 2)] = "o"
    half_ms, centre_ms = result.overall.pocket_ms or 0.0, result.overall.centre_ms
    lines = []
    for row in sorted(cells, reverse=True):
        value = frame.lean_ms + row * frame.step_ms
        side = "late" if row == frame.rows else "early" if row == -frame.rows else ""
        number = "0" if round(value) == 0 else f"{value:+.0f}"
        axis = "+" if row == 0 else ":" if abs(value - centre_ms) <= half_ms else "|"
        lines.append(f"{side:>6}{number:>{_AXIS - 7}} {axis}{''.join(cells[row])}".rstrip())
    return lines


def _below(frame: _Frame, sections: Sequence[SectionRow]) -> list[str]:
    """The numbers of the bars at which the sections begin, and below them the names, whole where there is room."""
    starts = {row.first_bar: row.name for row in sections if row.first_bar <= frame.bars} or {1: ""}
    starts.setdefault(1, "")
    numbers, names = "", [""] * _NAME_LINES
    for bar, name in sorted(starts.items()):
        column = frame.column(bar, 1.0)
        if column >= len(numbers) + bool(numbers):
            numbers = numbers.ljust(column) + str(bar)
        column = max(0, min(column, frame.columns - len(name)))  # a name at the right edge moves left, to stay whole
        free = [at for at, line in enumerate(names) if column >= len(line) + bool(line)]
        if name and free:
            names[free[0]] = names[free[0]].ljust(column) + clip(name, frame.columns - column)
    return [f"{'bar':>{_AXIS - 1}} {numbers}", *(f"{' ' * _AXIS}{line}" for line in names if line)]
