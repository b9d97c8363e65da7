"""The history screen: every take with its figures, the middle spread of the weeks as a line of numbers.

Inside: `Order`, `ordered`, `week_medians`; the drawing `draw_history`; the screen `HistoryScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from statistics import median

from heeltap.app.takes.history import History, history
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.files.paths import takes_dir
from heeltap.model.past_take import PastTake
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, first_shown, page, room_of
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.drill_keys import MEASURE
from heeltap.tui.screens.report import Report, played_words
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.wording import count, signed_ms

__all__ = ["HISTORY_HELP", "HISTORY_KEYS", "HistoryScreen", "Order", "draw_history", "ordered", "week_medians"]

HISTORY_KEYS = (
    Key("enter", "open", "the report of the chosen take, scored again from its folder"),
    MOVE,
    Key("o", "other order", "by day, by exercise, by tempo"),
    MEASURE,
    BACK,
    HELP,
    QUIT,
)

HISTORY_HELP = (
    "Average: milliseconds from where you aimed, minus is early; a star: heeltap did not know the delay of your gear. "
    "Spread: milliseconds. Pocket: how many of your strokes are in it.",
)

_WEEKS = 12
_NAME = 27
_HEAD = f"  {'date':<16}  {'exercise':<{_NAME}} {'bpm':>4} {'avg':>5}  {'spread':>7} {'pocket':>6} {'score':>5}"


class Order(StrEnum):
    """How takes are listed."""

    DAY = "by day"
    EXERCISE = "by exercise"
    TEMPO = "by tempo"


def ordered(takes: Sequence[PastTake], order: Order) -> list[PastTake]:
    """The takes as they are listed: the newest first within each exercise or tempo."""
    newest = sorted(takes, key=lambda take: (take.date, take.folder), reverse=True)
    if order is Order.EXERCISE:
        return sorted(newest, key=lambda take: (take.family, take.grade, take.exercise))
    return sorted(newest, key=lambda take: take.tempo_bpm) if order is Order.TEMPO else newest


def draw_history(
    takes: Sequence[PastTake], order: Order, chosen: int, look: Look, *, until: datetime, message: str = ""
) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts the takes as they are ordered."""
    weeks = _weeks(takes, until.date(), look.glyphs)
    room = room_of(look) - 1 - len(weeks) - 1
    where = f"{count(len(takes), 'take')}, {order}"
    if not takes:
        body: list[Line] = [[Span("  No takes yet. heeltap keeps every take that you play and lists it here.")]]
        return page(look, "History", where, body, HISTORY_KEYS, message=message)
    first = first_shown(len(takes), room, chosen)
    body = [[Span(_HEAD, "dim")]]
    for at, take in enumerate(takes[first : first + room], first):
        body.append(
            [Span(("> " if at == chosen else "  ") + take_text(take, look.glyphs), "now" if at == chosen else "")]
        )
    body += [[] for _ in range(room + 1 - len(body))]
    return page(look, "History", where, [*body, [], *weeks], HISTORY_KEYS, message=message)


def take_text(take: PastTake, glyphs: Glyphs) -> str:
    """One take in a line."""
    name = f"{take.family} {take.grade} {take.title}" if take.family else take.title or take.exercise
    name = " ".join(name.split())
    name = name if len(name) <= _NAME else f"{name[: _NAME - 1]}~"
    none = glyphs.empty
    average = none if take.bias_ms is None else signed_ms(take.bias_ms - take.lean_ms)
    star = "*" if take.method == "none" and take.bias_ms is not None else " "
    spread = none if take.spread_ms is None else f"{take.spread_ms:.0f}"
    pocket = none if take.in_pocket is None else f"{100 * take.in_pocket:.0f} %"
    score = none if take.score is None else f"{take.score:.0f}"
    return (
        f"{take.date[:16].replace('T', ' '):<16}  {name:<{_NAME}} {take.tempo_bpm:>4.0f} {average:>5}{star} "
        f"{spread:>7} {pocket:>6} {score:>5}"
    )


def week_medians(takes: Sequence[PastTake], until: date, weeks: int = _WEEKS) -> list[float | None]:
    """The middle spread of each of the last weeks, ms, the present one last; weeks begin on Monday."""
    monday = until - timedelta(days=until.weekday())
    starts = [monday - timedelta(weeks=back) for back in range(weeks - 1, -1, -1)]
    found: dict[str, list[float]] = {start.isoformat(): [] for start in starts}
    for take in takes:
        try:
            day = date.fromisoformat(take.date[:10])
        except ValueError:
            continue
        rows = found.get((day - timedelta(days=day.weekday())).isoformat())
        if rows is not None and take.spread_ms is not None:
            rows.append(take.spread_ms)
    return [median(rows) if rows else None for rows in found.values()]


def _weeks(takes: Sequence[PastTake], until: date, glyphs: Glyphs) -> list[Line]:
    """The middle spread of the weeks, as numbers in a line."""
    values = week_medians(takes, until)
    if all(value is None for value in values):
        return []
    ago = "".join(f"{at:>5}" for at in range(len(values) - 1, 0, -1)) + "  now"
    cells = "".join(f"{glyphs.empty if value is None else format(value, '.0f'):>5}" for value in values)
    return [
        [Span("  weeks ago ", "dim"), Span(ago, "dim")],
        [Span("  spread    ", "dim"), Span(cells), Span(" ms", "dim")],
    ]


class HistoryScreen(QuietScreen):
    """Every take, in three orders; the player can open each."""

    name = "history"

    def __init__(self, host: Host, show: Callable[[Path, Report], None]) -> None:
        """``show`` takes the folder and the report of a take that the player opened."""
        super().__init__(host)
        self._history, self._order, self._show = History((), 0), Order.DAY, show
        self._folder = Path()

    @property
    def keys(self) -> tuple[Key, ...]:
        """They never change."""
        return HISTORY_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the columns mean."""
        return HISTORY_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Open the chosen take, list the takes in another order."""
        return {"enter": self._open, "o": self._other_order, "u": lambda: self.host.go("delay")}

    @property
    def count(self) -> int:
        """The takes."""
        return len(self._history.takes)

    def draw(self, look: Look, message: str) -> list[Line]:
        """The list, and below it the weeks."""
        return draw_history(self._rows, self._order, self.at, look, until=self.host.moment(), message=message)

    def look_again(self) -> None:
        """Read every take."""
        self.host.work("history", lambda: history(self.host.takes))

    def take_in(self, work: str, found: object) -> None:
        """Show the takes, or the report of one of them."""
        if work == "history" and isinstance(found, History):
            self._history = found
            self.host.say(next(iter(found.warnings), ""))
        elif work == "open" and isinstance(found, Report):
            self._show(self._folder, found)

    @property
    def _rows(self) -> list[PastTake]:
        return ordered(self._history.takes, self._order)

    def _other_order(self) -> None:
        orders = list(Order)
        self._order, self.at = orders[(orders.index(self._order) + 1) % len(orders)], 0

    def _open(self) -> None:
        if not self._history.takes:
            return
        root = takes_dir() if self.host.takes is None else self.host.takes
        self._folder = folder = root / self._rows[self.at].folder
        self.host.say("heeltap is reading the take")
        take, now = self._rows[self.at], self.host.moment()
        when = datetime.fromisoformat(take.date)
        played = played_words(take.title or take.exercise, take.tempo_bpm, when, now)
        self.host.work("open", lambda: Report(played, score_kept(folder), last=(f"Your take is in {folder}",)))
