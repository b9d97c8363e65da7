"""From kept takes to hand-ins to the teacher's page."""

import hashlib
import json
import unicodedata
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from heeltap.app.practice import classroom
from heeltap.app.practice.classroom import read_class
from heeltap.app.practice.handin import class_items, hand_in
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.app.practice.sets import open_set
from heeltap.classroom.students import cell_of, differs
from heeltap.errors import InputFileError, SetFileError, TakeFileError
from heeltap.files.handin import MANIFEST, Manifest, handin_bytes, names_of
from heeltap.model.plan_from import plan_of
from heeltap.views.classroom import class_text
from tests.makers.classes import PLANTED, hand_in_all, keep_raw, pupils, small_class, write_set


def repacked(
    path: Path,
    out: Path,
    *,
    manifest: Callable[[dict[str, Any]], None] | None = None,
    journal: Callable[[bytes], bytes] | None = None,
    context: Callable[[dict[str, Any]], None] | None = None,
) -> None:
    """The hand-in with some of it changed and every hash put right: what somebody who knows the format can do."""
    with zipfile.ZipFile(path) as archive:
        told = json.loads(archive.read(MANIFEST))
        takes = [[archive.read(name) for name in names_of(number + 1)] for number in range(len(told["takes"]))]
    for entry, take in zip(told["takes"], takes, strict=True):
        take[0] = journal(take[0]) if journal else take[0]
        if context:
            fields = json.loads(take[1])
            context(fields)
            take[1] = json.dumps(fields).encode()
        entry["journal_sha256"], entry["context_sha256"] = (hashlib.sha256(data).hexdigest() for data in take)
    if manifest:
        manifest(told)
    whole = msgspec.json.decode(json.dumps(told).encode(), type=Manifest)
    out.write_bytes(handin_bytes(whole, [(one, other) for one, other in takes]))


@pytest.fixture
def folder(tmp_path: Path, rng: np.random.Generator) -> Path:
    """A class of two with one take each."""
    small_class(tmp_path, rng)
    return tmp_path


def test_a_hand_in_is_the_same_bytes_every_time(folder: Path) -> None:
    """Nothing of the hour or the machine goes into it."""
    again = folder / "again"
    hand_in(folder / "two-beats.toml", name="Tove", out=again, takes=folder / ".homes" / "0")

    assert (folder / "0.handin").read_bytes() == again.read_bytes()


def test_only_takes_of_the_set_are_handed_in(folder: Path, rng: np.random.Generator) -> None:
    """A take of something else stays at home; the same exercise at another tempo goes."""
    root = folder / ".homes" / "0"
    for exercise in (make_exercise("split", 2, bars=8), make_exercise("anchor", 3, bars=10, tempo_bpm=110)):
        keep_raw(root, exercise, rng.normal(0, 9, len(plan_of(exercise))))

    done = hand_in(folder / "two-beats.toml", name="Tove", out=folder / "0.handin", takes=root)

    assert (2,) == done.takes


def test_without_a_take_of_the_set_nothing_is_written(folder: Path) -> None:
    """The line says how to play one."""
    with pytest.raises(TakeFileError, match="no take of any of its exercises"):
        hand_in("first-week", name="x", out=folder / "x.handin", takes=folder / ".homes" / "0")

    assert not (folder / "x.handin").exists()


def test_honest_figures_are_found_again(folder: Path) -> None:
    """The teacher's figures from the raw events are the student's own from the MIDI file."""
    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert ["Odo", "Tove"] == [student.name for student in room.students]
    assert [False, False] == [differs(take) for student in room.students for take in student.takes]
    assert () == room.questions + room.problems


def test_figures_that_were_changed_are_shown(folder: Path) -> None:
    """The raw take is what counts."""
    repacked(
        folder / "0.handin", folder / "0.handin", manifest=lambda m: m["takes"][0]["figures"].update(spread_ms=1.5)
    )

    room = read_class(folder, set_name=folder / "two-beats.toml")

    (take,) = room.students[1].takes
    assert differs(take)
    assert take.said is not None
    assert (1.5, True) == (take.said.spread_ms, 6 < (take.figures.spread_ms or 0) < 12)


def test_a_wide_pocket_of_the_students_own_does_not_count(folder: Path) -> None:
    """Lean and pocket are the set's, and the line can say what was otherwise."""
    before = read_class(folder, set_name=folder / "two-beats.toml").students[1].takes[0]
    repacked(folder / "0.handin", folder / "0.handin", context=lambda c: c.update(pocket_ms=500.0, lean_ms=30.0))

    after = read_class(folder, set_name=folder / "two-beats.toml").students[1].takes[0]

    assert before.figures == after.figures
    assert "aimed at +30 ms, the set asks for +0; took a pocket of 500 ms, the set asks for 40 ms" == after.why_unlike


def test_a_plan_made_easy_is_no_exercise_of_the_set(folder: Path) -> None:
    """A plan whose times are the strokes that were played would make everybody perfect."""
    repacked(
        folder / "0.handin",
        folder / "0.handin",
        context=lambda c: c["plan"].update(at_us=[at + 5000 for at in c["plan"]["at_us"]]),
    )

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert ["Odo", "Tove"] == [student.name for student in room.students]
    assert () == room.students[1].takes
    assert 1 == sum("is of no exercise of 'Two beats'" in line for line in room.problems)


def an_hour_later(data: bytes) -> bytes:
    """The journal as if it had been played an hour later on another port."""
    lines = [json.loads(line) for line in data.splitlines()]
    for line in lines:
        line |= {key: line[key] + 3_600_000_000_000 for key in ("zero_ns", "t_ns") if key in line}
        line |= {"port": "Keys"} if "port" in line else {}
    return b"".join(json.dumps(line).encode() + b"\n" for line in lines)


def test_a_take_that_ended_early_does_not_count(folder: Path) -> None:
    """However little was left to play."""
    repacked(folder / "0.handin", folder / "0.handin", context=lambda c: c.update(judged_to_us=c["plan"]["at_us"][-2]))

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert [("Odo", True), ("Tove", False)] == [(student.name, student.takes[0].whole) for student in room.students]


def test_a_copied_take_is_a_question(folder: Path) -> None:
    """Another name, port and hour do not hide it."""
    repacked(
        folder / "0.handin",
        folder / "9.handin",
        manifest=lambda m: m.update(name="Sanna"),
        journal=an_hour_later,
        context=lambda c: c.update(date="2026-04-01T10:00:00+02:00"),
    )

    room = read_class(folder, set_name=folder / "two-beats.toml")

    (question,) = room.questions
    assert ("same", ["Sanna", "Tove"]) == (question.kind, [room.students[who].name for who in question.who])


@pytest.mark.parametrize("fingerprint", ["", "f" * 64])
def test_no_text_of_a_students_reaches_the_terminal_with_its_escapes(folder: Path, fingerprint: str) -> None:
    """Names, folders and titles are shown without escape codes, direction marks and line ends."""

    def evil(told: dict[str, Any]) -> None:
        told |= {"name": "To\x1b]0;x\x07ve", "set_title": "W\x1b[2Jeek\u202e"}
        told |= {"set_fingerprint": fingerprint} if fingerprint else {}
        told["takes"][0] |= {"folder": "a\x1b[31m\nb"}
        told["takes"][0]["figures"] |= {"spread_ms": 1.0}

    repacked(folder / "0.handin", folder / "0.handin", manifest=evil)

    text = class_text(read_class(folder, set_name=folder / "two-beats.toml"))

    assert ("W [2Jeek" if fingerprint else "a [31m b") in text
    assert {"\n"} == {c for c in text if unicodedata.category(c)[0] == "C"}


def test_two_hand_ins_of_one_name_are_put_together(folder: Path) -> None:
    """What both hold counts once, and is no question."""
    (folder / "later.zip").write_bytes((folder / "0.handin").read_bytes())

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert [("Odo", 1), ("Tove", 1)] == [(student.name, len(student.takes)) for student in room.students]
    assert ("Tove handed in 2 times (0.handin, later.zip); heeltap put them together",) == room.notes
    assert () == room.questions


def test_a_keyboard_that_speaks_late_keeps_nobody_from_being_done(tmp_path: Path, rng: np.random.Generator) -> None:
    """Where the delay is not known the pocket lies around the take's own middle; where it is known, it does not."""
    set_path = small_class(tmp_path, rng, ["A"])
    exercise = open_set(set_path).works[0].item.exercise
    assert exercise is not None
    late = 70.0 + rng.normal(0, 9, len(plan_of(exercise)))
    for name, delay_ms in (("Known", 0.0), ("Unknown", None)):
        keep_raw(tmp_path / name, exercise, late, delay_ms=delay_ms)
        hand_in(set_path, name=name, out=tmp_path / f"{name}.handin", takes=tmp_path / name)

    known, unknown = read_class(tmp_path, set_name=set_path).students[1:]

    done = [cell_of(student, class_items(open_set(set_path))[0]).tempi_done for student in (known, unknown)]
    assert [0, 1] == done
    same = replace(unknown.takes[0].figures, in_pocket=known.takes[0].figures.in_pocket)
    assert known.takes[0].figures == same
    assert (unknown.takes[0].in_pocket or 0) > 0.9 > 0.1 > (known.takes[0].in_pocket or 0)


DAMAGED: dict[str, tuple[dict[str, Any], str]] = {
    "another set": ({"manifest": lambda m: m.update(set_fingerprint="f" * 64)}, "of another set: 'Two beats', ffff"),
    "newer context": ({"context": lambda c: c.update(format="heeltap.take/2")}, "written by a newer heeltap"),
    "no context": ({"context": lambda c: c.clear()}, "not a take's context"),
    "absurd lean": ({"context": lambda c: c.update(lean_ms=1e300)}, "not a take's context"),
    "plan that is none": ({"context": lambda c: c["plan"].update(tempo=[])}, "a plan that is none"),
    "no journal": ({"journal": lambda data: b"hello"}, "is not a journal"),
    "nothing played": ({"journal": lambda data: data.split(b"\n")[0]}, "nothing was played"),
    "too many lines": (
        {"journal": lambda data: data + b"".join(b'{"x":%d}\n' % n for n in range(300_000))},
        "300,064 lines of playing in its 1 takes; expected at most 200,000 (heeltap spends 10 s and 500 MB",
    ),
    "too many ports": (
        {"journal": lambda data: data + b"".join(b'{"t_ns":1,"bytes":[144,1,1],"port":"%d"}\n' % n for n in range(99))},
        "from 16 ports",
    ),
}


@pytest.mark.parametrize("case", DAMAGED)
def test_what_cannot_be_scored_is_one_line_and_the_others_are_reported(case: str, folder: Path) -> None:
    """A damaged take costs nobody else anything."""
    changes, expected = DAMAGED[case]
    repacked(folder / "0.handin", folder / "0.handin", **changes)

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert 1 == len(room.problems)
    assert expected in room.problems[0]
    assert room.problems[0].startswith("0.handin")
    assert 1 == sum(len(student.takes) for student in room.students)


def test_times_beyond_all_sense_cost_at_most_their_take(folder: Path) -> None:
    """Arrivals at the ends of the number range, endless deltas: one line or a take, never a crash."""
    ends = b"".join(
        b'{"t_ns":%d,"bytes":[144,60,90],"dt":%s,"port":"Pad"}\n' % (at, dt)
        for at, dt in ((2**63 - 1, b"1e308"), (-(2**63), b"-1e308"), (0, b"0"), (2**62, b"1"))
    )
    repacked(folder / "0.handin", folder / "0.handin", journal=lambda data: data + ends)

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert 2 == sum(len(student.takes) for student in room.students) + len(room.problems)


def test_too_many_files_are_not_a_class(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wrong folder is noticed before an hour of reading."""
    monkeypatch.setattr(classroom, "MOST_FILES", 1)

    with pytest.raises(InputFileError, match="2 hand-ins; expected at most 1"):
        read_class(folder, set_name=folder / "two-beats.toml")


def test_messages_that_run_backwards_are_no_take(folder: Path) -> None:
    """On one port; two ports may be drained in any order."""
    late = b'{"t_ns":5000000001,"bytes":[144,60,90],"dt":0.1,"port":"%s"}\n'
    for name, port in (("0", b"Pad"), ("1", b"Other")):
        path = folder / f"{name}.handin"
        repacked(path, path, journal=lambda data, port=port: data + late % port)

    room = read_class(folder, set_name=folder / "two-beats.toml")

    assert [("Odo", 1), ("Tove", 0)] == [(student.name, len(student.takes)) for student in room.students]
    assert ["messages that run backwards"] == [line.split(": ")[1].split(";")[0] for line in room.problems]


def test_a_folder_of_nothing_is_said(tmp_path: Path) -> None:
    """No hand-in, no folder, no set that fits."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "x.zip").write_bytes(b"x")

    with pytest.raises(InputFileError, match="no hand-in in it"):
        read_class(tmp_path / "empty")
    with pytest.raises(InputFileError, match="cannot be read"):
        read_class(tmp_path / "nowhere")
    with pytest.raises(SetFileError, match="no hand-in that can be read"):
        read_class(tmp_path / "odd")


def test_a_shipped_set_need_not_be_named(tmp_path: Path, rng: np.random.Generator) -> None:
    """Its fingerprint tells it."""
    exercise = open_set("first-week").works[0].item.exercise
    assert exercise is not None
    keep_raw(tmp_path / ".home", exercise, rng.normal(0, 9, len(plan_of(exercise))))
    hand_in("first-week", name="Tove", out=tmp_path / "a.handin", takes=tmp_path / ".home")

    room = read_class(tmp_path)

    assert ("First week: find the beat", 1) == (room.title, len(room.students[0].takes))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_class_of_thirty_is_told_what_was_planted_and_nothing_else(seed: int, tmp_path: Path) -> None:
    """Of 25 planted weaknesses at least 23 are named (27 of 30 in proportion); none for the five who have none."""
    set_path = tmp_path / "set"
    set_path.mkdir()
    rng = np.random.default_rng(seed)
    who = pupils(rng, list(PLANTED) * 5 + [""] * 5)
    hand_in_all(rng, tmp_path, who, write_set(set_path))

    room = read_class(tmp_path, set_name=set_path / "week-five.toml")

    told = {
        student.name: {(one.code, one.effect_ms < 0) for one in found}
        for student, found in zip(room.students, room.weaknesses, strict=True)
    }
    named = [PLANTED[pupil.weakness] in told[pupil.name] for pupil in who if pupil.weakness]
    assert 30 == len(told)
    assert [] == [(pupil.name, told[pupil.name]) for pupil in who if not pupil.weakness and told[pupil.name]]
    assert (25, True) == (len(named), sum(named) >= 23)
    assert ((), (), ()) == (room.problems, room.questions, room.notes)
    assert not any(differs(take) for student in room.students for take in student.takes)
