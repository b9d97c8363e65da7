"""A Result as plain text for a terminal, in eighty columns.

Inside: `render`, `one_line`, `TABLE_HEAD`.
"""

from textwrap import fill

from heeltap.core.result import Result
from heeltap.report.document import Listing, Table, document_of
from heeltap.report.words import signed_ms, steps_of_five

__all__ = ["TABLE_HEAD", "WIDTH", "one_line", "render"]

WIDTH = 78
"""Columns of text: eighty and a margin."""

TABLE_HEAD = f"{'strokes':>7} {'average':>8} {'scatter':>8} {'pocket':>8} {'score':>6}  file"
"""Titles of the columns of `one_line`, milliseconds; the average is signed, minus is early."""

_FIRST_COLUMN = 14
_NUMBER_COLUMN = 13


def render(result: Result, *, command: str = "") -> str:
    """The whole report, ending in a newline; ``command`` is the line that makes it again."""
    document = document_of(result, command=command)
    blocks = [
        _filled(f"{document.title} · {document.subtitle}"),
        "\n".join(_filled(line, indent="  ") for line in document.sentences),
        *(_table(table) for table in document.tables),
        *(_listing(listing) for listing in (*document.lists, document.trust)),
    ]
    return "\n\n".join(blocks) + "\n"


def one_line(result: Result) -> str:
    """One row of a table of many files: strokes, average, scatter, share in the pocket, score."""
    o = result.overall
    share = "·" if o.in_pocket is None else f"{100 * o.in_pocket:.0f} %"
    score = "·" if o.score is None else str(steps_of_five(o.score))
    spread = "·" if o.spread_ms is None else f"{o.spread_ms:.0f}"
    return f"{o.n:>7} {signed_ms(o.bias_ms):>8} {spread:>8} {share:>8} {score:>6}"


def _table(table: Table) -> str:
    return "\n".join(_columns(row) for row in (table.head, *table.rows))


def _columns(row: tuple[str, ...]) -> str:
    """One line: text left, numbers right; a sixth column is words again."""
    name = row[0] if len(row[0]) <= _FIRST_COLUMN else row[0][: _FIRST_COLUMN - 1] + "…"
    numbers = "".join(f"{cell:>{_NUMBER_COLUMN}}" for cell in row[1:5])
    words = "".join(f"  {cell}" for cell in row[5:])
    return f"  {name:<{_FIRST_COLUMN}}{numbers}{words}".rstrip()


def _listing(listing: Listing) -> str:
    return "\n".join([listing.title, *(_filled(item, indent="    ", first="  - ") for item in listing.entries)])


def _filled(text: str, *, indent: str = "", first: str | None = None) -> str:
    return fill(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
        break_long_words=False,
    )
