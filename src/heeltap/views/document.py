"""What a report says, before any layout: sentences, tables and lists that text and page render alike.

The order is the one in which you need it: which take this is, how it went in a few sentences, where it happened, what
stands out, what to play again, what comes next, and last how far you can trust it all.

Inside: `Document`, `Table`, `Listing`, `document_of`, `play_again`, `UNKNOWN_DELAY`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from heeltap.analysis.section_words import delay_share, unsure_ms, widened
from heeltap.model.result import BeatRow, Calibration, DivisionRow, MoreBars, Replay, Result, SectionRow
from heeltap.wording import bars, count, early_late, early_late_range, ms, range_ms, signed_ms

__all__ = [
    "NEXT",
    "PLAY_AGAIN",
    "STANDS_OUT",
    "UNKNOWN_DELAY",
    "Document",
    "Half",
    "Listing",
    "Table",
    "average_of",
    "document_of",
    "play_again",
]

_MOST_BEATS = 16
"""Rows in the table by beat; beyond that the table by division tells more."""

THE_TAKE, THE_PLAYER = "On this recording", "Your habits"
"""The two halves of a report: facts of the take, and what they suggest of the player."""

STANDS_OUT, PLAY_AGAIN, NEXT = "What stands out", "Play again", "Next"
"""Titles of the lists."""

UNKNOWN_DELAY = (
    "Early and late are not scored, because the delay of your gear is not known: press u on the screens or type "
    "heeltap calibrate, two minutes."
)
"""How somebody whose delay is not known comes to absolute numbers."""

_NONE = "·"
"""Where there is no number."""

_HOW = {"microphone": "measured with a microphone", "given": "the one that you gave"}
"""How heeltap knows the delay, by the method of the calibration."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose first column is text and the rest numbers; with ``words`` the last column is text again."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """A titled list of sentences; what follows a line break in one stands on a line of its own."""

    title: str
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Half:
    """One of the two halves of a report."""

    title: str
    sentences: tuple[str, ...]
    tables: tuple[Table, ...]
    lists: tuple[Listing, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report."""

    title: str
    subtitle: str
    take: Half
    """Facts of the recording: where the strokes lie, what to play again."""
    player: Half
    """What they suggest of the player: each statement held to how sure it is."""
    trust: Listing

    @property
    def halves(self) -> tuple[Half, Half]:
        """Both, in the order in which they are read."""
        return self.take, self.player


def document_of(result: Result, *, command: str = "") -> Document:
    """The report of a result; ``command`` is the line that makes it again."""
    return Document(
        title=result.file,
        subtitle=", ".join(part for part in (result.part, f"against {result.reference.name}") if part),
        take=_take(result),
        player=_player(result),
        trust=Listing("How far to trust this", _trust(result, command)),
    )


def _take(result: Result) -> Half:
    """What is on the recording."""
    by_beat = [_row(f"beat {row.beat:g}", row) for row in result.by_beat]
    tables = (
        _table("by beat", by_beat if len(by_beat) <= _MOST_BEATS else ()),
        _table(
            "by subdivision",
            [_row(row.division, row) for row in result.by_division] if len(result.by_division) > 1 else (),
        ),
        _section_table(result),
    )
    again = Listing(PLAY_AGAIN, play_again(result.replay, result.replay_more))
    shown = tuple(table for table in tables if table.rows)
    return Half(THE_TAKE, _sentences(result), shown, (again,) if again.entries else ())


def _player(result: Result) -> Half:
    """What looks like a habit, and what to do next."""
    lists = (
        Listing(STANDS_OUT, tuple(finding.text for finding in result.findings)),
        Listing(NEXT, tuple(advice.text for advice in result.advice)),
    )
    return Half(THE_PLAYER, _usually(result), (), tuple(listing for listing in lists if listing.entries))


def average_of(bias_ms: float, calibration: Calibration) -> str:
    """Where the strokes lie on average; an unknown delay of the gear is a part of that."""
    if calibration.known:
        return f"On average you are {early_late(bias_ms)}"
    return f"On average your strokes arrive {early_late(bias_ms)}, with your gear's own delay in that"


def _usually(result: Result) -> tuple[str, ...]:
    """Where the player's average and spread lie, as far as one take can tell."""
    o = result.overall
    if not result.on_grid or o.bias_ms is None or o.bias_ci95_ms is None:
        return ()
    delay_ms = unsure_ms(result.calibration)
    said = []
    if result.calibration.known:
        said.append(f"average {early_late_range(widened(o.bias_ms, o.bias_ci95_ms, delay_ms))}{delay_share(delay_ms)}")
    if o.spread_ci95_ms:
        said.append(f"spread by {range_ms(o.spread_ci95_ms)}")
    swing = result.swing
    if swing and swing.ci95:
        said.append(f"swing {swing.ci95[0]:.2f} to {swing.ci95[1]:.2f} to 1")
    return (f"Going by this take alone you usually {' and '.join(said)} (95 % sure).",) if said else ()


def play_again(replay: Sequence[Replay], more: MoreBars | None = None) -> tuple[str, ...]:
    """The bars to play again as entries of a list, each with its command, and what lies behind them."""
    entries = []
    for one in replay:
        command = f"\n{one.command}" if one.command else ""
        entries.append(f"{bars(range(one.first_bar, one.last_bar + 1))}: {one.why}{command}")
    if more is not None:
        low, high = (None, None) if more.between_ms is None else map(round, more.between_ms)
        span = "" if low is None else f" {low} ms off" if low == high else f" between {low} and {high} ms"
        entries.append(f"and {count(len(more.bars), 'more bar')}{span}: {bars(more.bars).partition(' ')[2]}")
    return tuple(entries)


def _sentences(result: Result) -> tuple[str, ...]:
    """Where the take lies, then how it was played."""
    return (*result.place, *_played(result))


def _played(result: Result) -> tuple[str, ...]:
    o = result.overall
    if o.n == 0:
        return ("No stroke of this take can be judged.",)
    if o.bias_ms is None or o.spread_ms is None:
        return (f"Only {count(o.n, 'stroke')} can be judged: too few to tell your average and your spread. Play 40.",)
    if not result.on_grid:
        return (
            "This take does not follow this click. You can read below where its strokes fall, but not how well you played.",
        )
    lines = [
        f"{average_of(o.bias_ms, result.calibration)}, over {count(o.n, 'stroke')}; your strokes spread by {ms(o.spread_ms)}."
    ]
    if o.in_pocket is not None:
        lines.append(_pocket(o.in_pocket, result))
    if result.counts.planned:
        lines.append(_hits(result))
    if result.swing is not None:
        swing = result.swing
        lines.append(f"You swing the {swing.unit}s {swing.ratio:.2f} to 1, over {count(swing.n, 'pair')}.")
    return tuple(lines)


def _pocket(share: float, result: Result) -> str:
    o = result.overall
    text = f"{100 * share:.0f} % of your strokes are in the pocket: {_within(result)}."
    if o.score is None:
        return text
    if result.calibration.known:
        return f"{text} Score {o.score} of 100."
    return f"{text} Score {o.score} of 100, for tightness alone. {UNKNOWN_DELAY}"


def _within(result: Result) -> str:
    """ "within 25 ms of the click", and what that means where a lean was aimed at or the delay is not known."""
    o = result.overall
    width = f"within {o.pocket_ms:.0f} ms of"
    wider = (
        "" if result.pocket_ms is not None or len(result.by_division) < 2 else ", half as much again between the beats"
    )
    reference = "the drums" if result.reference.kind == "leader" else "the click"
    if not result.calibration.known:
        return f"{width} your own middle{wider}"
    if result.lean_ms == 0:
        return f"{width} {reference}{wider}"
    return f"{width} your aim, {ms(result.lean_ms)} {'behind' if result.lean_ms > 0 else 'ahead of'} {reference}{wider}"


def _hits(result: Result) -> str:
    c = result.counts
    other = f", hit another key for {c.wrong_pitch:,}" if c.wrong_pitch else ""
    extra = f" You added {count(c.extra, 'note')} that the plan does not have." if c.extra else ""
    if c.matched == c.planned:
        return f"You played all {count(c.planned, 'planned note')}.{extra}"
    return f"You played {c.matched:,} of {count(c.planned, 'planned note')}{other} and missed {c.missed:,}.{extra}"


def _table(title: str, rows: Iterable[tuple[str, ...]]) -> Table:
    return Table(title, (title, "strokes", "average, ms", "spread, ms"), tuple(rows))


def _row(label: str, row: BeatRow | DivisionRow) -> tuple[str, ...]:
    return label, f"{row.n:,}", signed_ms(row.bias_ms), _whole(row.spread_ms)


def _section_table(result: Result) -> Table:
    head = ("section", "bars", "strokes", "average, ms", "spread, ms", "in words")
    return Table("by section", head, tuple(_section_row(row) for row in result.by_section), words=True)


def _section_row(row: SectionRow) -> tuple[str, ...]:
    span = f"{row.first_bar}-{row.last_bar}"
    return row.name or "(no name)", span, f"{row.n:,}", signed_ms(row.bias_ms), _whole(row.spread_ms), row.verdict


def _whole(value: float | None) -> str:
    return _NONE if value is None else f"{value:.0f}"


def _delay(calibration: Calibration) -> list[str]:
    """Which delay heeltap took away and how sure that is, or what it means that the delay is not known."""
    if not calibration.known:
        feel = " A feel offset does not change that." if calibration.method == "feel" else ""
        return [
            "heeltap does not know the delay between your finger and the number, so everything may be early or late by "
            f"the same amount. Differences between beats, bars and takes hold all the same.{feel}"
        ]
    sure = "" if calibration.uncertainty_ms is None else f", give or take {calibration.uncertainty_ms:.1f} ms"
    if calibration.method == "same-path":
        return [f"You hear the click and yourself through the same output, so heeltap took no delay away{sure}."]
    if not calibration.delay_ms:
        return []
    return [
        f"heeltap took a delay of {ms(calibration.delay_ms)} away ({_HOW.get(calibration.method, calibration.method)}{sure})."
    ]


def _trust(result: Result, command: str) -> tuple[str, ...]:
    lines = ["Minus is early, plus is late: an offset is when you played, less when the stroke was due."]
    lines += _delay(result.calibration)
    if result.resolution_ms is not None:
        lines.append(f"This file shows nothing finer than {result.resolution_ms:.2g} ms.")
    lines += [f"Note: {warning}" for warning in result.warnings]
    if command:
        lines.append(f"To make this report again: {command}")
    return tuple(lines)
