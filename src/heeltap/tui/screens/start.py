"""The start screen: what is plugged in, what to play next, what of the set is due, how the last week went.

Inside: the model `Today` with `Due` and `Day`, read by `read_today`; the drawing `draw_start`; the screen `StartScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from heeltap.app.drill.from_settings import DrillChoice, route_in_use
from heeltap.app.practice.advise import step_after
from heeltap.app.practice.set_in_use import set_in_use, sets_in_reach, use_set
from heeltap.app.practice.set_standing import standing_of
from heeltap.app.practice.sets import OpenSet, Work, open_set
from heeltap.app.route.ports import real_ports
from heeltap.app.route.route import route_of
from heeltap.app.takes.history import history
from heeltap.course.next_exercise import NextStep
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import HeeltapError
from heeltap.model.past_take import PastTake
from heeltap.tui.keys import HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, first_shown, page, room_of, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.wording import count

__all__ = [
    "START_HELP",
    "START_KEYS",
    "Day",
    "Due",
    "StartLine",
    "StartScreen",
    "Today",
    "draw_start",
    "due_of",
    "lines_of",
    "read_today",
    "week_of",
]

START_KEYS = (
    Key("enter", "play", "go to the drill screen with the chosen exercise"),
    Key("c", "exercises", "the map of all exercises: what you have learned, what is due, what is still to come"),
    Key("o", "options", "play the chosen exercise in another metre, tempo or lean, to another click or to drums"),
    Key("h", "history", "your takes with their figures; open any of them"),
    Key("u", "set-up", "ports, pads, hands-free, delay"),
    Key("e", "set", "use the next set: those that come with heeltap, those in this folder, or none"),
    MOVE,
    Key("r", "look", "look for ports and takes again"),
    HELP,
    QUIT,
)

START_HELP = (
    "The first line is what to play next, with the reason: the next exercise of your set, else the one that your takes ask "
    "for. Below it are all exercises of the set, each at the first tempo that you have not done.",
)

_DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

_WEEK_DAYS = 7

_MEASURE = "not known: press u, then enter, and measure it in two minutes"


@dataclass(frozen=True, slots=True)
class Due:
    """One exercise of the set in use, at the first of its tempi that is not done."""

    number: int
    title: str
    tempo_bpm: float
    played: int
    """Takes at that tempo."""
    asked: int
    """Takes that are asked for at each tempo."""
    done: bool
    """Every tempo is done."""
    choice: DrillChoice


@dataclass(frozen=True, slots=True)
class Day:
    """What was played on a day."""

    day: date
    takes: int
    minutes: float


@dataclass(frozen=True, slots=True)
class Today:
    """Everything that a player sees first."""

    now: datetime
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    port_problem: str = ""
    """Why heeltap could not ask for ports; empty where it could."""
    set_name: str = ""
    """What a person types for the set in use; empty for none."""
    set_title: str = ""
    set_problem: str = ""
    due: tuple[Due, ...] = ()
    """Every exercise of the set, in its order."""
    step: NextStep | None = None
    week: tuple[Day, ...] = ()
    """The last seven days, today the last."""
    last: PastTake | None = None
    warnings: tuple[str, ...] = ()
    delay_wanted: bool = False
    """Whether a device is played whose delay nobody has measured."""


def read_today(takes: Path | None = None, *, now: datetime) -> Today:
    """What the start screen shows.

    A broken set, history or MIDI system raises nothing: the line that needs it says so, and the rest is shown.

    Parameters
    ----------
    takes : Path, optional
        The folder of all takes; the user's own where not given.
    now : datetime
        This moment.
    """
    inputs, outputs, port_problem = real_ports()
    past: tuple[PastTake, ...] = ()
    step: NextStep | None = None
    warnings: tuple[str, ...] = ()
    try:
        found = history(takes)
        past, warnings = found.takes, found.warnings
        step = step_after(past, now)
    except HeeltapError as error:
        warnings = (str(error),)
    name, title, problem = set_in_use(), "", ""
    due: tuple[Due, ...] = ()
    try:
        opened = open_set(name) if name else None
        if opened is not None:
            title, due = opened.set.title, due_of(opened, past)
    except HeeltapError as error:
        problem = str(error)
    return Today(
        now,
        inputs,
        outputs,
        port_problem,
        name,
        title,
        problem,
        due,
        step,
        week_of(past, now.date()),
        past[-1] if past else None,
        warnings,
        _delay_wanted(),
    )


def _delay_wanted() -> bool:
    """Whether a device is played whose delay nobody has measured; a route that cannot be read wants no measuring."""
    try:
        in_use, out_port = route_in_use()
        return in_use[0] != KEYS_NAME and route_of(in_use[0], out_port).delay_ms is None
    except HeeltapError:
        return False


def due_of(opened: OpenSet, past: Sequence[PastTake]) -> tuple[Due, ...]:
    """Every exercise of a set, with how many takes the player has of it and whether it is done."""
    return tuple(_due(opened, work, past) for work in opened.works)


def _due(opened: OpenSet, work: Work, past: Sequence[PastTake]) -> Due:
    standing = standing_of(opened, work, past)
    choice = DrillChoice(f"{opened.called}:{work.number}", standing.tempo_bpm)
    played, title = len(standing.takes), opened.titles[work.number - 1]
    return Due(work.number, title, standing.tempo_bpm, played, work.item.takes, standing.done, choice)


def week_of(past: Sequence[PastTake], until: date) -> tuple[Day, ...]:
    """The seven days that end with ``until``; the minutes are those of playing, without count-ins."""
    days = [until - timedelta(days=back) for back in range(_WEEK_DAYS - 1, -1, -1)]
    rows = {day: [take for take in past if take.date[:10] == day.isoformat()] for day in days}
    return tuple(Day(day, len(takes), sum(take.length_s for take in takes) / 60) for day, takes in rows.items())


@dataclass(frozen=True, slots=True)
class StartLine:
    """A line of the start screen that the player can choose."""

    text: str
    choice: DrillChoice


def lines_of(today: Today) -> tuple[StartLine, ...]:
    """The lines to choose from: the next exercise, then those of the set."""
    lines = []
    step = today.step
    if step is not None and step.what:
        text = f"{step.what} at {step.tempo_bpm:g} bpm: {step.title}"
        lines.append(StartLine(text, DrillChoice(step.what, step.tempo_bpm, None if step.item else step.seed)))
    return (*lines, *(StartLine(_due_text(due), due.choice) for due in today.due))


def _due_text(due: Due) -> str:
    takes = "done" if due.done else f"{due.played} of {count(due.asked, 'take')}"
    return f"{due.number:>2}  {due.title[:36]:<36}  {due.tempo_bpm:>4.4g} bpm  {takes}"


def draw_start(today: Today, chosen: int, look: Look, *, message: str = "") -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts the lines of `lines_of`."""
    when = f"{_DAY_NAMES[today.now.weekday()]} {today.now:%Y-%m-%d %H:%M}"
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
        delay: list[Line] = [[Span("  delay     ", "dim"), Span(_MEASURE)]] if today.delay_wanted else []
        return [
            [Span("  play on   ", "dim"), Span(", ".join(today.inputs))],
            [Span("  click to  ", "dim"), Span(outputs)],
            *delay,
        ]
    found = "heeltap cannot reach a MIDI system (u says why)." if today.port_problem else "No keyboard or pads found."
    hint = (
        "Plug one in and press r. Or try without: the space bar is a pad then, good for finding your way about, not for "
        "judging your timing."
    )
    return wrapped_lines(f"{found} {hint}", look.width)


def _next(today: Today, chosen: int, look: Look) -> list[Line]:
    """The exercise that the takes ask for, and why."""
    step = today.step
    if step is None:
        return [[Span("  next: the history cannot be read", "out")]]
    if not step.what:
        return [[Span("  next", "head")], *wrapped_lines(f"{_sentence(step.reason)}", look.width, "    ")]
    return [
        [Span("  next", "head")],
        _row(lines_of(today)[0].text, chosen == 0),
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
    rows = [row.text for row in lines_of(today)]
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
    names = "".join(f"{_DAY_NAMES[day.day.weekday()]:>6}" for day in week)
    minutes = "".join(f"{_minutes(day, glyphs):>6}" for day in week)
    takes = "".join(f"{day.takes or glyphs.empty:>6}" for day in week)
    return [
        [Span("  last week", "head"), Span(names, "dim")],
        [Span("  minutes  ", "dim"), Span(minutes)],
        [Span("  takes    ", "dim"), Span(takes)],
    ]


def _minutes(day: Day, glyphs: Glyphs) -> str:
    return glyphs.empty if not day.takes else "<1" if day.minutes < 0.5 else f"{day.minutes:.0f}"


class StartScreen(QuietScreen):
    """What is plugged in, what to play next, what of the set is due."""

    name = "start"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self.today: Today | None = None
        """None until it has been read."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """They never change."""
        return START_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the lines mean."""
        return START_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Play the chosen line, show another screen, use another set."""
        return {
            "enter": self._play,
            "c": lambda: self.host.go("exercises"),
            "o": self._choose,
            "h": lambda: self.host.go("history"),
            "u": lambda: self.host.go("set-up"),
            "e": self._other_set,
            "r": self.look_again,
        }

    @property
    def count(self) -> int:
        """The next exercise and those of the set."""
        return 0 if self.today is None else len(lines_of(self.today))

    def draw(self, look: Look, message: str) -> list[Line]:
        """The day; an empty page until it has been read."""
        if self.today is None:
            return page(look, "heeltap", "", [], self.keys, message=message)
        return draw_start(self.today, self.at, look, message=message)

    def look_again(self) -> None:
        """Read ports, takes and set."""
        self.host.work("today", lambda: read_today(self.host.takes, now=self.host.moment()))

    def take_in(self, work: str, found: object) -> None:
        """Show the day that was read."""
        if work == "today" and isinstance(found, Today):
            self.today = found

    def back(self) -> None:
        """Stay: no screen comes before this one."""

    def _play(self) -> None:
        lines = () if self.today is None else lines_of(self.today)
        if lines:
            self.host.leave_with(lines[self.at].choice)

    def _choose(self) -> None:
        lines = () if self.today is None else lines_of(self.today)
        if lines:
            self.host.choose(lines[self.at].choice)

    def _other_set(self) -> None:
        """Use the next set; after the last one, none."""
        choices = (*sets_in_reach(), "")
        present = "" if self.today is None else self.today.set_name
        names = [Path(one).resolve().as_posix() if one.endswith(".toml") else one for one in choices]
        following = choices[(names.index(present) + 1) % len(choices)] if present in names else choices[0]
        self.at = 0
        try:
            use_set(following)
        except HeeltapError as error:
            self.host.say(str(error), stays=True)
            return
        self.look_again()
