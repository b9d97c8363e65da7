"""``heeltap set`` as a teacher types it."""

from pathlib import Path

import pytest

from heeltap.cli import main


def test_a_teacher_begins_breaks_and_mends_a_set(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The example is good; three mistakes give three lines and exit code 3; mended by what the lines say, it is good."""
    path = tmp_path / "week.toml"
    assert 0 == main(["set", "new", str(path)])
    good = path.read_text(encoding="utf-8")
    bad = good.replace('"anchor"', '"ancor"').replace('"3/4"', '"3/5"').replace("tempo_bpm = 76", "tempo = 76")
    path.write_text(bad, encoding="utf-8")
    capsys.readouterr()

    assert 3 == main(["set", "check", str(path)])

    told = capsys.readouterr()
    assert "" == told.out
    assert ["anchor", "3/4", "tempo_bpm"] == [
        line.rpartition("nearest: ")[2].removesuffix(")") for line in told.err.splitlines()
    ]
    path.write_text(good, encoding="utf-8")
    assert 0 == main(["set", "check", str(path)])
    assert "no mistake; 3 exercises" in capsys.readouterr().out


def test_mistakes_are_told_by_show_and_sheet_as_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line each, and nothing is shown or written."""
    path, out = tmp_path / "week.toml", tmp_path / "week.html"
    path.write_text('format = "heeltap.set/1"\n[[item]]\nfamily = "turn"\n', encoding="utf-8")

    assert 3 == main(["set", "show", str(path)]) == main(["set", "sheet", str(path), "--out", str(out)])

    assert 4 == len(capsys.readouterr().err.splitlines())
    assert not out.exists()


def test_without_a_name_the_shipped_sets_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Name, title, length, for whom."""
    assert 0 == main(["set", "show"])

    assert "first-week        First week: find the beat. 5 exercises, for beginners" in capsys.readouterr().out


def test_the_sheet_goes_to_the_screen_or_to_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Plain text where no file is named."""
    assert 0 == main(["set", "sheet", "threes"])
    assert capsys.readouterr().out.startswith("Three, six and seven\n====")
    assert 0 == main(["set", "sheet", "threes", "--out", str(tmp_path / "x.html")])
    assert "" == capsys.readouterr().out
    assert (tmp_path / "x.html").read_text(encoding="utf-8").startswith("<!doctype html>")


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["set", "chek"], 2, "did you mean check?"),
        (["set", "check"], 2, "name a set"),
        (["set", "show", "threez"], 3, "nearest: threes"),
        (["set", "sheet", "threes", "--out", "x.pdf"], 5, ".html or .txt"),
        (["drill", "threes", "--no-screen"], 3, "threes:1 to threes:5"),
    ],
)
def test_what_is_wrong_is_one_line(
    arguments: list[str], code: int, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the exit code of its kind."""
    assert code == main(arguments)

    lines = capsys.readouterr().err.splitlines()
    assert 1 == len(lines)
    assert told in lines[0]
