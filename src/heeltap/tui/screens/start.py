"""The start screen as text: what is plugged in, what is due, what to play next, how the week went.

Inside: `Row`, `rows_of`, `draw_start`, `START_KEYS`, `START_HELP`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from heeltap.app.practice.today import Day, Due, Today, Wish
from heeltap.tui.keys import HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, first_shown, page, room_of, wrapped_lines
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.wording import count

__all__ = ["START_HELP", "START_KEYS", "Row", "draw_start", "rows_of"]

START_KEYS = (
    Key("enter", "play", "go to the drill screen with the chosen line"),
    MOVE,
    Key("h", "history", "every take with its figures; each opens"),
    Key("u", "set-up", "ports, pads, hands-free, delay"),
    Key("e", "set", "use the next set: those that come with heeltap, those in this folder, or none"),
    Key("r", "look", "look for ports and takes again"),
    HELP,
    QUIT,
)

START_HELP = (
    "The first line to choose is what the takes so far ask for, with its reason. Below it are the exercises of the set in "
    "use, each at the first of its tempi that is not done.",
)

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class Row:
    """Something that can be chosen."""

    text: str
    wish: Wish


def rows_of(today: Today) -> tuple[Row, ...]:
    """What can be chosen, in order: the next exercise, then the set's."""
    rows = []
    step = today.step
    if step is not None and step.family:
        text = f"{step.family} {step.grade} at {step.tempo_bpm:g} bpm: {step.title}"
        rows.append(Row(text, Wish(f"{step.family} {step.grade}", step.tempo_bpm, step.seed)))
    return (*rows, *(Row(_due_text(due), due.wish) for due in today.due))


def _due_text(due: Due) -> str:
    takes = "done" if due.done else f"{due.played} of {count(due.asked, 'take')}"
    return f"{due.number:>2}  {due.title[:36]:<36}  {due.tempo_bpm:>4.4g} bpm  {takes}"


def draw_start(today: Today, chosen: int, look: Look, *, message: str = "") -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts the rows of `rows_of`."""
    when = f"{_DAYS[today.now.weekday()]} {today.now:%Y-%m-%d %H:%M}"
    body = [*_ports(today, look), [], *_next(today, chosen, look), []]
    week = _week(today.week, look.glyphs)
    room = room_of(look) - len(body) - len(week) - 1
    body += _set(today, chosen, room)
    body += [[] for _ in range(room_of(look) - len(body) - len(week))]
    told = message or next(iter(today.warnings), "")
    return page(look, "heeltap", when, [*body, *week], START_KEYS, message=told)


def _ports(today: Today, look: Look) -> list[Line]:
    """What is plugged in, or what to do."""
    if today.inputs:
        outputs = ", ".join(today.outputs) or "none: the click is only seen"
        return [
            [Span("  play on   ", "dim"), Span(", ".join(today.inputs))],
            [Span("  click to  ", "dim"), Span(outputs)],
        ]
    found = "No MIDI system can be reached (u says why)." if today.port_problem else "No keyboard or pads found."
    hint = (
        "Plug one in and press r. Or try without: the space bar is a pad then, good for finding one's way about, not for "
        "judging one's time."
    )
    return wrapped_lines(f"{found} {hint}", look.width)


def _next(today: Today, chosen: int, look: Look) -> list[Line]:
    """The exercise that the takes ask for, and why."""
    step = today.step
    if step is None:
        return [[Span("  next: the history cannot be read", "out")]]
    if not step.family:
        return [[Span("  next", "head")], *wrapped_lines(f"{_sentence(step.reason)}", look.width, "    ")]
    return [
        [Span("  next", "head")],
        _row(rows_of(today)[0].text, chosen == 0),
        *wrapped_lines(_sentence(step.reason), look.width, "    ", "dim"),
    ]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _row(text: str, chosen: bool) -> Line:
    return [Span(f"> {text}" if chosen else f"  {text}", "now" if chosen else "")]


def _set(today: Today, chosen: int, room: int) -> list[Line]:
    """The set in use, as many of its rows as fit."""
    if today.set_problem:
        return [[Span(f"  set: {today.set_problem}", "out")]]
    if not today.set_name:
        return [[Span("  set   ", "head"), Span("none in use (e takes one)", "dim")]]
    rows = [row.text for row in rows_of(today)]
    offset = len(rows) - len(today.due)
    open_rows = sum(not due.done for due in today.due)
    due = f"{open_rows} of {len(rows) - offset} to do" if open_rows else "all done"
    room = max(1, room - 1)
    first = first_shown(len(today.due), room, max(0, chosen - offset))
    listed = [_row(rows[offset + at], chosen == offset + at) for at in range(first, min(first + room, len(today.due)))]
    return [[Span("  set   ", "head"), Span(today.set_title), Span(f"   {due}", "dim")], *listed]


def _week(week: Sequence[Day], glyphs: Glyphs) -> list[Line]:
    """Seven days: minutes and takes."""
    if not week:
        return []
    names = "".join(f"{_DAYS[day.day.weekday()]:>6}" for day in week)
    minutes = "".join(f"{_minutes(day, glyphs):>6}" for day in week)
    takes = "".join(f"{day.takes or glyphs.empty:>6}" for day in week)
    return [
        [Span("  last week", "head"), Span(names, "dim")],
        [Span("  minutes  ", "dim"), Span(minutes)],
        [Span("  takes    ", "dim"), Span(takes)],
    ]


def _minutes(day: Day, glyphs: Glyphs) -> str:
    return glyphs.empty if not day.takes else "<1" if day.minutes < 0.5 else f"{day.minutes:.0f}"
