"""Exercises as text, MIDI and TOML."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.make_exercise import (
    course_text,
    exercise_midi,
    exercise_text,
    families,
    make_exercise,
    write_exercise,
)
from heeltap.errors import InputFileError, PlanError
from heeltap.files.smf import parse_midi, read_midi
from heeltap.files.toml.exercises import read_exercise
from heeltap.model.exercise import METRES, ClickPlan, Ladder, Pocket
from heeltap.model.lean import AUTO
from heeltap.model.plan_from import plan_of
from tests.makers.exercises import GRADES

SHEET = """\
Eighths on one beat
Split the last beat only; the next one must not come sooner for it.
4/4; 72 bpm; click on every beat; 4 bars (13 s); split one-beat, seed 3

o stroke   # accented stroke

groove, bars 1-4
bar 1     1     2     3     4  &
                            #  o
bar 2     1     2     3     4
rest
bar 3     1     2     3     4  &
          o     #     o     #  o
bar 4     1  &  2     3     4
          o  o  #     o     #
"""


def test_an_exercise_reads_like_a_marked_part() -> None:
    """Counting line, strokes under their syllables, aim and click above."""
    assert SHEET == exercise_text(make_exercise("split", 1, seed=3, bars=4))


@pytest.mark.parametrize(("family", "grade"), GRADES)
@pytest.mark.parametrize("metre", METRES)
def test_every_stroke_is_printed_under_its_syllable(family: str, grade: str, metre: str) -> None:
    """ASCII, 80 columns, and above each mark stands a syllable."""
    lines = exercise_text(make_exercise(family, grade, metre=metre)).splitlines()

    counting = ""
    for line in lines[lines.index("") + 2 :]:
        if set(line[10:]) <= set("o# ") and line.strip():
            assert all(counting[column] != " " for column in range(10, len(line)) if line[column] != " ")
        elif not line.startswith(("fill", "rest")):
            counting = line.ljust(100)
    assert all(line.isascii() and len(line) <= (80 if row > 2 else 130) for row, line in enumerate(lines))


@pytest.mark.parametrize(("family", "grade"), GRADES)
@pytest.mark.parametrize("metre", ["4/4", "6/8", "7/8"])
def test_the_midi_file_holds_the_plan_to_the_microsecond(family: str, grade: str, metre: str, tmp_path: Path) -> None:
    """Read back: one part with the same onsets and keys, sections as markers, no warning."""
    exercise = make_exercise(family, grade, metre=metre)
    plan = plan_of(exercise)
    write_exercise(exercise, tmp_path / "x.mid")

    midi = read_midi(tmp_path / "x.mid")

    fixed = plan.pitch >= 0
    assert 1 == len(midi.parts)
    assert plan.at_us.tolist() == midi.onset_us.tolist()
    assert plan.pitch[fixed].tolist() == midi.pitch[fixed].tolist()
    assert [s.name for s in exercise.sections] == [m.text for m in midi.markers]
    assert () == midi.warnings


def test_the_click_is_a_part_of_its_own_where_it_is_wanted() -> None:
    """On channel 10, as the click plan says, the one on another key."""
    midi = parse_midi(exercise_midi(make_exercise("anchor", "alternate", bars=16), with_click=True))

    click = midi.parts[1]
    at_s = midi.onset_us[midi.track == click.track] / 1e6
    assert ("click", 9, 32) == (click.name, click.channel, click.notes)
    assert [60 / 84, 3 * 60 / 84] == pytest.approx(at_s[:2].tolist(), abs=1e-6)


def test_notes_in_the_midi_file_end_before_the_next_stroke(tmp_path: Path) -> None:
    """Half the way, and never longer than 0.3 s."""
    write_exercise(make_exercise("split", 8), tmp_path / "x.mid")

    midi = read_midi(tmp_path / "x.mid")
    rows = midi.track == midi.parts[0].track
    onset, length = midi.onset_us[rows], midi.duration_us[rows]
    assert np.all(length[:-1] <= np.diff(onset) // 2 + 50)
    assert 0 < length.min() < 200_000
    assert length.max() <= 300_050


def test_the_fill_is_underlined_from_its_first_beat_to_the_bars_end() -> None:
    """The mark begins below the syllable on which the fill starts."""
    lines = exercise_text(make_exercise("turn", 3)).splitlines()

    fill = next(row for row, line in enumerate(lines) if line.startswith("fill"))
    assert "3" == lines[fill - 2][lines[fill].index("~")]
    assert len(lines[fill]) == 10 + 4 * 6 - 1


def test_a_ladder_is_in_the_midi_file_and_on_the_sheet(tmp_path: Path) -> None:
    """Tempo changes at their bars."""
    exercise = make_exercise("anchor", "backbeat", bars=16, tempo_bpm=100, ladder=Ladder(8, 10.0))
    write_exercise(exercise, tmp_path / "x.mid")

    assert [600_000, 545_455] == read_midi(tmp_path / "x.mid").tempo.us_per_quarter.tolist()
    assert "tempo changes every 8 bars: 100, 110 bpm" in exercise_text(exercise)


def test_files_are_written_by_the_ending_of_their_name(tmp_path: Path) -> None:
    """TOML reads back as the same exercise, text is the sheet."""
    exercise = make_exercise("turn", 8, metre="5/4", seed=11)

    write_exercise(exercise, tmp_path / "x.TOML")
    write_exercise(exercise, tmp_path / "x.txt")

    assert exercise == read_exercise(tmp_path / "x.TOML")
    assert exercise_text(exercise) == (tmp_path / "x.txt").read_text(encoding="utf-8")


def test_another_ending_names_those_there_are(tmp_path: Path) -> None:
    """And nothing is written."""
    with pytest.raises(PlanError, match=r"expected \.toml, \.mid, \.wav or \.txt"):
        write_exercise(make_exercise("anchor"), tmp_path / "x.mp3")
    assert [] == list(tmp_path.iterdir())


def test_a_file_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    """A folder that is not there."""
    with pytest.raises(InputFileError, match="cannot be written"):
        write_exercise(make_exercise("anchor"), tmp_path / "none" / "x.toml")


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (("ankor", 1, "4/4"), "nearest: anchor"),
        (("anchor", 0, "4/4"), "nearest: anchor backbeat"),
        (("anchor", 1, "4/5"), "4/4"),
    ],
)
def test_what_is_not_made_names_the_nearest(asked: tuple[str, int, str], told: str) -> None:
    """Family, grade and metre."""
    with pytest.raises(PlanError, match=told):
        make_exercise(asked[0], asked[1], metre=asked[2])


def test_the_course_lists_every_grade_with_its_aim() -> None:
    """What there is to choose from, in the order of learning."""
    text = course_text()

    assert ["anchor", "split", "turn"] == [family.name for family in families()]
    words = " ".join(text.split())
    assert all(f"{grade.title}. {grade.aim}" in words for family in families() for grade in family.grades)
    assert max(map(len, text.splitlines())) <= 79


def test_what_is_asked_for_overrides_the_grade() -> None:
    """Click, pocket and pads; the bars stay as they were."""
    asked = make_exercise("turn", 8, click="bars 1+1", pocket=Pocket(AUTO, 20.0), pads={"snare": 40})

    assert (ClickPlan("bars", 1, 1), Pocket(AUTO, 20.0)) == (asked.click, asked.pocket)
    assert (40,) == next(voice.pitches for voice in asked.voices if voice.name == "snare")
    assert make_exercise("turn", 8).bars == asked.bars
