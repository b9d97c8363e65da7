"""Simpler parts from files: those that were written, those that were played, and those that follow no click."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.simplify import simplify_file, write_simpler
from heeltap.app.score.read import load_plan
from heeltap.errors import InputFileError, MidiFileError, PlanError
from heeltap.files.smf import TrackOut, midi_bytes, read_midi
from heeltap.files.smf.types import Pedal
from heeltap.model.arrays import as_ints
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.views.simplified_text import simpler_text

DEMO = Path(__file__).resolve().parents[2] / "demo"

_VIENNA = ("Mozart_K331_1st-mov_p01", "Mozart_K331_1st-mov_p02", "Schubert_D783_no15_p01", "Schubert_D783_no15_p02")


def a_waltz(path: Path, *, spread_us: float, rng: np.random.Generator) -> Path:
    """Eight bars in 3/4 at 120 bpm, bass held by the pedal to the bar's end, chord on two and three; played or exact."""
    rows = []
    for bar in range(8):
        start = bar * 1_500_000
        rows += [(start, 36, 300_000)]
        rows += [(start + beat * 500_000, key, 200_000) for beat in (1, 2) for key in (60, 64)]
    at = np.array([row[0] for row in rows]) + np.rint(rng.normal(0, 1, len(rows)) * spread_us).astype(np.int64)
    order = np.argsort(np.maximum(at, 0), kind="stable")
    notes = make_notes(
        np.maximum(at, 0)[order],
        np.array([row[1] for row in rows])[order],
        duration_us=np.array([row[2] for row in rows])[order],
    )
    edges = [(bar * 1_500_000 + at_us, value) for bar in range(8) for at_us, value in ((100_000, 127), (1_450_000, 0))]
    pedal = Pedal(
        as_ints(at for at, _ in edges),
        as_ints(0 for _ in edges),
        as_ints(v for _, v in edges),
        as_ints(1 for _ in edges),
    )
    track = TrackOut(notes, name="keys", program=4, pedal=pedal)
    tempo = steady_tempo(120, ticks_per_quarter=480)
    path.write_bytes(midi_bytes([track], tempo=tempo, metre=steady_metre(3, 4), markers=[(6_000_000, "second half")]))
    return path


@pytest.mark.parametrize(("spread_us", "how"), [(0, "as written"), (12_000, "placed on the grid")])
def test_a_played_part_gives_the_same_forms_as_the_written_one(
    tmp_path: Path, rng: np.random.Generator, spread_us: float, how: str
) -> None:
    """Bass and chord on the one; bass, chord, chord with all beats."""
    parts = simplify_file(a_waltz(tmp_path / "waltz.mid", spread_us=spread_us, rng=rng))

    strong, beats = (form.plan for form in parts.forms[:2])
    assert (how, 0) == (parts.how, parts.left_out)
    assert [36, 60, 64] * 8 == strong.pitch.tolist()
    assert [36, 60, 64, 60, 64] * 8 == beats.pitch.tolist()
    assert [3.0 * bar for bar in range(8)] == (np.unique(strong.at_tick) / 10_080).tolist()
    assert [(1, 4), (5, 8)] == [(section.first_bar, section.last_bar) for section in beats.sections]


def test_sections_stay_in_their_bars_at_another_tempo(tmp_path: Path, rng: np.random.Generator) -> None:
    """A click of 60 where the file says 120: half as many bars, and the marker is still where it was played."""
    waltz = a_waltz(tmp_path / "waltz.mid", spread_us=0, rng=rng)

    plan = simplify_file(waltz, tempo_bpm=60).forms[0].plan

    assert (4, [("opening", 1, 2), ("second half", 3, 4)]) == (
        plan.bars,
        [(section.name, section.first_bar, section.last_bar) for section in plan.sections],
    )


def test_the_files_are_the_plans(tmp_path: Path) -> None:
    """What is written reads back as the plan that was shown, note for note, with its sections and its sound."""
    parts = simplify_file(DEMO / "tollgate-road.mid", "keys")

    paths = write_simpler(parts, tmp_path / "new" / "folder")

    assert [f"tollgate-road-{n}.mid" for n in ("1-strong", "2-beats", "3-eighths", "4-whole")] == [
        p.name for p in paths
    ]
    for path, form in zip(paths, parts.forms, strict=True):
        plan, written = load_plan(path), form.plan
        for column in ("at_tick", "at_us", "pitch", "velocity", "stroke"):
            assert getattr(written, column).tolist() == getattr(plan, column).tolist()
        assert written.sections == plan.sections
        assert {parts.part.program} == {part.program for part in read_midi(path).parts}


def test_the_take_of_a_part_gives_what_its_score_gives() -> None:
    """A player's take of the demo song, placed on the grid: the same strokes as the written part, but for its slips."""
    score = simplify_file(DEMO / "tollgate-road.mid", "keys")
    take = simplify_file(DEMO / "tollgate-road-take-1.mid")

    for written, played in zip(score.forms, take.forms, strict=True):
        keys = [set(zip(f.plan.at_tick.tolist(), f.plan.pitch.tolist(), strict=True)) for f in (written, played)]
        assert len(keys[0] & keys[1]) / len(keys[0]) > 0.98


def test_the_text_tells_aim_and_count_of_every_form() -> None:
    """Four forms, each with what it is for and how its bars are counted."""
    text = simpler_text(simplify_file(DEMO / "tollgate-road.mid", "drums"))

    assert 'tollgate-road.mid, "drums": 40 bars, placed on the grid' == text.splitlines()[0]
    assert ["1 Strong beats", "2 All beats", "3 Plus eighths", "4 The whole part"] == [
        line.partition(":")[0] for line in text.splitlines() if line[:1].isdigit()
    ]
    assert "1  2  3  4" in text
    assert "the same as the one before" in text


def test_what_cannot_be_is_one_line(tmp_path: Path, rng: np.random.Generator) -> None:
    """No such part, a tempo out of range, no such metre, a folder that is a file."""
    song = DEMO / "tollgate-road.mid"
    taken = tmp_path / "taken"
    taken.write_text("")

    with pytest.raises(InputFileError, match="3 parts"):
        simplify_file(song)
    with pytest.raises(PlanError, match="20 to 300"):
        simplify_file(song, "keys", tempo_bpm=900)
    with pytest.raises(PlanError, match="nearest: 3/4"):
        simplify_file(song, "keys", metre="3/5")
    with pytest.raises(InputFileError, match="cannot be written"):
        write_simpler(simplify_file(song, "keys"), taken)


@pytest.mark.outside
@pytest.mark.slow
def test_recorded_grooves_become_four_parts_each(outside_data: Path) -> None:
    """Seventeen takes by three drummers: every form more strokes than the one before or as many, all on their places."""
    files = sorted((outside_data / "groove").glob("*.mid"))

    assert 17 == len(files)
    for file in files:
        parts = simplify_file(file)
        counts = [np.unique(form.plan.at_tick).size for form in parts.forms]
        assert sorted(counts) == counts
        assert 0.25 * counts[1] <= counts[0] <= 0.75 * counts[1]
        assert parts.left_out <= 0.02 * parts.part.notes


@pytest.mark.outside
@pytest.mark.parametrize("name", _VIENNA)
def test_a_part_at_free_tempo_is_refused(outside_data: Path, name: str) -> None:
    """Piano at free tempo: nothing says which beat a note belongs to, and that is said."""
    with pytest.raises(MidiFileError, match=r"do not follow its 120 bpm.*tempo is free"):
        simplify_file(outside_data / "vienna4x22" / f"{name}.mid")


@pytest.mark.outside
@pytest.mark.parametrize(
    ("name", "follows"),
    [
        ("02-keys_live", True),
        ("03-drums_delay", False),
        ("06-drums_live", False),
        ("07-keys_delay", False),
        ("condition_3_90_00_drums-glued", False),
        ("condition_3_90_00_keys-glued", True),
    ],
)
def test_a_played_file_without_a_tempo_needs_the_click_named(outside_data: Path, name: str, follows: bool) -> None:
    """Around 83 bpm in files that state none: refused as they are; with the tempo given two of them follow it, and the
    others, which drift, are refused again."""
    file = outside_data / "duo" / f"{name}.mid"

    with pytest.raises(MidiFileError, match=r"states no tempo and was played.*--tempo"):
        simplify_file(file)
    if not follows:
        with pytest.raises(MidiFileError, match="do not follow 83 bpm"):
            simplify_file(file, tempo_bpm=83)
        return
    counts = [np.unique(form.plan.at_tick).size for form in simplify_file(file, tempo_bpm=83).forms]
    assert sorted(counts) == counts
    assert counts[0] < counts[3]


def test_another_players_pedal_holds_nothing(tmp_path: Path) -> None:
    """Two tracks on one channel, one pedal up and one down: short notes end with the finger in the first only."""
    notes = make_notes([0, 1_000_000], [48, 50], duration_us=[200_000, 200_000])
    tracks = [
        TrackOut(notes, name=name, pedal=Pedal(as_ints([0]), as_ints([0]), as_ints([value]), as_ints([track])))
        for track, (name, value) in enumerate((("up", 0), ("down", 127)), 1)
    ]
    path = tmp_path / "two.mid"
    path.write_bytes(midi_bytes(tracks, tempo=steady_tempo(120, ticks_per_quarter=480)))

    up, down = (simplify_file(path, name).forms[-1].length_tick[0] / 10_080 for name in ("up", "down"))

    assert (0.4, 2.4) == pytest.approx((up, down))
