"""The songs of a folder on the screen: what is listed, what is played, what is said of one that cannot be."""

from pathlib import Path

import pytest

from heeltap.app.drill.from_settings import drill_chosen
from heeltap.app.song.open_song import guess_song
from heeltap.files.toml.songs import song_to_toml
from heeltap.sound.click import CLICK_SOUNDS
from heeltap.tui.page import Look
from heeltap.tui.screens.songs import draw_songs, read_songs
from heeltap.views.bar_sheet import UNICODE, plain

DEMO = Path(__file__).resolve().parents[2] / "demo" / "tollgate-road.mid"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo's song, and a song file that is none."""
    (tmp_path / "tollgate-road.mid").write_bytes(DEMO.read_bytes())
    monkeypatch.chdir(tmp_path)
    song, guesses = guess_song("tollgate-road.mid", "keys")
    (tmp_path / "tollgate.song.toml").write_text(song_to_toml(song, guesses), encoding="utf-8")
    (tmp_path / "broken.song.toml").write_text("title = ", encoding="utf-8")
    return tmp_path


def test_songs_are_listed_with_their_sections(folder: Path) -> None:
    """The broken one with the reason and nothing to play; the song as a whole and each section."""
    lines = read_songs()
    screen = "\n".join(plain(draw_songs(lines, 1, Look(80, 24, UNICODE))))

    assert lines[0].choice is None
    assert "broken.song.toml" in lines[0].text
    assert len(lines) >= 4
    assert all(line.choice is not None for line in lines[1:])
    assert "bars " in lines[2].text
    assert "> " in screen
    assert 24 == len(plain(draw_songs(lines, 1, Look(80, 24, UNICODE))))


def test_a_section_is_drilled_in_a_loop_to_its_drums(folder: Path) -> None:
    """The bars that the line names, four times, over the song's own drums; the whole song once."""
    lines = read_songs()
    whole, second = (line.choice for line in (lines[1], lines[3]))
    assert whole is not None
    assert second is not None

    song, part = drill_chosen(whole, CLICK_SOUNDS["wood"]), drill_chosen(second, CLICK_SOUNDS["wood"])

    assert (1, "part:drums") == (song.passes, song.heard)
    assert 4 == part.passes
    first, last = (int(text) for text in lines[3].text.split("bars ")[1].split("-"))
    assert (first, last) == (part.bar_numbers[0], part.bar_numbers[-1])
    assert part.run_in_us > 0


def test_an_empty_folder_says_how_to_get_a_song(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing to choose, one sentence to begin with."""
    monkeypatch.chdir(tmp_path)

    assert () == read_songs()
    assert "heeltap song new SONG.mid" in "\n".join(plain(draw_songs((), 0, Look(80, 24, UNICODE))))
