"""A class on one page: HTML, plain text, and CSV for a spreadsheet.

Students write the names, titles and folder names. The page escapes them, the table guards them against formulas, and
none of them takes more than one line here.

Inside: `class_html`, `class_text`, `class_csv`, `CSV_COLUMNS`, `page_of`.
"""

import csv
import io
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from heeltap.classroom.integrity import ALIKE_MS, IntegrityQuestion
from heeltap.classroom.page_model import Classroom
from heeltap.classroom.students import (
    Cell,
    ClassItem,
    ClassTake,
    Next,
    Student,
    TakeFigures,
    Weakness,
    cell_of,
    differs,
)
from heeltap.views.class_words import short_words
from heeltap.views.history import guarded
from heeltap.views.page import page_from
from heeltap.wording import count, ms, signed_ms

__all__ = ["CSV_COLUMNS", "Page", "PageCell", "PageRow", "class_csv", "class_html", "class_text", "page_of"]

_TEMPLATES = Path(__file__).parent / "templates"
_WIDTH = 79
_NONE = "·"

_REACH_MS = 60.0
"""Half the width of the strip in a cell."""

CSV_COLUMNS = (
    "name", "exercise", "title", "takes", "tempi_done", "tempi", "tempo_bpm", "strokes", "bias_ms", "spread_ms",
    "in_pocket", "delay_known", "stands_out", "next", "files",
)  # fmt: skip
"""Titles of the CSV's columns. ``bias_ms``: negative is early."""


@dataclass(frozen=True, slots=True)
class PageCell:
    """What one student did in one exercise, in words."""

    done: str
    """``done``, ``2 of 3 tempi``, ``played``; empty where nothing was handed in."""
    complete: bool
    pocket: str
    figures: str
    about: str
    """How many takes there are, and which one these figures belong to."""
    left: float | None
    """Where the strip's bar begins, per cent of its width; None without a bar."""
    width: float
    middle: float


@dataclass(frozen=True, slots=True)
class PageRow:
    """One student in words."""

    name: str
    cells: tuple[PageCell, ...]
    short: str
    """What stands out in a few words."""
    stands_out: tuple[str, ...]
    next: str
    takes: int


@dataclass(frozen=True, slots=True)
class Page:
    """The whole page in words."""

    title: str
    subtitle: str
    heads: tuple[tuple[str, str], ...]
    """Title of each exercise and what it asks for."""
    rows: tuple[PageRow, ...]
    shared: tuple[str, ...]
    """What several students share."""
    questions: tuple[str, ...]
    differences: tuple[str, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    trust: tuple[str, ...]


def page_of(room: Classroom) -> Page:
    """The page in words, before any layout."""
    takes = sum(len(student.takes) for student in room.students)
    subtitle = f"{count(len(room.students), 'student')}, {count(takes, 'take')}. Set {room.fingerprint[:12]}."
    return Page(
        title=room.title,
        subtitle=subtitle,
        heads=tuple((f"{item.number}. {item.title}", _asks(item)) for item in room.items),
        rows=tuple(_row(room, at) for at in range(len(room.students))),
        shared=_shared(room),
        questions=tuple(_question(room, question) for question in room.questions),
        differences=tuple(_difference(s, take) for s in room.students for take in s.takes if differs(take)),
        problems=room.problems,
        notes=room.notes,
        trust=_TRUST + (_DELAY if any(not take.delay_known for s in room.students for take in s.takes) else ()),
    )


_TRUST = (
    "heeltap computed all figures from the raw takes, with the set's lean and pocket. They belong to the last take that "
    "the student played to the end. Average: ms from the click, minus is early.",
    "What stands out is strict: the chance that this page says anything untrue of anybody is at most 5 %. So it leaves "
    "small weaknesses out; each student's own report shows more.",
    "The students wrote the names themselves. Nothing here proves who played.",
)
_DELAY = (
    "A star: this student did not measure the delay of the keyboard, so the gear may have made the average early or late; "
    "the pocket then lies around the take's own middle. What stands out holds all the same.",
)


def _asks(item: ClassItem) -> str:
    """ "72, 76, 80 bpm; 3 takes each; 70 % in the pocket, spread 30 ms"."""
    tempi = ", ".join(f"{bpm:.4g}" for bpm in item.tempi_bpm)
    marks = [f"{item.done.in_pocket_percent:g} % in the pocket"] if item.done.in_pocket_percent is not None else []
    marks += [f"spread {item.done.spread_ms:g} ms"] if item.done.spread_ms is not None else []
    need = f"{count(item.done.takes, 'take')} with {' and '.join(marks)}" if marks else count(item.done.takes, "take")
    return f"{tempi} bpm; done: {need}{' at each' if len(item.tempi_bpm) > 1 else ''}"


def _row(room: Classroom, at: int) -> PageRow:
    student = room.students[at]
    return PageRow(
        name=student.name,
        cells=tuple(_cell(cell_of(student, item)) for item in room.items),
        short="; ".join(short_words(weakness.code, weakness.effect_ms) for weakness in room.weaknesses[at]),
        stands_out=tuple(_stands_out(weakness) for weakness in room.weaknesses[at]),
        next=_next(room.nexts[at], room),
        takes=len(student.takes),
    )


def _cell(cell: Cell) -> PageCell:
    if not cell.takes:
        return PageCell("", False, "", "", "", None, 0.0, 50.0)
    done = "done" if cell.done else "played" if cell.tempi == 1 else f"{cell.tempi_done} of {cell.tempi} tempi done"
    if cell.latest is None:
        return PageCell(done, False, "", "no take to the end", count(cell.takes, "take"), None, 0.0, 50.0)
    about = f"{count(cell.takes, 'take')}, last at {cell.at_bpm:.4g}"
    pocket = _NONE if cell.latest.in_pocket is None else f"{100 * cell.latest.in_pocket:.0f} %"
    return PageCell(done, cell.done, pocket, _figures(cell), about, *_strip(cell.latest))


def _figures(cell: Cell) -> str:
    latest = cell.latest
    if latest is None or latest.spread_ms is None:
        return _NONE
    return f"{signed_ms(latest.bias_ms)}{'' if cell.delay_known else '*'} ms, spread {latest.spread_ms:.0f}"


def _strip(figures: TakeFigures) -> tuple[float | None, float, float]:
    """Begin, width and middle of the bar average ± spread, per cent of the strip."""
    if figures.bias_ms is None or figures.spread_ms is None:
        return None, 0.0, 50.0
    low, middle, high = (_at(figures.bias_ms + step * figures.spread_ms) for step in (-1, 0, 1))
    return low, round(high - low, 1), middle


def _at(value_ms: float) -> float:
    return round(50 + 50 * min(max(value_ms / _REACH_MS, -1.0), 1.0), 1)


def _stands_out(weakness: Weakness) -> str:
    return f"{weakness.text} In {count(weakness.takes, 'take')}, most clearly of exercise {weakness.item}."


def _next(step: Next, room: Classroom) -> str:
    if step.exercise:
        return f"heeltap drill {step.exercise} ({step.why})"
    if step.item is None:
        return f"{step.why[0].upper()}{step.why[1:]}: something harder."
    title = room.items[step.item - 1].title
    return f"Exercise {step.item}, {title}, at {step.tempo_bpm:.4g} bpm: {step.why}"


def _question(room: Classroom, question: IntegrityQuestion) -> str:
    """A question to the student, with the reason for it."""
    names = _names([room.students[who].name for who in question.who])
    first = question.takes[0]
    if question.kind == "even":
        return (
            f"{names}, exercise {first.item}, {first.folder}: the strokes spread by {ms(question.size)}, less than "
            "any hand does. Did a hand play this, or a machine?"
        )
    takes = "; ".join(dict.fromkeys(f"exercise {take.item}, {take.folder}" for take in question.takes))
    what = "the very same events"
    if question.kind == "alike":
        what = (
            f"takes that agree within {ALIKE_MS:g} ms in {100 * question.size:.0f} of 100 strokes or more, as two takes "
            "by hand never do"
        )
    if len(question.who) > 1:
        return f"{names} handed in {what} ({takes}). Who played them, and how did the others get them?"
    return f"{names} handed in {what} more than once ({takes}). Was that a mistake?"


def _names(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _shared(room: Classroom) -> tuple[str, ...]:
    """What stands out with several students, the most frequent first: a lesson could be about it."""
    by_kind: dict[str, list[str]] = {}
    for student, found in zip(room.students, room.weaknesses, strict=True):
        for weakness in found:
            by_kind.setdefault(short_words(weakness.code, weakness.effect_ms), []).append(student.name)
    rows = sorted(((what, names) for what, names in by_kind.items() if len(names) > 1), key=lambda row: -len(row[1]))
    return tuple(f"{what[:1].upper()}{what[1:]}: {count(len(who), 'student')} ({', '.join(who)})" for what, who in rows)


def _difference(student: Student, take: ClassTake) -> str:
    said, ours = take.said, take.figures
    why = (
        f" ({take.why_unlike})"
        if take.why_unlike
        else " (another version of heeltap computed them, or somebody changed them)"
    )
    head = f"{student.name}, exercise {take.item} at {take.tempo_bpm:.4g} bpm, {take.folder}"
    return f"{head}: handed in with {_said(said)}; the raw take has {_said(ours)}{why}"


def _said(figures: TakeFigures | None) -> str:
    if figures is None or figures.bias_ms is None or figures.spread_ms is None:
        return "no figures"
    pocket = "" if figures.in_pocket is None else f", {100 * figures.in_pocket:.0f} % in the pocket"
    return f"{signed_ms(figures.bias_ms)} ms, spread {figures.spread_ms:.1f} ms{pocket}, {count(figures.n, 'stroke')}"


def class_html(room: Classroom, *, command: str = "") -> str:
    """The page, complete in itself. Every text is escaped."""
    return page_from("class.html.j2", page=page_of(room), command=command)


def class_text(room: Classroom) -> str:
    """The same in plain characters, 79 columns wide; only a command may need more."""
    page = page_of(room)
    lines = [page.title, "=" * len(page.title), page.subtitle, ""]
    for title, asks in page.heads:
        lines += textwrap.wrap(f"{title} ({asks})", _WIDTH, subsequent_indent="   ")
    lines += [
        "",
        "By exercise: how far; then the last take: in the pocket, average, spread.",
    ]
    for row in page.rows:
        lines += ["", row.name, *_row_text(row)]
    for title, entries in _lists(page):
        if entries:
            lines += ["", title, "-" * len(title)]
            lines += [line for entry in entries for line in _entry(entry)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _lists(page: Page) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "What several share", page.shared
    yield "Worth a question", page.questions
    yield "Figures that differ from the students' own", page.differences
    yield "What heeltap could not use", page.problems
    yield "Notes", page.notes
    yield "How far to trust this", page.trust


def _row_text(row: PageRow) -> list[str]:
    lines = []
    for number, cell in enumerate(row.cells, 1):
        done = cell.done or "nothing handed in"
        lines.append(f"  {number:>2}  {done:<18} {cell.pocket:>5}  {cell.figures:<21} {cell.about}")
    for text in row.stands_out:
        lines += textwrap.wrap(text, _WIDTH, initial_indent="  ! ", subsequent_indent="    ")
    return [*lines, *textwrap.wrap(f"Next: {row.next}", _WIDTH, initial_indent="  ", subsequent_indent="    ")]


def _entry(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="* ", subsequent_indent="  ", break_on_hyphens=False)


def class_csv(room: Classroom) -> bytes:
    """A line for each student and exercise, UTF-8; texts are guarded against being read as formulas."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for at, student in enumerate(room.students):
        codes = " ".join(weakness.code for weakness in room.weaknesses[at])
        last = (codes, _next(room.nexts[at], room), " ".join(student.files))
        for item in room.items:
            values = (student.name, *_csv_cell(item, cell_of(student, item)), *last)
            writer.writerow([guarded(value) if isinstance(value, str) else value for value in values])
    return text.getvalue().encode()


def _csv_cell(item: ClassItem, cell: Cell) -> tuple[object, ...]:
    """The columns from ``exercise`` to ``delay_known``."""
    figures = cell.latest
    own = (
        (cell.at_bpm, figures.n, figures.bias_ms, figures.spread_ms, figures.in_pocket, cell.delay_known)
        if figures
        else ("",) * 6
    )
    numbers = [round(value, 4) if isinstance(value, float) else "" if value is None else value for value in own]
    return (item.number, item.title, cell.takes, cell.tempi_done, cell.tempi, *numbers)
