"""The drill screen as lines of text: a state and a size in, lines out. No terminal: tests read what a player sees.

From top to bottom: what you play and where you are in it; the beats of the bar, the present one in brackets; what comes;
which keys to play; as many rows of bars as fit, the present one marked; on a tall screen the beat, large; how your last
strokes lay; what the glyphs mean; the keys of the screen.

Inside: `View`, `draw_drill`, `drill_key_lines`, `rows_shown`, `title_of`, `ports_of`, `rows_of_drill`,
`view_of`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from heeltap.app.drill.changes import Change, changes_of, tempo_of
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.leading import leads
from heeltap.app.drill.run import Settings
from heeltap.app.drill.set_task import set_task
from heeltap.app.practice.set_standing import standing_words
from heeltap.devices.inputs import KEYS_NAME
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.session.plan_columns import BarColumns
from heeltap.session.session import Phase, State
from heeltap.tui.keys import Key, bottom_lines, lines_needed
from heeltap.tui.page import LEAST_COLUMNS, LEAST_LINES, clean, clip, told_lines, too_small, wrapped_lines
from heeltap.tui.screens.drill_beat import LARGE_LINES, beats_line, large_beat, present_bar
from heeltap.views.bar_sheet import GUTTER, Glyphs, Line, Span, bar_block, block_height, gutter_of, least_width
from heeltap.views.plan_rows import ONE_ROW, PlanRows, plan_rows_of, rows_of_bars
from heeltap.views.recent_strokes import recent_line

__all__ = [
    "KEY_LINES",
    "View",
    "draw_drill",
    "drill_key_lines",
    "ports_of",
    "rows_of_drill",
    "rows_shown",
    "title_of",
    "view_of",
]

KEY_LINES = 2
"""Lines for the keys of the report, and of the drill at least."""

_MOST_KEY_LINES = 3
"""Lines for the keys of a drill of a song with many parts: each has a key."""

_HEAD, _FOOT = 4, 4
"""Lines above the bars, at least, and below them, without the blank one above the running figure."""

_TALL = 34
"""From so many lines on the beat is drawn large as well: as many rows of bars still fit as on a screen of 28. Where nothing
sounds it is the only beat there is, and takes its lines from the bars, as long as one row of them fits beside it."""


@dataclass(frozen=True, slots=True)
class View:
    """What the screen shows beside the state."""

    width: int
    height: int
    glyphs: Glyphs
    title: str
    """What is played; the drawing cleans and clips it."""
    ports: str
    """Input, click and the like, in a line."""
    aim: str = ""
    message: str = ""
    """Something that the player must know now; it takes the place of the ports, or of what the exercise is for."""
    scroll: int = 0
    """Rows of bars further down (up, where negative) than the screen would stand by itself."""
    changes: tuple[Change, ...] = ()
    """Sections, fills and landings, which the screen announces."""
    keys: tuple[Key, ...] = ()
    """What the bottom line offers."""
    rows: PlanRows = ONE_ROW
    """What each hand or drum plays, and on which keys."""
    passes: int = 1
    """How often the bars come in a row."""
    heard: str = ""
    """The last key or pad that was struck before the take, which the ready screen shows in a line of its own."""
    silent: bool = False
    """Whether nothing sounds: the beat is then large on a screen of any size."""
    task: tuple[str, ...] = ()
    """What the set says of the exercise and asks for, shown before you begin; empty where no set asks for it."""


def view_of(drill: Drill, settings: Settings, glyphs: Glyphs) -> View:
    """What the screen shows of a drill beside its state, at the usual size of a terminal."""
    return View(
        80,
        24,
        glyphs,
        title_of(drill, glyphs),
        ports_of(settings, drums=leads(drill)),
        aim=drill.aim,
        changes=changes_of(drill.plan),
        rows=rows_of_drill(drill),
        passes=drill.passes,
        task=_task_of(drill, settings),
    )


def _task_of(drill: Drill, settings: Settings) -> tuple[str, ...]:
    """The teacher's notes, the marks, and how many takes are still wanted."""
    task = set_task(drill, settings.takes)
    return () if task is None else (*task.work.item.notes, standing_words(task))


def title_of(drill: Drill, glyphs: Glyphs) -> str:
    """What is played, its metre and its tempo."""
    return f"{drill.title} {glyphs.dot} {drill.plan.metre.metres[0]} {glyphs.dot} {tempo_of(drill):.0f} bpm"


def rows_of_drill(drill: Drill) -> PlanRows:
    """What each hand or drum of a drill plays, and on which keys."""
    if drill.whole is not None:
        return rows_of_bars(rows_of_drill(drill.whole), drill.whole.plan, drill.plan, drill.bar_numbers)
    exercise = None if drill.exercise is None else exercise_from_toml(drill.exercise)
    return plan_rows_of(drill.plan, exercise, percussion=drill.percussion)


def ports_of(settings: Settings, *, drums: bool = False) -> str:
    """What is played on, and where the click goes; and that the drums are what you are measured against, where they are."""
    pads = " (space f j d k s l)" if KEYS_NAME in settings.in_ports else ""
    sound = (
        "click only seen" if settings.out_port is None else f"{'to drums' if drums else 'click'} {settings.out_port}"
    )
    return f"in {' and '.join(settings.in_ports)}{pads}, {sound}"


def draw_drill(state: State, view: View) -> list[Line]:
    """The whole screen while something is played, exactly ``view.height`` lines."""
    if view.width < LEAST_COLUMNS or view.height < LEAST_LINES:
        return too_small(view.width, view.height)
    told = told_lines(view.message, view.width) if _still(state) else _urgent(state, view)
    keys: Line = [Span(clip(f"  {clean(view.rows.keys)}", view.width), "dim")]
    hit: Line = [Span(clip(f"  {clean(view.heard)}", view.width), "head")]
    heard = [hit] if view.heard and state.phase is Phase.READY else []
    lines = [_title(state, view), _beats(state, view), *heard, *(told or [*_coming(state, view), keys])]
    lines += [[] for _ in range(_HEAD - len(lines))]
    head = len(lines)
    key_lines = drill_key_lines(view.keys, view.width)
    room = view.height - head - _FOOT - 1 - key_lines + KEY_LINES
    seen = (
        view.silent
        and not _still(state)
        and room - 1 - LARGE_LINES >= 2 + len(view.rows.names) + bool(view.rows.fill_from)
    )
    large = [[], *large_beat(state, view.width, view.glyphs)] if view.height >= _TALL or seen else []
    room -= len(large)
    lines += _rows(state, view, room)
    lines += [[] for _ in range(head + room - len(lines))]
    lines += [*large, []]
    return [
        *lines,
        _cut(recent_line(state, view.glyphs), view.width),
        _legend(view),
        *bottom_lines(view.keys, view.width, key_lines),
    ]


def drill_key_lines(keys: Sequence[Key], width: int) -> int:
    """How many lines the keys of the drill have."""
    return lines_needed(keys, width, least=KEY_LINES, most=_MOST_KEY_LINES)


def _still(state: State) -> bool:
    """Whether nothing is played: there is room for what must be known."""
    return state.phase in (Phase.READY, Phase.DONE)


def rows_shown(height: Callable[[int], int], rows: int, room: int, wanted: int) -> range:
    """Which rows of bars stand on the screen.

    Parameters
    ----------
    height : callable
        Lines of a row, by its number from 0.
    rows : int
        How many there are, at least one.
    room : int
        Lines for them, a blank one between two.
    wanted : int
        The row that should be at the top. Where the last rows would leave lines empty, earlier ones come in above it.

    Returns
    -------
    range
        At least one row, even where that one does not fit.
    """
    first = max(0, min(wanted, rows - 1))
    last, used = first + 1, height(first)
    while last < rows and used + 1 + height(last) <= room:
        used += 1 + height(last)
        last += 1
    while last == rows and first > 0 and used + 1 + height(first - 1) <= room:
        first -= 1
        used += 1 + height(first)
    return range(first, last)


def _title(state: State, view: View) -> Line:
    """What you play on the left, where you are in it on the right."""
    where = {
        Phase.READY: "ready",
        Phase.COUNT_IN: f"count-in to bar {present_bar(state).name}" if state.begin_us else "count-in",
        Phase.PLAYING: _bar_words(state, view.passes),
        Phase.PAUSED: f"paused in bar {present_bar(state).name}" if state.stands else "left out",
        Phase.DONE: state.ending,
    }[state.phase]
    where = clip(clean(where), view.width // 2)
    left = clip("  " + clean(view.title), view.width - len(where) - 3)
    return [Span(left, "head"), Span(" " * max(1, view.width - len(left) - len(where) - 2)), Span(where, "head")]


def _bar_words(state: State, passes: int) -> str:
    """Which bar is played: "bar 3 of 8", "bar 15 of 14-16", "bar 15, pass 2 of 4"."""
    bars = state.columns.bars
    bar = present_bar(state)
    if passes > 1:
        return f"bar {bar.name}, pass {(bar.number - 1) * passes // len(bars) + 1} of {passes}"
    first, last = bars[0].name, bars[-1].name
    return f"bar {bar.name} of {last if first in ('1', last) else f'{first}-{last}'}"


def _coming(state: State, view: View) -> list[Line]:
    """What the exercise is for, before it begins; then where you are and what comes, said before it comes."""
    if state.phase is Phase.READY:
        task = [line for text in view.task for line in wrapped_lines(text, view.width)]
        return [*wrapped_lines(view.aim, view.width, role="dim"), *task] or [[]]
    if state.phase is Phase.DONE:
        return [[]]
    bar = present_bar(state)
    ahead = [change for change in view.changes if change.bar > bar.number][:2]
    here = [change.what for change in view.changes if change.bar == bar.number]
    line = [Span(clip(f"  {clean(bar.section)}", view.width // 3), "head")] if bar.section else [Span(" ")]
    if here:
        line.append(Span(f"   now: {', '.join(map(clean, here))}", "head"))
    for change in ahead:
        bars = change.bar - bar.number
        text = f"{clean(change.what)} in {bars} bars" if bars > 1 else f"next bar: {clean(change.what)}"
        line += [Span("   "), Span(text, "out" if bars == 1 else "dim")]
    return [_cut(line, view.width)]


def _cut(line: Line, width: int) -> Line:
    """The line, cut at a width."""
    kept: Line = []
    for span in line:
        kept.append(span._replace(text=clip(span.text, width)))
        width -= len(kept[-1].text)
    return kept


def _urgent(state: State, view: View) -> list[Line]:
    """What the player must know while playing, whole, where it does not fit beside the beats."""
    if view.message or len(clean(state.notice)) <= _beside(beats_line(state), view):
        return []
    return told_lines(state.notice, view.width)


def _beside(line: Line, view: View) -> int:
    """Columns that are free beside the beats."""
    return view.width - sum(len(span.text) for span in line) - 3


def _beats(state: State, view: View) -> Line:
    """The beats of the present bar; beside them what must be known, or the ports."""
    line = beats_line(state)
    words = ("" if _still(state) else view.message) or ("" if _urgent(state, view) else state.notice)
    text = clip(clean(words or view.ports), _beside(line, view))
    return [*line, Span("  "), Span(text, "out" if words else "dim")]


def _rows(state: State, view: View, room: int) -> list[Line]:
    """As many rows of bars as fit, a blank line between two; the present row is the second where there is room."""
    bars = state.columns.bars
    per_row, width, gutter = _row_shape(state, view)
    rows: list[Sequence[BarColumns]] = [bars[at : at + per_row] for at in range(0, len(bars), per_row)]
    current = (present_bar(state).number - 1) // per_row

    def height(row: int) -> int:
        return block_height(rows[row], view.rows)

    shown = rows_shown(height, len(rows), room, current - 1)
    if current not in shown:
        shown = rows_shown(height, len(rows), room, current)
    if view.scroll:
        shown = rows_shown(height, len(rows), room, shown.start + view.scroll)
    lines: list[Line] = []
    for number in shown:
        lines += [*bar_block(state, rows[number], width, view.glyphs, gutter=gutter, rows=view.rows), []]
    return lines[:-1][:room]


def _row_shape(state: State, view: View) -> tuple[int, int, int]:
    """How many bars stand beside each other, how many columns each has behind its labels, and how many these have."""
    needed = least_width(state.columns)
    per_row = max(1, view.width // (GUTTER + needed))
    each = view.width // per_row - (per_row > 1)  # one column stays free between bars; a bar alone may use the last one
    gutter = gutter_of(state.columns, view.glyphs, each - needed, view.rows)
    return per_row, each - gutter, gutter


def _legend(view: View) -> Line:
    """What the glyphs mean."""
    m = view.glyphs
    played = "-12 early  x left out  k other key  ? not judged"
    text = f"  {m.stroke} stroke  {m.accent} accent  {m.heard} heard  {played}"
    return [Span(clip(text, view.width), "dim")]
