"""What stands on the start screen: due exercises, the week, the set in use, and that nothing broken stops it."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.set_in_use import set_in_use, use_set
from heeltap.app.practice.sets import open_set
from heeltap.files.paths import home
from heeltap.tui.screens.start import due_of, read_today, week_of
from tests.makers.kept import keep
from tests.makers.screens import TAKES, past_take

NOW = datetime.fromisoformat("2026-03-04T18:05:00+01:00")


def test_due_is_the_first_tempo_that_is_not_done() -> None:
    """Takes count by exercise, seed and tempo; one that ended early does not."""
    opened = open_set("first-week")
    work = opened.works[0]
    assert work.item.exercise is not None
    bpm, mine = work.tempi_bpm[0], []
    for second in range(work.item.takes + work.item.done.takes):
        row = past_take(f"2026-03-01T18:00:0{second}+01:00", "anchor", "backbeat", bpm, 0.0, 1.0)
        mine.append(replace(row, exercise=work.item.exercise.name, seed=work.seed))

    before, after = due_of(opened, ())[0], due_of(opened, mine)[0]
    early = due_of(opened, [replace(one, ending="stopped") for one in mine])[0]

    assert (before.played, before.tempo_bpm, before.done) == (0, bpm, False)
    assert after.done or after.tempo_bpm != bpm
    assert early == before


def test_the_week_ends_today() -> None:
    """Seven days, minutes of playing; takes before it are not in it."""
    week = week_of(TAKES, date(2026, 3, 4))

    assert [day.takes for day in week] == [1, 0, 0, 0, 1, 2, 0]
    assert [round(day.minutes, 1) for day in week] == [0.8, 0.0, 0.0, 0.0, 0.8, 1.6, 0.0]


def test_a_set_that_is_gone_costs_its_line_only(tmp_path: Path, rng: np.random.Generator) -> None:
    """The rest of the day stands."""
    keep(tmp_path / "takes", date="2026-03-03T18:00:00+01:00", rng=rng)
    use_set("no-such-set")

    found = read_today(tmp_path / "takes", now=NOW)

    assert "no-such-set" in found.set_problem
    assert found.step is not None
    assert found.week[-2].takes == 1


def test_a_set_file_is_kept_by_its_whole_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Started from another folder it is still found."""
    monkeypatch.chdir(tmp_path)

    use_set("mine.toml")

    assert set_in_use() == str(tmp_path / "mine.toml")
    assert (home() / "current-set").is_file()


def test_the_first_line_is_the_set_s_next_exercise() -> None:
    """A set in use goes before the course; without one the course says what comes next."""
    use_set("")
    without = read_today(now=NOW).step
    use_set("first-week")
    within = read_today(now=NOW).step

    assert without is not None
    assert within is not None
    assert ("", "first-week:1") == (without.item, within.item)
