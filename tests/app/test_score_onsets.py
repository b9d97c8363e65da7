"""Onsets of any instrument from a text file: the two forms of a line, what they are judged against, what is refused."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.analyse import Options
from heeltap.app.score.onsets import score_onsets
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import score_path
from heeltap.cli import main
from heeltap.errors import HeeltapError, InputFileError, OptionError
from heeltap.files.onsets import MOST_ONSETS, read_onsets
from heeltap.files.smf import TrackOut, write_midi
from heeltap.model.notes import make_notes
from heeltap.model.timeline import Metre, MetreMap, steady_metre, steady_tempo
from tests.makers.songs import BARS, QUARTER_US, key_notes, played, write_song

TEMPO = steady_tempo(120.0)


def text(path: Path, *lines: str) -> Path:
    """A file of these lines."""
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("lines", "at_us", "resolution_ms"),
    [
        (["# bass", "", "0.5", "1.25 a label", "2,second", "-0.01"], [-10_000, 500_000, 1_250_000, 2_000_000], 10.0),
        (["0.123456"], [123_456], 0.001),
        (["1:1", "1:2.5", "2:1\tone"], [0, 750_000, 2_000_000], None),
    ],
)
def test_a_line_is_seconds_or_bar_and_beat(
    lines: list[str], at_us: list[int], resolution_ms: float | None, tmp_path: Path
) -> None:
    """Labels, comments and empty lines are passed over, the order does not matter; the last decimal is the resolution."""
    found = read_onsets(text(tmp_path / "a.txt", *lines), TEMPO, steady_metre())

    assert at_us == found.at_us.tolist()
    assert resolution_ms == (None if resolution_ms is None else pytest.approx(found.resolution_ms))
    assert (resolution_ms is None) == found.by_bar


def test_bars_and_beats_are_those_of_the_metre(tmp_path: Path, rng: np.random.Generator) -> None:
    """In changing metres a place comes back as the map says it: the inverse of `bar_beat`."""
    metre = MetreMap(np.array([0.0, 8.0, 14.0]), (Metre(4, 4), Metre(6, 8), Metre(7, 8)))
    quarter = np.sort(np.round(rng.uniform(0, 40, 60) * 16) / 16)
    bar, beat = metre.bar_beat(quarter)
    lines = [f"{a}:{b:.6f}" for a, b in zip(bar.tolist(), beat.tolist(), strict=True)]

    found = read_onsets(text(tmp_path / "a.txt", *lines), TEMPO, metre)

    assert TEMPO.us_at_quarter(quarter) == pytest.approx(found.at_us, abs=2)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["abc"], "'abc' in line 1; expected seconds such as 12.345, or bar and beat such as 12:2.5"),
        (["1.0", "2:1"], "'2:1' in line 2; expected seconds"),
        (["2:1", "1.0"], "'1.0' in line 2; expected bar and beat"),
        (["1:5"], "'1:5' in line 1"),
        (["1:1", "1:5"], "'1:5' in line 2; expected a beat below 5 in 4/4"),
        (["0:1"], "'0:1' in line 1"),
        (["nan"], "'nan' in line 1"),
        (["1e3"], "'1e3' in line 1"),
        (["-11"], "'-11' in line 1"),
        (["# nothing"], "0 onsets; expected 1 to"),
        (["1"] * (MOST_ONSETS + 1), "100001 onsets"),
    ],
)
def test_a_line_that_is_neither_is_named(lines: list[str], said: str, tmp_path: Path) -> None:
    """Line, what was found, what was expected."""
    with pytest.raises(InputFileError) as caught:
        read_onsets(text(tmp_path / "a.txt", *lines), TEMPO, steady_metre())

    assert said in str(caught.value)


def test_a_file_without_an_end_is_not_read_to_its_end() -> None:
    """8 MB at most."""
    with pytest.raises(InputFileError, match="is no regular file"):
        read_onsets("/dev/zero", TEMPO, steady_metre())


def test_onsets_give_what_the_same_notes_give(tmp_path: Path, rng: np.random.Generator) -> None:
    """Against the click, a single line of a MIDI file and its onsets as text have the same figures."""
    at_us = np.arange(64) * QUARTER_US + np.round(rng.normal(12_000, 8_000, 64)).astype(np.int64) + 10_000
    write_midi(
        tmp_path / "a.mid",
        [TrackOut(make_notes(at_us, np.full(64, 60), duration_us=np.full(64, 90_000)), name="bass", channel=0)],
        tempo=steady_tempo(6e7 / QUARTER_US),
        metre=steady_metre(),
    )
    lines = [f"{us / 1e6:.6f}" for us in at_us.tolist()]
    how = Options(delay_ms=0.0)

    from_midi = score_path(tmp_path / "a.mid", None, how)
    from_text = score_onsets(text(tmp_path / "a.txt", *lines), None, Reading(tempo_bpm=6e7 / QUARTER_US), how)

    assert from_midi.overall.n == from_text.overall.n
    assert from_midi.overall.bias_ms == pytest.approx(from_text.overall.bias_ms, abs=0.6)
    assert from_midi.overall.spread_ms == pytest.approx(from_text.overall.spread_ms, abs=0.1)


def test_onsets_are_judged_against_the_songs_drums_and_part(tmp_path: Path, rng: np.random.Generator) -> None:
    """25 ms early in bar 8: with the plan, where chords are one stroke each, and with the drums as the leader."""
    write_song(tmp_path)
    notes = played(rng, 3.0, lambda bar: np.where(bar == 8, -45.0, 0.0))
    strokes = np.unique(notes.onset_us // 1000)
    strokes = strokes[np.diff(strokes, prepend=-1000) > 40]
    lines = [f"{ms / 1000:.3f}" for ms in strokes.tolist()]
    onsets, song = text(tmp_path / "keys.txt", *lines), tmp_path / "harbour.mid"

    planned = score_onsets(onsets, song, Reading(plan=song, part="keys", leader="drums"), Options(delay_ms=0.0))
    free = score_onsets(onsets, song, Reading(leader="drums"), Options(delay_ms=0.0))

    assert [8, 8] == [result.replay[0].first_bar for result in (planned, free)]
    assert all("drums" in result.reference.name for result in (planned, free))
    assert planned.counts.missed <= 2
    assert len(np.unique(key_notes().onset_us)) == planned.counts.planned
    assert BARS >= planned.replay[0].last_bar


@pytest.mark.parametrize(
    ("reading", "options", "song", "metre", "said"),
    [
        (Reading(), Options(), False, None, "no tempo"),
        (Reading(leader="drums", tempo_bpm=100), Options(), False, None, "--leader without a song"),
        (Reading(part="keys"), Options(), True, None, "--part with --onsets"),
        (Reading(), Options(split_key=60), True, None, "--split with --onsets"),
        (Reading(), Options(), True, "3/4", "--metre with a song"),
        (Reading(tempo_bpm=400), Options(), False, None, "400 bpm"),
        (Reading(tempo_bpm=100), Options(), False, "3/5", "3/5"),
    ],
)
def test_what_onsets_cannot_honour_is_refused_by_name(
    reading: Reading, options: Options, song: bool, metre: str | None, said: str, tmp_path: Path
) -> None:
    """Nothing is passed over."""
    write_song(tmp_path)
    onsets = text(tmp_path / "a.txt", "1.0")

    with pytest.raises(HeeltapError) as caught:
        score_onsets(onsets, tmp_path / "harbour.mid" if song else None, reading, options, metre=metre)

    assert said in str(caught.value)


def test_bars_and_beats_leave_no_room_for_a_first_bar(tmp_path: Path) -> None:
    """--at is for seconds."""
    onsets = text(tmp_path / "a.txt", "9:1")

    with pytest.raises(OptionError, match="these onsets know their bars"):
        score_onsets(onsets, None, Reading(tempo_bpm=100, at_bar=9))


def test_the_command_scores_onsets_in_another_metre(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three in a bar; without a file or onsets it says what to name."""
    onsets = text(tmp_path / "a.txt", *[f"{0.6 * beat:.3f}" for beat in range(48)])

    codes = [
        main(["score", "--onsets", str(onsets), "--tempo", "100", "--metre", "3/4", "--delay", "0"]),
        main(["score"]),
        main(["score", "a.mid", "b.mid", "--onsets", str(onsets)]),
        main(["score", "a.mid", "--metre", "3/4"]),
    ]
    told = capsys.readouterr()

    assert [0, 2, 2, 2] == codes
    assert "beat 3 " in told.out
    assert "beat 4 " not in told.out
    assert ["name a MIDI file", "goes with one song", "is for --onsets"] == [
        words for words in ("name a MIDI file", "goes with one song", "is for --onsets") if words in told.err
    ]
