"""A Result as plain text for a terminal, in eighty columns.

Inside: `render`, `one_line`, `TABLE_HEAD`, and the pieces that other reports share: `table_text`, `listing_text`, `wrapped`.
"""

from textwrap import fill

from heeltap.model.result import Result
from heeltap.safe_text import safe_line
from heeltap.views.document import Half, Listing, Table, document_of
from heeltap.wording import signed_ms

__all__ = ["TABLE_HEAD", "WIDTH", "listing_text", "one_line", "render", "table_text", "wrapped"]

WIDTH = 78
"""Columns of text: eighty and a margin."""

TABLE_HEAD = f"{'strokes':>7} {'average':>8} {'spread':>8} {'pocket':>8} {'score':>6}  file"
"""Titles of the columns of `one_line`, milliseconds; the average is signed, minus is early."""

_FIRST_COLUMN = 14
_NUMBER_COLUMN = 13


def render(result: Result, *, command: str = "") -> str:
    """The whole report, ending in a newline; ``command`` is the line that makes it again."""
    document = document_of(result, command=command)
    blocks = [
        wrapped(f"{document.title} · {document.subtitle}"),
        *(block for half in document.halves for block in _half_text(half)),
        listing_text(document.trust),
    ]
    return "\n\n".join(blocks) + "\n"


def _half_text(half: Half) -> list[str]:
    """The blocks of one half, its title first; none where it says nothing."""
    blocks = [
        "\n".join(wrapped(line, indent="  ") for line in half.sentences),
        *(table_text(table) for table in half.tables),
        *(listing_text(listing) for listing in half.lists),
    ]
    said = [block for block in blocks if block]
    return [half.title.upper(), *said] if said else []


def one_line(result: Result) -> str:
    """One row of a table of many files: strokes, average, spread, share in the pocket, score."""
    o = result.overall
    share = "·" if o.in_pocket is None else f"{100 * o.in_pocket:.0f} %"
    score = "·" if o.score is None else str(o.score)
    spread = "·" if o.spread_ms is None else f"{o.spread_ms:.0f}"
    return f"{o.n:>7} {signed_ms(o.bias_ms):>8} {spread:>8} {share:>8} {score:>6}"


def table_text(table: Table) -> str:
    """The table, one line a row."""
    return "\n".join(_columns(row, words=table.words) for row in (table.head, *table.rows))


def _columns(row: tuple[str, ...], *, words: bool) -> str:
    """One line: the first column left, numbers right, words left again."""
    name = row[0] if len(row[0]) <= _FIRST_COLUMN else row[0][: _FIRST_COLUMN - 1] + "…"
    numbers, last = (row[1:-1], f"  {row[-1]}") if words else (row[1:], "")
    cells = "".join(f"{cell:>{_NUMBER_COLUMN}}" for cell in numbers)
    return safe_line(f"  {name:<{_FIRST_COLUMN}}{cells}{last}".rstrip())


def listing_text(listing: Listing) -> str:
    """The title and the entries, each with a dash before it."""
    lines = [
        wrapped(line, indent="    ", first="    " if at else "  - ")
        for item in listing.entries
        for at, line in enumerate(item.split("\n"))
    ]
    return "\n".join([listing.title, *lines])


def wrapped(text: str, *, indent: str = "", first: str | None = None) -> str:
    """The text in lines of at most `WIDTH` columns."""
    return fill(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
        break_long_words=False,
    )
