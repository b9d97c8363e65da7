"""Set files: what a teacher writes is read, what a teacher mistypes is told, all of it at once."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from heeltap.app.practice.make_exercise import make_exercise
from heeltap.errors import SetFileError
from heeltap.files.toml.sets import ITEM_KEYS, TOP_KEYS, mistakes_in, read_set, set_from_toml
from heeltap.model.exercise import ClickPlan, Ladder, Pocket
from heeltap.model.lean import AUTO, Lean
from heeltap.model.practice_set import Done, FromFile, Generated
from tests.makers.sets import HAND_WRITTEN, set_folder

HEAD = 'format = "heeltap.set/1"\ntitle = "t"\n'
ITEM = '[[item]]\nfamily = "anchor"\ngrade = 1\n'


def test_a_hand_written_set_is_read() -> None:
    """What the top says holds for every item that does not say otherwise."""
    found = set_from_toml(HAND_WRITTEN, name="week3")

    first, second = found.items
    assert ("week3", "Week three", "the Tuesday group") == (found.name, found.title, found.audience)
    assert ("Two and four first.",) == found.notes
    assert Generated("anchor", "backbeat", "4/4", 1, None) == first.source
    assert ((72.0, 76.0, 80.0), Lean(10), 30.0, 3) == (first.tempo_bpm, first.lean, first.pocket_ms, first.takes)
    assert Done(80.0, 20.0, 2) == first.done
    assert Generated("split", "eighths", "3/4", 5, 12) == second.source
    assert (AUTO, 25.0, 1, Done(80.0, 20.0, 1)) == (second.lean, second.pocket_ms, second.takes, second.done)
    assert ("Count the silent bars aloud.", "Then whisper.") == second.notes


def test_the_exercise_of_an_item_is_what_the_set_asks_for() -> None:
    """Tempo, click, ladder, lean, pocket and title are the set's; the bars are those of the grade and seed."""
    second = set_from_toml(HAND_WRITTEN).items[1].exercise

    expected = make_exercise("split", 2, metre="3/4", seed=5, bars=12, tempo_bpm=66, ladder=Ladder(4, 4.0))
    assert second == replace(
        expected, title="Eighths in three", click=ClickPlan("bars", 2, 2), pocket=Pocket(AUTO, 25.0)
    )


def test_files_are_looked_for_beside_the_set(tmp_path: Path) -> None:
    """An exercise file is changed as the set says and keeps its own lean; a MIDI part is only looked for."""
    found = read_set(set_folder(tmp_path))

    own, part = found.items
    assert own.exercise is not None
    assert (90.0, ClickPlan("one"), Ladder(2, 5.0), Pocket(Lean(5.0), 22.0)) == (
        own.exercise.tempo_bpm,
        own.exercise.click,
        own.exercise.ladder,
        own.exercise.pocket,
    )
    assert own.lean is None
    assert (FromFile("song.mid", "keys"), None) == (part.source, part.exercise)
    assert (str(tmp_path), "with-files") == (found.folder, found.name)


WRONG = [
    ("title = 3\n" + ITEM, "line 2, title: 3; expected a text in quotes"),
    ("tittle = 'x'\n" + ITEM, "line 3, tittle: key 'tittle'; expected one of format, title, for"),
    (ITEM.replace("anchor", "ancor"),
     "line 4, item[1].family: family 'ancor'; expected one of anchor, split, turn (nearest: anchor"),
    (ITEM.replace("= 1", "= 12"), "line 5, item[1].grade: anchor: grade 12; expected one of 1 backbeat, 2 pillars, 3 all"),
    (ITEM + 'metre = "4/5"', "line 6, item[1].metre: '4/5'; expected one of 2/4, 3/4, 4/4, 5/4, 6/8, 7/8, 12/8 (nearest: 4/4)"),
    (ITEM + "tempo = 80", "line 6, item[1].tempo: key 'tempo'; expected one of"),
    (ITEM + "tempo_bpm = [80, 900]", "line 6, item[1].tempo_bpm: [80, 900]; expected a tempo from 20 to 400 bpm, or a list"),
    (ITEM + "tempo_bpm = []", "line 6, item[1].tempo_bpm: []; expected a tempo"),
    (ITEM.replace("= 1", "= 3") + "tempo_bpm = [80, 399]",
     "line 6, item[1].tempo_bpm: anchor all in 4/4: 399 bpm; expected 20 to 240 bpm"),
    (ITEM + "bars = 2", "line 6, item[1].bars: anchor backbeat: 2 bars; expected 4 to 999"),
    (ITEM + "bars = 0", "line 6, item[1].bars: 0; expected a whole number from 1 to 999"),
    (ITEM + 'click = "backbeats"', "line 6, item[1].click: 'backbeats'; expected every, eighths, backbeat, one"),
    (ITEM + "ladder = 4", "line 6, item[1].ladder: 4; expected { every_bars = 4, step_percent = 4 }"),
    (ITEM + "ladder = { every = 4, step_percent = 1, every_bars = 2 }",
     "line 6, item[1].ladder.every: key 'every'; expected one of every_bars, step_percent (nearest: every_bars)"),
    (ITEM + "done = 80", "line 6, item[1].done: 80; expected a table: {"),
    (ITEM + "done = { in_pocket = 80 }", "line 6, item[1].done.in_pocket: key 'in_pocket'; expected one of in_pocket_percent"),
    (ITEM + "done = { in_pocket_percent = 0.8 }", "line 6, item[1].done.in_pocket_percent: 0.8; expected a number from 1 to 100"),
    (ITEM + "takes = 2\ndone = { takes = 3 }", "line 7, item[1].done: 3 takes to meet the marks, 2 asked for; expected no more"),
    (ITEM + "lean_ms = 500", "line 6, item[1].lean_ms: 500; expected a number from -100 to 100"),
    (ITEM + "pocket_ms = 0", "line 6, item[1].pocket_ms: 0; expected a number from 1 to 200"),
    (ITEM + 'part = "keys"', "line 6, item[1].part: part beside family; expected it only beside midi"),
    (ITEM + 'exercise = "x.toml"', "line 3, item[1]: family and exercise; expected one of family, exercise, midi"),
    ("[[item]]\ngrade = 3", "line 3, item[1]: neither family nor exercise nor midi; expected one of"),
    ('[[item]]\nexercise = "own/two-for.toml"',
     "line 4, item[1].exercise: no file 'own/two-for.toml'; expected a file, named from the set's folder on "
     "(nearest: two-four.toml)"),
    ('[[item]]\nexercise = "/etc/x.toml"',
     "line 4, item[1].exercise: '/etc/x.toml'; expected a path from the set's own folder on"),
    ('[[item]]\nexercise = "C:\\\\x.toml"', "expected a path from the set's own folder on"),
    ('[[item]]\nexercise = "song.mid"', "line 4, item[1].exercise: 'song.mid'; expected a file that ends in .toml"),
    ('[[item]]\nexercise = "with-files.toml"', "line 4, item[1].exercise: with-files.toml: "),
    ('[[item]]\nmidi = "song.mid"', "line 4, item[1].midi: song.mid: 3 parts; expected one of: part 1"),
    ('[[item]]\nmidi = "song.mid"\npart = "oboe"', "line 5, item[1].part: song.mid: no part 'oboe'; expected one of: part 1"),
    ('[[item]]\nmidi = "song.mid"\npart = "keys"\nladder = { every_bars = 4, step_percent = 4 }',
     "line 6, item[1].ladder: a ladder beside midi; expected tempo_bpm"),
    ('[[item]]\nmidi = "song.mid"\npart = "keys"\nbars = 4', "line 6, item[1].bars: bars beside midi; expected it only where"),
    ("", "item: nothing; expected a list in [ ]"),
    ("item = []", "line 3, item: no exercise; expected at least one [[item]]"),
    (f"notes = {['x' * 401]}\n" + ITEM, "line 3, notes: a text that is too long; expected at most 20 lines"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "told"), WRONG, ids=range(len(WRONG)))
def test_a_mistake_is_told_with_line_key_and_what_was_expected(tmp_path: Path, text: str, told: str) -> None:
    """One mistake, one sentence, and the set is refused."""
    path = set_folder(tmp_path)
    head = 'format = "heeltap.set/1"\n' if text.startswith("title") else HEAD
    path.write_text(head + text, encoding="utf-8")

    (mistake,) = mistakes_in(path)
    assert told in mistake
    with pytest.raises(SetFileError):
        read_set(path)


def test_all_mistakes_are_told_at_once_in_the_order_of_the_lines(tmp_path: Path) -> None:
    """Seven in six places: seven sentences, and the good item is not among them."""
    path = tmp_path / "set.toml"
    path.write_text(
        HEAD
        + "taks = 2\n"
        + ITEM
        + ITEM.replace("anchor", "anker")
        + "temp = 3\n"
        + ITEM.replace("= 1", "= 0")
        + 'metre = "x"\n'
        + '[[item]]\nmidi = "none.mid"\n'
        + ITEM
        + "seed = 'a'\n",
        encoding="utf-8",
    )

    assert ["line 3", "line 8", "line 10", "line 13", "line 14", "line 16", "line 20"] == [
        mistake.partition(",")[0] for mistake in mistakes_in(path)
    ]
    with pytest.raises(SetFileError, match="7 mistakes"):
        read_set(path)


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"\xff\xfe", "is not UTF-8 text"), (b"title = ", "not TOML"), (None, "No such file")],
)
def test_what_is_no_set_at_all_is_refused(tmp_path: Path, data: bytes | None, told: str) -> None:
    """Bytes, half a line, nothing."""
    path = tmp_path / "set.toml"
    if data is not None:
        path.write_bytes(data)

    with pytest.raises(SetFileError, match=told):
        mistakes_in(path)


def test_a_newer_format_is_said_to_be_one() -> None:
    """The hint says who may have written it."""
    with pytest.raises(SetFileError, match=r"expected \"heeltap.set/1\" \(a newer heeltap"):
        set_from_toml(HAND_WRITTEN.replace("set/1", "set/2"))


def test_the_guide_shows_a_good_set_and_names_every_key() -> None:
    """The whole set in docs/guide/sets.md can be copied; no key is missing from its tables."""
    guide = (Path(__file__).resolve().parents[2] / "docs" / "guide" / "sets.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", guide, re.DOTALL)
    named = {key for row in re.findall(r"^\| (`.*?) \|", guide, re.MULTILINE) for key in re.findall(r"`(\w+)`", row)}

    assert [2] == [len(set_from_toml(block).items) for block in blocks]
    assert set(TOP_KEYS) | set(ITEM_KEYS) == named
