"""``heeltap handin`` and ``heeltap class`` from the command line."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.sets import open_set
from heeltap.cli import main
from heeltap.model.plan_from import plan_of
from tests.makers.classes import SMALL_SET, keep_raw, small_class


def test_takes_are_handed_in_and_read(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The student writes one file; the teacher gets text, page and table from the folder."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    Path("two.toml").write_text(SMALL_SET, encoding="utf-8")
    exercise = open_set("two.toml").works[0].item.exercise
    assert exercise is not None
    keep_raw(tmp_path / "home" / "takes", exercise, rng.normal(0, 9, len(plan_of(exercise))))
    Path("in").mkdir()

    assert 0 == main(["handin", "two.toml", "--name", "Tove Vennel", "--out", "in/tove.handin"])
    assert "in/tove.handin: 1 take of 'Two beats' (by exercise 1: 1)\n" == capsys.readouterr().out
    assert 0 == main(["class", "in", "--set", "two.toml", "--html", "c.html", "--csv", "c.csv"])
    assert "\nTove Vennel\n   1  1 of 2 tempi done" in capsys.readouterr().out
    assert "Tove Vennel" in Path("c.html").read_text(encoding="utf-8")
    assert b"Tove Vennel,1," in Path("c.csv").read_bytes()
    assert ["c.csv", "c.html", "home", "in", "two.toml"] == sorted(path.name for path in tmp_path.iterdir())
    assert ["in/tove.handin"] == [str(path) for path in Path("in").iterdir()]


def test_without_out_the_file_is_named_after_set_and_student(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only letters and digits of the name go into it."""
    small_class(tmp_path, rng, ["A"])
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / ".h"))
    (tmp_path / ".h").mkdir()
    (tmp_path / ".homes" / "0").rename(tmp_path / ".h" / "takes")
    monkeypatch.chdir(tmp_path)

    assert 0 == main(["handin", "two-beats.toml", "--name", "../Tove V."])
    assert (tmp_path / "two-beats-Tove-V.handin").is_file()


def test_a_page_that_cannot_be_written_is_one_line(
    tmp_path: Path, rng: np.random.Generator, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that is not there."""
    path = small_class(tmp_path, rng, ["A"])

    assert 3 == main(["class", str(tmp_path), "--set", str(path), "--html", str(tmp_path / "no" / "c.html")])
    assert "cannot be written: there is no folder" in capsys.readouterr().err
