"""The bar sheet as text: what every face of a drill shows, on a screen or as plain lines.

A bar is like a marked-up part: what you count, a line for each hand or drum, and under each stroke the signed
milliseconds once you have played it and may see them. Columns are proportional to time, so bars stand under each other
beat by beat. Colours mean nothing: each piece of text has a role, and a face may style the roles or leave them plain.

Inside: `Span`, `Line`, `Glyphs`, `UNICODE`, `ASCII`, `glyphs_for`, `least_width`, `bar_block`, `block_height`,
`stroke_text`, `plain`, `gutter_of`, `bar_label`, `signed`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from heeltap.session.matcher import Status
from heeltap.session.plan_columns import BarColumns, PlanColumns, Slot
from heeltap.session.session import State
from heeltap.views.plan_rows import ONE_ROW, PlanRows

__all__ = [
    "ASCII",
    "UNICODE",
    "Glyphs",
    "Line",
    "Span",
    "bar_block",
    "bar_label",
    "block_height",
    "glyphs_for",
    "gutter_of",
    "least_width",
    "plain",
    "signed",
    "stroke_text",
]

GUTTER = 16
"""Columns of the labels on the left, where their length is left open."""

_LEAST_GUTTER, _MOST_GUTTER = 12, 24

_LEFT_OUT, _LEFT_OUT_SHORT = "left out", "x"
"""A stroke that was not played, and the same where there is no room for words."""


class Span(NamedTuple):
    """A piece of a line."""

    text: str
    role: str = ""
    """``head``, ``dim``, ``now`` (the bar or beat being played), ``out`` (outside the pocket), ``key``, or empty."""


Line = list[Span]


@dataclass(frozen=True, slots=True)
class Glyphs:
    """The characters that are drawn."""

    dot: str
    """Separates parts of a line."""
    heard: str
    """A stroke that was heard and is not shown yet."""
    stroke: str
    accent: str
    empty: str
    """Nothing, where something could stand."""
    plus_minus: str
    rule: str
    """A line across."""


UNICODE = Glyphs("·", "•", "o", "#", "·", "±", "─")
ASCII = Glyphs("-", "*", "o", "#", ".", "+-", "-")


def glyphs_for(encoding: str | None) -> Glyphs:
    """The characters that an output of this encoding can show."""
    try:
        "".join(getattr(UNICODE, name) for name in UNICODE.__slots__).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return UNICODE


def plain(lines: Iterable[Sequence[Span]]) -> list[str]:
    """The lines without their roles and without spaces at the end."""
    return ["".join(span.text for span in line).rstrip() for line in lines]


def least_width(columns: PlanColumns) -> int:
    """Columns that a bar of this plan needs without its labels: four for each of its closest strokes, 28 at least."""
    most = 1.0
    for bar in columns.bars:
        length = max(bar.end_us - bar.start_us, 1)
        at = [columns.targets[index].at_us for index in bar.targets] + [bar.end_us]
        closest = min((b - a for a, b in pairwise(at) if b > a), default=length)
        most = max(most, length / closest)
    return max(28, min(round(4 * most), 96))


def gutter_of(columns: PlanColumns, glyphs: Glyphs, most: int = _MOST_GUTTER, rows: PlanRows = ONE_ROW) -> int:
    """Columns that the labels of a plan and its rows need, at most ``most`` and at least 12."""
    longest = max(len(label) for label in (*(bar_label(bar, glyphs) for bar in columns.bars), *rows.names)) + 3
    return max(_LEAST_GUTTER, min(longest, most, _MOST_GUTTER))


def bar_label(bar: BarColumns, glyphs: Glyphs) -> str:
    """Number and section, such as "bar 5 · verse"."""
    return f"bar {bar.name}" + (f" {glyphs.dot} {bar.section}" if bar.section else "")


def bar_block(
    state: State,
    bars: Sequence[BarColumns],
    width: int,
    glyphs: Glyphs,
    *,
    gutter: int = GUTTER,
    rows: PlanRows = ONE_ROW,
) -> list[Line]:
    """The lines of bars that stand beside each other: counting, a line for each hand or drum, a fill, what was played.

    Parameters
    ----------
    state : State
    bars : sequence of BarColumns
        Neighbours; more than one where the terminal is wide.
    width : int
        Columns of one bar, at least `least_width`.
    glyphs : Glyphs
    gutter : int
        Columns of the labels before each bar.
    rows : PlanRows
        What each hand or drum plays, as `heeltap.views.plan_rows.plan_rows_of` finds it.

    Returns
    -------
    list of Line
        As many as `block_height` says.
    """
    all_strokes = [index for bar in bars for index in bar.targets]
    struck, names = rows.of_bars(all_strokes), rows.names if all_strokes else ("plan",)
    counted: Line = []
    planned: list[Line] = [[] for _ in struck]
    fill: Line = []
    played: Line = []
    for bar in bars:
        now = bar.start_us <= state.now_us < bar.end_us and state.now_us >= state.begin_us
        role = "now" if now else "head" if bar.starts_section else ""
        counted.append(Span(_label(("> " if now else "  ") + bar_label(bar, glyphs), gutter), role))
        played.append(Span(_label(_played_label(state, bar), gutter), "dim"))
        quarters = _quarters(bar, width)
        counted += _row([(at, Span(slot.text, "head" if now else "")) for at, slot in quarters], width)
        strokes = [(at, slot.target) for at, slot in quarters if slot.target >= 0]
        for line, row in zip(planned, struck, strict=True):
            line.append(Span(_label(f"  {names[row] or 'plan'}", gutter), "dim"))
            line += _planned(state, strokes, rows, row, width, glyphs, rest=not strokes and row == struck[0])
        fill += _fill(rows.fill_from.get(bar.number), bar, width, gutter)
        shown = state.shows(bar)
        cells = [(at, stroke_text(state, index, glyphs, shown=shown)) for at, index in strokes]
        played += _row(cells, width)
    fills = [fill] if any(bar.number in rows.fill_from for bar in bars) else []
    return [counted, *planned, *fills, played]


def block_height(bars: Sequence[BarColumns], rows: PlanRows) -> int:
    """How many lines `bar_block` draws for these bars."""
    strokes = [index for bar in bars for index in bar.targets]
    return 2 + len(rows.of_bars(strokes)) + any(bar.number in rows.fill_from for bar in bars)


def _planned(
    state: State,
    strokes: Sequence[tuple[int, int]],
    rows: PlanRows,
    row: int,
    width: int,
    glyphs: Glyphs,
    *,
    rest: bool,
) -> Line:
    """The strokes of one row of a bar, each at its column; ``rest`` says that nothing at all is played in the bar."""
    targets = state.columns.targets
    marks = [(at, rows.mark(index, row) if rows.struck else targets[index].accent) for at, index in strokes]
    cells = [(at, Span(glyphs.accent if accent else glyphs.stroke)) for at, accent in marks if accent is not None]
    return _row([(0, Span("rest", "dim"))] if rest else cells, width)


def _fill(from_quarter: float | None, bar: BarColumns, width: int, gutter: int) -> Line:
    """The line below a fill: it runs from where the fill begins to the end of the bar; blank for a bar without."""
    if from_quarter is None:
        return [Span(" " * (gutter + width))]
    start = int(from_quarter / _bar_quarters(bar) * width + 1e-6)
    line = "~" * max(1, width - start - 1)
    return [Span(_label("  fill", gutter), "dim"), Span(" " * start), Span(line.ljust(width - start), "dim")]


def stroke_text(state: State, index: int, glyphs: Glyphs, *, shown: bool) -> Span:
    """What stands under one stroke: signed milliseconds, ``left out``, ``?``, or a mark that it was heard."""
    target, stroke = state.columns.targets[index], state.strokes[index]
    if stroke.status is Status.WAITING:
        return Span("")
    if not shown:
        return Span(glyphs.heard if stroke.notes else "", "dim")
    if stroke.status is Status.MISSED:
        return Span(_LEFT_OUT, "out")
    if stroke.status is Status.NO_INPUT or stroke.offset_us is None:
        return Span("?", "dim")
    inside = abs(stroke.offset_us - state.columns.lean_us) <= target.pocket_us
    key = "k" if stroke.status is Status.OTHER_KEY else ""
    return Span(signed(stroke.offset_us) + key, "" if inside and not key else "out")


def signed(offset_us: float) -> str:
    """Whole milliseconds with their sign; "0" on the spot."""
    whole = round(offset_us / 1000)
    return f"{whole:+d}" if whole else "0"


def _label(text: str, gutter: int) -> str:
    """A label in the gutter, clipped."""
    return (text if len(text) < gutter else text[: gutter - 2] + "~").ljust(gutter)


def _played_label(state: State, bar: BarColumns) -> str:
    extras = sum(extra.bar == bar.number for extra in state.extras) if state.shows(bar) else 0
    return f"  {extras} extra" if extras else "  played"


def _quarters(bar: BarColumns, width: int) -> list[tuple[int, Slot]]:
    """The column of each slot of a bar: proportional to its place in time."""
    length = _bar_quarters(bar)
    return [(int(slot.quarter / length * width + 1e-6), slot) for slot in bar.slots]


def _bar_quarters(bar: BarColumns) -> float:
    """Length of the bar in quarter notes, from its slots where it has any beside the first."""
    last = max((slot.quarter for slot in bar.slots), default=0.0)
    counted = [slot.quarter for slot in bar.slots if slot.text.isdigit()]
    step = min((b - a for a, b in pairwise(counted)), default=1.0)
    return max(counted[-1] + step if counted else 1.0, last + 1e-3)


def _row(cells: Sequence[tuple[int, Span]], width: int) -> Line:
    """Spans at their columns, each fitted into the room up to the next."""
    line: Line = []
    at = 0
    ends = [*(column for column, _ in cells), width][1:]
    for (column, span), following in zip(cells, ends, strict=True):
        if not span.text:
            continue
        start = max(column, at)
        if start > at:
            line.append(Span(" " * (start - at)))
        text = _fitted(span.text, following - start)
        line.append(span._replace(text=text))
        at = start + len(text)
    line.append(Span(" " * max(0, width - at)))
    return line


def _fitted(text: str, room: int) -> str:
    """The text where it fits; `_LEFT_OUT_SHORT` for ``left out``; ``~`` rather than a number cut to another one."""
    if text == _LEFT_OUT and room <= len(text):
        return _LEFT_OUT_SHORT
    return text if len(text) <= max(1, room) else "~"
