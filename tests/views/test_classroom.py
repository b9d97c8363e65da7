"""The class's page: complete, escaped, guarded."""

import csv
import io
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from heeltap.analysis.advice.remedies import remedy_of
from heeltap.analysis.findings.catalogue import FINDING_KINDS
from heeltap.classroom.integrity import questions
from heeltap.classroom.page_model import Classroom
from heeltap.classroom.students import ClassItem, ClassTake, Next, Student, TakeFigures, next_for, weaknesses
from heeltap.model.practice_set import Done
from heeltap.model.result import Finding
from heeltap.views.class_words import short_words
from heeltap.views.classroom import CSV_COLUMNS, class_csv, class_html, class_text, page_of

EVIL = '<script>alert(1)</script><img src=x onerror="alert(1)">'
EARLY = Finding("off-beats", "What lies between the beats comes 20 ms earlier than the beats.", -20.0, None, 1e-9)
ITEMS = (
    ClassItem(1, "All four", (80.0, 90.0), 2, Done(70.0, 25.0, 1)),
    ClassItem(2, "=1+1", (72.0,), 1, Done()),
)


def take(
    folder: str = "a take", *, known: bool = True, found: bool = False, said: TakeFigures | None = None
) -> ClassTake:
    """A take of the first exercise."""
    offsets = np.arange(40.0) % 5 * 4
    return ClassTake(
        1, 80.0, "2026-03-02", folder, TakeFigures(40, -8.2, 11.6, 0.85), 0.85, said, "", True, known,
        (EARLY,) if found else (), np.arange(40), offsets, folder,
    )  # fmt: skip


def room(*students: Student, problems: tuple[str, ...] = ()) -> Classroom:
    """The class of these students."""
    found = weaknesses(students)
    nexts = tuple(next_for(student, ITEMS, said) for student, said in zip(students, found, strict=True))
    return Classroom("Week", "f" * 64, ITEMS, students, found, nexts, questions(students), problems, ())


CLASS = room(
    Student(EVIL, ("a.handin",), (take(EVIL, found=True, said=TakeFigures(40, -8.0, 3.0, 0.99)),)),
    Student("@Tove", ("-b.handin",), (take("b", known=False),)),
    Student("Odo", ("c.handin",), ()),
    problems=(f"{EVIL}: is cut short",),
)


class Tags(HTMLParser):
    """Collects the tags of a page and the attributes that could run or load something."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.live: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note one tag."""
        self.tags.add(tag)
        self.live += [name for name, _ in attrs if name.startswith("on") or name in ("src", "href")]


def test_names_folders_and_problems_stay_text_on_the_page() -> None:
    """What a student writes is shown as written and never becomes a tag."""
    page = class_html(CLASS, command=f"heeltap class '{EVIL}'")
    tags = Tags()
    tags.feed(page)

    assert set() == tags.tags & {"script", "img"}
    assert [] == tags.live
    assert 4 <= page.count("&lt;script&gt;alert(1)&lt;/script&gt;")


@pytest.mark.parametrize("text", ["@Tove", "=1+1", "-b.handin"])
def test_no_text_in_the_table_is_a_formula(text: str) -> None:
    """A spreadsheet gets an apostrophe before it."""
    rows = list(csv.reader(io.StringIO(class_csv(CLASS).decode())))
    cells = {cell for row in rows for cell in row}

    assert f"'{text}" in cells
    assert text not in cells


def test_the_table_has_a_row_for_each_student_and_exercise() -> None:
    """Numbers are numbers; what is not there is empty."""
    first, *rows = csv.reader(io.StringIO(class_csv(CLASS).decode()))

    assert list(CSV_COLUMNS) == first
    assert 6 == len(rows)
    numbers = ["1", "1", "2", "80.0", "40", "-8.2", "11.6", "0.85", "True", "off-beats"]
    assert numbers == rows[0][3:13]
    assert ["0", "0", "1", "", "", "", "", "", ""] == rows[1][3:12]


def test_a_cell_says_how_far_the_student_is_and_where_the_strokes_sit() -> None:
    """One of two tempi, the last take's figures, the strip from -19.8 to +3.4 ms of 60 either side."""
    cell = page_of(CLASS).rows[0].cells[0]

    assert ("1 of 2 tempi done", "85 %", "-8 ms, spread 12", "1 take, last at 80") == (
        cell.done, cell.pocket, cell.figures, cell.about,
    )  # fmt: skip
    assert (33.5, 19.3, 43.2) == (cell.left, cell.width, cell.middle)


def test_a_strip_never_leaves_its_cell() -> None:
    """An average of 300 ms lies at the edge."""
    far = replace(take(), figures=TakeFigures(40, 300.0, 20.0, 0.0))
    cell = page_of(room(Student("A", ("a",), (far,)))).rows[0].cells[0]

    assert (100.0, 0.0, 100.0) == (cell.left, cell.width, cell.middle)


def test_an_unknown_delay_has_a_star_and_its_explanation() -> None:
    """Only where there is one."""
    page, plain = page_of(CLASS), page_of(room(Student("A", ("a",), (take(),))))

    assert ["-8* ms, spread 12"] == [row.cells[0].figures for row in page.rows if row.name == "@Tove"]
    assert (4, 3) == (len(page.trust), len(plain.trust))


def test_own_figures_that_differ_are_told_with_both() -> None:
    """What was handed in and what the raw take has."""
    (line,) = page_of(CLASS).differences

    assert "handed in with -8 ms, spread 3.0 ms, 99 % in the pocket, 40 strokes; the raw take has -8 ms" in line


def test_what_several_share_is_told_once_with_their_names() -> None:
    """A lesson for two; what only one shows is not repeated."""
    two = room(Student("A", ("a",), (take("a", found=True),)), Student("B", ("b",), (take("b", found=True),)))

    assert ("Off-beats early: 2 students (A, B)",) == page_of(two).shared
    assert () == page_of(CLASS).shared


def test_a_question_ends_in_a_question_mark() -> None:
    """Nobody is accused."""
    same = take("same")
    even = replace(take("even"), offset_ms=np.zeros(40))
    found = page_of(
        room(Student("A", ("a",), (same, even)), Student("B", ("b",), (same, same)), Student("C", ("c",), ()))
    )

    assert 2 == len(found.questions)
    assert all(line.endswith("?") for line in found.questions)
    assert ["A, exercise 1, even: the strokes", "A and B handed in the very same events (exercise 1, same)"] == sorted(
        [line[: line.index(" spread") if "spread" in line else line.index(".")] for line in found.questions],
        key=len,
    )


def test_when_all_is_done_that_is_said() -> None:
    """No exercise is invented."""
    done = replace(CLASS, nexts=(Next("done", None, None, None, "everything is done"),) * 3)

    assert "Everything is done: something harder." == page_of(done).rows[0].next


def test_the_text_keeps_to_79_columns_and_says_everything() -> None:
    """Names, problems and trust are there."""
    text = class_text(CLASS)

    assert [] == [line for line in text.splitlines() if len(line) > 79 and "heeltap" not in line]
    for words in ("@Tove", "is cut short", "nothing handed in", "How far to trust this", "Next: heeltap drill split 2"):
        assert words in text


def test_every_kind_that_can_be_named_has_short_words() -> None:
    """Whatever has a remedy can stand in the table."""
    named = [kind for kind in FINDING_KINDS if remedy_of(kind.code, 1.0) is not None]

    assert [] == [kind.code for kind in named if not kind.class_words[1]]
    assert "off-beats early" == short_words("off-beats", -3.0)
    assert "chords spread apart" == short_words("chord-spread", 3.0)
