"""``heeltap simplify`` as it is typed."""

from pathlib import Path

import pytest

from heeltap.cli import main

SONG = str(Path(__file__).resolve().parents[2] / "demo" / "tollgate-road.mid")


def test_it_prints_the_forms_and_writes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The text on stdout, the file names on stderr."""
    out = tmp_path / "simpler"

    assert 0 == main(["simplify", SONG, "--part", "keys", "--out", str(out)])

    told = capsys.readouterr()
    assert "1 Strong beats: 45 strokes" in told.out
    assert sorted(str(path) for path in out.iterdir()) == [
        line.removeprefix("written: ") for line in told.err.splitlines()
    ]


def test_a_missing_part_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 3, and the parts that there are."""
    assert 3 == main(["simplify", SONG, "--part", "oboe"])

    told = capsys.readouterr()
    assert "" == told.out
    assert 1 == len(told.err.splitlines())
    assert "keys" in told.err
