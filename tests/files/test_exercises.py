"""Exercise files: what heeltap writes reads back, what a teacher mistypes is told."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.errors import SetFileError
from heeltap.files.toml.exercises import exercise_from_toml, exercise_to_toml, read_exercise
from heeltap.model.exercise import METRES, Bar, ClickPlan, Exercise, Ladder, Pocket, Voice
from heeltap.model.lean import Lean
from heeltap.model.plan import Section
from heeltap.model.timeline import Metre
from tests.makers.amounts import amount
from tests.makers.exercises import GRADES, made

HAND_WRITTEN = """\
format = "heeltap.exercise/1"
title = "Two and four"
metre = "4/4"
tempo_bpm = 76
[[section]]
name = "groove"
bars = [
  "1 2 3 4",
  "-",
  { lines = ["2 4&"], fill_from = 4 },
]
"""


def test_a_hand_written_exercise_is_read() -> None:
    """What is left out has its usual value."""
    found = exercise_from_toml(HAND_WRITTEN, name="week1")

    assert (
        Exercise(
            name="week1",
            title="Two and four",
            aim="",
            metre=Metre(4, 4),
            tempo_bpm=76.0,
            voices=(Voice("any"),),
            bars=(Bar(("1 2 3 4",)), Bar(("-",)), Bar(("2 4&",), 4)),
            sections=(Section("groove", 1, 3),),
        )
        == found
    )


@given(st.sampled_from(GRADES), st.sampled_from(list(METRES)), st.integers(0, 2**63 - 1))
@settings(max_examples=amount(60, fast=15))
def test_every_generated_exercise_reads_back(grade: tuple[str, int], metre: str, seed: int) -> None:
    """The file is the exercise, to the last field."""
    exercise = made(*grade, metre, seed)

    assert exercise == exercise_from_toml(exercise_to_toml(exercise))


names = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)


@given(
    names,
    st.floats(20, 400),
    st.sampled_from([ClickPlan("fade"), ClickPlan("bars", 3, 1)]),
    st.builds(Pocket, st.builds(Lean, st.none() | st.floats(-100, 100)), st.none() | st.floats(1, 200)),
    st.none() | st.builds(Ladder, st.integers(1, 20), st.floats(-50, 50)),
    st.integers(0, 8),
    st.floats(1, 4),
)
def test_any_exercise_reads_back(
    name: str, bpm: float, click: ClickPlan, pocket: Pocket, ladder: Ladder | None, count_in: int, swing: float
) -> None:
    """Odd names, fractions, automatic lean, ladders, hands and keys survive; so does an exercise without sections."""
    exercise = Exercise(
        name=name, title=name, aim=name, metre=Metre(4, 4), tempo_bpm=bpm,
        voices=(Voice(name, (36, 40), "left"), Voice("other")), bars=(Bar(("1", "-"), 2), Bar(("-", ">2tl"))),
        click=click, pocket=pocket, ladder=ladder, count_in_bars=count_in, swing_ratio=swing,
    )  # fmt: skip

    for one in (exercise, replace(exercise, sections=(Section(name, 1, 1), Section("end", 2, 2)))):
        assert one == exercise_from_toml(exercise_to_toml(one))


def test_three_slips_are_mended_from_the_messages_alone() -> None:
    """A tempo, a syllable and a key mistyped: each line says where, what, what was expected and what was meant."""
    wrong = HAND_WRITTEN.replace("76", '"76"').replace("2 4&", "2 4+").replace("metre", "meter")

    with pytest.raises(SetFileError) as caught:
        exercise_from_toml(wrong, where="week1.toml")

    told = str(caught.value)
    assert told.startswith("week1.toml: 3 mistakes: ")
    assert "line 4, tempo_bpm: '76'; expected a number from 20 to 400" in told
    assert "line 3, meter: key 'meter'" in told
    assert "(nearest: metre)" in told
    assert "line 10, section[1].bars[3]: counting text '2 4+', column 4: found '+'" in told
    assert "(did you mean &?)" in told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"heeltap.exercise/1"', '"heeltap.exercise/9"', "line 1, format:"),
        ('"4/4"', '"4/3"', "such as 4/4"),
        ('"4/4"', '"99/4"', "such as 4/4"),
        ('  "-",', '  ["-", "1"],', "bars[2]: 2 lines; expected 1, one a voice"),
        ('  "-",', "  7,", "a text or a list of texts"),
        ("fill_from = 4", "fill_from = 5", "a whole number from 0 to 4"),
        ("fill_from", "fill_form", "nearest: fill_from"),
        ("tempo_bpm = 76", 'tempo_bpm = 76\nclick = "bars"', "bars 2+2"),
        ("tempo_bpm = 76", "tempo_bpm = 76\nladder = 3", "{ every_bars = 4"),
        ("tempo_bpm = 76", 'tempo_bpm = 76\nlean_ms = "auot"', "lean_ms: 'auot'"),
        ("tempo_bpm = 76", "tempo_bpm = 76\nvoices = [{ name = 'a', hand = 'lft' }]", "nearest: left"),
        ("tempo_bpm = 76", "tempo_bpm = 76\nvoices = [{ name = 'a', pitches = [128] }]", "key numbers from 0 to 127"),
        ("tempo_bpm = 76", "tempo_bpm = 76\nvoices = [{ name = 'a' }, { name = 'a' }]", "the same name twice"),
        ('metre = "4/4"', 'metre = "6/8"\nswing_ratio = 2', "1 unless the metre counts quarters"),
        ('title = "Two and four"', 'title = """a\nb"""', "one line"),
    ],
)
def test_a_wrong_value_tells_what_was_expected(old: str, new: str, told: str) -> None:
    """One slip at a time."""
    with pytest.raises(SetFileError) as caught:
        exercise_from_toml(HAND_WRITTEN.replace(old, new))

    assert told in str(caught.value)


@pytest.mark.parametrize("bars", ['"-"', "", '"(1)", "-"'])
def test_an_exercise_without_a_stroke_is_refused(bars: str) -> None:
    """Nothing to play is a mistake of the file."""
    text = f'format = "heeltap.exercise/1"\ntempo_bpm = 80\n[[section]]\nbars = [{bars}]\n'

    with pytest.raises(SetFileError, match="at least one"):
        exercise_from_toml(text)


def test_files_that_cannot_be_read_say_so(tmp_path: Path) -> None:
    """Missing, a folder, not text: one line each, exit code 3."""
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")

    for path in (tmp_path / "none.toml", tmp_path, tmp_path / "bytes.toml"):
        with pytest.raises(SetFileError) as caught:
            read_exercise(path)
        assert 3 == caught.value.exit_code


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """Some editors write one."""
    path = tmp_path / "week1.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8-sig")

    assert "week1" == read_exercise(path).name


def test_a_pads_role_brings_its_key() -> None:
    """Kick and snare need no numbers; one that gives its own keeps it."""
    voices = "voices = [{ name = 'kick' }, { name = 'snare', pitches = [40] }, { name = 'right' }]"
    text = HAND_WRITTEN.replace("tempo_bpm = 76", "tempo_bpm = 76\n" + voices).split("bars =")[0]

    found = exercise_from_toml(text + 'bars = [["1", "2", "3"]]')

    assert [(36,), (40,), ()] == [voice.pitches for voice in found.voices]


PIECES = (
    "format", "metre", "tempo_bpm", "section", "bars", "name", "voices", "ladder", "lines", "fill_from", "click", "=", "[", "]",
    "[[", "]]", "{", "}", '"', "'", ",", "\n", "1", "-1", "1e999", "nan", "true", "1979-05-27", ".", "#", "x", "9" * 5_000,
)  # fmt: skip
"""What a slip of the hand, or an enemy, may put in or leave out."""


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 12), st.sampled_from(PIECES)), min_size=1, max_size=4))
@settings(max_examples=amount(300, fast=75))
def test_a_damaged_file_is_read_or_refused_in_one_line(cuts: list[tuple[int, int, str]]) -> None:
    """Whatever is cut out and put in: an exercise, or our error; never another exception."""
    text = exercise_to_toml(made("turn", 8, bars=12)) if cuts[0][0] % 2 else HAND_WRITTEN
    for at, length, piece in cuts:
        text = text[:at] + piece + text[at + length :]

    told = ""
    try:
        exercise_from_toml(text)
    except SetFileError as e:
        told = str(e)

    assert "\n" not in told


@pytest.mark.parametrize(
    "value", ["3", '"x"', "true", "[1]", "[[1]]", "{ a = 1 }", "[{ a = 1 }]", "[{}]", "1979-05-27", "[]"]
)
@pytest.mark.parametrize(
    "key",
    [
        "format",
        "name",
        "metre",
        "tempo_bpm",
        "swing_ratio",
        "click",
        "lean_ms",
        "pocket_ms",
        "ladder",
        "voices",
        "section",
        "grade",
    ],
)
def test_a_value_of_the_wrong_kind_is_a_mistake_of_the_file(key: str, value: str) -> None:
    """Any kind of value under any key."""
    lines = [line for line in HAND_WRITTEN.splitlines() if not line.startswith(key)]
    if key == "section":
        lines = lines[: lines.index("[[section]]")]
    text = "\n".join([f"{key} = {value}", *lines])

    valid = (key, value) in {
        ("name", '"x"'),
        ("voices", "[]"),
        ("swing_ratio", "3"),
        ("lean_ms", "3"),
        ("pocket_ms", "3"),
        ("grade", "3"),
        ("grade", '"x"'),
    }
    if valid:
        assert exercise_from_toml(text)
    else:
        with pytest.raises(SetFileError):
            exercise_from_toml(text)
