"""The next exercise by the history on the disk: always one that `heeltap drill` takes as typed."""

import shlex
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.practice.advise import course, next_exercise, next_step
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.app.practice.set_in_use import use_set
from heeltap.course.next_exercise import SEEDS
from heeltap.files.toml.families import read_family
from tests.makers.kept import keep

NOW = datetime.fromisoformat("2026-03-02T18:01:00+01:00")


def test_the_history_on_the_disk_decides(tmp_path: Path, rng: np.random.Generator) -> None:
    """Nothing yet: the first exercise. Two tight takes of it: on. Two loose ones: back."""
    tight, loose = tmp_path / "tight", tmp_path / "loose"
    for minute in (0, 1):
        keep(tight, spread_ms=3.0, bars=16, rng=rng, date=f"2026-03-02T17:0{minute}:00+01:00")
        keep(loose, spread_ms=60.0, bars=16, rng=rng, date=f"2026-03-02T17:0{minute}:00+01:00")

    assert "anchor backbeat --tempo 96" == next_exercise(tmp_path / "none", now=NOW).exercise
    on = next_step(tight, now=NOW)
    assert ("harder", "anchor", "pillars") == (on.action, on.family, on.grade)
    assert "slower" == next_step(loose, now=NOW).action
    assert (
        "% of the strokes asked for were in the pocket over your last two takes" in next_exercise(tight, now=NOW).text
    )


def test_a_late_route_of_unknown_delay_is_no_failure(tmp_path: Path, rng: np.random.Generator) -> None:
    """80 ms late all through, evenly: the pocket lies around the take's own median where the delay is not known."""
    known, unknown = tmp_path / "known", tmp_path / "unknown"
    for minute in (0, 1):
        more = {"spread_ms": 4.0, "bars": 16, "late_ms": 80.0, "date": f"2026-03-02T17:0{minute}:00+01:00"}
        keep(known, rng=rng, **more)
        keep(unknown, rng=rng, delay_ms=None, **more)

    assert "harder" == next_step(unknown, now=NOW).action
    assert "slower" == next_step(known, now=NOW).action


def test_the_course_is_the_shipped_one_in_order() -> None:
    """Every family and grade, each as hard as the one before or harder, none faster than it can be made."""
    for family, steps in course().items():
        assert [grade.name for grade in read_family(family).grades] == [step.grade for step in steps]
        assert [family] * len(steps) == [step.family for step in steps]
        assert all(step.tempo_bpm <= step.fastest_bpm for step in steps)
        hard = [step.difficulty for step in steps]
        assert hard == pytest.approx(sorted(hard), abs=0.2)


@pytest.mark.parametrize("family", ["anchor", "split", "turn"])
def test_every_grade_can_be_made_at_its_tempo_and_at_its_limit(family: str) -> None:
    """With every seed that advice draws on; a whole beat a minute above the limit, at least one seed refuses."""
    for step in course()[family]:
        for seed in range(1, SEEDS + 1):
            assert step.tempo_bpm == make_exercise(family, step.grade, seed=seed, tempo_bpm=step.tempo_bpm).tempo_bpm
            make_exercise(family, step.grade, seed=seed, tempo_bpm=step.fastest_bpm)


def test_what_is_advised_can_be_typed(tmp_path: Path, rng: np.random.Generator) -> None:
    """The words after ``heeltap drill``: a family and a grade, a tempo, a seed."""
    keep(tmp_path, spread_ms=3.0, bars=16, rng=rng)
    family, grade, option, tempo, *seed = shlex.split(next_exercise(tmp_path, now=NOW).exercise or "")

    drill = drill_of(f"{family} {grade}", tempo_bpm=float(tempo), seed=int(seed[1]))

    assert ("--tempo", "--seed") == (option, seed[0])
    assert drill.name.startswith(f"{family}-{grade}_")


def test_advice_follows_the_set_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its first exercise that is not done, at its first tempo; without a set the course."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    use_set("first-week")
    step = next_step(tmp_path / "none", now=NOW)

    assert ("set", "first-week:1 --tempo 72") == (step.action, step.exercise)
    assert drill_of(step.what, tempo_bpm=step.tempo_bpm).title == step.title

    use_set("")
    assert "begin" == next_step(tmp_path / "none", now=NOW).action
