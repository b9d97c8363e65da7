"""Limits of the files that people write: told in a line before anything is built, and stated in the guide."""

import os
from pathlib import Path

import pytest

from heeltap.errors import PlanError, SetFileError
from heeltap.files.regular import read_regular
from heeltap.files.settings import read_settings
from heeltap.files.toml import check, sets
from heeltap.files.toml.exercises import exercise_from_toml, read_exercise
from heeltap.files.toml.sets import read_set, set_from_toml
from heeltap.files.toml.songs import read_song
from heeltap.model.exercise import Bar, Exercise, Ladder, Voice
from heeltap.model.plan_from import LADDER_BPM, MOST_NOTES, plan_of
from heeltap.model.timeline import Metre

ROOT = Path(__file__).resolve().parents[2]

EXERCISE = 'format = "heeltap.exercise/1"\ntempo_bpm = 100\n{more}\n[[section]]\nbars = [{bars}]\n'


@pytest.mark.parametrize("every", [1, 2])
@pytest.mark.parametrize("percent", [-50, 50, 4, -4])
def test_a_ladder_that_leaves_every_tempo_is_told_at_its_key(every: int, percent: int) -> None:
    """From 1.5 to the 1,999th, which has no float, to steps that stand still."""
    more = f"ladder = {{ every_bars = {every}, step_percent = {percent} }}"
    with pytest.raises(
        SetFileError, match=r"line 3, ladder: ladder: \d+ steps of [+-]\d+ % from 100 bpm; expected a last step"
    ):
        exercise_from_toml(EXERCISE.format(more=more, bars='"1 2 3 4",\n' * 900))


def test_a_ladder_to_either_end_is_read() -> None:
    """Steps that end within the limits, up and down."""
    for percent in (40, -40):
        more = f"ladder = {{ every_bars = 1, step_percent = {percent} }}"
        assert exercise_from_toml(EXERCISE.format(more=more, bars='"1 2 3 4", ' * 5)).ladder is not None


def test_a_ladder_of_an_exercise_that_no_file_holds_is_refused_as_well() -> None:
    """Whoever builds it."""
    bars = (Bar(("1 2 3 4",)),) * 2_000
    exercise = Exercise("x", "x", "", Metre(4, 4), 100.0, (Voice("any"),), bars, (), ladder=Ladder(1, 50.0))

    with pytest.raises(PlanError, match=r"ladder: 1999 steps of \+50 % from 100 bpm"):
        plan_of(exercise)


def test_a_crowd_of_notes_is_counted_before_it_is_built() -> None:
    """128 keys in every slot of 2,000 bars are 4 million notes."""
    voices = f"voices = [{{ name = 'all', pitches = [{', '.join(map(str, range(128)))}] }}]"
    text = EXERCISE.format(more=voices, bars="\n".join(['"1e&a 2e&a 3e&a 4e&a",'] * 2_000))
    with pytest.raises(SetFileError, match=r"section: exercise: 4,096,000 notes; expected at most 50,000"):
        exercise_from_toml(text)


SET = 'format = "heeltap.set/1"\ntitle = "x"\ntakes = {takes}\n'
ITEM = '[[item]]\nfamily = "anchor"\ngrade = 1\nbars = {bars}\ntempo_bpm = [{tempi}]\n'


@pytest.mark.parametrize(
    ("items", "tempi", "takes", "bars", "found"),
    [
        (60, 20, 99, 8, "1,200 tempi in all; expected at most 200"),
        (60, 3, 99, 8, "17,820 takes in all; expected at most 1,000"),
        (11, 10, 1, 999, "109,890 bars at all tempi together; expected at most 20,000"),
    ],
)
def test_what_a_set_asks_for_is_counted_before_it_is_built(
    items: int, tempi: int, takes: int, bars: int, found: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The line comes without an exercise being made."""
    monkeypatch.setattr(sets, "generated", lambda *_, **__: pytest.fail("an exercise was made"))
    item = ITEM.format(bars=bars, tempi=", ".join(["80"] * tempi))
    with pytest.raises(SetFileError, match=found):
        set_from_toml(SET.format(takes=takes) + item * items)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("read", [read_exercise, read_set, read_song, read_settings])
def test_a_pipe_and_an_endless_file_are_refused_at_once(read: object, tmp_path: Path) -> None:
    """Nobody waits for a writer (this test would hang), and nobody fills the memory."""
    assert callable(read)
    os.mkfifo(tmp_path / "pipe.toml")
    for path in (tmp_path / "pipe.toml", Path("/dev/zero")):
        with pytest.raises(SetFileError, match="is no regular file"):
            read(path)


def test_a_large_file_is_not_kept(tmp_path: Path) -> None:
    """A byte too many is enough to know."""
    path = tmp_path / "x.toml"
    path.write_bytes(b" " * (check.MOST_BYTES + 1))

    with pytest.raises(SetFileError, match="is larger than 500,000 bytes"):
        read_exercise(path)
    assert b" " * 5 == read_regular(_file(tmp_path, b" " * 5), SetFileError, 5, "five bytes")


def _file(folder: Path, data: bytes) -> Path:
    path = folder / "small"
    path.write_bytes(data)
    return path


def test_numbers_of_thousands_of_digits_in_the_settings_are_one_line(tmp_path: Path) -> None:
    """A whole number that Python itself refuses to read."""
    path = tmp_path / "settings.toml"
    path.write_text(f"split = {'9' * 4_800}\n")

    with pytest.raises(SetFileError, match="not TOML"):
        read_settings(path)


def test_the_guide_states_every_limit() -> None:
    """A teacher who meets one has read it, or can."""
    guide = (ROOT / "docs/guide/sets.md").read_text(encoding="utf-8")
    limits = (
        check.MOST_BYTES, check.MOST_LINE, check.MOST_MISTAKES, check.MOST_DEPTH, MOST_NOTES, sets._MOST_ITEMS,
        sets._MOST_TEMPI, sets._MOST_TAKES_IN_ALL, sets._MOST_BARS, *(int(bpm) for bpm in LADDER_BPM),
    )  # fmt: skip
    stated = guide[guide.index("## Limits") :]

    assert [] == [limit for limit in limits if f"{limit:,}" not in stated]
