"""A song and its takes, written again by other programs: the answer is the same."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.song.answer import answer
from heeltap.app.song.open_song import open_song
from heeltap.app.song.takes import takes_of
from heeltap.model.result import Result
from tests.makers.songs import played, write_song, write_take


def by_mido(path: Path) -> None:
    """Read and saved by mido."""
    mido = pytest.importorskip("mido")
    mido.MidiFile(str(path)).save(str(path))


def by_pretty_midi(path: Path) -> None:
    """Notes in seconds, at its own 220 ticks a quarter; no markers survive."""
    pretty_midi = pytest.importorskip("pretty_midi")
    pretty_midi.PrettyMIDI(str(path)).write(str(path))


def by_symusic(path: Path) -> None:
    """Read and dumped by symusic."""
    symusic = pytest.importorskip("symusic")
    symusic.Score(str(path)).dump_midi(str(path))


def by_partitura(path: Path) -> None:
    """As a performance, at its own 480 ticks a quarter and its own 120 bpm; for takes only."""
    partitura = pytest.importorskip("partitura")
    partitura.save_performance_midi(partitura.load_performance_midi(str(path)), str(path))


def answered(folder: Path, write_again: Callable[[Path], None] | None, songs_too: bool) -> tuple[Result, ...]:
    """The results of two takes in a folder of their own, all files written again first."""
    folder.mkdir()
    song, rng = write_song(folder, ticks=960), np.random.default_rng(4)
    for number, bar in enumerate((4, 12), 1):
        notes = played(rng, 6.0, lambda bars, at=bar: np.where(bars == at, -40.0, 0.0))
        write_take(folder / "harbour-takes" / f"take-{number}.mid", notes, ticks=960)
    if write_again is not None:
        for path in [*(folder / "harbour-takes").iterdir(), *([folder / "harbour.mid"] if songs_too else [])]:
            write_again(path)
    opened = open_song(str(song))
    takes, problems = takes_of(opened)
    assert [] == problems
    return answer(opened, takes).results


@pytest.mark.parametrize(
    ("write_again", "songs_too"),
    [(by_mido, True), (by_pretty_midi, True), (by_symusic, True), (by_partitura, False)],
)
@pytest.mark.slow
def test_another_programs_files_give_the_same_answer(
    write_again: Callable[[Path], None], songs_too: bool, tmp_path: Path
) -> None:
    """Counts are the same, averages within a tick of the coarser file, the same bars are to be played again."""
    ours = answered(tmp_path / "ours", None, songs_too)
    theirs = answered(tmp_path / "theirs", write_again, songs_too)

    for own, other in zip(ours, theirs, strict=True):
        assert own.counts == other.counts
        assert own.overall.bias_ms == pytest.approx(other.overall.bias_ms, abs=2.8)
        assert own.overall.spread_ms == pytest.approx(other.overall.spread_ms, abs=0.5)
        assert own.replay[0].first_bar == other.replay[0].first_bar
