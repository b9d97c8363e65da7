"""The history screen as text: every take with its figures, and a plain line of numbers over the weeks.

Inside: `Order`, `ordered`, `draw_past`, `PAST_KEYS`, `OPEN_KEYS`, `PAST_HELP`.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from enum import StrEnum
from statistics import median

from heeltap.model.past_take import PastTake
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, first_shown, page, room_of
from heeltap.views.bar_sheet import Glyphs, Line, Span
from heeltap.wording import count, signed_ms, steps_of_five

__all__ = ["OPEN_KEYS", "PAST_HELP", "PAST_KEYS", "Order", "draw_past", "ordered", "week_medians"]

PAST_KEYS = (
    Key("enter", "open", "the report of the chosen take, scored again from its folder"),
    MOVE,
    Key("o", "other order", "by day, by exercise, by tempo"),
    BACK,
    HELP,
    QUIT,
)

OPEN_KEYS = (MOVE, BACK, HELP, QUIT)
"""While a take is open."""

PAST_HELP = (
    "Average: milliseconds against the lean, minus is early; a star says that the delay of the route was not known. "
    "Scatter: milliseconds. Pocket: share of the played strokes in it.",
)

_WEEKS = 12
_NAME = 27
_HEAD = f"  {'date':<16}  {'exercise':<{_NAME}} {'bpm':>4} {'avg':>5}  {'scatter':>7} {'pocket':>6} {'score':>5}"


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


def draw_past(
    takes: Sequence[PastTake], order: Order, chosen: int, look: Look, *, until: datetime, message: str = ""
) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts the takes as they are ordered."""
    weeks = _weeks(takes, until.date(), look.glyphs)
    room = room_of(look) - 1 - len(weeks) - 1
    where = f"{count(len(takes), 'take')}, {order}"
    if not takes:
        body: list[Line] = [[Span("  No takes yet: every one that is played is kept and listed here.")]]
        return page(look, "History", where, body, PAST_KEYS, message=message)
    first = first_shown(len(takes), room, chosen)
    body = [[Span(_HEAD, "dim")]]
    for at, take in enumerate(takes[first : first + room], first):
        body.append(
            [Span(("> " if at == chosen else "  ") + take_text(take, look.glyphs), "now" if at == chosen else "")]
        )
    body += [[] for _ in range(room + 1 - len(body))]
    return page(look, "History", where, [*body, [], *weeks], PAST_KEYS, message=message)


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
    score = none if take.score is None else str(steps_of_five(take.score))
    return (
        f"{take.date[:16].replace('T', ' '):<16}  {name:<{_NAME}} {take.tempo_bpm:>4.0f} {average:>5}{star} "
        f"{spread:>7} {pocket:>6} {score:>5}"
    )


def week_medians(takes: Sequence[PastTake], until: date, weeks: int = _WEEKS) -> list[float | None]:
    """The middle scatter of each of the last weeks, ms, the present one last; weeks begin on Monday."""
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
    """The middle scatter of the weeks, as numbers in a line."""
    values = week_medians(takes, until)
    if all(value is None for value in values):
        return []
    ago = "".join(f"{at:>5}" for at in range(len(values) - 1, 0, -1)) + "  now"
    cells = "".join(f"{glyphs.empty if value is None else format(value, '.0f'):>5}" for value in values)
    return [
        [Span("  weeks ago ", "dim"), Span(ago, "dim")],
        [Span("  scatter   ", "dim"), Span(cells), Span(" ms", "dim")],
    ]
