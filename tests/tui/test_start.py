"""What stands on the start screen: due exercises, the week, the set in use, and that nothing broken stops it."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.changes import at_tempo, changes_of, simpler, tempo_of
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.from_settings import prepared
from heeltap.app.practice.sets import open_set
from heeltap.app.practice.today import Wish, current_set, due_of, today, use_set, week_of
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import PlanError
from heeltap.files.paths import home
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
        row = past_take(f"2026-03-01T18:00:0{second}+01:00", "anchor", 1, bpm, 0.0, 1.0)
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

    found = today(tmp_path / "takes", now=NOW)

    assert "no-such-set" in found.set_problem
    assert found.step is not None
    assert found.week[-2].takes == 1


def test_a_set_file_is_kept_by_its_whole_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Started from another folder it is still found."""
    monkeypatch.chdir(tmp_path)

    use_set("mine.toml")

    assert current_set() == str(tmp_path / "mine.toml")
    assert (home() / "current-set").is_file()


def test_without_a_device_the_keyboard_is_the_pad(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen lets the player begin where a command would refuse."""
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([], []))

    drill, settings = prepared(Wish("split 1", 70.0, 2))

    assert (settings.in_port, settings.out_port) == (KEYS_NAME, None)
    assert round(tempo_of(drill)) == 70


def test_another_tempo_keeps_everything_else() -> None:
    """Positions, aim and click stay; times follow; out of range is refused."""
    drill = drill_of("turn 3", tempo_bpm=80)

    faster = at_tempo(drill, 100)

    assert np.array_equal(faster.plan.at_tick, drill.plan.at_tick)
    assert np.allclose(faster.plan.at_us, drill.plan.at_us * 0.8, atol=2)
    assert faster.exercise != drill.exercise
    with pytest.raises(PlanError, match="20 to 300"):
        at_tempo(drill, 400)
    with pytest.raises(PlanError, match="no grade below"):
        simpler(drill_of("anchor 1"))


def test_changes_are_fills_landings_and_sections() -> None:
    """In the order in which they come, each before it is played; the beginning is none."""
    drill = drill_of("turn 3")

    changes = changes_of(drill.plan)

    assert any(change.what == "fill" for change in changes)
    assert any("landing" in change.what for change in changes)
    assert [change.bar for change in changes] == sorted(change.bar for change in changes)
    assert all(change.bar > 1 for change in changes)
