"""Several takes of one part side by side, as plain text.

Inside: `render_comparison`.
"""

from collections.abc import Sequence

from heeltap.analysis.compare.takes import Comparison, Interval, Trend
from heeltap.model.result import Replay
from heeltap.views.document import Listing, Table
from heeltap.views.text import listing_text, table_text, wrapped
from heeltap.wording import bars, count, ms, signed_ms

__all__ = ["render_comparison"]

_NONE = "·"


def render_comparison(
    names: Sequence[str],
    comparison: Comparison,
    replay: Sequence[Sequence[Replay]],
    *,
    delay_known: bool,
    command: str = "",
) -> str:
    """The report of takes in the order played, ending in a newline.

    Parameters
    ----------
    names : sequence of str
        One for each take.
    replay : sequence
        For each take, the bars to play again; the report shows those of the best take.
    delay_known : bool
        Where it is False, the report does not say which take is nearer to the lean.
    """
    best = comparison.whole.open[0] if comparison.whole.open else 0
    again = tuple(f"{bars(range(r.first_bar, r.last_bar + 1))}: {r.why}" for r in replay[best])
    blocks = [
        "\n".join(wrapped(line, indent="  ") for line in _sentences(comparison, delay_known=delay_known)),
        table_text(_takes(names, comparison)),
        table_text(_sections(comparison)) if comparison.sections else "",
        listing_text(Listing(f"Play again, from take {best + 1}", again)) if again else "",
        listing_text(Listing("How far to trust this", _trust(comparison, command))),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _sentences(comparison: Comparison, *, delay_known: bool) -> tuple[str, ...]:
    """How the last take compares with the first, and which way all of them go."""
    against = comparison.last_against_first
    last = len(comparison.takes)
    lines = [_tighter(comparison, last)]
    if delay_known and against.distance_change_ms.value is not None:
        lines.append(_distance(against.distance_change_ms, last))
    whole = comparison.whole
    if whole.better is not None:
        lines.append(f"Take {whole.better + 1} is the best of the whole part.")
    elif whole.open:
        open_takes = ", ".join(str(take + 1) for take in whole.open)
        lines.append(
            f"heeltap cannot tell yet which take is the best of the whole part; it is one of these: {open_takes}."
        )
    if comparison.jitter_trend.per_take is not None:
        lines.append(_trend(comparison.jitter_trend))
    return tuple(lines)


def _tighter(comparison: Comparison, last: int) -> str:
    ratio = comparison.last_against_first.jitter_ratio
    if ratio.value is None:
        return f"Takes 1 and {last} have too few strokes in common to compare them."
    size = f"{abs(1 - ratio.value) * 100:.0f} %"
    sure = "" if ratio.ci95 is None else f" (95 % sure: {_percent(ratio.ci95[0])} to {_percent(ratio.ci95[1])})"
    word = {None: "", 0: "looser", 1: "tighter"}[comparison.last_against_first.tighter]
    if word:
        return f"Take {last} is {size} {word} than take 1 from stroke to stroke{sure}."
    return f"heeltap cannot tell whether take {last} is tighter or looser than take 1{sure}."


def _percent(ratio: float) -> str:
    return f"{(ratio - 1) * 100:+.0f} %"


def _distance(change: Interval, last: int) -> str:
    value = change.value or 0.0
    clear = change.ci95 is not None and (change.ci95[1] < 0 or change.ci95[0] > 0)
    if not clear:
        return (
            f"heeltap cannot tell whether its average is nearer to where you aimed or farther ({signed_ms(value)} ms)."
        )
    return f"The average of take {last} is {ms(value)} {'nearer to' if value < 0 else 'farther from'} where you aimed."


def _trend(trend: Trend) -> str:
    change = (trend.per_take or 0.0) * 100
    if trend.ci95 is None:
        return f"From take to take your spread changes by {change:+.0f} %; these are too few takes to call it a trend."
    low, high = (edge * 100 for edge in trend.ci95)
    if low < 0 < high:
        return f"heeltap cannot tell yet whether you get tighter or looser ({change:+.0f} % a take, {low:+.0f} to {high:+.0f})."
    return f"From take to take your spread changes by {change:+.0f} % (95 % sure: {low:+.0f} to {high:+.0f} %)."


def _takes(names: Sequence[str], comparison: Comparison) -> Table:
    rows = tuple(
        (f"take {i + 1}", f"{row.n:,}", signed_ms(row.bias_ms), _whole(row.spread_ms), _whole(row.jitter_ms), name)
        for i, (name, row) in enumerate(zip(names, comparison.takes, strict=True))
    )
    return Table("takes", ("take", "strokes", "average, ms", "spread, ms", "jitter, ms", "file"), rows, words=True)


def _sections(comparison: Comparison) -> Table:
    rows = tuple(
        (choice.name or "(no name)", f"{choice.first_bar}-{choice.last_bar}", f"{choice.n:,}", choice.text)
        for choice in comparison.sections
    )
    return Table("sections", ("section", "bars", "strokes", "better take"), rows, words=True)


def _whole(value: float | None) -> str:
    return _NONE if value is None else f"{value:.1f}"


def _trust(comparison: Comparison, command: str) -> tuple[str, ...]:
    lines = [
        f"heeltap pairs the takes stroke by stroke; the first and the last share "
        f"{count(comparison.last_against_first.n, 'stroke')}.",
        "Jitter is your spread once a running mean of nine strokes is taken away. heeltap judges progress by it, because "
        "one take is too short to show how you wander.",
    ]
    if command:
        lines.append(f"To compare again: {command}")
    return tuple(lines)
