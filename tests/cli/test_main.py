"""The command line's frame: what it imports, what it says of mistakes, and the exit codes that scripts rely on."""

import json
import platform
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import heeltap
from heeltap.cli import COMMANDS, build_parser, main

ROOT = Path(__file__).resolve().parents[2]
SONG = ROOT / "demo" / "tollgate-road.mid"
TAKE = ROOT / "demo" / "tollgate-road-take-1.mid"


@pytest.mark.live
def test_help_imports_nothing_heavy() -> None:
    """The help page costs no numpy, scipy, textual, rtmidi or mido."""
    code = (
        "import sys; from heeltap.cli import main; main(['--help']); "
        "print([m for m in ('numpy', 'scipy', 'textual', 'rtmidi', 'mido', 'msgspec', 'rich') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert "[]" == done.stdout.splitlines()[-1]


def test_the_version_says_what_is_installed(capsys: pytest.CaptureFixture[str]) -> None:
    """Version and Python, then each part that a machine may lack, or how to get it."""
    assert 0 == main(["--version"])
    first, ports, sound = capsys.readouterr().out.splitlines()

    assert first == f"heeltap {heeltap.__version__} on Python {platform.python_version()}"
    assert re.fullmatch(r"  MIDI ports   (python-rtmidi|rtmidi2) [\d.]+|  MIDI ports   not installed: .*", ports)
    assert re.fullmatch(r"  sound        sounddevice [\d.]+|  sound        not installed: .*", sound)


def test_every_command_has_a_help_line_and_a_description() -> None:
    """No command is listed without words."""
    (commands,) = [action for action in build_parser()._actions if action.dest == "command"]

    assert sorted(COMMANDS) == sorted(commands.choices)
    assert all(parser.description for parser in commands.choices.values())


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_of_every_command_is_one_that_it_takes(command: str) -> None:
    """The help ends with a line that a reader can type."""
    parser = build_parser()
    (commands,) = [action for action in parser._actions if action.dest == "command"]
    words = shlex.split(commands.choices[command].example)

    assert ["heeltap", command] == words[:2]
    assert command == parser.parse_args(words[1:]).command
    assert commands.choices[command].format_help().endswith(f"example:\n  {commands.choices[command].example}\n")


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        (["scores", "x.mid"], "did you mean score?"),
        (["score", "x.mid", "--plann", "y"], "heeltap score: unrecognized arguments: --plann y; did you mean --plan?"),
        (["score", "x.mid", "--plann=y"], "did you mean --plan?"),
        (
            ["ports", "--grid", "16"],
            "heeltap ports: unrecognized arguments: --grid 16; only heeltap score, heeltap compare, heeltap listen can do that",
        ),
        (["--tempo", "90", "ports"], "heeltap: "),
        (["score", "x.mid", "--grid", "17"], "(choose from 8, 12, 16, 24)"),
        (["score", "x.mid", "--lean", "soon"], "'soon' is not a number of milliseconds"),
        (["score", "x.mid", "--lean", "200"], "outside -100..100 ms"),
        (["score", "x.mid", "--pocket", "0"], "must be more than 0 ms"),
    ],
)
def test_a_usage_error_is_one_line_with_the_nearest_word(
    line: list[str], hint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and a hint."""
    assert 2 == main(line)
    said = capsys.readouterr().err
    assert hint in said
    assert 1 == len(said.splitlines())


def test_a_missing_file_is_one_line_and_exit_code_3(capsys: pytest.CaptureFixture[str]) -> None:
    """The message names the file; no traceback."""
    assert 3 == main(["score", "nowhere.mid"])
    said = capsys.readouterr()
    assert said.err.startswith("heeltap: nowhere.mid: ")
    assert 1 == len(said.err.splitlines())
    assert "" == said.out


def test_debug_shows_where_the_error_arose(capsys: pytest.CaptureFixture[str]) -> None:
    """With --debug the line comes behind the way to it through the code."""
    assert 3 == main(["score", "nowhere.mid", "--debug"])
    first, *_, last = capsys.readouterr().err.splitlines()

    assert "Traceback (most recent call last):" == first
    assert "heeltap: nowhere.mid: cannot be read: No such file or directory" == last


@pytest.mark.parametrize("error", [IndexError("list index out of range"), RecursionError(), MemoryError()])
def test_what_nobody_foresaw_is_one_line(
    error: Exception, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A fault of our own names itself, ends with exit code 1, and prints no walk through the code unless asked to."""

    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr("heeltap.app.score.score.score_path", fail)
    assert 1 == main(["score", str(TAKE)])
    (line,) = capsys.readouterr().err.splitlines()

    assert line.startswith(f"heeltap: score {TAKE}: a fault in heeltap: {type(error).__name__}")
    assert 1 == main(["score", str(TAKE), "--debug"])
    assert "Traceback (most recent call last):" == capsys.readouterr().err.splitlines()[0]


def test_json_goes_to_stdout_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """--json - prints one JSON document and nothing else, on either stream."""
    assert 0 == main(["score", str(TAKE), "--plan", str(SONG), "--part", "keys", "--json", "-"])
    said = capsys.readouterr()
    assert "heeltap.result/2" == json.loads(said.out)["format"]
    assert "" == said.err


def test_a_song_with_several_parts_asks_which(capsys: pytest.CaptureFixture[str]) -> None:
    """Without --part the parts are listed with their note counts, exit code 3."""
    assert 3 == main(["score", str(SONG)])
    said = capsys.readouterr().err
    assert "drums" in said
    assert "keys" in said
    assert "notes" in said


def test_a_folder_scores_every_file_and_reports_the_bad_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bad file is named and skipped, the others come as one JSON line each, and the exit code tells."""
    for number in range(3):
        (tmp_path / f"take{number}.mid").write_bytes(TAKE.read_bytes())
    (tmp_path / "zero.mid").write_bytes(b"")

    code = main(["score", str(tmp_path), "--json", "-"])

    said = capsys.readouterr()
    assert 3 == code
    assert 3 == len([json.loads(line) for line in said.out.splitlines()])
    assert "zero.mid" in said.err


def test_each_line_is_written_as_its_file_is_scored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who breaks off after the third file has three lines, and in the JSON three results."""
    from heeltap import score_file

    result = score_file(TAKE, plan=SONG, part="keys")
    said: list[str] = []

    def outcomes(*_: object, **__: object) -> Iterator[tuple[str, object]]:
        for number in range(3):
            yield f"take {number}.mid", result
            said.append(capsys.readouterr().out)
        raise KeyboardInterrupt

    monkeypatch.setattr("heeltap.app.score.batch.score_files", outcomes)
    names = [str(tmp_path / f"{number}.mid") for number in range(4)]

    assert 130 == main(["score", *names, "--json", str(tmp_path / "all.jsonl")])
    assert [2, 1, 1] == [text.count("\n") for text in said]
    assert ["take 0.mid", "take 1.mid", "take 2.mid"] == [text.rstrip().rpartition("  ")[2] for text in said]
    assert 3 == len((tmp_path / "all.jsonl").read_text().splitlines())
    said.clear()
    assert 130 == main(["score", *names, "--json", "-"])
    assert [TAKE.name] * 3 == [json.loads(text)["file"] for text in said]


@pytest.mark.live
def test_many_files_are_scored_by_several_processes_with_the_same_result(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One process or two: the same lines in the same order, errors included."""
    for number in range(5):
        (tmp_path / f"take{number}.mid").write_bytes(TAKE.read_bytes() if number != 2 else b"MThd")
    outputs = []
    for jobs in ("1", "2"):
        main(["score", str(tmp_path), "--json", "-", "--jobs", jobs])
        outputs.append(capsys.readouterr())

    assert outputs[0] == outputs[1]
    assert 4 == len(outputs[0].out.splitlines())


@pytest.mark.parametrize(
    "line",
    [
        ["history", "export", "x.pdf"],
        ["make", "anchor", "1", "--out", "x.pdf"],
        ["set", "sheet", "first-week", "--out", "x.pdf"],
    ],
)
def test_the_same_slip_has_the_same_exit_code(
    line: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A name whose ending says no format that heeltap writes is a wish that it cannot build, wherever it is typed."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path))

    assert 5 == main(line)
    assert "a name ending in '.pdf'; expected ." in capsys.readouterr().err
