"""The history over real take folders: taken in, listed, made again to the same content, and never in the way."""

import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.takes.history import history, index_take, rebuild
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.errors import InputFileError, PlanError, StoreError
from heeltap.files.history_db import index_file, open_store
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.views.history import export
from tests.makers.kept import keep, keep_many

DATES = ["2026-03-02T18:00:00+01:00", "2026-03-02T18:05:00+01:00", "2026-03-03T07:30:00+01:00"]


def dump(takes: Path) -> bytes:
    """The whole content of the index."""
    with open_store(takes) as store:
        return store.dump()


def test_a_take_is_listed_with_its_figures(tmp_path: Path, rng: np.random.Generator) -> None:
    """Family, grade, tempo and figures are those of the take and of its result."""
    folder = keep(tmp_path, "split", 2, rng=rng)
    result = score_kept(folder)

    assert "" == index_take(load_take(folder), result)
    (row,) = history(tmp_path).takes

    assert (folder.name, "split", "eighths", 72.0, 8 * 4 * 60 / 72) == (
        row.folder, row.family, row.grade, row.tempo_bpm, pytest.approx(row.length_s, abs=0.05),
    )  # fmt: skip
    assert (result.overall.bias_ms, result.overall.score) == (row.bias_ms, row.score)
    assert "given" == row.method


def test_a_rebuild_makes_the_same_content_from_the_folders_alone(tmp_path: Path, rng: np.random.Generator) -> None:
    """Byte for byte what the drills put in one by one, also when the index was lost altogether."""
    for folder in keep_many(tmp_path, DATES, rng):
        index_take(load_take(folder), score_kept(folder))
    before = dump(tmp_path)

    made = rebuild(tmp_path)

    assert (3, ()) == (made.count, made.warnings)
    assert before == dump(tmp_path)
    assert before.count(b"take.mid") == 0
    shutil.rmtree(index_file(tmp_path).parent)
    rebuild(tmp_path)
    assert before == dump(tmp_path)


def test_takes_that_the_index_does_not_know_are_taken_in_when_it_is_read(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    """A take that was recovered or copied in appears, one whose folder is gone disappears, other folders are passed over."""
    folders = keep_many(tmp_path, DATES, rng)
    (tmp_path / "notes of my own").mkdir()

    assert [folder.name for folder in folders] == [row.folder for row in history(tmp_path).takes]
    shutil.rmtree(folders[0])
    found = history(tmp_path, last=1)

    assert ([folders[2].name], 2, ()) == ([row.folder for row in found.takes], found.count, found.warnings)


def test_an_unchanged_folder_is_not_looked_through_again(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second list asks for no names; a change of the folder, or a rebuild, makes the next one look."""
    keep_many(tmp_path, DATES, rng)
    history(tmp_path)
    looks: list[Path] = []
    monkeypatch.setattr(
        "heeltap.app.takes.history._names", lambda root: looks.append(root) or {p.name for p in list_takes(root)}
    )

    history(tmp_path)
    assert [] == looks
    keep(tmp_path, date="2026-03-04T18:00:00+01:00", rng=rng)
    assert (4, [tmp_path]) == (history(tmp_path).count, looks)
    rebuild(tmp_path)
    assert (4, [tmp_path] * 2) == (history(tmp_path).count, looks)


def test_a_damaged_take_costs_a_line_and_no_other_take(tmp_path: Path, rng: np.random.Generator) -> None:
    """The others are listed; the line names the file."""
    folders = keep_many(tmp_path, DATES, rng)
    (folders[1] / "context.json").write_text("{")

    found = history(tmp_path)
    made = rebuild(tmp_path)

    assert [folders[0].name, folders[2].name] == [row.folder for row in found.takes]
    assert (1, 1) == (len(found.warnings), len(made.warnings))
    assert str(folders[1] / "context.json") in found.warnings[0]
    assert found.warnings == history(tmp_path).warnings


def test_a_broken_index_costs_no_take(tmp_path: Path, rng: np.random.Generator) -> None:
    """Taking in says why not, in one line; reading says how to mend it; a rebuild mends it."""
    folder = keep(tmp_path, rng=rng)
    index_file(tmp_path).parent.mkdir()
    index_file(tmp_path).write_text("no database " * 1000)

    said = index_take(load_take(folder), score_kept(folder))

    assert "the take is kept, but not yet in the history" in said
    assert "\n" not in said
    assert [folder] == list_takes(tmp_path)
    with pytest.raises(StoreError, match="heeltap history rebuild"):
        history(tmp_path)
    assert 1 == rebuild(tmp_path).count
    assert 1 == history(tmp_path).count


def test_a_locked_index_costs_a_line_and_the_list_is_whole(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be written down now is listed all the same and written down the next time."""
    folders = keep_many(tmp_path, DATES, rng)
    index_take(load_take(folders[0]), score_kept(folders[0]))
    monkeypatch.setattr("heeltap.files.history_db.open_store.__kwdefaults__", {"busy_ms": 50, "mend": False})
    other = sqlite3.connect(index_file(tmp_path), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    said = index_take(load_take(folders[1]), score_kept(folders[1]))
    during = history(tmp_path)
    other.execute("ROLLBACK")
    other.close()
    after = history(tmp_path)

    assert "in use by another program" in said
    assert ([3, 1], [3, 0]) == ([during.count, len(during.warnings)], [after.count, len(after.warnings)])
    assert during.takes == after.takes


def test_no_takes_are_no_trouble(tmp_path: Path) -> None:
    """An empty list, and nothing is made on the disk by looking."""
    assert ((), 0) == (history(tmp_path / "takes").takes, history(tmp_path / "takes").count)
    assert not (tmp_path / "takes").exists()


def test_an_export_writes_what_the_ending_says(tmp_path: Path, rng: np.random.Generator) -> None:
    """CSV and JSON; another ending and a folder that is not there are one line each."""
    keep(tmp_path, rng=rng)
    takes = history(tmp_path).takes

    export(tmp_path / "out.csv", takes)
    export(tmp_path / "out.JSON", takes)

    assert (tmp_path / "out.csv").read_text().startswith("date,exercise,")
    assert '"heeltap.history/1"' in (tmp_path / "out.JSON").read_text()
    with pytest.raises(PlanError, match=r"\.csv or \.json"):
        export(tmp_path / "out.xls", takes)
    with pytest.raises(InputFileError, match="cannot be written"):
        export(tmp_path / "nowhere" / "out.csv", takes)
