"""The drill screen as lines of text: a state and a size in, lines out. No terminal: tests read what a player sees.

From top to bottom: what is played and where it stands; the beats of the bar, the present one in brackets; as many rows
of bars as fit, the present one marked; on a tall screen the beat, large; the lean scale; what the glyphs mean; the keys.

Inside: `View`, `draw_drill`, `draw_report`, `first_row`, `title_of`, `ports_of`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.app.drill.changes import Change, tempo_of
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.run import Settings
from heeltap.devices.inputs import KEYS_NAME
from heeltap.session.plan_columns import BarColumns
from heeltap.session.session import Phase, State
from heeltap.tui.keys import Key, bottom_line
from heeltap.tui.page import LEAST_COLUMNS, LEAST_LINES, clean, clip, told_lines, too_small
from heeltap.tui.screens.drill_beat import beats_line, large_beat
from heeltap.views.bar_sheet import GUTTER, Glyphs, Line, Span, bar_block, gutter_of, lean_scale, least_width
from heeltap.wording import count

__all__ = [
    "View",
    "draw_drill",
    "draw_report",
    "first_row",
    "ports_of",
    "title_of",
]

_HEAD, _FOOT = 4, 4
"""Lines above and below the bars, the blank one above the scale not counted."""

_TALL = 34
"""Lines from which on the beat is drawn large as well: as many rows of bars fit still as on a screen of 28."""


@dataclass(frozen=True, slots=True)
class View:
    """What is shown beside the state."""

    width: int
    height: int
    glyphs: Glyphs
    title: str
    """What is played, as given: it is cleaned and clipped here."""
    ports: str
    """Input, click and the like, in a line."""
    aim: str = ""
    message: str = ""
    """Something that the player must know now; takes the place of the ports, or of what the exercise is for."""
    scroll: int = 0
    """Rows of bars further down (up, where negative) than the screen would stand by itself."""
    changes: tuple[Change, ...] = ()
    """Sections, fills and landings to be announced."""
    keys: tuple[Key, ...] = ()
    """What the bottom line offers."""


def title_of(drill: Drill, glyphs: Glyphs) -> str:
    """What is played, its metre and its tempo."""
    return f"{drill.title} {glyphs.dot} {drill.plan.metre.metres[0]} {glyphs.dot} {tempo_of(drill):.4g} bpm"


def ports_of(settings: Settings) -> str:
    """What is played on, and where the click goes."""
    pads = " (space f j d k s l)" if KEYS_NAME in settings.in_ports else ""
    return f"in {' and '.join(settings.in_ports)}{pads}, click {settings.out_port or 'only seen'}"


def draw_drill(state: State, view: View) -> list[Line]:
    """The whole screen while something is played, exactly ``view.height`` lines."""
    if view.width < LEAST_COLUMNS or view.height < LEAST_LINES:
        return too_small(view.width, view.height)
    told = told_lines(view.message, view.width) if _still(state) else []
    lines = [_title(state, view), _beats(state, view), *(told or [_coming(state, view)])]
    lines += [[] for _ in range(_HEAD - len(lines))]
    large = [[], *large_beat(state, view.width, view.glyphs)] if view.height >= _TALL else []
    room = view.height - _HEAD - _FOOT - 1 - len(large)
    lines += _rows(state, view, room)
    lines += [[] for _ in range(_HEAD + room - len(lines))]
    lines += [*large, []]
    return [*lines, lean_scale(state, view.glyphs), *_legend(view), bottom_line(view.keys, view.width)]


def draw_report(text: Sequence[str], view: View, scroll: int) -> list[Line]:
    """The report after a take, from line ``scroll`` on, exactly ``view.height`` lines."""
    if view.width < 20 or view.height < 5:
        return too_small(view.width, view.height)
    room = view.height - 3
    body: list[Line] = [[Span(clip(clean(line), view.width))] for line in text[scroll : scroll + room]]
    below = len(text) - scroll - room
    more = f"{count(below, 'more line')} below" if below > 0 else ""
    body += [[] for _ in range(room - len(body))]
    title = clip("  " + clean(view.title), view.width - len(more) - 3)
    gap = " " * max(1, view.width - len(title) - len(more) - 2)
    told = [Span(clip("  " + clean(view.message), view.width), "out")] if view.message else []
    return [[Span(title, "head"), Span(gap), Span(more, "dim")], told, *body, bottom_line(view.keys, view.width)]


def _still(state: State) -> bool:
    """Whether nothing is played: there is room for what must be known."""
    return state.phase in (Phase.READY, Phase.DONE)


def first_row(rows: int, visible: int, current: int) -> int:
    """The first row on screen: the present row stays the second, so that the one just played can be read."""
    return max(0, min(current - 1, rows - visible))


def _title(state: State, view: View) -> Line:
    """What is played on the left, where it stands on the right."""
    last = len(state.columns.bars)
    where = {
        Phase.READY: "ready",
        Phase.COUNT_IN: "count-in",
        Phase.PLAYING: f"bar {state.columns.bar_at(state.now_us).number} of {last}",
        Phase.PAUSED: "held",
        Phase.DONE: state.ending,
    }[state.phase]
    where = clip(clean(where), view.width // 2)
    left = clip("  " + clean(view.title), view.width - len(where) - 3)
    return [Span(left, "head"), Span(" " * max(1, view.width - len(left) - len(where) - 2)), Span(where, "head")]


def _coming(state: State, view: View) -> Line:
    """What the exercise is for, before it begins; then where one is and what comes, said before it comes."""
    if state.phase is Phase.READY:
        return [Span(clip("  " + clean(view.aim), view.width), "dim")]
    if state.phase is Phase.DONE:
        return []
    bar = state.columns.bar_at(max(state.now_us, 0))
    if state.phase is Phase.COUNT_IN:
        bar = state.columns.bars[0] if state.now_us < 0 else bar
    ahead = [change for change in view.changes if change.bar > bar.number][:2]
    here = [change.what for change in view.changes if change.bar == bar.number]
    line = [Span(clip(f"  {clean(bar.section)}", view.width // 3), "head")] if bar.section else [Span(" ")]
    if here:
        line.append(Span(f"   now: {', '.join(map(clean, here))}", "head"))
    for change in ahead:
        bars = change.bar - bar.number
        text = f"{clean(change.what)} in {bars} bars" if bars > 1 else f"next bar: {clean(change.what)}"
        line += [Span("   "), Span(text, "out" if bars == 1 else "dim")]
    return _cut(line, view.width)


def _cut(line: Line, width: int) -> Line:
    """The line, cut at a width."""
    kept: Line = []
    for span in line:
        kept.append(span._replace(text=clip(span.text, width)))
        width -= len(kept[-1].text)
    return kept


def _beats(state: State, view: View) -> Line:
    """The beats of the present bar; beside them what must be known, or the ports."""
    line = beats_line(state)
    words = (
        ("" if _still(state) else view.message)
        or state.notice
        or ("" if state.connected else "input gone: plug it in, the take goes on")
    )
    used = sum(len(span.text) for span in line)
    text = clip(clean(words or view.ports), view.width - used - 3)
    return [*line, Span("  "), Span(text, "out" if words else "dim")]


def _rows(state: State, view: View, room: int) -> list[Line]:
    """As many rows of bars as fit, three lines and a blank one each."""
    bars = state.columns.bars
    per_row, width, gutter = _row_shape(state, view)
    rows: list[Sequence[BarColumns]] = [bars[at : at + per_row] for at in range(0, len(bars), per_row)]
    visible = max(1, (room + 1) // 4)
    current = (state.columns.bar_at(max(state.now_us, 0)).number - 1) // per_row
    first = first_row(len(rows), visible, current)
    first = max(0, min(first + view.scroll, len(rows) - visible))
    lines: list[Line] = []
    for row in rows[first : first + visible]:
        lines += [*bar_block(state, row, width, view.glyphs, gutter=gutter), []]
    return lines[:-1]


def _row_shape(state: State, view: View) -> tuple[int, int, int]:
    """How many bars stand beside each other, how many columns each has behind its labels, and how many these have."""
    needed = least_width(state.columns)
    per_row = max(1, view.width // (GUTTER + needed))
    each = view.width // per_row - (per_row > 1)  # one column stays free between bars; a bar alone may use the last one
    gutter = gutter_of(state.columns, view.glyphs, each - needed)
    return per_row, each - gutter, gutter


def _legend(view: View) -> list[Line]:
    """What the glyphs mean, in two lines."""
    m = view.glyphs
    texts = (
        f"  {m.stroke} stroke   {m.accent} accented   {m.heard} heard, shown later   -12 early, +12 late, in ms",
        f"  miss: not played   k: other key   ?: no input   +2: two too many   {m.edge} pocket",
    )
    return [[Span(clip(text, view.width), "dim")] for text in texts]
