"""``heeltap history`` as a person types it."""

import json
from pathlib import Path

import numpy as np
import pytest

from heeltap.cli import build_parser, main
from heeltap.files.history_db import index_file
from heeltap.files.paths import takes_dir
from tests.makers.kept import keep_many

DATES = ["2026-03-02T18:00:00+01:00", "2026-03-03T07:30:00+01:00"]


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rng: np.random.Generator) -> list[Path]:
    """Two takes of a user with a home of their own."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    return keep_many(takes_dir(), DATES, rng)


def test_takes_are_listed_by_day(capsys: pytest.CaptureFixture[str]) -> None:
    """Both days, oldest first; nothing on stderr."""
    assert 0 == main(["history"])

    said = capsys.readouterr()
    assert said.out.index("2 March 2026") < said.out.index("3 March 2026")
    assert said.out.count("anchor backbeat ") == 2
    assert "" == said.err


def test_what_comes_next_is_said_with_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    """A sentence, and the line to type, which the parser takes."""
    assert 0 == main(["history", "next"])

    text, command = capsys.readouterr().out.splitlines()
    assert text.endswith(".")
    assert command.startswith("heeltap drill anchor ")
    assert " ".join(build_parser().parse_args(command.split()[1:]).exercise) in text


def test_figures_of_another_version_are_said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line on stderr, gone after a rebuild."""
    main(["history"])
    monkeypatch.setattr("heeltap.app.takes.history.__version__", "999.0")
    capsys.readouterr()

    main(["history"])
    assert "heeltap history rebuild scores every take again" in capsys.readouterr().err
    main(["history", "rebuild"])
    capsys.readouterr()
    main(["history"])
    assert "" == capsys.readouterr().err


def test_a_broken_index_is_exit_code_six_and_a_rebuild_mends_it(capsys: pytest.CaptureFixture[str]) -> None:
    """One line, then all is well."""
    main(["history"])
    index_file(takes_dir()).write_text("x" * 5000)

    assert 6 == main(["history"])
    assert 1 == capsys.readouterr().err.count("\n")
    assert 0 == main(["history", "rebuild"])
    assert "The history holds 2 takes.\n" == capsys.readouterr().err
    assert 0 == main(["history"])


def test_the_history_is_exported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """To a file of the wished kind; every take, not only those that a list shows."""
    file = tmp_path / "mine.json"

    assert 0 == main(["history", "export", str(file)])
    assert 2 == len(json.loads(file.read_bytes())["takes"])
    assert f"{file}: 2 takes\n" == capsys.readouterr().err


@pytest.mark.parametrize("words", [["export"], ["rebuild", "x.csv"], ["lst"]])
def test_a_wrong_command_is_a_usage_error(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2 and one line."""
    assert 2 == main(["history", *words])
    assert 1 == capsys.readouterr().err.count("\n")
