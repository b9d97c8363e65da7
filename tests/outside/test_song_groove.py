"""Songs over recorded drummers: a player who follows them, and runs into every change, is told so."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.leader.drums import follow_drums
from heeltap.app.song.answer import Answer, answer
from heeltap.app.song.open_song import guess_song, open_song
from heeltap.app.song.takes import takes_of
from heeltap.files.smf import Midi, TrackOut, read_midi, write_midi
from heeltap.files.toml.songs import song_to_toml
from heeltap.model.notes import Notes, make_notes

CHANGES, RUSH_MS, SPREAD_MS, TAKES = (9, 17, 25), -30.0, 6.0, 6


def _keys(midi: Midi, bars: int, rng: np.random.Generator | None) -> Notes:
    """Four strokes a bar as written, or as somebody plays them who follows the drums and runs into every change."""
    quarter = np.array([4 * bar + at for bar in range(bars) for at in (0, 1, 2.5, 3)])
    at = np.rint(midi.tempo.us_at_quarter(quarter)).astype(np.int64)
    if rng is not None:
        drums, _ = follow_drums(midi.notes, midi.tempo, midi.metre).reference_ms_at(quarter)
        before = np.isin(quarter // 4 + 1, [change - 1 for change in CHANGES])
        late_ms = drums + rng.normal(0, SPREAD_MS, quarter.size) + RUSH_MS * before
        at = np.maximum(at + np.round(1000 * late_ms).astype(np.int64), 0)
    key = 48 + (np.arange(quarter.size) * 7) % 24
    order = np.argsort(at, kind="stable")
    return make_notes(at[order], key[order], np.full(at.size, 80), duration_us=np.full(at.size, 100_000))


def _answered(folder: Path, midi: Midi, bars: int, rng: np.random.Generator) -> Answer:
    """What is said of six takes."""
    (folder / "song-takes").mkdir(parents=True)
    named = [(int(midi.tempo.us_at_quarter(4 * (bar - 1))), f"part {bar}") for bar in (1, *CHANGES)]
    tracks = [TrackOut(midi.notes, name="drums", channel=9), TrackOut(_keys(midi, bars, None), name="keys", channel=0)]
    write_midi(folder / "song.mid", tracks, tempo=midi.tempo, metre=midi.metre, markers=named)
    song, guesses = guess_song(folder / "song.mid", "keys")
    (folder / "song.song.toml").write_text(song_to_toml(song, guesses), encoding="utf-8")
    for number in range(TAKES):
        take = [TrackOut(_keys(midi, bars, rng), name="keys", channel=0)]
        write_midi(folder / "song-takes" / f"take-{number}.mid", take, tempo=midi.tempo, metre=midi.metre)
    opened = open_song(str(folder / "song.song.toml"))
    takes, problems = takes_of(opened)
    return answer(opened, takes, problems)


@pytest.mark.slow
@pytest.mark.outside
def test_a_rush_into_changes_is_listed_and_comes_back(outside_data: Path, tmp_path: Path) -> None:
    """Nine in ten of the bars are to be played again in a take and told as a habit; hardly any other bar is told."""
    wanted = {change - 1 for change in CHANGES}
    songs = listed = told = others = asked = 0
    for number, file in enumerate(sorted((outside_data / "groove").glob("*4-4.mid"))):
        midi = read_midi(file)
        bars = int(midi.metre.bar_beat(midi.tick[-1:] / midi.tempo.ticks_per_quarter)[0][0])
        if len(midi) < 300 or bars < 28:
            continue
        found = _answered(tmp_path / str(number), midi, bars, np.random.default_rng(number))
        again = {bar for row in found.results[0].replay for bar in range(row.first_bar, row.last_bar + 1)}
        habits = {bar for one in found.bars for bar in range(one.habit.first_bar, one.habit.last_bar + 1)}
        songs, asked = songs + 1, asked + bars
        listed, told, others = listed + len(again & wanted), told + len(habits & wanted), others + len(habits - wanted)

    assert songs >= 8
    assert listed >= 0.9 * len(CHANGES) * songs
    assert told >= 0.9 * len(CHANGES) * songs
    assert others <= 0.01 * asked
