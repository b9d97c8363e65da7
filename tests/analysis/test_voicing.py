"""Chords in any octave and voicing are those chords; drums, intervals and melodies mean their keys."""

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, Played, analyse
from heeltap.analysis.voicing import is_chord
from heeltap.app.drill.drill import drill_of
from heeltap.model.notes import make_notes
from heeltap.model.result import Result
from heeltap.session.plan_columns import Target

PLAN = drill_of("anchor chords").plan
LOWEST = np.array([PLAN.pitch[PLAN.stroke == stroke].min() for stroke in PLAN.stroke])
IN_CHORD = np.array([is_chord(PLAN.pitch[PLAN.stroke == stroke].tolist()) for stroke in PLAN.stroke])
"""Rows of strokes of three note names; the others are a bass note alone."""


def judged(pitch: np.ndarray, more: np.ndarray | None = None, channel: int = 0) -> Result:
    """The exercise of chords on these keys, each stroke 5 ms late; ``more`` are keys that sound with the strokes, 0 for none."""
    added = np.zeros(len(PLAN), np.int64) if more is None else more
    at = np.concatenate([PLAN.at_us + 5_000, PLAN.at_us[added > 0] + 7_000])
    keys = np.concatenate([pitch, added[added > 0]])
    order = np.argsort(at, kind="stable")
    notes = make_notes(at[order], keys[order], np.full(at.size, 80), channel=np.full(at.size, channel))
    return analyse(Played(notes, PLAN.tempo, PLAN.metre, PLAN), Options(delay_ms=0.0))


@pytest.mark.parametrize("case", ["an octave up", "the lowest note on top", "each note in an octave of its own"])
def test_a_chord_in_another_voicing_is_right(case: str) -> None:
    """Every name of the chord sounds: no wrong key, nothing left out; keys outside chords stay as they are planned."""
    moved = {
        "an octave up": PLAN.pitch + 12,
        "the lowest note on top": np.where(PLAN.pitch == LOWEST, PLAN.pitch + 36, PLAN.pitch),
        "each note in an octave of its own": PLAN.pitch + 12 * (np.arange(len(PLAN)) % 3 - 1),
    }[case]

    counts = judged(np.where(IN_CHORD, moved, PLAN.pitch)).counts

    assert (len(PLAN), 0, 0, 0) == (counts.matched, counts.wrong_pitch, counts.missed, counts.extra)


def test_a_doubled_note_is_no_extra() -> None:
    """One more octave of the lowest note costs nothing; a strange note in its place is extra and costs."""
    first = np.flatnonzero(IN_CHORD & (PLAN.pitch == LOWEST))
    twice, strange = np.zeros(len(PLAN), np.int64), np.zeros(len(PLAN), np.int64)
    twice[first], strange[first] = PLAN.pitch[first] + 24, PLAN.pitch[first] + 25

    plain, doubled, other = judged(PLAN.pitch), judged(PLAN.pitch, twice), judged(PLAN.pitch, strange)

    assert (0, first.size) == (doubled.counts.extra, other.counts.extra)
    assert first.size == sum(row.status == "doubled" for row in doubled.notes)
    assert plain.overall.score == doubled.overall.score
    assert (other.overall.score or 0) < (plain.overall.score or 0)


def test_a_name_that_does_not_sound_is_still_wrong() -> None:
    """C, E and one more C are no C major: the G is wanted."""
    fifth = IN_CHORD & (PLAN.pitch == 67)
    keys = np.where(fifth, 72, PLAN.pitch)

    assert int(fifth.sum()) == judged(keys).counts.wrong_pitch


def test_drums_have_no_octaves() -> None:
    """On channel 10 another key is another drum."""
    keys = np.where(IN_CHORD, PLAN.pitch + 12, PLAN.pitch)

    assert int(IN_CHORD.sum()) == judged(keys, channel=9).counts.wrong_pitch


@pytest.mark.parametrize(
    ("pitches", "pitch", "fits"),
    [
        ((60, 64, 67), 76, True),
        ((60, 64, 67), 72, True),
        ((60, 64, 67), 65, False),
        ((60, 67), 72, False),
        ((60, 72), 48, False),
    ],
)
def test_the_screen_takes_chords_in_any_octave(pitches: tuple[int, ...], pitch: int, fits: bool) -> None:
    """A note of a chord fits in any octave, that of an interval in its own only."""
    target = Target(0, -100_000, 100_000, 20_000, 1, 1.0, pitches, accent=False)

    assert fits == target.fits(pitch)
