"""Your takes by day as text, as CSV for a spreadsheet, as JSON for other programs.

Inside: `render_history`, `as_csv`, `as_json`, `export`, `CSV_COLUMNS`, `guarded`.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import groupby
from pathlib import Path

import msgspec

from heeltap.errors import PlanError, sentence
from heeltap.model.past_take import PastTake
from heeltap.safe_text import safe_line
from heeltap.wording import count, signed_ms
from heeltap.write import write_asked

__all__ = ["CSV_COLUMNS", "FORMAT", "as_csv", "as_json", "export", "guarded", "render_history"]

FORMAT = "heeltap.history/1"
"""Format of the JSON."""

CSV_COLUMNS = (
    "date", "exercise", "title", "family", "grade", "seed", "tempo_bpm", "lean_ms", "length_s", "ending", "strokes",
    "bias_ms", "spread_ms", "in_pocket", "held", "score", "planned", "missed", "extra", "delay_method", "findings",
    "folder", "scored_by",
)  # fmt: skip
"""Titles of the CSV's columns. ``bias_ms``: negative is early."""

_NAME_COLUMN = 24
_NONE = "·"
_HEAD = (
    f"  {'time':<6} {'exercise':<{_NAME_COLUMN}} {'bpm':>4} {'strokes':>7} {'average':>7} {'spread':>7} "
    f"{'pocket':>6} {'score':>5}"
)


def render_history(takes: Sequence[PastTake], *, total: int | None = None) -> str:
    """The takes by day, newest last, a line each, ending in a newline.

    Parameters
    ----------
    takes : sequence of PastTake
        Oldest first.
    total : int, optional
        How many there are in all, when only the newest are listed.
    """
    if not takes:
        return "No takes yet. Play one with heeltap drill; heeltap keeps them all.\n"
    lines = []
    for day, rows in groupby(takes, key=lambda take: take.date[:10]):
        lines += ["", _day(day), _HEAD, *(_line(row) for row in rows)]
    lines += ["", "Average: ms from where you aimed, minus is early. Pocket: how many of your strokes are in it."]
    if any(take.method == "none" for take in takes):
        lines.append(
            "A star: heeltap did not know the delay of your gear, so the gear may have made you early or late."
        )
    if total is not None and total > len(takes):
        lines.append(f"The newest {len(takes)} of {count(total, 'take')}; --all lists every one.")
    return "\n".join(lines[1:]) + "\n"


def _day(text: str) -> str:
    """ "Wednesday, 25 November 2026"; the text itself where it is no date."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return safe_line(text) or "no date"
    return f"{_DAYS[day.weekday()]}, {day.day} {_MONTHS[day.month - 1]} {day.year}"


_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def _line(take: PastTake) -> str:
    """One take."""
    name = " ".join((f"{take.family} {take.grade}" if take.family else take.exercise).split())
    name = name if len(name) <= _NAME_COLUMN else name[: _NAME_COLUMN - 1] + "…"
    average = signed_ms(take.bias_ms - take.lean_ms if take.bias_ms is not None else None)
    average += "*" if take.method == "none" and take.bias_ms is not None else " "
    spread = _NONE if take.spread_ms is None else f"{take.spread_ms:.0f}"
    pocket = _NONE if take.in_pocket is None else f"{100 * take.in_pocket:.0f} %"
    score = _NONE if take.score is None else f"{take.score:.0f}"
    end = "" if take.ending == "played" else f"  {take.ending}"
    return safe_line(
        f"  {take.date[11:16]:<6} {name:<{_NAME_COLUMN}} {take.tempo_bpm:>4.0f} {take.n:>7} {average:>8} {spread:>6} "
        f"{pocket:>6} {score:>5}{end}".rstrip()
    )


def as_csv(takes: Sequence[PastTake]) -> bytes:
    """The takes as CSV with a title row, UTF-8, one line a take; texts are guarded (see `guarded`)."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for take in takes:
        writer.writerow([guarded(value) if isinstance(value, str) else _cell(value) for value in _values(take)])
    return text.getvalue().encode()


def _values(take: PastTake) -> tuple[object, ...]:
    """In the order of `CSV_COLUMNS`."""
    return (
        take.date, take.exercise, take.title, take.family, take.grade, take.seed, take.tempo_bpm, take.lean_ms,
        take.length_s, take.ending, take.n, take.bias_ms, take.spread_ms, take.in_pocket, take.held, take.score,
        take.planned, take.missed, take.extra, take.method, " ".join(code for code, _ in take.findings), take.folder,
        take.scored_by,
    )  # fmt: skip


def _cell(value: object) -> object:
    """Numbers as they are, floats to four decimals, nothing where there is none."""
    return "" if value is None else round(value, 4) if isinstance(value, float) else value


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula: one that begins like one gets an apostrophe before it.

    Beginnings: ``= + - @``, tab, carriage return, line feed, also behind spaces and in their full-width forms. Common
    practice against formula injection, no source.
    """
    start = text.lstrip(" \u00a0\u3000\ufeff")[:1]
    return f"'{text}" if start and start in "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20" else text


def as_json(takes: Sequence[PastTake]) -> bytes:
    """The takes as one JSON document, fields as in `PastTake`; findings as pairs of code and size in ms."""
    return msgspec.json.format(msgspec.json.encode({"format": FORMAT, "takes": list(takes)}), indent=1) + b"\n"


def export(path: Path, takes: Iterable[PastTake], *, force: bool = False) -> None:
    """Write the takes where the name's ending says how: ``.csv`` or ``.json``.

    Raises `PlanError` for another ending, and `InputFileError` as `heeltap.write.check_asked`.
    """
    writers = {".csv": as_csv, ".json": as_json}
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise PlanError(sentence(str(path), f"a name ending in '{path.suffix}'", ".csv or .json"))
    write_asked(path, writer(list(takes)), force=force)
