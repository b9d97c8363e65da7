"""A Result as plain text for a terminal: what a player reads first, in eighty columns.

The order is the reader's: what was scored, what the numbers say in a sentence, where it happens, what stands out, what
to play again, what next, and last how far to trust it all.

Inside: `render`, `one_line`, `TABLE_HEAD`.
"""

from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap

from heeltap.core.result import Overall, Result
from heeltap.report.words import bars, count, early_late, early_late_range, ms, range_ms, signed_ms, steps_of_five

__all__ = ["TABLE_HEAD", "one_line", "render"]

WIDTH = 78

TABLE_HEAD = f"{'strokes':>7} {'average':>8} {'scatter':>8} {'pocket':>8} {'score':>6}  file"
"""Titles of the columns of `one_line`, milliseconds; the average is signed, minus is early."""

_MOST_BEATS = 16
"""Rows in the table by beat; beyond that the table by division tells more."""


def render(result: Result) -> str:
    """The whole report, ending in a newline."""
    blocks = [
        _head(result),
        _sentences(result),
        _table("by beat", ((f"beat {row.beat:g}", row) for row in result.by_beat), len(result.by_beat) <= _MOST_BEATS),
        _table("by division", ((row.division, row) for row in result.by_division), len(result.by_division) > 1),
        _sections(result),
        _list("What stands out", (finding.text for finding in result.findings)),
        _list("Play again", (f"{bars(range(r.first_bar, r.last_bar + 1))}: {r.why}" for r in result.replay)),
        _list("Next", (advice.text for advice in result.advice)),
        _trust(result),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def one_line(result: Result) -> str:
    """One row of a table of many files: strokes, average, scatter, share in the pocket, score."""
    o = result.overall
    share = "·" if o.in_pocket is None else f"{100 * o.in_pocket:.0f} %"
    score = "·" if o.score is None else str(steps_of_five(o.score))
    spread = "·" if o.spread_ms is None else f"{o.spread_ms:.0f}"
    return f"{o.n:>7} {signed_ms(o.bias_ms):>8} {spread:>8} {share:>8} {score:>6}"


def _head(result: Result) -> str:
    return _fill([f"{result.file} · {result.part} · against {result.reference.name}"])


def _sentences(result: Result) -> str:
    o = result.overall
    if o.n == 0 or o.bias_ms is None or o.spread_ms is None:
        return "Nothing was played that could be judged."
    lines = [_average(o), _scatter(o)]
    if o.in_pocket is not None:
        lines.append(_pocket(result))
    if result.counts.planned:
        lines.append(_hits(result))
    if result.swing is not None:
        lines.append(_swing(result))
    return "\n".join(_fill([line], indent="  ") for line in lines)


def _average(o: Overall) -> str:
    assert o.bias_ms is not None
    sure = (
        f" (95 % sure: {early_late_range(o.bias_ci95_ms)})" if o.bias_ci95_ms else " (too few strokes to say how sure)"
    )
    return f"On average {early_late(o.bias_ms)}{sure}, over {count(o.n, 'stroke')}."


def _scatter(o: Overall) -> str:
    assert o.spread_ms is not None
    sure = f" (95 % sure: {range_ms(o.spread_ci95_ms)})" if o.spread_ci95_ms else ""
    return f"Strokes scatter by {ms(o.spread_ms)} around that{sure}."


def _pocket(result: Result) -> str:
    o = result.overall
    assert o.in_pocket is not None
    lean = "the beat" if result.lean_ms == 0 else f"the lean of {signed_ms(result.lean_ms)} ms"
    width = "what a listener can hear" if result.pocket_ms is None else f"{result.pocket_ms:g} ms either side"
    text = f"{100 * o.in_pocket:.0f} of 100 strokes are in the pocket around {lean} ({width})."
    if o.score is not None:
        low, high = (steps_of_five(edge) for edge in o.score_ci95 or (o.score, o.score))
        between = f" (between {low} and {high})" if low != high else ""
        text += f" Score {steps_of_five(o.score)} of 100{between}."
    return text


def _hits(result: Result) -> str:
    c = result.counts
    return (
        f"Of {count(c.planned, 'planned note')}, {c.matched:,} were played, {c.wrong_pitch:,} on another key, "
        f"{c.missed:,} missed; {count(c.extra, 'note')} not in the plan."
    )


def _swing(result: Result) -> str:
    swing = result.swing
    assert swing is not None
    sure = f" (95 % sure: {swing.ci95[0]:.2f} to {swing.ci95[1]:.2f})" if swing.ci95 else ""
    return f"Swung eighths at {swing.ratio:.2f} to 1{sure}, from {count(swing.n, 'pair')}."


def _table(title: str, rows: Iterable[tuple[str, object]], wanted: bool) -> str:
    if not wanted:
        return ""
    lines = [f"  {title:<14} {'strokes':>7} {'average, ms':>12} {'95 % sure':>14} {'scatter, ms':>12}"]
    lines += [_table_row(label, row) for label, row in rows]
    return "\n".join(lines) if len(lines) > 1 else ""


def _table_row(label: str, row: object) -> str:
    interval = getattr(row, "bias_ci95_ms", None)
    sure = "·" if interval is None else f"{interval[0]:+.0f} .. {interval[1]:+.0f}"
    spread = getattr(row, "spread_ms", None)
    scatter = "·" if spread is None else f"{spread:.0f}"
    number, bias = getattr(row, "n", 0), getattr(row, "bias_ms", None)
    return f"  {label:<14} {number:>7} {signed_ms(bias):>12} {sure:>14} {scatter:>12}"


def _sections(result: Result) -> str:
    rows = result.by_section
    if not rows:
        return ""
    lines = [f"  {'section':<14} {'bars':>9} {'strokes':>7} {'average, ms':>12} {'scatter, ms':>12}  in words"]
    for row in rows:
        scatter = "·" if row.spread_ms is None else f"{row.spread_ms:.0f}"
        span = f"{row.first_bar}-{row.last_bar}"
        name = _clip(row.name or "(no name)", 14)
        lines.append(
            f"  {name:<14} {span:>9} {row.n:>7} {signed_ms(row.bias_ms):>12} {scatter:>12}  {row.verdict}".rstrip()
        )
    return "\n".join(lines)


def _list(title: str, items: Iterable[str]) -> str:
    lines = [_fill([item], indent="    ", first="  - ") for item in items]
    return "\n".join([title, *lines]) if lines else ""


def _trust(result: Result) -> str:
    lines = ["Offsets are played minus reference: minus is early, plus is late."]
    if not result.calibration.known:
        lines.append(
            "The delay between finger and number is not known: everything may be shifted early or late by the same "
            "amount. Differences between beats, bars and takes are not affected."
        )
    elif result.calibration.delay_ms:
        lines.append(f"A delay of {ms(result.calibration.delay_ms)} ({result.calibration.method}) was taken away.")
    if result.resolution_ms is not None:
        lines.append(f"Nothing finer than {result.resolution_ms:.2g} ms can be told from this file.")
    lines += [f"Note: {warning}" for warning in result.warnings]
    return "\n".join(["How far to trust this", *(_fill([line], indent="    ", first="  - ") for line in lines)])


def _clip(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _fill(parts: Sequence[str], *, indent: str = "", first: str | None = None) -> str:
    return "\n".join(_wrapped(" ".join(parts), indent, indent if first is None else first))


def _wrapped(text: str, indent: str, first: str) -> Iterator[str]:
    yield from wrap(text, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False)
