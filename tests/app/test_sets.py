"""Sets in use: found by name, one exercise drilled, the sheet printed; and those that ship with heeltap."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.app.drill.drill import drill_of
from heeltap.app.practice.sets import check_set, minutes_of, new_set, open_set, set_item, shipped_sets
from heeltap.course.difficulty import difficulty
from heeltap.errors import InputFileError, PlanError, SetFileError
from heeltap.model.lean import Lean
from heeltap.views.practice_sheet import sheet_html, sheet_text
from heeltap.views.set_text import set_text, sheet_of, write_sheet
from tests.makers.amounts import amount
from tests.makers.sets import GOLDEN, HAND_WRITTEN, golden_files, set_folder


def test_at_least_four_sets_ship() -> None:
    """By name, in order."""
    assert ("between-the-beats", "click-goes-away", "first-week", "into-the-chorus", "threes") == shipped_sets()


@pytest.mark.parametrize("name", ["between-the-beats", "click-goes-away", "first-week", "into-the-chorus", "threes"])
def test_a_shipped_set_is_whole(name: str) -> None:
    """No mistake; it says for whom it is and what to mind; it can be done in an hour; every exercise can be drilled."""
    opened = open_set(name)

    assert () == check_set(name)
    assert opened.set.audience
    assert opened.set.notes
    assert 5 <= minutes_of(opened) <= 60
    for work in opened.works:
        assert work.item.done.takes <= work.item.takes
        assert work.item.exercise is not None
        assert len(drill_of(f"{name}:{work.number}").plan) == len(work.plan)


def test_the_first_week_is_easier_than_the_other_sets() -> None:
    """By its hardest exercise."""
    hardest = {
        name: max(difficulty(work.item.exercise).total for work in open_set(name).works if work.item.exercise)
        for name in shipped_sets()
    }

    assert "first-week" == min(hardest, key=hardest.__getitem__)


@pytest.mark.parametrize("name", sorted(path.name for path in GOLDEN.iterdir()))
def test_sheets_are_as_they_were(name: str) -> None:
    """Text, page and fingerprint of the shipped sets (``python -m tests.makers.sets`` writes them)."""
    assert (GOLDEN / name).read_text(encoding="utf-8") == golden_files()[name]


def test_every_shipped_set_has_a_golden_sheet() -> None:
    """None is forgotten, none is left over."""
    assert set(golden_files()) == {path.name for path in GOLDEN.iterdir()}


def test_one_exercise_of_a_set_is_drilled_as_the_set_asks(tmp_path: Path) -> None:
    """Tempo, click, lean and pocket are the set's, unless the player asks for something else."""
    path = tmp_path / "week3.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")

    first, second = drill_of(f"{path}:1"), drill_of(f"{path}:2")
    faster = drill_of(f"{path}:1", tempo_bpm=80, lean=Lean(0.0), pocket_ms=50.0, click="one")

    assert (round(60e6 / 72), 10.0, 30.0) == (first.plan.tempo.us_per_quarter[0], first.lean_ms, first.pocket_ms)
    assert ("Eighths in three", 25.0, 5) == (second.title, second.pocket_ms, second.seed)
    assert 3 == second.plan.tempo.at_tick.size
    assert (750_000, 0.0, 50.0) == (faster.plan.tempo.us_per_quarter[0], faster.lean_ms, faster.pocket_ms)
    assert faster.clicked is not None
    assert faster.clicked.is_one.all()


def test_a_part_of_a_midi_file_is_drilled_as_the_set_asks(tmp_path: Path) -> None:
    """The first of its tempi, its lean, its pocket, its click, under the set's title."""
    drill = drill_of(f"{set_folder(tmp_path)}:2")

    assert ("The verse", 1_000_000, 15.0, 40.0) == (
        drill.title,
        drill.plan.tempo.us_per_quarter[0],
        drill.lean_ms,
        drill.pocket_ms,
    )
    assert drill.clicked is not None
    assert 2 * drill.plan.bars == drill.clicked.at_tick.size


def test_a_set_without_a_number_asks_for_one(tmp_path: Path) -> None:
    """By name or by file; a number that it does not have is told too."""
    path = tmp_path / "week3.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")

    for what, told in (
        ("threes", "expected one of threes:1 to threes:5"),
        ("threes:6", "no exercise 6"),
        (str(path), "a set of exercises"),
        (f"{path}:0", "no exercise 0"),
        ("frist-week:2", "nearest: first-week"),
    ):
        with pytest.raises(SetFileError, match=told):
            drill_of(what)


@pytest.mark.parametrize("what", ["anchor 2", "anchor:2", "anchor-2", "none.toml", "song.mid", "threes.mid"])
def test_what_is_no_set_is_left_to_others(what: str) -> None:
    """Families, exercise files and MIDI files are drilled as before."""
    assert set_item(what) is None


def test_an_exercise_file_is_no_set(tmp_path: Path) -> None:
    """It says so itself."""
    set_folder(tmp_path)

    assert set_item(str(tmp_path / "own" / "two-four.toml")) is None


def test_a_set_that_does_not_exist_names_the_nearest() -> None:
    """As everywhere."""
    with pytest.raises(SetFileError, match=r"first-wek: no such set; .* \(nearest: first-week\)"):
        open_set("first-wek")


def test_the_example_is_a_good_set(tmp_path: Path) -> None:
    """What ``set new`` writes can be checked and shown as it stands, and does not take another file's place."""
    path = tmp_path / "my-set.toml"

    new_set(path)

    assert () == check_set(path)
    assert 3 == len(open_set(path).works)
    with pytest.raises(InputFileError, match="is there already"):
        new_set(path)
    with pytest.raises(InputFileError, match="cannot be written"):
        new_set(tmp_path / "no" / "folder.toml")


def test_the_minutes_are_those_of_all_takes(tmp_path: Path) -> None:
    """Twenty-four bars and one counted in, three takes at each of three tempi, and one take with a climbing tempo."""
    path = tmp_path / "week3.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")
    opened = open_set(path)

    steps_s = 3 * sum(25 * 4 * 60 / bpm for bpm in (72, 76, 80))
    climb_s = sum(4 * 3 * 60 / (66 * 1.04**step) for step in range(3)) * 13 / 12
    assert (steps_s + climb_s) / 60 == pytest.approx(minutes_of(opened), rel=1e-5)


def test_the_text_says_what_is_asked_for(tmp_path: Path) -> None:
    """Aim, click, tempo steps, marks and what to type."""
    path = tmp_path / "week3.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")

    text = " ".join(set_text(open_set(path)).split())

    assert "72 bpm, 76 bpm, 80 bpm (3 takes each)." in text
    assert (
        "Done at each tempo when 2 takes of 3 have 80 % of the strokes in the pocket and a spread of at most 20 ms."
        in text
    )
    assert "Aim 10 ms behind the click, 30 ms to either side." in text
    assert "click for 2 bars, silence for 2, in turn; +4 % every 4 bars. Lean a little behind the click" in text
    assert "66 to 71 bpm (1 take). Done when 1 take of 1 has 80 %" in text
    assert f"heeltap drill {path}:2" in text


def test_names_on_the_page_stay_text(tmp_path: Path) -> None:
    """A title is the teacher's words and never part of the page."""
    path = tmp_path / "week3.toml"
    path.write_text(HAND_WRITTEN.replace("Week three", "<script>alert(1)</script> & co"), encoding="utf-8")

    page = sheet_html(sheet_of(open_set(path)))

    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; co" in page


def test_the_sheet_is_written_as_its_name_says(tmp_path: Path) -> None:
    """A page, plain text, nothing else."""
    opened = open_set("threes")

    write_sheet(opened, tmp_path / "a.html")
    write_sheet(opened, tmp_path / "a.txt")

    assert sheet_html(sheet_of(opened)) == (tmp_path / "a.html").read_text(encoding="utf-8")
    assert sheet_text(sheet_of(opened)) == (tmp_path / "a.txt").read_text(encoding="utf-8")
    with pytest.raises(PlanError, match=r"expected \.html or \.txt"):
        write_sheet(opened, tmp_path / "a.pdf")
    with pytest.raises(InputFileError, match="cannot be written"):
        write_sheet(opened, tmp_path / "no" / "a.txt")


def test_the_plain_sheet_fits_a_page_in_a_fixed_width_face() -> None:
    """80 columns at most, printable ASCII."""
    for name in shipped_sets():
        text = sheet_text(sheet_of(open_set(name)))
        assert max(len(line) for line in text.splitlines()) <= 80
        assert text.isascii()


ODD = [
    "0",
    "-1",
    "1e400",
    "nan",
    "true",
    '""',
    '"\\u202e"',
    "[]",
    "[[]]",
    "{}",
    '["a", 1]',
    "99999999999999999999",
    "12",
    '"auto"',
    "2",
    "[60, 70]",
    '"3/4"',
    '"every"',
]
KEYS = ["title", "for", "notes", "lean_ms", "pocket_ms", "takes", "done", "family", "grade", "metre", "seed", "bars"]
KEYS += ["tempo_bpm", "click", "ladder", "exercise", "midi", "part", "item", "format"]


@given(st.lists(st.tuples(st.sampled_from(KEYS), st.sampled_from(ODD), st.integers(0, 30)), min_size=1, max_size=4))
@settings(max_examples=amount(150, fast=37))
def test_whatever_is_written_gives_a_set_or_sentences(changes: list[tuple[str, str, int]]) -> None:
    """Any value at any key: either every mistake is told, or the set can be shown and printed."""
    lines = HAND_WRITTEN.splitlines()
    for key, value, place in changes:
        lines = [line for line in lines if not line.startswith(f"{key} =")]
        lines.insert(min(place, len(lines)), f"{key} = {value}")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "odd.toml"
        path.write_text("\n".join(lines), encoding="utf-8")
        if told(path):
            with pytest.raises(SetFileError, match=r"odd\.toml: "):
                open_set(path)
            return
        opened = open_set(path)
        assert 64 == len(opened.fingerprint)
        assert sheet_text(sheet_of(opened)).endswith("_\n")
        assert sheet_html(sheet_of(opened)).endswith("</html>")


def told(path: Path) -> tuple[str, ...]:
    """The mistakes in a file, that it is no TOML among them."""
    try:
        return check_set(path)
    except SetFileError as e:
        return (str(e),)


def test_exercises_of_one_name_are_told_apart(tmp_path: Path) -> None:
    """By what differs between them, by their number where nothing does; a name of its own stays as it is."""
    path = tmp_path / "own.toml"
    item = '[[item]]\nfamily = "anchor"\ngrade = "backbeat"\n'
    rows = [f"{item}tempo_bpm = 72\n", f"{item}tempo_bpm = 88\n", '[[item]]\nfamily = "anchor"\ngrade = "pillars"\n']
    path.write_text('format = "heeltap.set/1"\ntitle = "Own"\n' + "".join(rows), encoding="utf-8")
    twice = tmp_path / "twice.toml"
    twice.write_text('format = "heeltap.set/1"\ntitle = "Own"\n' + item * 2, encoding="utf-8")

    titles, same = open_set(path).titles, open_set(twice).titles

    name = open_set(path).works[0].title
    assert (f"{name} (72 bpm)", f"{name} (88 bpm)", open_set(path).works[2].title) == titles
    assert (f"{name} (exercise 1)", f"{name} (exercise 2)") == same
