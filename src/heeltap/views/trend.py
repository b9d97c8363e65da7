"""Whether somebody gets better, in sentences.

Inside: `trend_text`.
"""

from collections.abc import Callable, Sequence

from heeltap.analysis.compare.trend import LEAST_DAYS, DayTrend
from heeltap.app.takes.trend import ExerciseTrend
from heeltap.views.text import wrapped
from heeltap.wording import count, ms

__all__ = ["trend_text"]


def trend_text(trends: Sequence[ExerciseTrend]) -> str:
    """What can be told of each exercise, that which was played last first.

    Parameters
    ----------
    trends : sequence of ExerciseTrend

    Returns
    -------
    str
        Ends in a newline.
    """
    if not trends:
        return "There are no takes yet from which heeltap could tell whether you get better.\n"
    blocks = []
    for one in trends:
        title = f" ({one.title})" if one.title and one.title != one.name else ""
        head = f"{one.name}{title}: {count(one.takes, 'take')} on {count(one.days, 'day')}, {one.first_date} to {one.last_date}"
        blocks.append("\n".join([wrapped(head), *(wrapped(line, indent="  ") for line in _lines(one))]))
    return "\n\n".join(blocks) + "\n"


def _lines(one: ExerciseTrend) -> list[str]:
    if one.days < LEAST_DAYS:
        return [f"Too few days to tell; after {count(LEAST_DAYS - one.days, 'more day')} heeltap can say something."]
    lines = []
    if one.spread is not None:
        lines.append(_told("Your spread", one.spread, ms, lower_is_better=True))
    if one.average is not None:
        lines.append(_told("The distance of your average from your lean", one.average, ms, lower_is_better=True))
    if one.held is not None:
        lines.append(_told("The strokes in the pocket", one.held, _percent, lower_is_better=False))
    return lines


def _percent(share: float) -> str:
    return f"{100 * abs(share):.0f} %"


def _told(what: str, trend: DayTrend, unit: Callable[[float], str], *, lower_is_better: bool) -> str:
    """One figure: what it did, how sure that is, and what would tell."""
    if trend.told:
        better = (trend.change_ci95[1] < 0) == lower_is_better
        word = "better" if better else "worse"
        return (
            f"{what} came from {unit(trend.first)} to {unit(trend.last)} (sure: at least {unit(trend.least)} {word})."
        )
    more = (
        ""
        if trend.more_days is None
        else f" If it goes on as it does, about {count(trend.more_days, 'more day')} would tell."
    )
    return f"{what}: no change that can be told yet; one of {unit(trend.least)} would have shown.{more}"
