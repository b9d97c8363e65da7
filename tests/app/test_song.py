"""A song and its takes: what is guessed, where takes are put, which take is used where, and the comp."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.song.answer import Answer, answer
from heeltap.app.song.comp import comp_csv, comp_midi, make_comp
from heeltap.app.song.drill_song import song_drill
from heeltap.app.song.open_song import OpenSong, guess_song, open_song
from heeltap.app.song.takes import bar_in_name, takes_of
from heeltap.app.song.watch import new_takes
from heeltap.cli import main
from heeltap.clock import FakeClock
from heeltap.errors import InputFileError, SetFileError
from heeltap.files.smf import parse_midi
from heeltap.files.toml.songs import song_from_toml, song_to_toml
from heeltap.model.notes import Notes, make_notes
from heeltap.views.song_text import song_text
from tests.makers.songs import BARS, QUARTER_US, SECTIONS, drum_notes, key_notes, played, write_song, write_take

BAR_US = 4 * QUARTER_US


def between(notes: Notes, first: int, last: int, *, from_bar_one: bool = False) -> Notes:
    """The notes of some bars."""
    start, end = ((bar - 1) * BAR_US - BAR_US // 16 for bar in (first, last + 1))
    kept = notes.pick((notes.onset_us >= start) & (notes.onset_us < end))
    by_us = (first - 1) * BAR_US if from_bar_one else 0
    return make_notes(np.maximum(kept.onset_us - by_us, 0), kept.pitch, kept.velocity, duration_us=kept.duration_us)


def rush(first: int, last: int, ms: float = -45.0):
    """So much early in some bars."""
    return lambda bar: np.where((bar >= first) & (bar <= last), ms, 0.0)


def asked(opened: OpenSong, *names: Path | str) -> Answer:
    """The answer on these takes."""
    takes, problems = takes_of(opened, [str(name) for name in names])
    return answer(opened, takes, problems)


def test_what_is_guessed_is_said_and_reads_back(tmp_path: Path) -> None:
    """Drums, part, plan and sections; the song file is the same song."""
    opened = open_song(str(write_song(tmp_path)))
    song, guesses = guess_song(tmp_path / "harbour.mid")

    assert ("keys", "drums", "keys") == (song.part, song.drums, song.plan)
    assert {"part", "drums", "plan"} == set(guesses)
    assert list(SECTIONS.items()) == [(one.name, one.first_bar) for one in opened.timeline.sections]
    assert BARS == opened.timeline.sections[-1].last_bar == opened.bars
    again = song_from_toml(song_to_toml(song, guesses), name=song.name, folder=tmp_path)
    assert (song.title, song.file, song.part, song.takes) == (again.title, again.file, again.part, again.takes)
    assert [(one.name, one.first_bar) for one in song.sections] == [(one.name, one.first_bar) for one in again.sections]


def test_sections_are_guessed_from_the_drums_where_there_are_no_markers(tmp_path: Path) -> None:
    """The pattern changes every four bars; that it is a guess stands in the file."""
    path = write_song(tmp_path, markers=False)

    assert [1, 5, 9, 13] == [one.first_bar for one in open_song(str(path)).timeline.sections]
    assert "a guess from where the drum pattern changes" in path.read_text()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('part = "keys"', "line 2, prat: key 'prat'"),
        ("lean_ms = 400", "lean_ms: 400"),
        ("begins_at_bar = 0", "begins_at_bar: 0"),
        ('[[section]]\nname = "a"\nbar = 5\n[[section]]\nname = "b"\nbar = 5', "section[2].bar: 5"),
    ],
)
def test_a_mistake_in_a_song_file_is_named_with_its_line(line: str, said: str) -> None:
    """Key, what was found, what was expected."""
    text = 'format = "heeltap.song/1"\n' + (line.replace("part", "prat") if "part" in line else line)

    with pytest.raises(SetFileError) as caught:
        song_from_toml(text + "\n" if "section" in line else text)

    assert said in str(caught.value)


def test_the_take_that_lies_best_is_named_and_its_sections_too(tmp_path: Path, rng: np.random.Generator) -> None:
    """One take runs through the choruses, the other through the verses; the third is the best on the whole."""
    opened = open_song(str(write_song(tmp_path)))
    takes = tmp_path / "harbour-takes"
    write_take(takes / "take-1.mid", played(rng, 4.0, lambda bar: np.where((bar - 1) // 4 % 2 == 1, -40.0, 0.0)))
    write_take(takes / "take-2.mid", played(rng, 4.0, lambda bar: np.where((bar - 1) // 4 % 2 == 0, -40.0, 0.0)))
    write_take(takes / "take-10.mid", played(rng, 9.0))

    found = asked(opened)

    assert ("take-1", "take-2", "take-10") == found.names
    assert found.compared is not None
    assert found.compared.comparison.whole is not None
    assert 2 == found.compared.comparison.whole.best
    assert "the drums" == found.compared.against
    assert all("kick and snare" in result.reference.name for result in found.results)


@pytest.mark.parametrize("ticks", [96, 480, 960, 10_080])
def test_a_song_is_judged_alike_at_every_resolution(ticks: int, tmp_path: Path) -> None:
    """Ticks of a quarter are the file's own matter."""
    rng = np.random.default_rng(7)
    opened = open_song(str(write_song(tmp_path, ticks=ticks)))
    write_take(tmp_path / "harbour-takes" / "one.mid", played(rng, 2.0, rush(8, 8)), ticks=ticks)

    (result,) = asked(opened).results

    assert (64, 64) == (result.counts.planned, result.counts.matched)
    assert -45 / 16 == pytest.approx(result.overall.bias_ms, abs=1.0)


def test_takes_come_as_files_tracks_and_folders(tmp_path: Path, rng: np.random.Generator) -> None:
    """Tracks named like the part are takes, the song's own file is none, a file that cannot be read stops nobody."""
    opened = open_song(str(write_song(tmp_path)))
    takes = tmp_path / "harbour-takes"
    write_take(takes / "all.mid", played(rng), played(rng), names=("keys 1", "keys 2"))
    write_take(takes / "single.mid", played(rng), names=("Track 1",))
    (takes / "broken.mid").write_bytes(b"MThd nothing")

    found = asked(opened, takes, tmp_path / "harbour.mid")

    assert ("all: keys 1", "all: keys 2", "single") == found.names
    assert ["broken.mid"] == [Path(line.split(",")[0]).name for line in found.problems]


@pytest.mark.parametrize("how", ["name", "marker", "keys", "song file"])
def test_a_clip_is_put_where_it_belongs(how: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """Bars 9 to 12 as a file that begins at its own bar 1: by its name, a marker, the song file, or its keys."""
    path = write_song(tmp_path)
    if how == "song file":
        path.write_text(path.read_text().replace("# begins_at_bar = 9 ", "begins_at_bar = 9 "), encoding="utf-8")
    opened, clip = open_song(str(path)), between(played(rng), 9, 12, from_bar_one=True)
    name = "keys bars 9-12.mid" if how == "name" else "clip.mid"
    markers = [(0, "bar 9")] if how == "marker" else []
    write_take(tmp_path / "harbour-takes" / name, clip, markers=markers)

    found = asked(opened)

    assert {9, 10, 11, 12} == {note.bar for note in found.results[0].notes}
    assert (16, 16) == (found.results[0].counts.planned, found.results[0].counts.matched)
    assert (1 if how == "keys" else 0) == len(found.notes)
    if how == "keys":
        assert "clip looks like bars 9-12" in found.notes[0]


@pytest.mark.parametrize(
    ("name", "bar"), [("keys bars 21-28", 21), ("bar9", 9), ("Bar_12 again", 12), ("embark 7", None)]
)
def test_a_bar_in_a_name_is_understood(name: str, bar: int | None) -> None:
    """As people write it."""
    assert bar == bar_in_name(name)


@pytest.mark.parametrize("shift_ms", [250.0, -180.0])
def test_a_shift_of_the_recording_is_said_and_taken_out(
    shift_ms: float, tmp_path: Path, rng: np.random.Generator
) -> None:
    """Within 3 ms; a player who is 20 ms late is no recording."""
    opened = open_song(str(write_song(tmp_path)))
    notes = played(rng, 5.0)
    moved = notes.pick(notes.onset_us + 1000 * shift_ms >= 0)
    late = make_notes(
        moved.onset_us + round(1000 * shift_ms), moved.pitch, moved.velocity, duration_us=moved.duration_us
    )
    write_take(tmp_path / "harbour-takes" / "shifted.mid", late)
    write_take(tmp_path / "harbour-takes" / "unshifted.mid", played(rng, 5.0, lambda bar: np.full(bar.size, 20.0)))

    found = asked(opened)

    (said,) = found.notes
    assert f"{abs(shift_ms) / 1000:.1f}"[:3] in said or f"{abs(round(shift_ms)):d}"[:2] in said
    assert "that is the recording, not you" in said
    assert 0.0 == pytest.approx(found.results[0].overall.bias_ms, abs=3.0)
    assert 20.0 == pytest.approx(found.results[1].overall.bias_ms, abs=4.0)


def test_what_comes_back_is_counted_over_the_takes(tmp_path: Path, rng: np.random.Generator) -> None:
    """A rush into the changes in three of four takes."""
    opened = open_song(str(write_song(tmp_path)))
    for number in range(1, 5):
        fault = rush(4, 4)(np.arange(1)) if number == 4 else None
        notes = played(rng, 4.0, None if number == 4 else lambda bar: np.where(bar % 4 == 0, -40.0, 0.0))
        assert fault is None or fault.size
        write_take(tmp_path / "harbour-takes" / f"take-{number}.mid", notes)

    habits = asked(opened).habits

    assert habits
    assert 3 == habits[0].takes


def test_a_comp_takes_each_section_from_the_take_that_holds_it(tmp_path: Path, rng: np.random.Generator) -> None:
    """Every note is one of its take's, untouched; it costs no more than the best single take; a table says what is from where."""
    opened = open_song(str(write_song(tmp_path)))
    takes = tmp_path / "harbour-takes"
    write_take(takes / "take-1.mid", played(rng, 4.0, rush(9, 16)))
    write_take(takes / "take-2.mid", played(rng, 4.0, rush(1, 8)))
    listed, _ = takes_of(opened)
    judged = answer(opened, listed)

    comp = make_comp(opened, listed, judged)
    midi = parse_midi(comp_midi(opened, comp))
    write_take(takes / "take-9.mid", comp.notes)
    again = asked(opened)

    assert [(1, 8, 0), (9, 16, 1)] == [(piece.first_bar, piece.last_bar, piece.take) for piece in comp.pieces]
    takes_notes = [one.ready.played.notes for one in listed]
    own = [set(zip(one.onset_us.tolist(), one.pitch.tolist(), strict=True)) for one in takes_notes]
    of_comp = list(zip(comp.notes.onset_us.tolist(), comp.notes.pitch.tolist(), strict=True))
    assert all(note in own[0] or note in own[1] for note in of_comp)
    assert len(key_notes()) == len(of_comp) == len(midi.notes)
    assert again.compared is not None
    assert again.compared.comparison.whole is not None
    assert 2 == again.compared.comparison.whole.best
    assert ["1,8,take-1,take-1.mid,0", "9,16,take-2,take-2.mid,0"] == comp_csv(comp, listed).decode().splitlines()[1:]


def test_fewer_joins_are_kept_to(tmp_path: Path, rng: np.random.Generator) -> None:
    """None leaves the best single take; one join is put where it gains most."""
    opened = open_song(str(write_song(tmp_path)))
    takes = tmp_path / "harbour-takes"
    write_take(takes / "take-1.mid", played(rng, 3.0, rush(13, 16, -60.0)))
    late_ms = np.array([25.0, 30.0, 0.0, 0.0])
    write_take(takes / "take-2.mid", played(rng, 3.0, lambda bar: late_ms[(bar - 1) // 4]))
    listed, _ = takes_of(opened)
    judged = answer(opened, listed)

    pieces = {joins: make_comp(opened, listed, judged, joins).pieces for joins in (0, 1, 9)}

    assert [1, 2] == [len(pieces[0]), len(pieces[1])]
    assert len(pieces[9]) <= 4
    assert 0 == pieces[1][0].take
    assert 1 == pieces[1][1].take


def test_a_join_waits_for_a_bar_line_where_nothing_is_held(tmp_path: Path, rng: np.random.Generator) -> None:
    """A note of the first take that sounds across the change moves the join by a bar."""
    opened = open_song(str(write_song(tmp_path)))
    first = played(rng, 3.0, rush(9, 16))
    held = np.where(np.arange(len(first)) == 31, 900_000, first.duration_us)  # the last stroke of bar 8
    takes = tmp_path / "harbour-takes"
    write_take(takes / "take-1.mid", make_notes(first.onset_us, first.pitch, first.velocity, duration_us=held))
    write_take(takes / "take-2.mid", played(rng, 3.0, rush(1, 8)))
    listed, _ = takes_of(opened)
    judged = answer(opened, listed)

    pieces = make_comp(opened, listed, judged).pieces

    assert [(1, 7), (8, 16)] == [(piece.first_bar, piece.last_bar) for piece in pieces]
    assert 0 == pieces[1].held


def test_a_song_without_a_known_part_is_placed_on_its_drums(tmp_path: Path, rng: np.random.Generator) -> None:
    """The plan is left out of the song file: the grid of the song, moved with the drummer."""
    path = write_song(tmp_path)
    path.write_text(
        "\n".join(line for line in path.read_text().splitlines() if not line.startswith("plan")), encoding="utf-8"
    )
    write_take(tmp_path / "harbour-takes" / "one.mid", played(rng, 5.0))

    (result,) = asked(open_song(str(path))).results

    assert (0, "leader") == (result.counts.planned, result.reference.kind)
    assert {"verse", "chorus", "verse 2", "chorus 2"} == {row.name for row in result.by_section}
    assert 0.0 == pytest.approx(result.overall.bias_ms, abs=3.0)


def test_the_commands_tell_the_whole_way(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """New, answer, comp; a second new needs --force; a slip in the name is told the nearest."""
    write_song(tmp_path)
    (tmp_path / "harbour.song.toml").unlink()
    monkeypatch.chdir(tmp_path)
    for number, fault in enumerate((rush(9, 16), rush(1, 8)), 1):
        write_take(tmp_path / "harbour-takes" / f"take-{number}.mid", played(rng, 4.0, fault))

    assert 0 == main(["song", "new", "harbour.mid", "--part", "keys"])
    told = capsys.readouterr().out
    assert 0 == main(["song", "harbour", "--json", "results.jsonl"])
    answered = capsys.readouterr().out
    assert 0 == main(["comp", "harbour", "--csv", "comp.csv"])
    comped = capsys.readouterr().out

    assert "a guess" in told
    assert "ON THESE RECORDINGS" in answered
    assert 2 == len((tmp_path / "results.jsonl").read_bytes().splitlines())
    assert "bars 1-8: take-1" in comped
    assert parse_midi((tmp_path / "harbour-comp.mid").read_bytes()).parts[0].name == "keys"
    file = tmp_path / "harbour.song.toml"
    file.write_text(file.read_text() + "# mine\n", encoding="utf-8")
    assert 3 == main(["song", "new", "harbour.mid", "--part", "keys"])
    assert "# mine" in file.read_text()
    assert 3 == main(["song", "harbor"])
    assert "nearest: harbour" in capsys.readouterr().err
    assert 2 == main(["song", "harbour", "--part", "keys"])
    assert 2 == main(["song", "new", "harbour.mid", "--json", "x.json"])


def test_a_song_without_takes_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty folder, and a folder that is not there."""
    opened = open_song(str(write_song(tmp_path)))

    with pytest.raises(InputFileError, match="a folder without MIDI files"):
        takes_of(opened)
    opened.takes_folder.rmdir()
    with pytest.raises(InputFileError, match="no such folder"):
        takes_of(opened)


def test_the_drums_can_be_a_file_of_their_own(tmp_path: Path, rng: np.random.Generator) -> None:
    """`drums_file` names it."""
    path = write_song(tmp_path)
    write_take(tmp_path / "kit.mid", drum_notes(), names=("kit",))
    text = path.read_text().replace('drums = "drums"', 'drums = "kit"\ndrums_file = "kit.mid"')
    path.write_text(text, encoding="utf-8")
    write_take(tmp_path / "harbour-takes" / "one.mid", played(rng, 5.0))

    opened = open_song(str(path))

    assert "kit" == (opened.drums.name if opened.drums else "")
    assert "kick and snare of 'kit'" in asked(opened).results[0].reference.name


def test_bars_that_come_back_are_told_with_their_place(tmp_path: Path, rng: np.random.Generator) -> None:
    """30 ms early in the bar before each chorus, in six of seven takes; nothing else is told."""
    opened = open_song(str(write_song(tmp_path)))
    for number in range(1, 8):
        fault = None if number == 4 else lambda bar: np.where((bar == 4) | (bar == 12), -30.0, 0.0)
        write_take(tmp_path / "harbour-takes" / f"take-{number}.mid", played(rng, 6.0, fault))

    found = asked(opened)

    assert [(4, 4), (12, 12)] == [(one.habit.first_bar, one.habit.last_bar) for one in found.bars]
    assert ["going into chorus", "going into chorus 2"] == [one.where for one in found.bars]
    assert all(-32 < one.habit.mean_ms < -20 and not one.is_the_drummers for one in found.bars)
    assert [(6, 7), (6, 7)] == [(one.habit.of_one_mind, one.habit.takes) for one in found.bars]
    text = song_text(found)
    assert "in 6 of 7 takes you are" in text.replace("\n  ", " ")


def test_a_drummer_who_moves_is_not_sold_as_the_players_habit(tmp_path: Path, rng: np.random.Generator) -> None:
    """The drums lie 40 ms late in two bars, and the player stays with the click."""
    path = write_song(tmp_path)
    drums = drum_notes()
    bar = drums.onset_us // BAR_US + 1
    late = make_notes(
        drums.onset_us + np.where((bar == 10) | (bar == 11), 40_000, 0), drums.pitch, drums.velocity,
        duration_us=drums.duration_us,
    )  # fmt: skip
    write_take(tmp_path / "kit.mid", late, names=("kit",))
    path.write_text(
        path.read_text().replace('drums = "drums"', 'drums = "kit"\ndrums_file = "kit.mid"'), encoding="utf-8"
    )
    for number in range(1, 7):
        write_take(tmp_path / "harbour-takes" / f"take-{number}.mid", played(rng, 5.0))

    found = asked(open_song(str(path)))

    moved = [one for one in found.bars if 10 <= one.habit.first_bar <= 11]
    assert moved
    assert all(one.is_the_drummers and one.drummer_ms > 15 for one in moved)
    assert "Play on, or move the drums." in song_text(found).replace("\n  ", " ")


@pytest.mark.parametrize(
    ("words", "bars"),
    [
        ("harbour", None),
        ("harbour chorus-2", "13-16"),
        ("harbour Verse 2", "9-12"),
        ("harbour 3-5", "3-5"),
        ("harbour bars 7", "7"),
        ("harbour.song.toml chorus", "5-8"),
    ],
)
def test_a_section_or_bars_of_a_song_are_drilled_to_its_drums(
    words: str, bars: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a person types them; the drums are what is heard."""
    write_song(tmp_path)
    monkeypatch.chdir(tmp_path)

    found = song_drill(words.split())

    assert found is not None
    assert ("harbour.mid", "keys", "part:drums", bars) == (found.path, found.part, found.click, found.bars)
    drill = drill_of(found.path, part=found.part, click=found.click)
    assert (64, True) == (len(drill.plan), drill.backing is not None)


def test_a_section_that_is_none_is_told_the_nearest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And what is no song is left to the exercises."""
    write_song(tmp_path)
    monkeypatch.chdir(tmp_path)

    with pytest.raises(InputFileError, match="nearest: chorus"):
        song_drill(["harbour", "korus"])
    assert song_drill(["anchor", "2"]) is None
    assert song_drill([]) is None


def test_a_part_beside_a_song_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The song says which part, and bars are named once."""
    write_song(tmp_path)
    monkeypatch.chdir(tmp_path)

    assert 2 == main(["drill", "harbour", "--no-screen", "--part", "keys"])
    assert 2 == main(["drill", "harbour", "chorus", "--no-screen", "--bars", "1-2"])
    assert "--bars for a song" in capsys.readouterr().err


def test_the_bars_to_play_again_come_with_the_command_that_plays_them(tmp_path: Path, rng: np.random.Generator) -> None:
    """To the song's drums."""
    opened = open_song(str(write_song(tmp_path)))
    write_take(tmp_path / "harbour-takes" / "one.mid", played(rng, 4.0, rush(7, 7, -60.0)))

    (result,) = asked(opened).results

    assert result.replay
    assert f"heeltap drill {tmp_path}/harbour.mid --part keys --click part:drums --bars 7" == result.replay[0].command


def test_a_new_take_is_told_once_it_is_whole(tmp_path: Path) -> None:
    """At once, when a file appears and stays the same for a look, and when one is written again; never while it grows."""
    folder = tmp_path / "takes"
    steps = iter([
        lambda: None,
        folder.mkdir,
        lambda: (folder / "one.mid").write_bytes(b"MThd"),
        lambda: (folder / "one.mid").write_bytes(b"MThd, more"),
        lambda: (folder / "notes.txt").write_text("no take"),
        lambda: None,
        lambda: (folder / "two.mid").write_bytes(b"MThd"),
        lambda: None,
    ])  # fmt: skip
    looks: list[int] = []

    def on_wait(now_ns: int) -> None:
        looks.append(now_ns)
        next(steps)()

    told = [(number, len(looks)) for number in _until_the_steps_end(new_takes(folder, FakeClock(on_wait=on_wait)))]

    assert [(0, 0), (1, 5), (2, 8)] == told


def _until_the_steps_end(numbers):
    while True:
        try:
            yield next(numbers)
        except (StopIteration, RuntimeError):
            return


def test_the_table_has_a_row_a_bar_and_a_column_a_take(
    tmp_path: Path, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Mean offsets; what a punch-in does not hold is empty."""
    write_song(tmp_path)
    monkeypatch.chdir(tmp_path)
    takes = tmp_path / "harbour-takes"
    write_take(takes / "take-1.mid", played(rng, 2.0, rush(3, 3)))
    write_take(takes / "take-2.mid", between(played(rng, 2.0), 5, 8))

    assert 0 == main(["song", "harbour", "--csv", "bars.csv"])

    rows = [line.split(",") for line in (tmp_path / "bars.csv").read_text().splitlines()]
    assert ["bar", "section", "take-1", "take-2"] == rows[0]
    assert [str(bar) for bar in range(1, BARS + 1)] == [row[0] for row in rows[1:]]
    assert ["3", "verse", ""] == [rows[3][0], rows[3][1], rows[3][3]]
    assert -45 == pytest.approx(float(rows[3][2]), abs=5)
    assert "" not in rows[6]


@pytest.mark.slow
def test_the_band_is_told_who_is_early_only_where_the_delay_is_known(tmp_path: Path) -> None:
    """The demo's song: keys 4 ms behind drums that lie on the click; the loosest take costs most of the attack."""
    demo = Path(__file__).resolve().parents[2] / "demo"
    for one in demo.glob("*.mid"):
        (tmp_path / one.name).write_bytes(one.read_bytes())
    text = (demo / "tollgate-road.song.toml").read_text(encoding="utf-8")
    (tmp_path / "unknown.song.toml").write_text(text, encoding="utf-8")
    (tmp_path / "known.song.toml").write_text(
        text.replace("# recording_delay_ms = 12", "recording_delay_ms = 0"), encoding="utf-8"
    )
    known, unknown = (asked(open_song(str(tmp_path / f"{name}.song.toml"))) for name in ("known", "unknown"))

    assert known.band is not None
    assert unknown.band is not None
    assert ("drums", "bass", "keys") == known.band.names
    losses = [hits.loss_db for hits in unknown.band.hits if hits is not None]
    assert 8 == len(losses)
    assert {5, 6} == set(np.argsort(losses)[:2].tolist())
    pair = known.band.leads[6][0]
    assert (0, 4.0) == (pair.early, pytest.approx(-(pair.difference_ms or 0.0), abs=2.0))
    assert "Your keys part is 4 ms behind the drums part on average" in " ".join(song_text(known).split())
    assert "Who is early cannot be told" in song_text(unknown)
