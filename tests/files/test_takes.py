"""Take folders: written whole or not at all, read back as they were, found again after a kill."""

import json
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import mido
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.errors import TakeFileError
from heeltap.files.smf import read_midi
from heeltap.files.takes.folder import list_takes, load_take, open_take, save_take, set_aside, take_of, unfinished
from heeltap.files.takes.left_out import leave_out
from heeltap.files.takes.metadata import FORMAT, Context, LeftOut, context_bytes, context_from, plan_from, plan_out
from heeltap.files.takes.take_midi import count_in_of, notes_of_messages, pedal_of_messages
from heeltap.model.arrays import as_ints
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import Plan, Section
from heeltap.model.timeline import TempoMap
from tests.makers.amounts import amount
from tests.makers.drills import counted_plan

BAR_US = 2_000_000


def a_context(plan: Plan, **more: object) -> Context:
    """A context at 120 bpm with one bar of count-in."""
    values = {"heeltap": "0", "name": "anchor 2/é", "date": "2026-01-31T20:15:04+01:00", "count_in_us": BAR_US}
    return Context(plan=plan_out(plan), **{**values, **more})


def a_take(root: Path, notes: Notes, plan: Plan | None = None, **more: object) -> Path:
    """A finished take folder."""
    plan = plan or counted_plan(["1 2 3 4", "1 2 3 4"], sections=[Section("verse", 1, 1), Section("chorus", 2, 2)])
    context = a_context(plan, **more)
    return save_take(open_take(root, context), context, plan, notes)


def same_plan(a: Plan, b: Plan) -> bool:
    """Whether two plans agree in every column and map."""
    for field in fields(Plan):
        left, right = getattr(a, field.name), getattr(b, field.name)
        if field.name == "tempo":
            same = left.at_tick.tolist() == right.at_tick.tolist() and left.us_per_quarter.tolist() == (
                right.us_per_quarter.tolist()
            )
        elif field.name == "metre":
            same = left.metres == right.metres and left.at_quarter.tolist() == right.at_quarter.tolist()
        else:
            same = np.array_equal(left, right) if isinstance(left, np.ndarray) else left == right
        if not same:
            return False
    return True


@given(onsets=st.lists(st.integers(-BAR_US, 20_000_000), min_size=1, max_size=20))
@settings(max_examples=amount(40, fast=15))
def test_onsets_come_back_within_nine_microseconds(tmp_path_factory: pytest.TempPathFactory, onsets: list[int]) -> None:
    """At 120 bpm the file's grid is 16.5 us, so no onset moves by more than half of that."""
    notes = make_notes(sorted(onsets), [60] * len(onsets), [77] * len(onsets))

    back = load_take(a_take(tmp_path_factory.mktemp("takes"), notes)).notes

    assert len(back) == len(notes)
    assert np.abs(back.onset_us - notes.onset_us).max() <= 9
    assert back.velocity.tolist() == [77] * len(onsets)


def test_the_plan_and_the_context_come_back_exactly(tmp_path: Path) -> None:
    """What the judging depends on survives, a changing tempo and a changing metre too."""
    plain = counted_plan(["1 2& 3 4", "1 2 3 4"], sections=[Section("verse", 1, 2)], pitches=(36, 42))
    ladder = TempoMap(10_080, as_ints([0, 40_320]), as_ints([500_000, 480_000]))
    plan = Plan(**{f.name: getattr(plain, f.name) for f in fields(Plan)} | {"tempo": ladder})
    folder = a_take(tmp_path, make_notes([0, 2_500_000], [36, 42]), plan, lean_ms=12.5, exercise="name = 'é'\n", seed=7)

    take = load_take(folder)

    assert same_plan(take.plan, plan)
    assert (take.context.lean_ms, take.context.exercise, take.context.seed) == (12.5, "name = 'é'\n", 7)
    assert np.abs(take.notes.onset_us - [0, 2_500_000]).max() <= 9


def test_another_program_reads_the_file_with_bars_where_they_belong(tmp_path: Path) -> None:
    """The count-in is a whole bar, so beat 1 of bar 1 lies on a bar line; markers name it and the sections."""
    folder = a_take(tmp_path, make_notes([0, 500_000], [60, 62], [64, 90], duration_us=[100_000, -1]))

    song = mido.MidiFile(folder / "take.mid")
    track = [message for message in song.tracks[1] if message.type == "note_on"]

    assert track[0].time == 4 * song.ticks_per_beat
    assert [m.text for m in song.tracks[0] if m.type == "marker"] == ["count-in", "verse", "chorus"]
    assert count_in_of(read_midi(folder / "take.mid")) == BAR_US


def test_notes_before_the_count_in_stay_in_the_journal_only(tmp_path: Path) -> None:
    """The file cannot hold them, and nothing else is lost for it."""
    folder = a_take(tmp_path, make_notes([-BAR_US - 1, -BAR_US, 0], [60, 61, 62]))

    assert load_take(folder).notes.pitch.tolist() == [61, 62]


def test_nothing_of_a_take_shows_before_it_is_whole(tmp_path: Path) -> None:
    """While it is open no finished take is listed; afterwards one is, and its name begins with the date."""
    plan = counted_plan(["1 2 3 4"])
    context = a_context(plan)
    opened = open_take(tmp_path, context)

    during = list_takes(tmp_path)
    folder = save_take(opened, context, plan, make_notes([0], [60]))

    assert during == []
    assert list_takes(tmp_path) == [folder]
    assert folder.name == "2026-01-31T20-15-04-anchor-2"
    assert sorted(path.name for path in folder.iterdir()) == ["context.json", "take.mid"]


def test_takes_of_one_second_get_names_of_their_own(tmp_path: Path) -> None:
    """Two takes of the same name do not overwrite each other, open or finished."""
    plan = counted_plan(["1 2 3 4"])
    context = a_context(plan)
    first, second = open_take(tmp_path, context), open_take(tmp_path, context)
    folders = {save_take(take, context, plan, make_notes([0], [60])) for take in (first, second)}

    folders.add(a_take(tmp_path, make_notes([0], [60])))

    assert len(folders) == 3
    assert len(list_takes(tmp_path)) == 3


def test_a_take_that_is_being_played_is_not_called_left_behind(tmp_path: Path) -> None:
    """Its lock is held; when the holder is gone it is found."""
    opened = open_take(tmp_path, a_context(counted_plan(["1"])))

    during = unfinished(tmp_path)
    opened.lock.release()
    after = unfinished(tmp_path)

    assert during == []
    assert [take.folder for take in after] == [opened.folder]


@pytest.mark.live
def test_the_lock_dies_with_its_holder(tmp_path: Path) -> None:
    """A process that is killed leaves its take to be found."""
    code = (
        "import sys, pathlib\n"
        "sys.path.insert(0, sys.argv[2])\n"
        "from tests.files.test_takes import a_context, open_take, counted_plan\n"
        "take = open_take(pathlib.Path(sys.argv[1]), a_context(counted_plan(['1'])))\n"
        "print('open', flush=True)\n"
        "sys.stdin.read()\n"
    )
    root = str(Path(__file__).resolve().parents[2])
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path), root], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as child:
        assert child.stdout is not None
        child.stdout.readline()
        during = unfinished(tmp_path)
        child.kill()

    assert during == []
    assert len(unfinished(tmp_path)) == 1


def test_what_cannot_be_finished_is_set_aside(tmp_path: Path) -> None:
    """It is out of the way of the next start, and still there; an empty one is gone."""
    kept, empty = (open_take(tmp_path, a_context(counted_plan(["1"]))) for _ in range(2))

    aside = set_aside(kept, keep=True)
    nothing = set_aside(empty, keep=False)

    assert aside is not None
    assert (aside / "context.json").is_file()
    assert (nothing, unfinished(tmp_path), list_takes(tmp_path)) == (None, [], [])


def test_a_take_is_found_from_any_of_its_files(tmp_path: Path) -> None:
    """The folder, its MIDI file and its context all name the take; another MIDI file does not."""
    folder = a_take(tmp_path / "takes", make_notes([0], [60]))
    other = tmp_path / "take.mid"
    other.write_bytes((folder / "take.mid").read_bytes())

    assert {take_of(folder), take_of(folder / "take.mid"), take_of(folder / "context.json")} == {folder}
    assert (take_of(other), take_of(tmp_path)) == (None, None)
    with pytest.raises(TakeFileError, match="no take"):
        load_take(other)


def test_a_newer_format_is_named(tmp_path: Path) -> None:
    """A context of version 2 says that heeltap is too old for it."""
    data = context_bytes(a_context(counted_plan(["1"]))).replace(FORMAT.encode(), b"heeltap.take/2")

    with pytest.raises(TakeFileError, match=r"heeltap\.take/2.*newer"):
        context_from(data, "context.json")


def test_fields_of_later_programs_are_passed_over() -> None:
    """Version 1 may grow: an unknown field changes nothing."""
    context = a_context(counted_plan(["1"]))
    grown = json.loads(context_bytes(context)) | {"mood": "fine"}

    assert context_from(json.dumps(grown).encode(), "x") == context


@given(data=st.data())
@settings(max_examples=amount(150, fast=37))
def test_a_damaged_context_is_one_error_of_ours(data: st.DataObject) -> None:
    """Whatever value any field holds, reading gives a take or a TakeFileError."""
    whole = json.loads(context_bytes(a_context(counted_plan(["1 2 3 4"]))))
    target = data.draw(st.sampled_from([whole, whole["plan"]]))
    key = data.draw(st.sampled_from(sorted(target)))
    target[key] = data.draw(
        st.one_of(
            st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.lists(st.integers(-5, 9), max_size=5)
        )
    )

    said = "context.json"
    try:
        plan_from(context_from(msgspec.json.encode(whole), "context.json").plan, "context.json")
    except TakeFileError as error:
        said = str(error)

    assert "context.json" in said


def test_notes_are_paired_with_their_ends() -> None:
    """Overlapping strokes of one key end in the order in which they began; velocity 0 ends; no end is -1."""
    on, off = 0x93, 0x83
    messages = [
        bytes([on, 60, 80]),
        bytes([on, 60, 90]),
        bytes([0xF8]),
        bytes([0xB3, 64, 127]),
        bytes([off, 60, 0]),
        bytes([on, 60, 0]),
        bytes([off, 60, 0]),
        bytes([on, 62, 1]),
    ]
    at = as_ints(range(0, 800, 100))

    notes = notes_of_messages(at, messages)
    pedal = pedal_of_messages(at, messages)

    assert notes.onset_us.tolist() == [0, 100, 700]
    assert notes.duration_us.tolist() == [400, 400, -1]
    assert (notes.channel.tolist(), notes.velocity.tolist()) == ([3, 3, 3], [80, 90, 1])
    assert (pedal.at_us.tolist(), pedal.channel.tolist(), pedal.value.tolist()) == ([300], [3], [127])


def test_strokes_left_out_take_their_notes_with_them() -> None:
    """A span without input loses its strokes and the notes nearest to them; the rest keeps its numbers."""
    plan = counted_plan(["1 2 3 4", "1 2 3 4"], pitches=(60, 64))
    notes = make_notes([10_000, 480_000, 1_020_000, 1_490_000, 2_700_000], [60] * 5)

    kept, left = leave_out(notes, plan, [LeftOut(900_000, 1_600_000, "lost")])

    assert kept.onset_us.tolist() == [10_000, 480_000, 2_700_000]
    assert sorted(set(left.at_us.tolist())) == [0, 500_000, 2_000_000, 2_500_000, 3_000_000, 3_500_000]
    assert left.stroke.tolist() == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert left.bars == 2


def test_an_early_end_shortens_the_plan() -> None:
    """Bars and sections that were never reached are gone; nothing of them is missed."""
    plan = counted_plan(["1 2 3 4"] * 4, sections=[Section("verse", 1, 3), Section("chorus", 4, 4)])
    notes = make_notes([0, 500_000, 2_000_000, 2_900_000], [60] * 4)

    kept, left = leave_out(notes, plan, [], judged_to_us=2_600_000)

    assert (left.bars, left.sections) == (2, (Section("verse", 1, 2),))
    assert left.at_us.tolist() == [0, 500_000, 1_000_000, 1_500_000, 2_000_000, 2_500_000]
    assert kept.onset_us.tolist() == [0, 500_000, 2_000_000]


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    """A file in place of the takes folder is one line with a hint."""
    (tmp_path / "takes").write_text("in the way")

    with pytest.raises(TakeFileError, match="HEELTAP_HOME"):
        open_take(tmp_path / "takes", a_context(counted_plan(["1"])))
