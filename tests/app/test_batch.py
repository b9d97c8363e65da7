"""Many files: every outcome is data, whatever a file does to the program."""

import multiprocessing
import os
from pathlib import Path

import pytest

from heeltap.app.score import batch
from heeltap.errors import HeeltapError
from heeltap.model.result import Result

ROOT = Path(__file__).resolve().parents[2]
TAKE = ROOT / "demo" / "tollgate-road-take-1.mid"


def _score(name: str, *_: object) -> str:
    """Stands for the scoring: some names break it."""
    if "index" in name:
        raise IndexError("list index out of range")
    if "memory" in name:
        raise MemoryError
    if "killed" in name:
        os._exit(9)
    return f"result of {name}"


def test_an_unforeseen_error_is_the_outcome_of_its_file_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """The line names the file and what arose; every other file has its result."""
    monkeypatch.setattr(batch, "score_path", _score)
    found = dict(batch.score_files(["a", "index", "memory", "b"], processes=1))

    assert ["result of a", "result of b"] == [found["a"], found["b"]]
    assert str(found["index"]).startswith("index: a fault in heeltap: IndexError: list index out of range (")
    assert str(found["memory"]).startswith("memory: a fault in heeltap: MemoryError (")
    assert all(isinstance(found[name], HeeltapError) for name in ("index", "memory"))


@pytest.mark.live
@pytest.mark.skipif(multiprocessing.get_start_method() != "fork", reason="the stand-in reaches forked processes only")
def test_a_file_that_kills_its_process_takes_no_other_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of seven files has its outcome, in order, though one ends the process that scores it."""
    monkeypatch.setattr(batch, "score_path", _score)
    names = ["a", "b", "killed", "c", "d", "e", "f"]
    found = list(batch.score_files(names, processes=2))

    assert names == [name for name, _ in found]
    assert [f"result of {name}" for name in "abcdef"] == [one for _, one in found if isinstance(one, str)]
    assert "killed: a fault in heeltap: BrokenProcessPool" in str(dict(found)["killed"])


def test_a_good_file_still_has_its_result() -> None:
    """The real scoring, beside a file that is not there."""
    good, missing = (one for _, one in batch.score_files([str(TAKE), "nowhere.mid"]))

    assert isinstance(good, Result)
    assert "nowhere.mid: cannot be read" in str(missing)
