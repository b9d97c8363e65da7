"""The teacher's side: read every hand-in of a folder, score its raw events again, and put all on one page.

heeltap takes nothing but the name from what a hand-in says of itself. It finds the exercise from the plan, takes lean
and pocket from the set, finds in the journal what to leave out, and computes the offsets here.

Inside: `read_class`.
"""

import os
import stat
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.practice.classroom_scoring import score_raw
from heeltap.app.practice.handin import class_items
from heeltap.app.practice.sets import OpenSet, open_set, shipped_set_of
from heeltap.classroom.integrity import questions
from heeltap.classroom.page_model import Classroom
from heeltap.classroom.students import ClassTake, Student, next_for, weaknesses
from heeltap.errors import HeeltapError, InputFileError, SetFileError, TakeFileError, fault
from heeltap.files.handin_read import read_handin, shown

__all__ = ["ENDINGS", "MOST_FILES", "MOST_LINES", "read_class"]

ENDINGS = (".handin", ".zip")
"""Of the files that are looked at."""

MOST_FILES = 500
"""Hand-ins on one page. Ours."""

MOST_LINES = 200_000
"""Lines in all journals of a hand-in: 200 takes of 500 notes with their ends. So many take 10 s and 500 MB at the very most
(measured on crowds of notes that no take has), and the limit is the same on every machine. Ours."""


def read_class(
    folder: Path,
    *,
    set_name: str | Path | None = None,
    watch: Callable[[Sequence[Path]], Iterable[Path]] = iter,
) -> Classroom:
    """Everything that a folder of hand-ins says about a class.

    Parameters
    ----------
    folder : Path
        Looked at itself, not the folders in it; files that end in ``.handin`` or ``.zip`` are hand-ins.
    set_name : str or Path, optional
        The set that was handed out: a file, or a shipped one's name. Without it the shipped set is taken that most
        hand-ins are of.
    watch : callable, optional
        Hands on the files one by one as they are scored, so that somebody can see how far it is.

    Raises
    ------
    InputFileError
        The folder cannot be read, or holds no hand-in.
    SetFileError
        The set has mistakes, or it was not named and no shipped one fits.
    """
    paths = _files(folder)
    given = None if set_name is None else open_set(set_name)
    read = [_read(path, given) for path in watch(paths)]
    opened = given or _most_frequent(read)
    students, notes, problems = _students(read, opened)
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
        problems=problems,
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


@dataclass(frozen=True, slots=True)
class _Read:
    """One file as it was read and scored, without its raw bytes: a class of them would not fit into the memory."""

    name: str
    file: str
    opened: OpenSet | None
    """The set that it is of; None where that is not known, and nothing of it is scored."""
    set_title: str = ""
    """As the hand-in says."""
    mark: str = ""
    """The set's fingerprint, as the hand-in says; empty where the file cannot be read."""
    takes: tuple[ClassTake, ...] = ()
    problems: tuple[str, ...] = ()
    """A line for each thing in it that cannot be used."""


def _read(path: Path, given: OpenSet | None) -> _Read:
    """A hand-in, read once: scored by the set that was named if it is of that one, else by the shipped set that it is of."""
    try:
        one = read_handin(path)
    except TakeFileError as error:
        return _Read("", path.name, None, problems=(str(error),))
    except Exception as error:  # bytes made by somebody else; the other files have to be read all the same
        return _Read("", path.name, None, problems=(str(fault(shown(path.name), error)),))
    title, mark = one.manifest.set_title, one.manifest.set_fingerprint
    opened = given or shipped_set_of(mark, title)
    if opened is None or opened.fingerprint != mark:
        return _Read(one.name, one.file, None, title, mark)
    lines = sum(raw.journal.count(b"\n") for raw in one.takes)
    if lines > MOST_LINES:
        found = f"{lines:,} lines of playing in its {len(one.takes)} takes"
        hint = "heeltap spends 10 s and 500 MB on a hand-in at most"
        return _Read(
            "", path.name, None, problems=(str(TakeFileError(one.file, found, f"at most {MOST_LINES:,}", hint)),)
        )
    takes, problems = [], list(one.problems)
    for raw in one.takes:
        try:
            takes.append(score_raw(raw, opened))
        except HeeltapError as error:
            problems.append(str(error))
    return _Read(one.name, one.file, opened, title, mark, tuple(takes), tuple(problems))


def _most_frequent(read: Sequence[_Read]) -> OpenSet:
    """The shipped set that most hand-ins are of; raises `SetFileError` where that is none: the teacher has to name it."""
    of = {one.mark: one.opened for one in read if one.opened is not None}
    for mark, _ in Counter(one.mark for one in read).most_common():
        opened = of.get(mark)
        if opened is not None:
            return opened
    found = (
        "no hand-in of a set that comes with heeltap"
        if any(one.mark for one in read)
        else "no hand-in that can be read"
    )
    raise SetFileError("--set", found, "the set that was handed out", "--set FILE")


def _other_set(one: _Read, opened: OpenSet) -> str:
    found = f"of another set: '{shown(one.set_title)}', {one.mark[:12]}"
    expected = f"'{opened.set.title}', {opened.fingerprint[:12]}"
    return str(TakeFileError(one.file, found, expected, "was the set changed after it was handed out?"))


def _students(read: Sequence[_Read], opened: OpenSet) -> tuple[tuple[Student, ...], tuple[str, ...], tuple[str, ...]]:
    """The students by name, notes and problems; several hand-ins of one name are put together."""
    by_name: dict[str, list[_Read]] = {}
    problems: list[str] = []
    for one in read:
        if one.mark and one.mark != opened.fingerprint:
            problems.append(_other_set(one, opened))
            continue
        problems += one.problems
        if one.mark:
            by_name.setdefault(one.name.casefold(), []).append(one)
    rows = [by_name[name] for name in sorted(by_name)]
    notes = tuple(
        f"{of_one[0].name} handed in {len(of_one)} times ({', '.join(one.file for one in of_one)}); heeltap put them together"
        for of_one in rows
        if len(of_one) > 1
    )
    return tuple(_student(of_one) for of_one in rows), notes, tuple(problems)


def _student(of_one: Sequence[_Read]) -> Student:
    """One student; a take that several of their files hold counts once, one that is twice in a file stays a question."""
    first_in: dict[tuple[str, str], int] = {}
    takes = [
        take
        for number, one in enumerate(of_one)
        for take in one.takes
        if first_in.setdefault((take.events, take.folder), number) == number
    ]
    takes.sort(key=lambda take: (take.date, take.folder))
    return Student(of_one[0].name, tuple(one.file for one in of_one), tuple(takes))
