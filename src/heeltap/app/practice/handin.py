"""Hand in: put the raw takes that belong to a set into one file.

heeltap tells which exercise a take belongs to by what the exercise asks for (strokes, bars, metre, at any tempo), not by
its name: you may drill it by family and grade or through the set.

Inside: `hand_in`, `HandedIn`, `class_items`, `item_of`, `figures_of`, `summary`.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap import __version__
from heeltap.app.practice.sets import OpenSet, Work, open_set
from heeltap.app.takes.load_scored_inputs import load_scored_inputs, score_inputs
from heeltap.classroom.students import SAME_BPM, ClassItem, same_work
from heeltap.errors import HeeltapError, TakeFileError, fault
from heeltap.files.handin import MOST_FILE_BYTES, MOST_TAKES, Figures, Manifest, TakeEntry, handin_bytes
from heeltap.files.paths import takes_dir
from heeltap.files.regular import read_regular
from heeltap.files.takes.folder import CONTEXT, JOURNAL, MOST_CONTEXT, list_takes, unreadable_in
from heeltap.files.takes.journal import MOST_BYTES
from heeltap.files.takes.metadata import Context, context_from, plan_from
from heeltap.model.plan import Plan
from heeltap.model.result import Result
from heeltap.units import bpm_from_us_per_quarter
from heeltap.wording import count
from heeltap.write import write_asked

__all__ = ["HandedIn", "class_items", "figures_of", "hand_in", "item_of", "summary"]


@dataclass(frozen=True, slots=True)
class HandedIn:
    """What a hand-in holds."""

    path: Path
    title: str
    """Of the set."""
    fingerprint: str
    takes: tuple[int, ...]
    """How many takes of each exercise, in order."""
    warnings: tuple[str, ...]
    """Takes that had to be left out, a line each."""


def hand_in(what: str | Path, *, name: str, out: Path, takes: Path | None = None, force: bool = False) -> HandedIn:
    """Write a hand-in.

    Parameters
    ----------
    what : str or Path
        The set: a file, or the name of a shipped one.
    name : str
        The student's, as text.
    out : Path
        Where to; an older hand-in that is there already is written over.
    takes : Path, optional
        The folder of all takes; the user's where not given.
    force : bool
        Write over any other file, too.

    Raises
    ------
    SetFileError
        No such set, or it has mistakes.
    TakeFileError
        No take belongs to the set.
    InputFileError
        The file cannot be written; as `heeltap.write.check_asked`.
    """
    opened = open_set(what)
    root = takes_dir() if takes is None else takes
    found, warnings = _belonging(list_takes(root), opened.works)
    warnings += [f"{folder.name}: left out: you may not look into it" for folder in unreadable_in(root)]
    if not found:
        hint = warnings[0] if warnings else f"heeltap drill {opened.called}:1"
        raise TakeFileError(str(what), "no take of any of its exercises", "at least one", hint)
    if len(found) > MOST_TAKES:
        warnings.append(f"{len(found)} takes belong to the set; the file holds the newest {MOST_TAKES}")
        found = found[-MOST_TAKES:]
    data = handin_bytes(_manifest(name, opened, [entry for entry, _ in found]), [raw for _, raw in found])
    if len(data) > MOST_FILE_BYTES:
        raise TakeFileError(str(what), f"{len(data) >> 20} MB of takes", f"at most {MOST_FILE_BYTES >> 20} MB")
    write_asked(out, data, inputs=[what], force=force)
    of_item = tuple(sum(entry.item == work.number for entry, _ in found) for work in opened.works)
    return HandedIn(out, opened.set.title, opened.fingerprint, of_item, tuple(warnings))


def _manifest(name: str, opened: OpenSet, entries: list[TakeEntry]) -> Manifest:
    """Who hands in which set."""
    return Manifest(
        heeltap=__version__,
        name=" ".join(name.split())[:200],
        set_title=opened.set.title[:200],
        set_fingerprint=opened.fingerprint,
        takes=entries,
    )


def _belonging(
    folders: Sequence[Path], works: Sequence[Work]
) -> tuple[list[tuple[TakeEntry, tuple[bytes, bytes]]], list[str]]:
    """Every take of the set with its raw files, oldest first, and a line for each that cannot be read."""
    found, warnings = [], []
    for folder in folders:
        try:
            journal, context = (
                read_regular(folder / name, TakeFileError, most, "a take's own file")
                for name, most in ((JOURNAL, MOST_BYTES), (CONTEXT, MOST_CONTEXT))
            )
            told = context_from(context, str(folder))
            item = item_of(plan_from(told.plan, str(folder)), works)
            if item is not None:
                figures = _figures(folder, told)
                found.append((_entry(folder, item, figures, journal, context), (journal, context)))
        except HeeltapError as error:
            warnings.append(f"{folder.name}: left out: {error}")
        except Exception as error:  # one bad folder hides none of the others
            warnings.append(str(fault(f"{folder.name}: left out", error)))
    return found, warnings


def _figures(folder: Path, context: Context) -> Figures | None:
    """What the take is worth; None where it cannot be scored, for the raw events may be good all the same."""
    try:
        return figures_of(score_inputs(load_scored_inputs(folder, context)))
    except Exception:
        return None


def _entry(folder: Path, item: int, figures: Figures | None, journal: bytes, context: bytes) -> TakeEntry:
    """The manifest's row of a take."""
    first, second = (hashlib.sha256(data).hexdigest() for data in (journal, context))
    return TakeEntry(folder.name[:200], item, first, second, figures)


def figures_of(result: Result) -> Figures:
    """The figures of a result that a hand-in carries."""
    overall = result.overall
    return Figures(overall.n, overall.bias_ms, overall.spread_ms, overall.in_pocket, result.counts.missed)


def item_of(plan: Plan, works: Sequence[Work]) -> int | None:
    """Number of the exercise that a take's plan is of; where several ask for the same strokes, the one whose tempo it is.

    None where it belongs to none of them.
    """
    bpm = bpm_from_us_per_quarter(int(plan.tempo.us_per_quarter[0]))
    same = [work for work in works if same_work(plan, work.plan)]
    at_tempo = [work for work in same if any(abs(bpm - tempo) < SAME_BPM for tempo in work.tempi_bpm)]
    return (at_tempo or same)[0].number if same else None


def class_items(opened: OpenSet) -> tuple[ClassItem, ...]:
    """The set's exercises as the teacher's page needs them."""
    return tuple(
        ClassItem(work.number, work.title, work.tempi_bpm, work.item.takes, work.item.done) for work in opened.works
    )


def summary(done: HandedIn) -> str:
    """What was handed in, in words."""
    per = ", ".join(f"{number}: {takes}" for number, takes in enumerate(done.takes, 1))
    return f"{done.path}: {count(sum(done.takes), 'take')} of '{done.title}' (by exercise {per})"
