"""Comparing takes on disk: their order and names are the user's own."""

import shlex
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, analyse
from heeltap.app.drill.drill import drill_of
from heeltap.app.score.compare import compare_takes, in_order, names_of
from heeltap.app.score.reading import Reading
from heeltap.app.takes.load_scored_inputs import load_scored_inputs
from heeltap.cli import build_parser
from heeltap.errors import InputFileError
from tests.makers.kept import keep

DEMO = Path(__file__).resolve().parents[2] / "demo"


def test_numbers_in_names_say_the_order() -> None:
    """take10 comes after take9, however the shell sorted them."""
    given = ["d/take1.mid", "d/take10.mid", "d/take9.mid"]

    assert ["take1.mid", "take9.mid", "take10.mid"] == [path.name for path in in_order(given)]


def test_other_names_stay_as_they_were_given() -> None:
    """Old before new was meant."""
    assert ["new.mid", "old.mid"] == [path.name for path in in_order(["new.mid", "old.mid"])]


def test_takes_are_called_by_their_files() -> None:
    """Without the suffix; with the folder where two are called the same."""
    assert ("take03", "take07") == names_of([Path("d/take03.mid"), Path("d/take07.mid")])
    assert ("mon/take", "tue/take", "b") == names_of([Path("mon/take.mid"), Path("tue/take.mid"), Path("b.mid")])


def test_the_tighter_take_of_the_demo_is_the_one_to_use() -> None:
    """Given the other way round they are put in order; the second is named for the whole and every section."""
    paths = [DEMO / f"tollgate-road-take-{number}.mid" for number in (2, 1)]
    found = compare_takes(paths, Reading(part="keys", plan=DEMO / "tollgate-road.mid"), Options(delay_ms=0.0))

    assert ("tollgate-road-take-1", "tollgate-road-take-2") == found.names
    assert found.comparison.whole is not None
    assert 1 == found.comparison.whole.best
    assert {1} == {choice.best for choice in found.comparison.sections}
    assert 3 == found.comparison.progress.needed


def test_one_take_is_nothing_to_compare() -> None:
    """One line that says so."""
    with pytest.raises(InputFileError, match="two or more"):
        compare_takes([DEMO / "tollgate-road-take-1.mid"])


def kept(root: Path, rng: np.random.Generator, *, exercises: list[tuple[str, int, int]]) -> list[Path]:
    """Kept takes of these exercises (family, grade, seed), one a day, each tighter than the one before."""
    return [
        keep(
            root,
            family,
            grade,
            seed=seed,
            date=f"2026-03-{day:02d}T18:00:00+01:00",
            spread_ms=26.0 * 0.85**day,
            rng=rng,
        )
        for day, (family, grade, seed) in enumerate(exercises, start=1)
    ]


def test_other_seeds_of_one_exercise_are_asked_of_progress_alone(tmp_path: Path, rng: np.random.Generator) -> None:
    """Eight days of one grade, every day another seed: no take to use, but the player gets tighter."""
    found = compare_takes(kept(tmp_path, rng, exercises=[("turn", 3, seed) for seed in range(1, 9)])).comparison

    assert (None, ()) == (found.whole, found.sections)
    assert ["spread"] == [trend.what for trend in found.progress.trends if trend.told]


def test_other_exercises_are_refused(tmp_path: Path, rng: np.random.Generator) -> None:
    """Another family is another part."""
    with pytest.raises(InputFileError, match="a take of another part"):
        compare_takes(kept(tmp_path, rng, exercises=[("turn", 3, 1), ("split", 3, 1)]))


def test_bars_of_a_kept_exercise_come_with_a_command_that_drills_them(tmp_path: Path, rng: np.random.Generator) -> None:
    """Family, grade, tempo and seed are the take's own, and what `heeltap drill` is told makes the same strokes."""
    folder = keep(tmp_path, "turn", 3, seed=7, bars=None, rng=rng)
    inputs = load_scored_inputs(folder)
    late = replace(inputs.played, notes=replace(inputs.played.notes, onset_us=inputs.played.notes.onset_us + 45_000))
    command = analyse(late, inputs.options).replay[0].command

    args = build_parser().parse_args(shlex.split(command)[1:])
    drill = drill_of(" ".join(args.exercise), tempo_bpm=args.tempo, seed=args.seed)

    assert inputs.played.plan is not None
    assert inputs.played.plan.at_us.tolist() == drill.plan.at_us.tolist()
    assert args.bars is not None
