"""The sheet of a song: what stands on it, that it is one page of paper, and what it is written as."""

import importlib
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.app.song.answer import answer
from heeltap.app.song.comp import make_comp
from heeltap.app.song.open_song import OpenSong, open_song
from heeltap.app.song.takes import takes_of
from heeltap.cli import main
from heeltap.views.song_page import AgainRow, BarCell, SongPage, page_html, page_of, page_text
from tests.makers.songs import played, write_song, write_take

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def printer() -> Any:
    """The library that lays pages out; the test is skipped where it, or what it stands on, is missing."""
    try:
        return importlib.import_module("weasyprint")
    except (ImportError, OSError) as error:
        pytest.skip(f"heeltap[pdf] cannot be used here: {error}")


def song_of(folder: Path, takes: int = 6) -> OpenSong:
    """Takes that run into bar 9: bar 8 is 35 ms early in each of them."""
    rng = np.random.default_rng(3)
    opened = open_song(str(write_song(folder)))
    for number in range(1, takes + 1):
        notes = played(rng, 6.0, lambda bar: np.where(bar == 8, -35.0, 0.0))
        write_take(folder / "harbour-takes" / f"take-{number}.mid", notes)
    return opened


def page_from(opened: OpenSong) -> SongPage:
    """The sheet of all takes."""
    takes, problems = takes_of(opened, [])
    found = answer(opened, takes, problems)
    return page_of(opened, found, make_comp(opened, takes, found) if len(takes) > 1 else None)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> SongPage:
    """Of six takes."""
    return page_from(song_of(tmp_path_factory.mktemp("song")))


def full() -> SongPage:
    """As much as a sheet can hold: 250 bars, everything at its longest."""
    cells = [
        BarCell(bar, "a long section" if bar % 16 == 1 else "", "-123", "+45", bar % 3 == 0) for bar in range(1, 251)
    ]
    line = "Bars 123-124, going into the second chorus: in 10 of 12 takes you are 123 ms early, against the rest of your take."
    return SongPage(
        title="A song with a rather long title, in two parts and with a coda: left hand keys",
        sentence=line,
        use=(line, line + " " + line),
        again=(
            AgainRow("bars 123-124", line, "run in from bar 122; first at 95 bpm, when it sits twice in a row at 100"),
        )
        * 6,
        ticks=4,
        rows=tuple(tuple(cells[at : at + 16]) for at in range(0, len(cells), 16)),
        about_rows=line,
        remember=(line,) * 4,
        delay=line,
    )


def test_the_sheet_says_which_take_which_bars_and_what_comes_back(page: SongPage) -> None:
    """The planted bar is in the sentence, in the list with its tempi, starred in the strip and to be remembered."""
    assert "6 takes against the drums: again and again you are early in bar 8, by 36 ms." == page.sentence
    assert [("bar 8", "run in from bar 7; first at 95 bpm, when it sits twice in a row at 100")] == [
        (row.bars, row.how) for row in page.again
    ]
    assert [8] == [cell.number for row in page.rows for cell in row if cell.far]
    assert [8, 8] == [len(row) for row in page.rows]
    assert "Bar 8, going into verse 2: in 6 of 6 takes you are 36 ms early" in page.remember[0]
    assert "not known" in page.delay


def test_each_bar_is_where_the_middle_take_lies(page: SongPage) -> None:
    """From each take's own middle, for nobody knows the delay; the drums lie 3 ms to either side of the click."""
    cells = [cell for row in page.rows for cell in row]

    assert -36 == pytest.approx(int(cells[7].you), abs=3)
    assert all(abs(int(cell.you)) <= 8 for cell in cells if cell.number != 8)
    assert {"-3", "+3"} == {cell.drums for cell in cells}
    assert [1, 5, 9, 13] == [cell.number for cell in cells if cell.section]


def test_one_take_has_a_sheet_too(tmp_path: Path) -> None:
    """The take to use, its own bars to play again, and that habits need more takes."""
    page = page_from(song_of(tmp_path, takes=1))

    assert ("There is one take to use: take-1.",) == page.use
    assert ["bar 8"] == [row.bars for row in page.again]
    assert ("Too few takes to tell a habit; record five.",) == page.remember


def test_the_plain_sheet_keeps_to_its_columns() -> None:
    """79 columns, however long the texts and however many the bars."""
    assert 79 >= max(len(line) for line in page_text(full()).splitlines())


def test_names_stay_text(page: SongPage) -> None:
    """A section's name can hold anything."""
    cell = replace(page.rows[0][0], section="<script>alert(1)</script>")

    html = page_html(replace(page, rows=((cell,),)))

    assert "<script>" not in html
    assert "&lt;script&gt;" in html


@pytest.mark.live
def test_a_full_sheet_prints_on_one_page() -> None:
    """A4, by a library that lays pages out."""
    weasyprint = printer()

    assert 1 == len(weasyprint.HTML(string=page_html(full())).render().pages)


@pytest.mark.live
@pytest.mark.skipif(BROWSER is None, reason="there is no browser that prints without a window")
def test_a_full_sheet_prints_on_one_page_in_a_browser(tmp_path: Path) -> None:
    """The same with a browser's own printing."""
    (tmp_path / "page.html").write_text(page_html(full()), encoding="utf-8")
    pdf = tmp_path / "page.pdf"
    command = [
        str(BROWSER),
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--no-pdf-header-footer",
        f"--print-to-pdf={pdf}",
    ]
    subprocess.run([*command, str(tmp_path / "page.html")], check=True, capture_output=True, timeout=120)

    assert 1 == pdf.read_bytes().count(b"/Type /Page\n")


@pytest.mark.parametrize("ending", ["html", "txt", pytest.param("pdf", marks=pytest.mark.live)])
def test_the_command_writes_the_sheet_and_only_over_its_own(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A second time it is replaced; a file of another kind stays."""
    if ending == "pdf":
        printer()
    song_of(tmp_path, takes=2)
    other = tmp_path / f"notes.{ending}"
    other.write_text("mine\n", encoding="utf-8")
    asked = ["song", str(tmp_path / "harbour.song.toml"), "--page"]

    codes = [main([*asked, str(tmp_path / f"page.{ending}")]) for _ in range(2)]
    refused = main([*asked, str(other)])

    assert ([0, 0], 3, "mine\n") == (codes, refused, other.read_text(encoding="utf-8"))
    assert "--force writes over it" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "said"),
    [("page.doc", "expected .html, .pdf or .txt"), ("page.pdf", "install heeltap[pdf], or write .html")],
)
def test_what_cannot_be_written_is_said_before_any_work(
    name: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another ending, or nothing installed that prints pages."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    song_of(tmp_path, takes=1)

    code = main(["song", str(tmp_path / "harbour.song.toml"), "--page", str(tmp_path / name)])
    told = capsys.readouterr()

    assert (5, "") == (code, told.out)
    assert said in told.err
