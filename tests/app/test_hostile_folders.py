"""Take folders, hand-ins and indexes that are damaged on purpose: one costs one line, and none hides another."""

import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.app.practice import classroom
from heeltap.app.practice.classroom import read_class
from heeltap.app.practice.handin import hand_in
from heeltap.app.takes.history import history, rebuild
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.errors import HeeltapError, TakeFileError
from heeltap.files import history_db
from heeltap.files.history_db import index_file
from heeltap.files.regular import read_regular
from heeltap.files.takes.folder import CONTEXT, JOURNAL, MIDI, read_context
from heeltap.files.takes.journal import FORMAT, MOST_LINES, journal_from, read_journal
from heeltap.write import write_whole
from tests.makers.classes import small_class
from tests.makers.kept import keep_many
from tests.makers.midi_bytes import note_on, smf, track

DATES = ["2026-03-02T18:00:00+01:00", "2026-03-03T18:00:00+01:00", "2026-03-04T18:00:00+01:00"]

Change = Callable[[dict[str, Any]], object]


def _plan(**columns: Any) -> Change:
    """A change of some columns of the plan; a function changes what is there."""

    def change(context: dict[str, Any]) -> None:
        plan = context["plan"]
        for name, value in columns.items():
            plan[name] = value(plan[name]) if callable(value) else value

    return change


MANY = 124_000

CONTEXTS: dict[str, Change] = {
    "a bar that no table holds": _plan(bars=2**31 - 1),
    "a note in such a bar": _plan(at_tick=lambda ticks: [*ticks[:-1], 2**53]),
    "strokes out of order": _plan(stroke=lambda rows: rows[::-1]),
    "a stroke that no table holds": _plan(stroke=lambda rows: [*rows[:-1], 2**31]),
    "strokes that begin late": _plan(stroke=lambda rows: [row + 7 for row in rows]),
    "ticks out of order": _plan(at_tick=lambda ticks: ticks[::-1]),
    "times out of order": _plan(at_us=lambda times: times[::-1]),
    "columns of other lengths": _plan(pitch=lambda keys: keys[1:]),
    "no note": _plan(**{name: [] for name in ("at_tick", "at_us", "pitch", "velocity", "hand", "kind", "stroke")}),
    "a plan of 124,000 strokes": _plan(
        at_tick=[10 * row for row in range(MANY)], at_us=list(range(MANY)), stroke=list(range(MANY)),
        **dict.fromkeys(("pitch", "velocity", "hand", "kind"), [0] * MANY),
    ),
    "a section before bar 1": _plan(sections=[["x", 0, 4]]),
    "a section that no table holds": _plan(sections=[["x", 1, 2**31]]),
    "no tempo": _plan(tempo=[]),
    "tempi out of order": _plan(tempo=[[100, 500_000], [0, 400_000]]),
    "no metre": _plan(metre=[]),
    "a metre of nothing": _plan(metre=[[0.0, 1, 3]]),
    "left out beyond counting": lambda context: context.update(
        left_out=[{"from_us": 0, "to_us": 1, "why": "held"}] * 10_001
    ),
    "a number of 5,000 digits": lambda context: context.update(take_number=int("9" * 4_000)),
    "no text": lambda context: context.update(name=7),
    "a newer format": lambda context: context.update(format="heeltap.take/9"),
    "no plan": lambda context: context.pop("plan"),
}  # fmt: skip


def _change(folder: Path, change: Change) -> None:
    context = json.loads((folder / CONTEXT).read_bytes())
    change(context)
    (folder / CONTEXT).write_text(json.dumps(context))


@pytest.mark.parametrize("kind", CONTEXTS)
def test_a_damaged_context_costs_a_line_and_no_other_take(kind: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """Either the take is judged all the same, or the list names it once; the others are there."""
    folders = keep_many(tmp_path, DATES, rng)
    _change(folders[1], CONTEXTS[kind])

    found = history(tmp_path)
    others = [row.folder for row in found.takes if row.folder != folders[1].name]

    assert [folders[0].name, folders[2].name] == others
    assert 3 == len(found.takes) + len(found.warnings)
    assert all(
        folders[1].name in line and "\n" not in line and "a fault in heeltap" not in line for line in found.warnings
    )


def _two_million(folder: Path) -> None:
    """Two million notes in running status: six megabytes."""
    (folder / MIDI).write_bytes(smf(track(note_on(0, 60) + b"\x01\x3c\x40" * 2_000_000)))


def _pipe(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)


def _endless(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to("/dev/zero")


FILES: dict[str, Callable[[Path], object]] = {
    "two million notes": _two_million,
    "no MIDI": lambda folder: (folder / MIDI).write_bytes(b"hello"),
    "a context that is none": lambda folder: (folder / CONTEXT).write_bytes(b"\xff\xfe{"),
    "a context as deep as it is long": lambda folder: (folder / CONTEXT).write_bytes(b"[" * 100_000),
    "an empty context": lambda folder: (folder / CONTEXT).write_bytes(b""),
}


@pytest.mark.parametrize("kind", [pytest.param(k, marks=pytest.mark.slow) if "million" in k else k for k in FILES])
def test_a_damaged_file_costs_a_line_and_no_other_take(kind: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """The same for the files as a whole."""
    folders = keep_many(tmp_path, DATES, rng)
    FILES[kind](folders[1])
    found = history(tmp_path)

    assert [folders[0].name, folders[2].name] == [row.folder for row in found.takes]
    assert 1 == len(found.warnings)
    assert folders[1].name in found.warnings[0]


def test_an_unforeseen_error_in_one_take_is_its_line(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever arises while a take is judged, in the list and in a rebuild."""
    folders = keep_many(tmp_path, DATES, rng)
    real = score_kept.__globals__["load_scored_inputs"]

    def load(folder: Path, *more: Any) -> object:
        if folder == folders[1]:
            raise IndexError("list index out of range")
        return real(folder, *more)

    monkeypatch.setattr("heeltap.app.takes.history.load_scored_inputs", load)

    assert [folders[0].name, folders[2].name] == [row.folder for row in history(tmp_path).takes]
    (line,) = rebuild(tmp_path).warnings
    assert f"{folders[1]}: a fault in heeltap: IndexError" in line


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("make", [_pipe, _endless])
def test_a_pipe_and_an_endless_file_are_refused_at_once(
    make: Callable[[Path, str], None], tmp_path: Path, rng: np.random.Generator
) -> None:
    """In place of the journal, the context and the MIDI file; the good takes are listed and handed in."""
    folders = keep_many(tmp_path, DATES, rng)
    for folder, name in zip(folders, (JOURNAL, CONTEXT, MIDI), strict=True):
        make(folder, name)

    with pytest.raises(TakeFileError, match="is no regular file"):
        read_journal(folders[0] / JOURNAL)
    with pytest.raises(TakeFileError, match="is no regular file"):
        read_context(folders[1])
    with pytest.raises(HeeltapError):
        score_kept(folders[2])
    assert [folders[0].name] == [row.folder for row in history(tmp_path).takes]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "words",
    [
        *("score {}.mid", "score --onsets {}.txt --tempo 100", "compare {}.mid {}.mid", "simplify {}.mid"),
        *("drill {}.toml", "set check {}.toml", "handin {}.toml", "song {}.song.toml"),
    ],
)
def test_no_command_waits_for_a_pipe(words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each says in one line what it is; the start screen's look for sets in the folder passes it over."""
    from heeltap.cli import main

    for ending in (".mid", ".txt", ".toml", ".song.toml"):
        os.mkfifo(f"{tmp_path / 'pipe'}{ending}")
    code = main([word.replace("{}", str(tmp_path / "pipe")) for word in words.split()])
    (line,) = capsys.readouterr().err.splitlines()

    assert (3, True) == (code, "is no regular file" in line)


def test_a_folder_that_nobody_may_look_into_is_named_and_hides_nothing(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the list, in a rebuild and in a hand-in, which does not say that there is no take."""
    chosen = small_class(tmp_path / "class", rng, ["A"]) if (tmp_path / "class").mkdir() is None else tmp_path
    takes = tmp_path / "class" / ".homes" / "0"
    (good,) = (folder for folder in takes.iterdir() if folder.is_dir() and not folder.name.startswith("."))
    closed = takes / "closed"
    shutil.copytree(good, closed)
    real = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != closed and real(path, mode))
    monkeypatch.setattr(
        os.path, "isfile", lambda path, real=os.path.isfile: closed not in Path(path).parents and real(path)
    )

    found = history(takes)
    done = hand_in(chosen, name="A", out=tmp_path / "a.handin", takes=takes)

    assert ([good.name], 1) == ([row.folder for row in found.takes], len(found.warnings))
    assert "closed: cannot be read: you may not look into it" in found.warnings[0]
    assert ["closed: left out: you may not look into it"] == list(done.warnings)
    assert 1 == sum(done.takes)


def test_a_journal_of_many_pauses_costs_no_square_of_them() -> None:
    """20,000 pauses: each once, not each for each other one (that took minutes)."""
    head = json.dumps({"format": FORMAT, "zero_ns": 0}).encode()
    pause = b'{"gap":"resumed","t_ns":%d,"zero_ns":0,"cut_us":%d}'
    journal = journal_from(b"\n".join([head, *(pause % (n, n) for n in range(20_000))]), "made")

    assert 20_000 == len(journal.gaps)


def test_a_journal_of_lines_without_end_is_counted_before_it_is_read() -> None:
    """Two million empty lines and one."""
    with pytest.raises(TakeFileError, match="a journal of 2,000,001 lines; expected at most 2,000,000"):
        journal_from(b"{}" + b"\n" * (MOST_LINES + 1), "made")


def test_a_journal_of_many_ports_is_refused() -> None:
    """Each would be looked at by itself."""
    head = json.dumps({"format": FORMAT, "zero_ns": 0, "ports": [str(n) for n in range(10_000)]}).encode()
    with pytest.raises(TakeFileError, match="messages of many ports; expected at most 64"):
        journal_from(head, "made")


def test_a_file_that_breaks_the_reading_costs_no_other_hand_in(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An error that nobody foresaw is a line; reading goes on with the next file."""
    chosen = small_class(tmp_path, rng, ["Ana", "Bo", "Cy"])
    read = classroom.read_handin

    def broken(path: Path) -> object:
        if path.name == "1.handin":
            raise IndexError("list index out of range")
        return read(path)

    monkeypatch.setattr(classroom, "read_handin", broken)
    found = read_class(tmp_path, set_name=chosen)

    assert ["Ana", "Cy"] == [student.name for student in found.students]
    assert "1.handin: a fault in heeltap: IndexError" in found.problems[0]


IN_THE_WAY: dict[str, Callable[[Path, pytest.MonkeyPatch], object]] = {
    "a folder of the index's name": lambda takes, _: index_file(takes).mkdir(parents=True),
    "a file where its folder should be": lambda takes, _: index_file(takes).parent.write_text("x"),
    "a full disk": lambda takes, patch: patch.setattr(history_db, "_open_writable", _full),
}


def _full(*_: object) -> None:
    raise sqlite3.OperationalError("database or disk is full")


@pytest.mark.parametrize("kind", IN_THE_WAY)
def test_what_is_in_the_way_of_the_index_costs_a_line_and_the_list_is_whole(
    kind: str, tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The takes are listed with a warning, the first time as well."""
    folders = keep_many(tmp_path, DATES, rng)
    IN_THE_WAY[kind](tmp_path, monkeypatch)
    found = history(tmp_path, last=2)

    assert [folder.name for folder in folders[1:]] == [row.folder for row in found.takes]
    assert (3, 1) == (found.count, len(found.warnings))
    assert "the list is right, but every list will take this long" in found.warnings[0]


def test_what_is_kept_reaches_the_disk_before_it_takes_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Settings, calibrations and self-tests go through the one function that syncs and then renames."""
    from heeltap.files import calibrations, settings

    order: list[str] = []
    sync, replace = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda file: order.append("sync") or sync(file))
    monkeypatch.setattr(os, "replace", lambda *names: order.append("rename") or replace(*names))
    write_whole(tmp_path / "x", b"x")

    assert ["sync", "rename"] == order
    assert calibrations.write_whole is settings.write_whole is write_whole
    assert b"x" == read_regular(tmp_path / "x", TakeFileError, 1, "one byte")
