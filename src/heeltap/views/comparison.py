"""Several takes side by side, as plain text: which one to use, and whether the player improves.

Inside: `render_comparison`, `short_names`.
"""

import re
from collections.abc import Sequence

from heeltap.analysis.compare.progress import Best, Progress, Trend
from heeltap.analysis.compare.takes import AS_GOOD_MS, Choice, Comparison, Cost, TakeRow
from heeltap.model.result import Replay
from heeltap.safe_text import safe_line
from heeltap.views.document import UNKNOWN_DELAY, Listing, Table, play_again
from heeltap.views.text import listing_text, table_text, wrapped
from heeltap.wording import count, early_late, signed_ms

__all__ = ["render_comparison", "short_names"]

_NONE = "·"

_NAME = 14
"""Columns of a take's name in the table."""


def render_comparison(
    names: Sequence[str],
    comparison: Comparison,
    replay: Sequence[Sequence[Replay]],
    *,
    delay_known: bool,
    against: str = "the click",
    command: str = "",
    more: Sequence[str] = (),
) -> str:
    """The report of takes in the order played, ending in a newline.

    Parameters
    ----------
    names : sequence of str
        The user's own, one for each take.
    replay : sequence
        For each take, the bars to play again; the report shows those of the best take.
    delay_known : bool
        Where it is False, each take is held against its own middle.
    against : str
        The click or the drums, in words.
    more : sequence of str
        Blocks that come before what is said of how far to trust it all.

    Returns
    -------
    str
    """
    whole = comparison.whole
    centre = against if delay_known else "its own middle"
    names, against = [safe_line(name) for name in names], safe_line(against)
    blocks = ["ON THESE RECORDINGS", table_text(_takes(names, comparison))]
    if whole is not None:
        blocks.insert(1, wrapped(_use(names, comparison, whole, centre), indent="  "))
        blocks.append(table_text(_sections(names, comparison)) if comparison.sections else "")
        again = play_again(replay[whole.best])
        blocks.append(listing_text(Listing(f"Play again, from {names[whole.best]}", again)) if again else "")
    blocks += ["YOUR HABITS, OVER THESE TAKES", _paragraphs(_improving(names, comparison.progress))]
    blocks += more
    blocks.append(listing_text(Listing("How far to trust this", _trust(comparison, delay_known, against, command))))
    return "\n\n".join(block for block in blocks if block) + "\n"


def short_names(names: Sequence[str]) -> list[str]:
    """Names that fit into a column: without the words that they all begin with, and with their ends if they are still long.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    list of str
        At most 14 characters each.
    """
    words = [re.findall(r".+?(?:[-_ .]+|$)", name) for name in names]
    most = max(map(len, names), default=0)
    while most > _NAME and all(len(one) > 2 for one in words) and len({one[0] for one in words}) == 1:
        words = [one[1:] for one in words]
        most = max(sum(map(len, one)) for one in words)
    short = ["".join(one) for one in words]
    return [name if len(name) <= _NAME else f"…{name[1 - _NAME :]}" for name in short]


def _paragraphs(lines: Sequence[str]) -> str:
    return "\n".join(wrapped(line, indent="  ") for line in lines)


def _use(names: Sequence[str], comparison: Comparison, whole: Choice, centre: str) -> str:
    """Which take to use for the whole part, and why."""
    best, poorest = whole.costs[whole.best], whole.costs[whole.poorest]
    if best is None or poorest is None:
        return "These takes hold nothing to compare."
    why = (
        f"{_of_hundred(best)} strokes in 100 are missed or outside the pocket, {comparison.pocket_ms:.0f} ms from "
        f"{centre}; {names[whole.poorest]} has {_of_hundred(poorest)}"
    )
    as_good = f" As good: {_named(names, whole.as_good)}." if whole.as_good else ""
    return f"Use {names[whole.best]} for the whole part: {why}.{as_good}"


def _of_hundred(cost: Cost) -> str:
    """How many strokes in a hundred are off, in whole strokes."""
    return f"{100 * cost.off_share:.0f}"


def _named(names: Sequence[str], takes: Sequence[int]) -> str:
    return ", ".join(names[index] for index in takes)


def _takes(names: Sequence[str], comparison: Comparison) -> Table:
    head = ("take", "average, ms", "spread, ms", "off, of 100", "distance, ms")
    rows = tuple(_take_row(name, row) for name, row in zip(short_names(names), comparison.takes, strict=True))
    return Table("takes", head, rows)


def _take_row(name: str, row: TakeRow) -> tuple[str, ...]:
    cost = row.cost
    off, distance = (_NONE, _NONE) if cost is None else (_of_hundred(cost), f"{cost.rms_ms:.0f}")
    return (
        name,
        signed_ms(row.bias_ms),
        _NONE if row.spread_ms is None else f"{row.spread_ms:.0f}",
        off,
        distance,
    )


def _sections(names: Sequence[str], comparison: Comparison) -> Table:
    head = ("section", "bars", "off, of 100", "use")
    short = short_names(names)
    return Table("sections", head, tuple(_section_row(short, one) for one in comparison.sections), words=True)


def _section_row(names: Sequence[str], choice: Choice) -> tuple[str, ...]:
    cost = choice.costs[choice.best]
    use = names[choice.best]
    if len(choice.as_good) == 1:
        use += f", or {names[choice.as_good[0]]}"
    elif choice.as_good:
        use += f" ({len(choice.as_good)} are as good)"
    off = _NONE if cost is None else _of_hundred(cost)
    return choice.name or "(no name)", f"{choice.first_bar}-{choice.last_bar}", off, use


def _improving(names: Sequence[str], progress: Progress) -> tuple[str, ...]:
    """The answer to "am I improving?"."""
    if progress.needed:
        more = count(progress.needed, "more take")
        return (f"No change that can be told yet: {more} would show how your takes differ among themselves.",)
    told = [trend for trend in progress.trends if trend.told and not (progress.best and trend.what == "spread")]
    parts = [_bent(names, progress.best, progress)] if progress.best else []
    parts += [_change(trend, progress) for trend in told]
    if parts:
        return tuple(parts)
    waits = [trend.more_takes for trend in progress.trends if trend.more_takes is not None]
    if waits:
        return (f"No change that can be told yet; at this pace {count(min(waits), 'more take')} would tell.",)
    return ("No change that can be told: your takes differ more among themselves than they change.",)


def _size(value: float, progress: Progress) -> str:
    """A spread, in the unit of the comparison."""
    return f"{value:.0f} ms" if progress.one_tempo else f"{value:.0f} % of the pocket"


def _bent(names: Sequence[str], best: Best, progress: Progress) -> str:
    where = names[best.first] if best.first == best.last else f"{names[best.first]} to {names[best.last]}"
    return (
        f"You were best at {where}, with a spread of {_size(best.spread, progress)}; since {names[best.last + 1]} it gets "
        f"looser, to {_size(best.now, progress)} by now."
    )


def _change(trend: Trend, progress: Progress) -> str:
    """One thing that changes from take to take."""
    over = f"over {count(progress.takes, 'take')}"
    low, high = trend.per_take_ci95
    if trend.what == "spread":
        word = "tighter" if trend.last < trend.first else "looser"
        ends = sorted((abs(100 * (low - 1)), abs(100 * (high - 1))))
        sure = f"95 % sure: {ends[0]:.0f} to {ends[1]:.0f} % {'less' if word == 'tighter' else 'more'} with each take"
        spreads = f"from {_size(trend.first, progress)} to {_size(trend.last, progress)}"
        return f"You are getting {word}: your spread goes {spreads} {over} ({sure})."
    if trend.what == "rush":
        verb = "rush" if min(trend.first, trend.last, key=lambda one: -abs(one)) < 0 else "drag"
        word = "less" if abs(trend.last) < abs(trend.first) else "more"
        return (
            f"You {verb} into the changes {word}: beside the rest your last bar before them goes from "
            f"{early_late(trend.first)} to {early_late(trend.last)} {over}."
        )
    return f"Your average moves from {early_late(trend.first)} to {early_late(trend.last)} {over}."


def _trust(comparison: Comparison, delay_known: bool, against: str, command: str) -> tuple[str, ...]:
    price = 2 * comparison.pocket_ms
    centre = against if delay_known else "the middle of their own take"
    lines = [
        f"Distance is the root mean square of how far your strokes lie from {centre}. A missed stroke counts like one "
        f"{price:.0f} ms off, an extra note adds half of that, and no stroke counts more. Takes within {AS_GOOD_MS:.0f} ms "
        "of the best are as good: nobody hears the difference.",
        "Off, of 100: strokes outside the pocket or missed, of 100 that were due.",
        "Of twenty comparisons at most one says something untrue about your habits.",
    ]
    if not delay_known:
        lines.append(UNKNOWN_DELAY)
    if command:
        lines.append(f"To compare again: {command}")
    return tuple(lines)
