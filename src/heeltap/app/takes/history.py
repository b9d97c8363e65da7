"""The history of your takes: add one after a drill, list them, make the index again from the take folders.

The folders are what counts. If anything is wrong with the index, you read a line of warning and lose no take and no
result.

Inside: `History`, `history`, `index_take`, `rebuild`, `Rebuilt`, `row_of`.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from heeltap import __version__
from heeltap.analysis.past_take import past_of
from heeltap.app.takes.load_scored_inputs import load_scored_inputs, score_inputs
from heeltap.errors import HeeltapError, SetFileError, StoreError, fault, sentence
from heeltap.files.history_db import Store, open_store
from heeltap.files.paths import takes_dir
from heeltap.files.result_json import to_json
from heeltap.files.takes.folder import Take, list_takes, readable, take_of
from heeltap.files.takes.metadata import Context
from heeltap.files.toml.check import parse_toml
from heeltap.files.toml.families import grade_name
from heeltap.model.past_take import PastTake
from heeltap.model.result import Result
from heeltap.units import bpm_from_us_per_quarter

__all__ = ["History", "Rebuilt", "history", "index_take", "rebuild", "row_of"]

Watched = Callable[[Iterable[Path], int], Iterable[Path]]


def _unwatched(folders: Iterable[Path], total: int) -> Iterable[Path]:  # noqa: ARG001 - a progress bar needs it
    """Nobody watches."""
    return folders


@dataclass(frozen=True, slots=True)
class History:
    """What the index holds."""

    takes: tuple[PastTake, ...]
    """Oldest first."""
    count: int
    """How many there are in all."""
    warnings: tuple[str, ...] = ()
    """What could not be read or written, a line each."""
    stale: int = 0
    """Listed takes whose figures another version of heeltap made."""


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What a rebuild made."""

    count: int
    """Takes in the index now."""
    warnings: tuple[str, ...]
    """Takes that could not be read, a line each."""


def row_of(take: Take, result: Result) -> tuple[PastTake, bytes]:
    """A kept take as the index holds it: its figures, and its result as JSON without the single notes.

    Advice is left out too: it depends on the other takes. What is left depends on the folder alone, so a rebuild makes
    the same row.

    Parameters
    ----------
    take : Take
        As it lies on the disk.
    result : Result
        Of that take.

    Returns
    -------
    PastTake, bytes
    """
    found = take.context
    family, grade = _family_of(found)
    past = past_of(
        result,
        folder=take.folder.name,
        date=found.date,
        exercise=found.name,
        title=found.title,
        family=family,
        grade=grade,
        seed=found.seed if found.seed is not None and abs(found.seed) < 2**63 else None,
        tempo_bpm=round(bpm_from_us_per_quarter(found.plan.tempo[0][1]), 2) if found.plan.tempo else 0.0,
        length_s=_length_s(take),
        ending=found.ending,
        scored_by=__version__,
    )
    return past, to_json(replace(result, notes=(), advice=()))


def index_take(take: Take, result: Result) -> str:
    """Take a kept and scored take into the index beside it; empty, or in one line why that was not possible.

    Parameters
    ----------
    take : Take
        As it lies on the disk.
    result : Result
        Of that take.

    Returns
    -------
    str
    """
    try:
        row = row_of(take, result)
        with open_store(take.folder.parent) as store:
            if not store.writable:
                return f"{store.path}: cannot be written; the take is kept and will be taken into the history later"
            store.add([row])
    except HeeltapError as error:
        return f"the take is kept, but not yet in the history: {error}"
    return ""


def history(takes: Path | None = None, *, last: int | None = None, watched: Watched = _unwatched) -> History:
    """The takes in the index, after those that are new on the disk were taken in and those that are gone left out.

    Parameters
    ----------
    takes : Path, optional
        The folder of all takes; the user's where not given.
    last : int, optional
        Only the newest so many.
    watched : callable, optional
        Given the folders that have to be scored and their number, gives them on one by one: a progress bar.

    Returns
    -------
    History

    Raises
    ------
    StoreError
        The index is damaged, or newer than this heeltap. Where it only cannot be made or is in use, the takes are listed
        without it.
    """
    root = takes_dir() if takes is None else takes
    if not root.is_dir():
        return History((), 0)
    try:
        with open_store(root) as store:
            rows, warnings = _caught_up(store, root, watched)
            # What could not be written down is listed all the same.
            listed, count = [*store.takes(last=last), *rows], store.count() + len(rows)
    except StoreError as error:
        if not error.in_the_way:
            raise
        scored, warnings = _rows([root / name for name in sorted(_names(root))], watched)
        listed, count = [row for row, _ in scored], len(scored)
        warnings = (*warnings, f"{error}; the list is right, but every list will take this long")
    listed.sort(key=lambda take: (take.date, take.folder))
    shown = tuple(listed if last is None else listed[-last:])
    return History(shown, count, warnings, sum(take.scored_by != __version__ for take in shown))


def rebuild(takes: Path | None = None, *, watched: Watched = _unwatched) -> Rebuilt:
    """Make the index again from the take folders alone; every take is scored anew, ``watched`` as in `history`.

    Parameters
    ----------
    takes : Path, optional
        The folder of all takes; the user's where not given.
    watched : callable, optional

    Returns
    -------
    Rebuilt

    Raises
    ------
    StoreError
        The index is in use, cannot be written, or was written by a newer heeltap.
    """
    root = takes_dir() if takes is None else takes
    rows, warnings = _rows(list_takes(root), watched)
    with open_store(root, mend=True) as store:
        if not store.writable:
            raise StoreError(sentence(str(store.path), "cannot be written", hint="make it and its folder writable"))
        store.replace_all(rows)
    return Rebuilt(len(rows), warnings)


def _caught_up(store: Store, root: Path, watched: Watched) -> tuple[list[PastTake], tuple[str, ...]]:
    """Bring the index up to date with the folders; the takes that could not be written down, and a line for each trouble.

    While the folder of takes has not changed, nothing is looked at. A take that is copied in within the same tick of the
    file system's clock (4 ms) as the last look would be found after the next change only.
    """
    changed_ns = root.stat().st_mtime_ns
    if store.seen() == changed_ns:
        return [], ()
    known, there = store.folders(), _names(root)
    rows, warnings = _rows([root / name for name in sorted(there - known)], watched)
    if not store.writable:
        slow = f"{store.path}: cannot be written; the list is right, but every list will take this long"
        return [row for row, _ in rows], (*warnings, *([slow] if rows else []))
    try:
        store.update(rows, known - there)
        if not warnings:  # what is damaged is tried again, for it may have been mended
            store.mark_seen(changed_ns)
    except StoreError as error:
        return [row for row, _ in rows], (*warnings, str(error))
    return [], warnings


def _rows(folders: Sequence[Path], watched: Watched) -> tuple[list[tuple[PastTake, bytes]], tuple[str, ...]]:
    """Score takes for the index; a line for each that cannot be."""
    rows, warnings = [], []
    for folder in watched(folders, len(folders)):
        if not readable(folder):
            warnings.append(f"left out of the history: {folder}: cannot be read: you may not look into it")
            continue
        if take_of(folder) is None:
            continue
        try:
            inputs = load_scored_inputs(folder)
            rows.append(row_of(inputs.take, score_inputs(inputs)))
        except UnicodeEncodeError:
            warnings.append(f"left out of the history: {str(folder)!r} is no name that can be written as text")
        except HeeltapError as error:
            place = "" if folder.name in str(error) else f"{folder}: "
            warnings.append(f"left out of the history: {place}{error}")
        except Exception as error:  # one bad folder hides none of the others
            warnings.append(f"left out of the history: {fault(str(folder), error)}")
    return rows, tuple(warnings)


def _names(root: Path) -> set[str]:
    """Names of all folders that may be takes; a look at the names alone, because there may be thousands."""
    with os.scandir(root) as entries:
        return {entry.name for entry in entries if not entry.name.startswith(".") and entry.is_dir()}


def _family_of(context: Context) -> tuple[str, str]:
    """Family and grade of a generated exercise; two empty texts for everything else."""
    try:
        written = parse_toml("exercise", context.exercise or "")
    except SetFileError:
        return "", ""
    family, grade = written.get("family"), written.get("grade")
    if isinstance(family, str) and family and isinstance(grade, int | str) and (name := grade_name(family, grade)):
        return family, name
    return "", ""


def _length_s(take: Take) -> float:
    """How long it was played after the count-in."""
    plan = take.plan
    end_us = float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(plan.bars + 1)))
    if take.context.judged_to_us is not None:
        end_us = min(end_us, take.context.judged_to_us)
    return round(max(end_us, 0.0) / 1e6, 1)
