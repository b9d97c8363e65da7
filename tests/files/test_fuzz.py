"""Everything that heeltap reads, damaged at random: each case is read, or refused by one line of our own.

A plain run of the slow tests tries some hundred cases of each kind. ``HEELTAP_FUZZ=20000`` tries so many; the seeds are
small true files, and what once broke the program is among the values that a change puts in.
"""

import copy
import json
import os
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heeltap import score_file
from heeltap.app.practice.classroom_scoring import score_raw
from heeltap.app.practice.sets import open_set
from heeltap.app.score.score import score_path
from heeltap.app.takes.finish_take import played_of
from heeltap.app.takes.history import row_of
from heeltap.app.takes.load_scored_inputs import load_scored_inputs, score_inputs
from heeltap.errors import HeeltapError
from heeltap.files.handin import MANIFEST
from heeltap.files.handin_read import read_handin
from heeltap.files.onsets import read_onsets
from heeltap.files.result_json import from_json, to_json
from heeltap.files.settings import read_settings
from heeltap.files.takes.folder import CONTEXT, MIDI
from heeltap.files.takes.journal import journal_from
from heeltap.files.toml.exercises import exercise_from_toml, exercise_to_toml
from heeltap.files.toml.sets import set_from_toml
from heeltap.files.toml.songs import song_from_toml
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.views.html import to_html
from heeltap.views.text import render
from tests.makers.classes import SMALL_SET, small_class
from tests.makers.kept import keep
from tests.makers.midi_bytes import metre, note_off, note_on, smf, tempo, track

pytestmark = pytest.mark.slow

CASES = int(os.environ.get("HEELTAP_FUZZ", "100"))

fuzzed = settings(
    max_examples=CASES,
    deadline=None,
    report_multiple_bugs=False,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)

MOST_S = 5.0
"""Of processor time for one case."""

VALUES: list[Any] = [
    0, 1, -1, 127, 128, 255, 2**15, 2**24, 2**31 - 1, 2**31, 2**53, 2**62, 2**63, -(2**63), 10**400, 0.5, -0.0, 1e-300, 1e300,
    1e9, -1e9, True, None, "", "x", "\x1b[2J", "\u202e", "x" * 300, "9" * 400, "../../x", [], [0], [[0]], {}, {"a": 0},
    [0] * 200, list(range(200)), list(range(200, 0, -1)),
]  # fmt: skip

WORDS = ["", "-", "1", "1 2 3 4", "1e&a", "5", "=", "[", "]]", '"', "{", "#", "\n", "\x00", "nan", "inf", "-inf", "1e400",
         "9" * 400, "0x" + "f" * 400, "a." * 60, "[[item]]", "true", "2026-01-01", "'''", "\\u202e", "99/2", "0/4", "4/3",
         "every_bars = 1, step_percent = -50", "takes = 99", "bars = 999", "tempo_bpm = 20"]  # fmt: skip

byte_changes = st.lists(
    st.tuples(st.integers(0, 4), st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=6)),
    min_size=1,
    max_size=6,
)
text_changes = st.lists(
    st.tuples(st.integers(0, 3), st.floats(0, 1, exclude_max=True), st.sampled_from(WORDS)), min_size=1, max_size=4
)
tree_changes = st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.sampled_from(VALUES)), min_size=1, max_size=3)


def bent(data: bytes, changes: list[tuple[int, float, bytes]]) -> bytes:
    """The bytes with pieces replaced, put in, cut out, doubled, cut off."""
    whole = bytearray(data)
    for kind, share, piece in changes:
        at = int(share * (len(whole) + 1))
        if kind == 0:
            whole[at : at + len(piece)] = piece
        elif kind == 1:
            whole[at:at] = piece
        elif kind == 2:
            del whole[at : at + len(piece) ** 3]
        elif kind == 3:
            whole[at:at] = whole[at : at + 40]
        else:
            del whole[at:]
    return bytes(whole)


def reworded(text: str, changes: list[tuple[int, float, str]]) -> str:
    """The text with a value, a line or a piece replaced, and lines doubled."""
    for kind, share, word in changes:
        lines = text.split("\n")
        at = int(share * len(lines))
        if kind == 0 and "=" in lines[at]:
            lines[at] = f"{lines[at].split('=')[0]}= {word}"
        elif kind == 1:
            lines[at] = word
        elif kind == 2:
            lines.insert(at, lines[int(share * 7919) % len(lines)])
        else:
            middle = len(lines[at]) // 2
            lines[at] = lines[at][:middle] + word + lines[at][middle:]
        text = "\n".join(lines)
    return text


def changed(tree: Any, changes: list[tuple[float, Any]]) -> Any:
    """A JSON document with some of its nodes replaced, wherever they are."""
    tree = copy.deepcopy(tree)
    for share, value in changes:
        places: list[tuple[Any, Any]] = []
        _places(tree, places)
        if places:
            inside, key = places[int(share * len(places))]
            inside[key] = copy.deepcopy(value)
    return tree


def _places(node: Any, found: list[tuple[Any, Any]]) -> None:
    """Every node by the one that holds it; of long lists the ends only, so that the other keys have their turn."""
    keys = list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in [*keys][:3] + ([*keys][-2:] if isinstance(node, list) else [*keys][3:]):
        found.append((node, key))
        _places(node[key], found)


def outcome(work: Callable[[], object]) -> object:
    """What comes out, or our own error, which is one line; anything else fails the test, and so does what takes too long."""
    began = os.times()
    try:
        found = work()
    except HeeltapError as error:
        found = error
    ended = os.times()
    assert "\n" not in (str(found) if isinstance(found, HeeltapError) else "")
    assert ended.user + ended.system - began.user - began.system < MOST_S
    return found


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take folder that is whole."""
    return keep(tmp_path_factory.mktemp("takes"), "turn", 9, bars=16, rng=np.random.default_rng(3))


@pytest.fixture(scope="module")
def handed_in(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A set and a hand-in of it."""
    folder = tmp_path_factory.mktemp("class")
    return small_class(folder, np.random.default_rng(3), ["Ana"]), folder / "0.handin"


NOTES = [note_on(240, 60 + n % 3) + note_off(120, 60 + n % 3) for n in range(40)]
SONG = smf(track(metre(0, 4, 2), tempo(0, 500_000), *NOTES[:20], tempo(240, 400_000), metre(0, 6, 3), *NOTES))


@fuzzed
@given(byte_changes)
def test_recorded_files_are_judged_or_refused(tmp_path: Path, changes: list[tuple[int, float, bytes]]) -> None:
    """The reader, the grid, the report as text and JSON; then the same file as its own plan."""
    path = tmp_path / "take.mid"
    path.write_bytes(bent(SONG, changes))
    found = outcome(lambda: render(score_path(path)))
    outcome(lambda: to_json(score_file(path, plan=path)))

    assert isinstance(found, str | HeeltapError)


@fuzzed
@given(byte_changes)
def test_plans_are_held_against_or_refused(tmp_path: Path, changes: list[tuple[int, float, bytes]]) -> None:
    """A good take against a damaged plan."""
    take, plan = tmp_path / "take.mid", tmp_path / "plan.mid"
    take.write_bytes(SONG)
    plan.write_bytes(bent(SONG, changes))
    outcome(lambda: score_file(take, plan=plan))


JOURNAL = b"\n".join(
    [
        b'{"format":"heeltap.journal/1","t0":1.0,"zero_ns":1000000000,"ports":["Pad","Keys"]}',
        *(
            b'{"t_ns":%d,"bytes":[144,60,90],"dt":0.1,"port":"Pad"}' % (1_000_000_000 + 500_000_000 * n)
            for n in range(8)
        ),
        b'{"click":3,"due_us":1500000,"sent_us":1500041,"key":76}',
        b'{"gap":"lost","t_ns":5000000000,"port":"Pad"}',
        b'{"gap":"resumed","t_ns":6000000000,"zero_ns":2000000000,"cut_us":1900000}',
        b'{"t":6.5,"bytes":[128,60,0],"dt":0.1}',
        b'{"end":true}',
    ]
)


@fuzzed
@given(byte_changes, tree_changes, st.integers(0, 13))
def test_journals_are_read_or_refused(
    changes: list[tuple[int, float, bytes]], values: list[tuple[float, Any]], number: int
) -> None:
    """Damaged bytes, and lines whose values are absurd; what can be read becomes notes."""
    outcome(lambda: played_of(journal_from(bent(JOURNAL, changes), "made")))
    lines = JOURNAL.split(b"\n")
    at = min(number, len(lines) - 1)
    lines[at] = json.dumps(changed(json.loads(lines[at]), values)).encode()
    outcome(lambda: played_of(journal_from(b"\n".join(lines), "made")))


@fuzzed
@given(tree_changes, byte_changes, st.integers(0, 3))
def test_take_folders_are_judged_or_refused(
    kept: Path, values: list[tuple[float, Any]], changes: list[tuple[int, float, bytes]], which: int
) -> None:
    """Absurd values in the context, now and then a damaged MIDI file; what can be judged becomes a line of the history."""
    whole = {name: (kept / name).read_bytes() for name in (CONTEXT, MIDI)}
    try:
        (kept / CONTEXT).write_text(json.dumps(changed(json.loads(whole[CONTEXT]), values)))
        if which == 0:
            (kept / MIDI).write_bytes(bent(whole[MIDI], changes))
        outcome(lambda: _judged(kept))
    finally:
        for name, data in whole.items():
            (kept / name).write_bytes(data)


def _judged(folder: Path) -> object:
    inputs = load_scored_inputs(folder)
    result = score_inputs(inputs)
    return row_of(inputs.take, result), render(result)


EXERCISE = """\
format = "heeltap.exercise/1"
name = "x"
title = "Two and four"
metre = "4/4"
tempo_bpm = 76
swing_ratio = 1.5
click = "bars 2+2"
count_in_bars = 1
lean_ms = "auto"
pocket_ms = 20
ladder = { every_bars = 1, step_percent = 4 }
voices = [
  { name = "kick", pitches = [36], hand = "left" },
  { name = "snare", pitches = [38, 40] },
]
[[section]]
name = "groove"
bars = [
  ["1 3", "2 4"],
  { lines = ["1e&a", "-"], fill_from = 3 },
]
[[section]]
name = "chorus"
bars = [["1", "2 4"]]
"""


@fuzzed
@given(text_changes)
def test_exercises_are_read_or_refused(changes: list[tuple[int, float, str]]) -> None:
    """What can be read has a plan, and reads back as it is written."""

    def work() -> object:
        exercise = exercise_from_toml(reworded(EXERCISE, changes))
        assert exercise == exercise_from_toml(exercise_to_toml(exercise))
        return plan_of(exercise)

    outcome(work)


SET = (
    SMALL_SET
    + """
[[item]]
family = "turn"
grade = 9
metre = "3/4"
seed = 7
bars = 16
tempo_bpm = [76, 80]
click = "backbeat"
ladder = { every_bars = 4, step_percent = 4 }
notes = "Look at the bar before the change first."
takes = 2
done = { in_pocket_percent = 60, spread_ms = 30, takes = 1 }
"""
)


@fuzzed
@given(text_changes)
def test_sets_are_read_or_refused(changes: list[tuple[int, float, str]]) -> None:
    """Every mistake at once, or a set."""
    outcome(lambda: set_from_toml(reworded(SET, changes)))


SONG_FILE = """\
format = "heeltap.song/1"
title = "Harbour"
file = "harbour.mid"
part = "keys"
drums = "drums"
takes = "takes"
lean_ms = "auto"
pocket_ms = 20
recording_delay_ms = 12.5
begins_at_bar = 3
[[section]]
name = "verse 2"
bar = 21
"""


@fuzzed
@given(text_changes)
def test_songs_are_read_or_refused(changes: list[tuple[int, float, str]]) -> None:
    """Song files."""
    outcome(lambda: song_from_toml(reworded(SONG_FILE, changes)))


ONSETS = "\n".join([*(f"{0.5 * n:.3f} {80 + n}" for n in range(12)), "# a comment", "6.25"])


@fuzzed
@given(text_changes, byte_changes)
def test_onsets_are_read_or_refused(
    tmp_path: Path, words: list[tuple[int, float, str]], changes: list[tuple[int, float, bytes]]
) -> None:
    """Text files of onsets, by seconds."""
    path = tmp_path / "onsets.txt"
    for data in (reworded(ONSETS, words).encode(), bent(ONSETS.encode(), changes)):
        path.write_bytes(data)
        outcome(lambda: read_onsets(path, steady_tempo(100.0), steady_metre()))


SETTINGS = """\
format = "heeltap.settings/1"
in_ports = ["Drum Pads"]
out_port = "Synth"
split = "C4"
[control]
start = "cc64"
[click]
notes = "stick"
channel = 10
velocity = 80
[[pads]]
port = "Drum Pads"
keys = { kick = 36, snare = 38 }
retrigger_ms = { snare = 45 }
"""


@fuzzed
@given(text_changes)
def test_settings_are_read_or_refused(tmp_path: Path, changes: list[tuple[int, float, str]]) -> None:
    """Settings, and what a drill asks them."""
    path = tmp_path / "settings.toml"
    path.write_text(reworded(SETTINGS, changes), encoding="utf-8", newline="")
    outcome(lambda: read_settings(path).pads_of(["Drum Pads"]))


@fuzzed
@given(byte_changes, tree_changes, st.sampled_from(["zip", "manifest", "context", "journal"]))
def test_hand_ins_are_judged_or_refused(
    tmp_path: Path,
    handed_in: tuple[Path, Path],
    changes: list[tuple[int, float, bytes]],
    values: list[tuple[float, Any]],
    what: str,
) -> None:
    """The zip, its manifest with absurd values, a context and a journal whose hashes fit all the same."""
    chosen, whole = handed_in
    path = tmp_path / "x.handin"
    path.write_bytes(bent(whole.read_bytes(), changes) if what == "zip" else _packed(whole, what, changes, values))

    def work() -> object:
        return [score_raw(raw, OPENED.setdefault(chosen, open_set(chosen))) for raw in read_handin(path).takes]

    outcome(work)


OPENED: dict[Path, Any] = {}


def _packed(whole: Path, what: str, changes: list[tuple[int, float, bytes]], values: list[tuple[float, Any]]) -> bytes:
    """A hand-in packed anew, with one of its files changed and the hashes of what is in it."""
    import hashlib

    with zipfile.ZipFile(whole) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    manifest, journal, context = files[MANIFEST], *(files[name] for name in list(files)[1:3])
    told = json.loads(manifest)
    if what == "manifest":
        told = changed(told, values)
    elif what == "context":
        context = json.dumps(changed(json.loads(context), values)).encode()
    else:
        journal = bent(journal, changes)
    if what != "manifest":
        told["takes"][0]["journal_sha256"] = hashlib.sha256(journal).hexdigest()
        told["takes"][0]["context_sha256"] = hashlib.sha256(context).hexdigest()
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in zip(files, (json.dumps(told).encode(), journal, context), strict=True):
            archive.writestr(name, data)
    return buffer.getvalue()


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A result as JSON."""
    path = tmp_path_factory.mktemp("result") / "take.mid"
    path.write_bytes(SONG)
    found: dict[str, Any] = json.loads(to_json(score_path(path)))
    return found


@fuzzed
@given(tree_changes, byte_changes)
def test_results_are_read_or_refused(
    result: dict[str, Any], values: list[tuple[float, Any]], changes: list[tuple[int, float, bytes]]
) -> None:
    """A result of a newer heeltap or of nobody: read and shown, or refused."""
    outcome(lambda: from_json(bent(json.dumps(result).encode(), changes)))
    outcome(lambda: _shown(json.dumps(changed(result, values)).encode()))


def _shown(data: bytes) -> object:
    found = from_json(data)
    return render(found), to_json(found), to_html
