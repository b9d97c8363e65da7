"""Files that a command writes: into a folder that is there, over nothing that nobody meant to lose, whole or not at all."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.handin import hand_in
from heeltap.app.practice.sets import open_set
from heeltap.app.song.open_song import guess_song
from heeltap.cli import build_parser, main
from heeltap.files.paths import takes_dir
from heeltap.files.toml.songs import song_to_toml
from heeltap.model.plan_from import plan_of
from tests.makers.classes import keep_raw
from tests.makers.commands import command_parsers
from tests.makers.screens import LOOP_REPORT

DEMO = Path(__file__).resolve().parents[2] / "demo"

COMMANDS: dict[str, tuple[list[str], str]] = {
    "score --json": (["score", "song.mid", "--part", "keys", "--json"], "result.json"),
    "score --html": (["score", "song.mid", "--part", "keys", "--html"], "page.html"),
    "score FOLDER --json": (["score", "songs", "--part", "keys", "--json"], "results.jsonl"),
    "score TAKE --json": (["score", "TAKE", "--json"], "result.json"),
    "make .toml": (["make", "anchor", "1", "--out"], "exercise.toml"),
    "make .mid": (["make", "anchor", "1", "--out"], "exercise.mid"),
    "make .wav": (["make", "anchor", "1", "--bars", "4", "--out"], "click.wav"),
    "make .txt": (["make", "anchor", "1", "--out"], "exercise.txt"),
    "set sheet .html": (["set", "sheet", "first-week", "--out"], "sheet.html"),
    "set sheet .txt": (["set", "sheet", "first-week", "--out"], "sheet.txt"),
    "handin": (["handin", "first-week", "--name", "Tove", "--out"], "tove.handin"),
    "class --html": (["class", "monday", "--set", "first-week", "--html"], "class.html"),
    "class --csv": (["class", "monday", "--set", "first-week", "--csv"], "class.csv"),
    "history export .csv": (["history", "export"], "takes.csv"),
    "history export .json": (["history", "export"], "takes.json"),
    "selftest --json": (["selftest", "--json"], "selftest.json"),
    "song new": (["song", "new", "song.mid", "--part", "keys", "--out"], "other.song.toml"),
    "song --json": (["song", "ours", "--json"], "results.jsonl"),
    "song --csv": (["song", "ours", "--csv"], "bars.csv"),
    "listen": (["listen", "song.mid", "--part", "keys", "--bars", "1-2", "--out"], "take.wav"),
    "comp": (["comp", "ours", "--out"], "comp.mid"),
    "comp --csv": (["comp", "ours", "--csv"], "comp.csv"),
}
"""Every way to have a file written, but for a drill's, which is played, and a folder of simpler parts: the name comes last."""

SONG = b"MThd\x00\x00\x00\x06 somebody's only recording"


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with songs, a take of a shipped set, a hand-in of it and a home: every test works in a copy."""
    folder = tmp_path_factory.mktemp("desk")
    exercise = open_set("first-week").works[0].item.exercise
    assert exercise is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HEELTAP_HOME", str(folder / "home"))
        keep_raw(takes_dir(), exercise, np.random.default_rng(20_260_101).normal(0, 9, len(plan_of(exercise))))
        for name in ("songs", "monday", "ours"):
            (folder / name).mkdir()
        for name in ("song.mid", "songs/a.mid", "songs/b.mid"):
            shutil.copy(DEMO / "tollgate-road.mid", folder / name)
        for number in (1, 2):
            shutil.copy(DEMO / f"tollgate-road-take-{number}.mid", folder / "ours")
        song, guesses = guess_song(folder / "song.mid", "keys")
        text = song_to_toml(replace(song, takes="ours"), guesses)
        (folder / "ours.song.toml").write_text(text, encoding="utf-8")
        hand_in("first-week", name="Odo", out=folder / "monday" / "odo.handin")
    return folder


@pytest.fixture
def desk(tmp_path: Path, furnished: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A desk of its own, in which commands run."""
    shutil.copytree(furnished, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("heeltap.app.route.selftest.selftest", lambda *_, **__: LOOP_REPORT)
    return tmp_path


def words_of(case: str, target: str) -> list[str]:
    """The command line that writes ``target``."""
    words, _ = COMMANDS[case]
    return [str(next(takes_dir().glob("2*"))) if word == "TAKE" else word for word in words] + [target]


def refused(capsys: pytest.CaptureFixture[str], words: list[str]) -> str:
    """The one line that a refused command says; its exit code is that of a wrong file."""
    capsys.readouterr()
    code = main(words)
    lines = capsys.readouterr().err.splitlines()
    assert (3, 1) == (code, len(lines)), lines
    return lines[0]


def test_every_option_that_names_a_file_to_write_is_in_the_table() -> None:
    """A command that learns to write a file has to be tested here."""
    options = {
        f"{name} {option}"
        for name, parser in command_parsers(build_parser()).items()
        for option in ("--json", "--html", "--csv", "--force")
        if option in parser._option_string_actions
    }
    here = {" ".join(word for word in case.split() if word.islower() or word.startswith("--")) for case in COMMANDS}
    named = {case.split()[0] for case in COMMANDS} | {"drill", "simplify"}

    assert {one for one in options if not one.endswith("--force")} - {"drill --json"} <= here
    assert named == {one.split()[0] for one in options if one.endswith("--force")}


@pytest.mark.parametrize("case", COMMANDS)
def test_a_folder_that_is_not_there_is_one_clear_line(
    case: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 3, the folder named, no folder made."""
    line = refused(capsys, words_of(case, f"nowhere/{COMMANDS[case][1]}"))

    assert "there is no folder 'nowhere'" in line
    assert not (desk / "nowhere").exists()


@pytest.mark.parametrize("case", COMMANDS)
def test_what_somebody_else_made_is_not_written_over(case: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A recording of that name stays as it was; ``--force`` writes over it."""
    target = desk / COMMANDS[case][1]
    target.write_bytes(SONG)

    line = refused(capsys, words_of(case, str(target)))
    kept = target.read_bytes()
    forced = main([*words_of(case, str(target)), "--force"])

    assert "--force writes over it" in line
    assert (SONG, 0) == (kept, forced)
    assert target.read_bytes() not in (SONG, b"")
    assert not list(desk.glob(".*.part"))


SLOW = ("song --json", "song --csv", "comp", "comp --csv", "class --csv", "class --html")


@pytest.mark.parametrize("case", [pytest.param(c, marks=pytest.mark.slow) if c in SLOW else c for c in COMMANDS])
def test_what_heeltap_made_itself_is_made_anew(case: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same command twice, and once more after the contents have changed: only TOML, which people write, is kept."""
    target = desk / COMMANDS[case][1]
    words = words_of(case, str(target))
    assert (0, 0) == (main(words), main(words))
    whole = target.read_bytes()
    changed = whole + b"\n" if target.suffix != ".mid" else whole[:-4] + b"\x00\xff\x2f\x00"
    target.write_bytes(changed)

    if target.suffix == ".toml":
        refused(capsys, words)
        assert changed == target.read_bytes()
    else:
        assert 0 == main(words)
        assert len(whole) <= len(target.read_bytes()) <= len(whole) + 200


@pytest.mark.parametrize(
    "words",
    [
        ["score", "song.mid", "--part", "keys", "--json", "song.mid"],
        ["score", "song.mid", "--part", "keys", "--html", "./song.mid"],
        ["score", "songs", "--part", "keys", "--json", "songs/b.mid"],
        ["score", "songs/a.mid", "--plan", "song.mid", "--part", "keys", "--json", "song.mid"],
        ["score", "TAKE", "--json", "TAKE/context.json"],
        ["class", "monday", "--set", "first-week", "--csv", "monday/odo.handin"],
        ["comp", "ours", "--out", "ours/tollgate-road-take-1.mid"],
        ["song", "ours", "--json", "song.mid"],
    ],
)
def test_an_input_is_never_written_over(words: list[str], desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not even with ``--force``."""
    words = [word.replace("TAKE", str(next(takes_dir().glob("2*")))) for word in words]
    before = Path(words[-1]).read_bytes()

    line = refused(capsys, [*words, "--force"])

    assert "is what heeltap reads for this" in line
    assert before == Path(words[-1]).read_bytes()


def test_simpler_parts_are_all_written_or_none(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One of the four names is taken by somebody's file: the other three are not written either."""
    words = ["simplify", "song.mid", "--part", "keys", "--out", "simpler"]
    (desk / "simpler").mkdir()
    taken = desk / "simpler" / "song-3-plus-eighths.mid"
    assert 0 == main([*words[:-1], "names"])
    taken = desk / "simpler" / sorted(path.name for path in (desk / "names").iterdir())[2]
    taken.write_bytes(SONG)

    refused(capsys, words)

    assert [taken] == list((desk / "simpler").iterdir())
    assert SONG == taken.read_bytes()
    assert 0 == main([*words, "--force"])
    assert 0 == main(words)


def test_a_drill_asks_before_it_is_played(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody plays four minutes for a result that cannot be written."""
    words = ["drill", "anchor", "1", "--no-screen", "--in", "fake:song.mid", "--out", "none", "--json"]

    assert "there is no folder" in refused(capsys, [*words, "nowhere/result.json"])
    assert "--force writes over it" in refused(capsys, [*words, "song.mid"])


@pytest.mark.parametrize("write", [Path.symlink_to, Path.hardlink_to])
def test_a_link_to_an_input_is_the_input(
    write: Callable[[Path, Path], None], desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two names of one file are one file."""
    write(desk / "result.json", desk / "song.mid")

    assert "is what heeltap reads" in refused(
        capsys, ["score", "song.mid", "--part", "keys", "--json", "result.json", "--force"]
    )
