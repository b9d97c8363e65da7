"""Practice sets: begin one, find one, check it, take one of its exercises to play.

You name a set by its file, or by its name if it ships with heeltap, and an exercise by the set, a colon and a number:
``first-week:2``.

Inside: `OpenSet`, `Work`, `open_set`, `set_item`, `shipped_sets`, `shipped_set_of`, `check_set`, `new_set`, `minutes_of`.
"""

import difflib
import functools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.practice.set_example import EXAMPLE
from heeltap.app.score.read import load_plan
from heeltap.errors import InputFileError, SetFileError
from heeltap.files.paths import shipped
from heeltap.files.toml.check import toml_file_text
from heeltap.files.toml.sets import mistakes_in, read_set
from heeltap.model.exercise import click_text
from heeltap.model.lean import ON_THE_BEAT, Lean
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.model.practice_set import FromFile, Generated, PracticeSet, SetItem, fingerprint
from heeltap.units import bpm_from_us_per_quarter
from heeltap.wording import count
from heeltap.write import write_whole

__all__ = [
    "OpenSet",
    "Work",
    "check_set",
    "minutes_of",
    "new_set",
    "open_set",
    "set_item",
    "shipped_set_of",
    "shipped_sets",
]

_ITEM = re.compile(r"(.+):(\d{1,3})")

_NEARLY = 0.75
"""How alike two names are when the one is taken for a slip of the other: a letter or two in ten. Ours."""


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """One exercise of a set, ready to be played."""

    number: int
    """From 1."""
    item: SetItem
    plan: Plan
    """An exercise at its first tempo, a part of a MIDI file as written there."""
    path: str = ""
    """Of the MIDI file; empty where there is an exercise."""

    @property
    def title(self) -> str:
        """The set's name for it, else its own."""
        return self.item.title or (self.item.exercise.title if self.item.exercise else self.plan.name)

    @property
    def part(self) -> str | None:
        """Which part of the MIDI file."""
        return self.item.source.part if isinstance(self.item.source, FromFile) else None

    @property
    def seed(self) -> int | None:
        """What it was generated from; None where it was not."""
        return self.item.source.seed if isinstance(self.item.source, Generated) else None

    @property
    def lean(self) -> Lean:
        """Offset to aim at."""
        if self.item.exercise is not None:
            return self.item.exercise.pocket.lean
        return self.item.lean or ON_THE_BEAT

    @property
    def tempi_bpm(self) -> tuple[float, ...]:
        """Quarter notes a minute, one or several steps."""
        if self.item.tempo_bpm:
            return self.item.tempo_bpm
        if self.item.exercise is not None:
            return (self.item.exercise.tempo_bpm,)
        return (bpm_from_us_per_quarter(int(self.plan.tempo.us_per_quarter[0])),)

    @property
    def length_us(self) -> int:
        """Of the plan, without the count-in."""
        end = float(self.plan.metre.quarter_of_bar(self.plan.bars + 1)) * self.plan.tempo.ticks_per_quarter
        return int(self.plan.tempo.us_at(round(end)))


@dataclass(frozen=True, slots=True, eq=False)
class OpenSet:
    """A set with everything that it names at hand."""

    set: PracticeSet
    works: tuple[Work, ...]
    fingerprint: str
    """64 hexadecimal digits, as `heeltap.model.practice_set.fingerprint`."""
    called: str
    """What a person types for it: a shipped set's name, or a path."""

    @property
    def titles(self) -> tuple[str, ...]:
        """What each exercise is called; two of the same name are told apart by what differs.

        Returns
        -------
        tuple of str
            ``Two and four``; beside another of that name ``Two and four (click 1, 72 bpm)``.
        """
        same = [[other for other in self.works if other.title == work.title] for work in self.works]
        return tuple(_told_apart(work, works) for work, works in zip(self.works, same, strict=True))


def _told_apart(work: Work, same: Sequence[Work]) -> str:
    """The title with what the other exercises of that title do not share, or with its number where they share all."""
    if len(same) == 1:
        return work.title
    rows = [_traits(one) for one in same]
    own = [text for at, text in enumerate(_traits(work)) if len({row[at] for row in rows}) > 1]
    return f"{work.title} ({', '.join(own) or f'exercise {work.number}'})"


def _traits(work: Work) -> tuple[str, ...]:
    """What can differ between two exercises of one name: metre, length, tempo, click, lean."""
    click = click_text(work.item.exercise.click) if work.item.exercise else work.item.click or "every"
    return (
        str(work.plan.metre.metres[0]),
        count(work.plan.bars, "bar"),
        f"{work.tempi_bpm[0]:g} bpm",
        f"click {click}",
        f"lean {work.lean.written}",
        *([] if work.seed is None else [f"seed {work.seed}"]),
    )


def shipped_sets() -> tuple[str, ...]:
    """Names of the sets that come with heeltap, in order."""
    return tuple(sorted(path.stem for path in shipped("exercises/sets").glob("*.toml")))


def open_set(what: str | Path) -> OpenSet:
    """The set in a file, or the shipped one of that name, with its plans and its fingerprint.

    Raises `SetFileError` with every mistake in the file, or naming the nearest shipped set.
    """
    path = _path_of(str(what))
    found = read_set(path)
    works = tuple(_work(found, number, item) for number, item in enumerate(found.items, 1))
    mark = fingerprint(found.items, [work.plan for work in works])
    return OpenSet(found, works, mark, str(what))


def shipped_set_of(mark: str, title: str) -> OpenSet | None:
    """The shipped set of a fingerprint, None where that is none; sets whose file holds the title are tried first.

    Making a set's exercises costs a twentieth of a second, so each is made at most once, and none that need not be.
    """
    names = sorted(shipped_sets(), key=lambda name: title not in _shipped_text(name))
    return next((opened for opened in map(_open_shipped, names) if opened.fingerprint == mark), None)


@functools.cache
def _open_shipped(name: str) -> OpenSet:
    return open_set(name)


@functools.cache
def _shipped_text(name: str) -> str:
    return shipped(f"exercises/sets/{name}.toml").read_text(encoding="utf-8")


def _path_of(what: str) -> Path:
    path = Path(what)
    if path.suffix.lower() == ".toml" or path.is_file():
        return path
    names = shipped_sets()
    if what in names:
        return shipped(f"exercises/sets/{what}.toml")
    near = difflib.get_close_matches(what, names, 1, 0.4)
    hint = f"nearest: {near[0]}" if near else ""
    raise SetFileError(what, "no such set", f"a set file (.toml) or one of {', '.join(names)}", hint)


def _work(practice: PracticeSet, number: int, item: SetItem) -> Work:
    if item.exercise is not None:
        return Work(number, item, plan_of(item.exercise))
    assert isinstance(item.source, FromFile)
    path = str(Path(practice.folder) / item.source.path)
    return Work(number, item, load_plan(path, item.source.part), path)


def set_item(what: str) -> Work | None:
    """The exercise that ``SET:2`` names; None where the words name no set at all.

    Raises
    ------
    SetFileError
        The set has a mistake, or no exercise of that number, or a set is named and no number, or the name is nearly
        that of a set that ships.
    """
    named = _ITEM.fullmatch(what.strip())
    called = named[1] if named else what.strip()
    is_file = Path(called).suffix.lower() == ".toml"
    meant = not Path(called).suffix and difflib.get_close_matches(called, shipped_sets(), 1, _NEARLY)
    if not (meant or (is_file and (named or _says_set(Path(called))))):
        return None
    opened = open_set(called)
    last = len(opened.works)
    if named is None or not 1 <= int(named[2]) <= last:
        found = "a set of exercises" if named is None else f"no exercise {named[2]}"
        raise SetFileError(called, found, f"one of {called}:1 to {called}:{last}")
    return opened.works[int(named[2]) - 1]


def _says_set(path: Path) -> bool:
    """Whether a file calls itself a set; an unreadable one does not."""
    try:
        head = toml_file_text(path, "a set file (.toml)")[:20_000]
    except SetFileError:
        return False
    return re.search(r"""^\s*format\s*=\s*["']heeltap\.set/""", head, re.MULTILINE) is not None


def check_set(path: str | Path) -> tuple[str, ...]:
    """Every mistake in a set file, in the order of the file's keys; none where it is good.

    Raises `SetFileError` when there is no text to look at, or it is not TOML.
    """
    return mistakes_in(_path_of(str(path)))


def new_set(path: str | Path) -> None:
    """Write an example with a comment at every key, to be changed; it is a good set as it stands.

    Raises `InputFileError` where there is such a file already, or it cannot be written.
    """
    if Path(path).exists():
        raise InputFileError(str(path), "is there already", "a name that is free")
    write_whole(path, EXAMPLE.encode())


def minutes_of(opened: OpenSet) -> float:
    """How long it takes to play all takes at all tempi, a bar counted in each time, without pauses."""
    total = 0.0
    for work in opened.works:
        first = work.tempi_bpm[0]
        length_s = work.length_us / 1e6 * (work.plan.bars + 1) / work.plan.bars
        total += sum(length_s * first / tempo for tempo in work.tempi_bpm) * work.item.takes
    return total / 60
