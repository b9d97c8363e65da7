"""Simpler parts of published piano performances, whose notes stand on the slots of their scores.

Goebl (1999), Vienna 4x22 (see the data's own notes): the note-by-note alignment says where in the score each note
belongs; fingers and pedal are those of the performance. So this is what `heeltap simplify` would make of these pieces, were
they played to a click.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from heeltap.course.simplify.levels import Simpler, simplify
from heeltap.course.simplify.notation import Written, on_placed_slots, sounding_until_us
from heeltap.files.smf import read_midi
from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.timeline import steady_metre, steady_tempo

pytestmark = pytest.mark.outside


def performed(stem: Path, *, quarters_a_beat: float, pickup_beats: float) -> Written:
    """The matched notes of a performance on the slots of the score; lengths by the performance's own tempo."""
    midi = read_midi(stem.with_suffix(".mid"))
    with stem.with_suffix(".csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["label"] == "match"]
    beat = np.array([float(row["score_beat"]) for row in rows])
    onset_us = np.rint([1e6 * float(row["perf_onset_sec"]) for row in rows])
    keys = as_ints(int(row["perf_pitch"]) for row in rows)
    found = [
        np.argmin(np.abs(midi.onset_us - at) + 1e9 * (midi.pitch != key))
        for at, key in zip(onset_us, keys, strict=True)
    ]
    order = np.argsort(midi.onset_us[found], kind="stable")
    note, beat, keys = np.array(found)[order], beat[order], keys[order]
    onset = midi.onset_us[note]
    held = onset + np.maximum(midi.duration_us[note], 0)
    sounding = sounding_until_us(onset, held, keys, midi.pedal.at_us, midi.pedal.value)
    places, slot = np.unique(beat, return_inverse=True)
    times = np.bincount(slot, onset) / np.bincount(slot)
    ends = [np.interp(at, np.maximum.accumulate(times), places) for at in (onset, held, np.maximum(sounding, held))]

    def quarters(beats: FloatArray) -> FloatArray:
        return (beats + pickup_beats) * quarters_a_beat

    return on_placed_slots(
        quarters(beat), np.zeros(beat.size, np.bool_), 1.0, *(quarters(end) for end in ends), keys, midi.velocity[note]
    )


def bars_of(form: Simpler, first: int, last: int) -> list[list[int]]:
    """Keys struck in each bar."""
    bar = form.plan.metre.bar_beat(form.plan.at_tick / form.plan.tempo.ticks_per_quarter)[0]
    return [form.plan.pitch[bar == number].tolist() for number in range(first, last + 1)]


def test_a_dance_keeps_its_tune_and_its_harmony_on_the_one(outside_data: Path) -> None:
    """Three-four, bass on one, chords on two and three, the tune tied over the bar line: on the one stand bass, chord and
    tune (C in the bass, the chords of C, F minor, C)."""
    part = performed(outside_data / "vienna4x22" / "Schubert_D783_no15_p01", quarters_a_beat=1.0, pickup_beats=3.0)

    strong, beats, eighths, whole = simplify(part, tempo=steady_tempo(120), metre=steady_metre(3, 4))

    assert [[48, 55, 64, 72], [48, 56, 65, 72], [48, 55, 64, 72]] == bars_of(strong, 2, 4)
    assert [48, 55, 64, 55, 58, 64, 72] == bars_of(beats, 2, 2)[0]
    assert [[], [72]] == [bars_of(form, 1, 1)[0] for form in (strong, beats)]
    assert not eighths.same_as_before
    assert whole.same_as_before


def test_a_theme_in_six_eight_keeps_its_outer_voices(outside_data: Path) -> None:
    """Dotted eighth, sixteenth, eighth: the first form has one chord a bar, the second two, each with bass and top."""
    part = performed(outside_data / "vienna4x22" / "Mozart_K331_1st-mov_p01", quarters_a_beat=0.5, pickup_beats=0.0)

    strong, beats, *_ = simplify(part, tempo=steady_tempo(120), metre=steady_metre(6, 8))

    assert [[57, 64, 73], [56, 64, 71], [54, 64, 69], [57, 64, 73]] == bars_of(strong, 1, 4)
    assert [57, 64, 73, 61, 64, 76] == bars_of(beats, 1, 1)[0]


@pytest.mark.parametrize(
    ("name", "quarters_a_beat", "pickup_beats", "metre"),
    [
        ("Schubert_D783_no15_p01", 1.0, 3.0, (3, 4)),
        ("Schubert_D783_no15_p02", 1.0, 3.0, (3, 4)),
        ("Mozart_K331_1st-mov_p01", 0.5, 0.0, (6, 8)),
        ("Mozart_K331_1st-mov_p02", 0.5, 0.0, (6, 8)),
    ],
)
def test_the_bass_and_the_top_of_every_beat_stay(
    outside_data: Path, name: str, quarters_a_beat: float, pickup_beats: float, metre: tuple[int, int]
) -> None:
    """Whatever is struck lowest and highest on a beat is in the chord that the first two forms have there."""
    part = performed(outside_data / "vienna4x22" / name, quarters_a_beat=quarters_a_beat, pickup_beats=pickup_beats)

    for form in simplify(part, tempo=steady_tempo(120), metre=steady_metre(*metre))[:2]:
        for tick in np.intersect1d(form.plan.at_tick, part.at_tick).tolist():
            there, kept = part.pitch[part.at_tick == tick], form.plan.pitch[form.plan.at_tick == tick]
            assert {int(there.min()), int(there.max())} <= set(kept.tolist())
            assert kept.size <= 4
