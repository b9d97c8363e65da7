"""Takes that hold a part of a song: a punch-in at its place, a clip that begins at bar 1 of its own file."""

from pathlib import Path

import numpy as np
import pytest

import heeltap
from heeltap.analysis.analyse import Options
from heeltap.app.score.compare import compare_takes
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import score_path
from heeltap.errors import OptionError, PlanError
from heeltap.files.smf import TrackOut, write_midi
from heeltap.model.notes import Notes
from heeltap.model.result import Result
from heeltap.model.timeline import MetreMap, TempoMap
from tests.makers.kept import keep

DEMO = Path(__file__).resolve().parents[2] / "demo"
SONG, TAKE = DEMO / "tollgate-road.mid", DEMO / "tollgate-road-take-1.mid"
KEYS = {"part": "keys", "plan": SONG}

FIRST, LAST = 21, 28


def written(path: Path, first: int, last: int, *, from_bar_one: bool) -> Path:
    """The keys of the first take in some bars, as a file of their own."""
    midi = heeltap.read_midi(TAKE)
    keys = next(part for part in midi.parts if part.name == "keys")
    notes = midi.notes_of(keys)
    start, end = (int(midi.tempo.us_at_quarter(midi.metre.quarter_of_bar(bar))) for bar in (first, last + 1))
    rows = (notes.onset_us >= start - 100_000) & (notes.onset_us < end - 100_000)
    picked = notes.pick(rows)
    by_us = start if from_bar_one else 0
    onset_us = np.maximum(picked.onset_us - by_us, 0)
    moved = Notes(onset_us, picked.pitch, picked.velocity, picked.channel, picked.track, picked.duration_us)
    write_midi(path, [TrackOut(moved, name="keys")], tempo=midi.tempo, metre=midi.metre)
    return path


def bars_of(result: Result) -> dict[tuple[int | None, float | None, int], float]:
    """Offset of each matched note by bar, beat and key, in the bars that were cut out."""
    return {
        (note.bar, note.beat, note.pitch): round(note.offset_ms, 1)
        for note in result.notes
        if note.status == "matched" and note.offset_ms is not None and FIRST < (note.bar or 0) <= LAST
    }


@pytest.mark.parametrize("from_bar_one", [False, True])
def test_a_part_of_a_take_gives_bar_for_bar_what_the_whole_take_gives(from_bar_one: bool, tmp_path: Path) -> None:
    """A punch-in keeps its place, a clip is put there; nothing outside is missed."""
    part = written(tmp_path / "part.mid", FIRST, LAST, from_bar_one=from_bar_one)
    known = Options(delay_ms=0.0)

    whole = score_path(TAKE, Reading(**KEYS), known)
    cut = score_path(part, Reading(**KEYS, at_bar=FIRST if from_bar_one else None), known)

    expected, found = bars_of(whole), bars_of(cut)
    assert expected.keys() == found.keys()
    assert all(abs(expected[key] - found[key]) <= 1.1 for key in expected)  # a tick of the file is 1.3 ms
    assert (
        cut.counts.missed
        <= sum(note.status == "missed" and FIRST <= (note.bar or 0) <= LAST for note in whole.notes) + 1
    )
    assert ["this take holds bars 21 to 28; heeltap judges only those"] == [
        line for line in cut.warnings if "holds bars" in line
    ]


def test_a_clip_without_a_plan_carries_the_songs_bar_numbers(tmp_path: Path) -> None:
    """The click's grid goes on from the bar that is named."""
    clip = written(tmp_path / "clip.mid", FIRST, LAST, from_bar_one=True)

    plain, placed = (score_path(clip, Reading(part="keys", at_bar=bar)) for bar in (None, FIRST))

    assert {1, 8} == {min(n.bar or 9 for n in plain.notes), max(n.bar or 0 for n in plain.notes)}
    assert {FIRST, LAST} == {min(n.bar or 99 for n in placed.notes), max(n.bar or 0 for n in placed.notes)}
    assert plain.overall.spread_ms == pytest.approx(placed.overall.spread_ms, abs=0.01)


def test_a_late_entry_and_an_early_end_are_missed(tmp_path: Path) -> None:
    """One planned bar less at either end is the player's, not the recording's."""
    result = score_path(written(tmp_path / "late.mid", 2, 39, from_bar_one=False), Reading(**KEYS))

    assert {1, 40} <= {note.bar for note in result.notes if note.status == "missed"}


def test_a_punch_in_is_compared_in_its_own_bars_only(tmp_path: Path) -> None:
    """It may be the best of its section, but it is not offered for the whole song."""
    punch = written(tmp_path / "punch.mid", FIRST, LAST, from_bar_one=False)
    takes = [TAKE, DEMO / "tollgate-road-take-2.mid", punch]

    found = compare_takes(takes, Reading(**KEYS)).comparison

    assert found.whole is not None
    assert 2 not in (found.whole.best, *found.whole.as_good)
    outside = [choice for choice in found.sections if choice.last_bar < FIRST or choice.first_bar > LAST]
    assert [None] * len(outside) == [choice.costs[2] for choice in outside]
    (inside,) = [choice for choice in found.sections if (choice.first_bar, choice.last_bar) == (FIRST, LAST)]
    assert inside.costs[2] is not None


def test_a_bar_that_is_none_is_refused(tmp_path: Path, rng: np.random.Generator) -> None:
    """Bars count from 1; a kept take has its own."""
    with pytest.raises(PlanError, match="bar 0; expected a bar from 1"):
        score_path(TAKE, Reading(**KEYS, at_bar=0))
    with pytest.raises(OptionError, match="--at"):
        score_path(keep(tmp_path, rng=rng), Reading(at_bar=3))


def test_a_changing_tempo_goes_on_after_the_bars_before_a_clip(tmp_path: Path) -> None:
    """The file's own maps are moved, not only its notes."""
    midi = heeltap.read_midi(TAKE)
    tempo = TempoMap(480, np.array([0, 1920]), np.array([500_000, 600_000]))
    metre = MetreMap(np.array([0.0]), midi.metre.metres[:1])
    at_us = tempo.us_at(np.arange(16) * 480)
    notes = Notes(at_us, *(np.full(16, value) for value in (60, 80, 0, 0, 100_000)))
    write_midi(tmp_path / "clip.mid", [TrackOut(notes)], tempo=tempo, metre=metre)

    result = score_path(tmp_path / "clip.mid", Reading(at_bar=3))

    assert [(3 + n // 4, 1.0 + n % 4) for n in range(16)] == [(note.bar, note.beat) for note in result.notes]
    assert 0.0 == pytest.approx(result.overall.spread_ms, abs=0.1)
