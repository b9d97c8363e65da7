"""Tests of `heeltap.write`."""

import errno
import os
from pathlib import Path

import pytest

from heeltap.errors import InputFileError
from heeltap.write import write_whole


def test_writes_the_file_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    """The bytes are there, an old file is replaced, no draft stays."""
    target = tmp_path / "report.html"
    target.write_bytes(b"old")

    assert target == write_whole(target, b"new")
    assert b"new" == target.read_bytes()
    assert [target] == list(tmp_path.iterdir())


def test_missing_folder_is_named(tmp_path: Path) -> None:
    """A folder that does not exist is one clear line, unless it may be made."""
    target = tmp_path / "no" / "such" / "report.html"

    with pytest.raises(InputFileError, match=r"cannot be written: there is no folder '.*such'"):
        write_whole(target, b"x")
    assert b"x" == write_whole(target, b"x", make_folder=True).read_bytes()


@pytest.mark.parametrize("name", ["a\0b", "x" * 300])
def test_impossible_name_is_one_line(tmp_path: Path, name: str) -> None:
    """A name that no disk takes."""
    with pytest.raises(InputFileError, match="cannot be written"):
        write_whole(tmp_path / name, b"x")


def test_folder_in_the_way(tmp_path: Path) -> None:
    """A folder of that name stays, and so does nothing else."""
    (tmp_path / "taken").mkdir()

    with pytest.raises(InputFileError, match="cannot be written"):
        write_whole(tmp_path / "taken", b"x")
    assert ["taken"] == [p.name for p in tmp_path.iterdir()]


def test_full_disk_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the bytes do not reach the disk, the old file is as it was and no draft is left."""
    target = tmp_path / "settings.toml"
    target.write_bytes(b"old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("heeltap.write.os.fsync", full)
    with pytest.raises(InputFileError, match="No space left"):
        write_whole(target, b"new")
    assert b"old" == target.read_bytes()
    assert [target] == list(tmp_path.iterdir())
