"""What a report says, before any layout: sentences, tables and lists that text and page render alike.

The order is the reader's: what was scored, what the numbers say in a sentence, where it happens, what stands out, what
to play again, what next, and last how far to trust it all.

Inside: `Document`, `Table`, `Listing`, `document_of`.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from heeltap.analysis.section_words import delay_share, unsure_ms, widened
from heeltap.model.result import BeatRow, Calibration, DivisionRow, Overall, Result, SectionRow
from heeltap.wording import bars, count, early_late, early_late_range, ms, range_ms, signed_ms, steps_of_five

__all__ = ["Document", "Listing", "Table", "document_of"]

_MOST_BEATS = 16
"""Rows in the table by beat; beyond that the table by division tells more."""

_VAGUE = 60
"""Points of range beyond which a score's interval says nothing but that."""

_NONE = "·"
"""Where there is no number."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose first column is text and the rest numbers; with ``words`` the last column is text again."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """A titled list of sentences."""

    title: str
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report."""

    title: str
    subtitle: str
    sentences: tuple[str, ...]
    tables: tuple[Table, ...]
    lists: tuple[Listing, ...]
    trust: Listing


def document_of(result: Result, *, command: str = "") -> Document:
    """The report of a result; ``command`` is the line that makes it again."""
    by_beat = [_row(f"beat {row.beat:g}", row) for row in result.by_beat]
    tables = (
        _table("by beat", by_beat if len(by_beat) <= _MOST_BEATS else ()),
        _table(
            "by division",
            [_row(row.division, row) for row in result.by_division] if len(result.by_division) > 1 else (),
        ),
        _section_table(result),
    )
    lists = (
        Listing("What stands out", tuple(finding.text for finding in result.findings)),
        Listing("Play again", tuple(f"{bars(range(r.first_bar, r.last_bar + 1))}: {r.why}" for r in result.replay)),
        Listing("Next", tuple(advice.text for advice in result.advice)),
    )
    return Document(
        title=result.file,
        subtitle=", ".join(part for part in (result.part, f"against {result.reference.name}") if part),
        sentences=_sentences(result),
        tables=tuple(table for table in tables if table.rows),
        lists=tuple(listing for listing in lists if listing.entries),
        trust=Listing("How far to trust this", _trust(result, command)),
    )


def _sentences(result: Result) -> tuple[str, ...]:
    o = result.overall
    if o.n == 0:
        return ("Nothing was played that could be judged.",)
    if o.bias_ms is None or o.spread_ms is None:
        return (
            f"{count(o.n, 'stroke')} could be judged: too little to say how they scatter, or how sure an average is.",
        )
    if not result.on_grid:
        return (
            "This take does not follow this click: what is said of it below is where its strokes fall, not how it was played.",
        )
    lines = [_average(o.bias_ms, o, result.calibration), _scatter(o.spread_ms, o)]
    if o.in_pocket is not None:
        lines.append(_pocket(o.in_pocket, result))
    if result.counts.planned:
        lines.append(_hits(result))
    if result.swing is not None:
        swing = result.swing
        sure = f" (95 % sure: {swing.ci95[0]:.2f} to {swing.ci95[1]:.2f})" if swing.ci95 else ""
        lines.append(f"Swung eighths at {swing.ratio:.2f} to 1{sure}, from {count(swing.n, 'pair')}.")
    return tuple(lines)


def _average(bias_ms: float, o: Overall, calibration: Calibration) -> str:
    """The average with an interval that holds the delay's own uncertainty, too: early or late is said of the sum."""
    if o.bias_ci95_ms is None:
        return f"On average {early_late(bias_ms)} over {count(o.n, 'stroke')}: too few to say how sure."
    delay_ms = unsure_ms(calibration)
    sure = early_late_range(widened(bias_ms, o.bias_ci95_ms, delay_ms)) + delay_share(delay_ms)
    return f"On average {early_late(bias_ms)} (95 % sure: {sure}), over {count(o.n, 'stroke')}."


def _scatter(spread_ms: float, o: Overall) -> str:
    sure = f" (95 % sure: {range_ms(o.spread_ci95_ms)})" if o.spread_ci95_ms else ""
    return f"Strokes scatter by {ms(spread_ms)} around that{sure}."


def _pocket(share: float, result: Result) -> str:
    o = result.overall
    lean = "the beat" if result.lean_ms == 0 else f"the lean of {signed_ms(result.lean_ms)} ms"
    width = "what a listener can hear" if result.pocket_ms is None else f"{result.pocket_ms:g} ms either side"
    text = f"{100 * share:.0f} % of the strokes are in the pocket around {lean} ({width})."
    if o.score is None:
        return text
    low, high = (steps_of_five(edge) for edge in o.score_ci95 or (o.score, o.score))
    if high - low > _VAGUE:
        return f"{text} Score {steps_of_five(o.score)} of 100 for this take; another could score quite differently."
    between = f" (between {low} and {high})" if low != high else ""
    return f"{text} Score {steps_of_five(o.score)} of 100{between}."


def _hits(result: Result) -> str:
    c = result.counts
    return (
        f"Of {count(c.planned, 'planned note')}, {c.matched:,} were played, {c.wrong_pitch:,} on another key, "
        f"{c.missed:,} missed; {count(c.extra, 'note')} not in the plan."
    )


def _table(title: str, rows: Iterable[tuple[str, ...]]) -> Table:
    return Table(title, (title, "strokes", "average, ms", "95 % sure", "scatter, ms"), tuple(rows))


def _row(label: str, row: BeatRow | DivisionRow) -> tuple[str, ...]:
    sure = _NONE if row.bias_ci95_ms is None else " .. ".join(signed_ms(edge) for edge in row.bias_ci95_ms)
    return label, f"{row.n:,}", signed_ms(row.bias_ms), sure, _whole(row.spread_ms)


def _section_table(result: Result) -> Table:
    head = ("section", "bars", "strokes", "average, ms", "scatter, ms", "in words")
    return Table("by section", head, tuple(_section_row(row) for row in result.by_section), words=True)


def _section_row(row: SectionRow) -> tuple[str, ...]:
    span = f"{row.first_bar}-{row.last_bar}"
    return row.name or "(no name)", span, f"{row.n:,}", signed_ms(row.bias_ms), _whole(row.spread_ms), row.verdict


def _whole(value: float | None) -> str:
    return _NONE if value is None else f"{value:.0f}"


def _delay(calibration: Calibration) -> list[str]:
    """What was taken away, how sure that is, and what it means where nothing was."""
    if not calibration.known:
        feel = " A feel offset judges nothing." if calibration.method == "feel" else ""
        return [
            "The delay between finger and number is not known: everything may be shifted early or late by the same "
            f"amount. Differences between beats, bars and takes are not affected.{feel}"
        ]
    sure = "" if calibration.uncertainty_ms is None else f", give or take {calibration.uncertainty_ms:.1f} ms"
    if calibration.method == "same-path":
        return [f"Click and own sound share one path: nothing was taken away{sure}."]
    if not calibration.delay_ms:
        return []
    return [f"A delay of {ms(calibration.delay_ms)} ({calibration.method}{sure}) was taken away."]


def _trust(result: Result, command: str) -> tuple[str, ...]:
    lines = ["Offsets are played minus reference: minus is early, plus is late."]
    lines += _delay(result.calibration)
    if result.resolution_ms is not None:
        lines.append(f"Nothing finer than {result.resolution_ms:.2g} ms can be told from this file.")
    lines += [f"Note: {warning}" for warning in result.warnings]
    if command:
        lines.append(f"The same again: {command}")
    return tuple(lines)
