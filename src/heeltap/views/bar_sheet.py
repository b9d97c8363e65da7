"""The bar sheet as text: what every face of a drill shows, on a screen or as plain lines.

A bar is three lines, like a marked-up part: what is counted, what is planned, and under each stroke the signed
milliseconds once it has been played and may be shown. Columns are proportional to time, so bars stand under each other
beat by beat. Nothing is said by colour: each piece of text carries a role, and a face may style the roles or leave them
plain.

Inside: `Span`, `Line`, `Glyphs`, `UNICODE`, `ASCII`, `glyphs_for`, `least_width`, `bar_block`, `stroke_text`,
`lean_scale`, `plain`, `gutter_of`, `bar_label`, `signed`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from heeltap.session.matcher import Status, Stroke
from heeltap.session.plan_columns import BarColumns, PlanColumns, Slot, Target
from heeltap.session.session import State

__all__ = [
    "ASCII",
    "UNICODE",
    "Glyphs",
    "Line",
    "Span",
    "bar_block",
    "bar_label",
    "glyphs_for",
    "gutter_of",
    "lean_scale",
    "least_width",
    "plain",
    "signed",
    "stroke_text",
]

GUTTER = 16
"""Columns of the labels on the left, where their length is left open."""

_LEAST_GUTTER, _MOST_GUTTER = 12, 24

SCALE_CELLS = 31
"""Columns of the lean scale, odd, so that the lean is in the middle."""

SCALE_CELL_US = 5_000
"""One column of the lean scale; the last ones take in all that is further away."""


_MISS = "miss"


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
    edge: str
    """Edge of the pocket on the lean scale."""
    empty: str
    """A place on the lean scale without a stroke."""
    levels: str
    """Places with strokes, from few to many."""
    plus_minus: str
    rule: str
    """A line across."""


UNICODE = Glyphs("·", "•", "o", "#", "|", "·", "▁▂▃▄▅▆▇█", "±", "─")
ASCII = Glyphs("-", "*", "o", "#", "|", ".", "12345678", "+-", "-")


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


def gutter_of(columns: PlanColumns, glyphs: Glyphs, most: int = _MOST_GUTTER) -> int:
    """Columns that the labels of a plan need, at most ``most`` and at least 12."""
    longest = max(len(bar_label(bar, glyphs)) for bar in columns.bars) + 3
    return max(_LEAST_GUTTER, min(longest, most, _MOST_GUTTER))


def bar_label(bar: BarColumns, glyphs: Glyphs) -> str:
    """Number and section, such as "bar 5 · verse"."""
    return f"bar {bar.number}" + (f" {glyphs.dot} {bar.section}" if bar.section else "")


def bar_block(
    state: State, bars: Sequence[BarColumns], width: int, glyphs: Glyphs, *, gutter: int = GUTTER
) -> list[Line]:
    """Three lines for the bars of one row, each ``width`` columns wide behind its labels.

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
    """
    counted: Line = []
    planned: Line = []
    played: Line = []
    for bar in bars:
        now = bar.start_us <= state.now_us < bar.end_us
        role = "now" if now else "head" if bar.starts_section else ""
        counted.append(Span(_label(("> " if now else "  ") + bar_label(bar, glyphs), gutter), role))
        planned.append(Span(_label("  plan", gutter), "dim"))
        played.append(Span(_label(_played_label(state, bar), gutter), "dim"))
        quarters = _quarters(bar, width)
        counted += _row([(at, Span(slot.text, "head" if now else "")) for at, slot in quarters], width)
        strokes = [(at, slot.target) for at, slot in quarters if slot.target >= 0]
        targets = state.columns.targets
        notes = [(at, _plan_mark(targets[index], glyphs)) for at, index in strokes]
        planned += _row(notes or [(0, Span("rest", "dim"))], width)
        shown = state.shows(bar)
        played += _row(
            [(at, stroke_text(targets[i], state.strokes[i], state, glyphs, shown=shown)) for at, i in strokes], width
        )
    return [counted, planned, played]


def stroke_text(target: Target, stroke: Stroke, state: State, glyphs: Glyphs, *, shown: bool) -> Span:
    """What stands under one stroke: signed milliseconds, ``miss``, ``?``, or a mark that it was heard."""
    if stroke.status is Status.WAITING:
        return Span("")
    if not shown:
        return Span(glyphs.heard if stroke.notes else "", "dim")
    if stroke.status is Status.MISSED:
        return Span(_MISS, "out")
    if stroke.status is Status.NO_INPUT or stroke.offset_us is None:
        return Span("?", "dim")
    inside = abs(stroke.offset_us - state.columns.lean_us) <= target.pocket_us
    key = "k" if stroke.status is Status.OTHER_KEY else ""
    return Span(signed(stroke.offset_us) + key, "" if inside and not key else "out")


def signed(offset_us: float) -> str:
    """Whole milliseconds with their sign; "0" on the spot."""
    whole = round(offset_us / 1000)
    return f"{whole:+d}" if whole else "0"


def lean_scale(state: State, glyphs: Glyphs) -> Line:
    """Where the last strokes sit beside the lean, one column every 5 ms, the pocket's edges marked.

    Only strokes whose numbers may be shown now are on it.
    """
    targets, columns = state.columns.targets, state.columns
    shown = [(i, off) for i, off in state.recent if state.shows(columns.bars[targets[i].bar - 1])]
    middle = SCALE_CELLS // 2
    counts = [0] * SCALE_CELLS
    for _, offset in shown:
        counts[max(0, min(SCALE_CELLS - 1, middle + round(offset / SCALE_CELL_US)))] += 1
    cells = [glyphs.empty if not n else glyphs.levels[min(n, len(glyphs.levels)) - 1] for n in counts]
    pocket = targets[shown[-1][0] if shown else 0].pocket_us if targets else 0
    reach = round(pocket / SCALE_CELL_US + 0.5)
    if reach < middle:
        cells.insert(middle + reach + 1, glyphs.edge)
        cells.insert(middle - reach, glyphs.edge)
    return [
        Span(f"  lean {signed(columns.lean_us):<5} early "),
        Span("".join(cells)),
        Span(" late   "),
        Span(_last(shown, columns, glyphs), "dim"),
    ]


def _last(shown: Sequence[tuple[int, int]], columns: PlanColumns, glyphs: Glyphs) -> str:
    """The last strokes in numbers: mean offset and standard deviation, in milliseconds."""
    if not shown:
        return ""
    offsets = [(offset + columns.lean_us) / 1000 for _, offset in shown]
    mean = sum(offsets) / len(offsets)
    if len(offsets) < 3:
        return f"last {len(offsets)}: {signed(mean * 1000)} ms"
    spread = (sum((offset - mean) ** 2 for offset in offsets) / (len(offsets) - 1)) ** 0.5
    return f"last {len(offsets)}: {signed(mean * 1000)} ms {glyphs.plus_minus} {spread:.0f}"


def _label(text: str, gutter: int) -> str:
    """A label in the gutter, clipped."""
    return (text if len(text) < gutter else text[: gutter - 2] + "~").ljust(gutter)


def _played_label(state: State, bar: BarColumns) -> str:
    extras = sum(extra.bar == bar.number for extra in state.extras) if state.shows(bar) else 0
    return f"  played +{extras}" if extras else "  played"


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


def _plan_mark(target: Target, glyphs: Glyphs) -> Span:
    return Span(glyphs.accent if target.accent else glyphs.stroke)


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
    """The text where it fits; ``mis`` for ``miss`` in a narrow column; ``~`` rather than a number cut to another one."""
    if text == _MISS and room <= len(text):
        text = text[:3]
    return text if len(text) <= max(1, room) else "~"
