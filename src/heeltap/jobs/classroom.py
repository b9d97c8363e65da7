"""The teacher's side: every hand-in in a folder read, scored again from its raw events, and put on one page.

Nothing that a hand-in says of itself is taken over but the name. Which exercise a take is of is found from its plan;
lean and pocket are the set's; what may be left out is found from the journal; the offsets are computed here.

Inside: `read_class`, `set_of`, `write_page`.
"""

import os
import stat
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from heeltap.core.classroom import Student, next_for, weaknesses
from heeltap.core.classroom_page import Classroom
from heeltap.core.classroom_questions import questions
from heeltap.errors import HeeltapError, InputFileError, SetFileError, TakeFileError
from heeltap.files.handin_read import HandIn, read_handin
from heeltap.jobs.classroom_scoring import Scored, score_raw
from heeltap.jobs.handing_in import class_items
from heeltap.jobs.sets import OpenSet, open_set, shipped_sets

__all__ = ["ENDINGS", "MOST_FILES", "read_class", "set_of", "write_page"]

ENDINGS = (".handin", ".zip")
"""Of the files that are looked at."""

MOST_FILES = 500
"""Hand-ins on one page. Ours."""


def read_class(folder: Path, *, set_name: str | Path | None = None) -> Classroom:
    """Everything that a folder of hand-ins says about a class.

    Parameters
    ----------
    folder : Path
        Looked at itself, not the folders in it; files that end in ``.handin`` or ``.zip`` are hand-ins.
    set_name : str or Path, optional
        The set that was handed out: a file, or a shipped one's name. Without it the shipped set is taken that most
        hand-ins are of.

    Raises
    ------
    InputFileError
        The folder cannot be read, or holds no hand-in.
    SetFileError
        The set has mistakes, or it was not named and no shipped one fits.
    """
    handed, problems = _read_all(_files(folder))
    opened = open_set(set_name) if set_name is not None else set_of(handed)
    scored: list[tuple[HandIn, list[Scored]]] = []
    for one in handed:
        if one.manifest.set_fingerprint != opened.fingerprint:
            problems.append(_other_set(one, opened))
            continue
        takes, more = _score(one, opened)
        problems += [*one.problems, *more]
        scored.append((one, takes))
    students, notes = _students(scored)
    found = weaknesses(students)
    items = class_items(opened)
    return Classroom(
        title=opened.set.title,
        fingerprint=opened.fingerprint,
        items=items,
        students=students,
        weaknesses=found,
        nexts=tuple(next_for(student, items, said) for student, said in zip(students, found, strict=True)),
        questions=questions(students),
        problems=tuple(problems),
        notes=notes,
    )


def _files(folder: Path) -> list[Path]:
    """The hand-ins in a folder, by name."""
    try:
        names = sorted(os.listdir(folder))
    except OSError as error:
        raise InputFileError(str(folder), f"cannot be read: {error.strerror}", "a folder of hand-ins") from error
    found = [folder / name for name in names if name.lower().endswith(ENDINGS) and not name.startswith(".")]
    found = [path for path in found if not stat.S_ISDIR(os.lstat(path).st_mode)]
    if not found:
        expected = f"files that end in {' or '.join(ENDINGS)}"
        raise InputFileError(str(folder), "no hand-in in it", expected, "heeltap handin SET writes one")
    if len(found) > MOST_FILES:
        raise InputFileError(str(folder), f"{len(found)} hand-ins", f"at most {MOST_FILES} (one class)")
    return found


def _read_all(paths: Iterable[Path]) -> tuple[list[HandIn], list[str]]:
    """Every hand-in that can be read, and a line for each that cannot."""
    handed, problems = [], []
    for path in paths:
        try:
            handed.append(read_handin(path))
        except TakeFileError as error:
            problems.append(str(error))
    return handed, problems


def set_of(handed: Sequence[HandIn]) -> OpenSet:
    """The shipped set that most hand-ins are of.

    Raises `SetFileError` where that is none: the teacher has to name it.
    """
    marks = Counter(one.manifest.set_fingerprint for one in handed)
    shipped = {opened.fingerprint: opened for opened in (open_set(name) for name in shipped_sets())}
    for mark, _ in marks.most_common():
        if mark in shipped:
            return shipped[mark]
    found = "no hand-in of a set that comes with heeltap" if handed else "no hand-in that can be read"
    raise SetFileError("--set", found, "the set that was handed out", "--set FILE")


def _other_set(one: HandIn, opened: OpenSet) -> str:
    title = " ".join(one.manifest.set_title.split())[:60]
    found = f"of another set: '{title}', {one.manifest.set_fingerprint[:12]}"
    expected = f"'{opened.set.title}', {opened.fingerprint[:12]}"
    return str(TakeFileError(one.file, found, expected, "was the set changed after it was handed out?"))


def _score(one: HandIn, opened: OpenSet) -> tuple[list[Scored], list[str]]:
    """The takes of one hand-in, and a line for each that cannot be scored."""
    takes, problems = [], []
    for raw in one.takes:
        try:
            takes.append(score_raw(raw, opened))
        except HeeltapError as error:
            problems.append(str(error))
    return takes, problems


def _students(scored: Sequence[tuple[HandIn, list[Scored]]]) -> tuple[tuple[Student, ...], tuple[str, ...]]:
    """The students by name; several hand-ins of one name are put together, and the takes that both hold count once."""
    by_name: dict[str, list[tuple[HandIn, list[Scored]]]] = {}
    for one, takes in scored:
        by_name.setdefault(one.name.casefold(), []).append((one, takes))
    students, notes = [], []
    for name in sorted(by_name):
        rows = by_name[name]
        files = tuple(one.file for one, _ in rows)
        kept: dict[tuple[str, str], int] = {}
        takes = []
        for number, (_, more) in enumerate(rows):
            for take in more:
                # The same take in a second file of the same name was handed in again; twice in one file is a question.
                if kept.setdefault((take.events, take.folder), number) == number:
                    takes.append(take)
        takes.sort(key=lambda take: (take.date, take.folder))
        students.append(Student(rows[0][0].name, files, tuple(takes)))
        if len(files) > 1:
            notes.append(f"{rows[0][0].name} handed in {len(files)} times ({', '.join(files)}): put together")
    return tuple(students), tuple(notes)


def write_page(path: Path, data: bytes) -> None:
    """Write a page or a table; raises `InputFileError` when it cannot be written."""
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputFileError(str(path), f"cannot be written: {error.strerror or error}") from error
