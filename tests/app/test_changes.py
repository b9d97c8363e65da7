"""A drill from the settings, and the drills that keys make of it: another tempo, a simpler grade, what is announced."""

import numpy as np
import pytest

from heeltap.app.drill.changes import at_tempo, changes_of, simpler, tempo_of
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.from_settings import DrillChoice, prepared
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import PlanError
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model.lean import Lean
from heeltap.session.session import Feedback


def test_without_a_device_the_keyboard_is_the_pad(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen lets the player begin where a command would refuse."""
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([], []))

    drill, settings = prepared(DrillChoice("split 1", 70.0, 2))

    assert (settings.in_port, settings.out_port) == (KEYS_NAME, None)
    assert round(tempo_of(drill)) == 70


def test_what_a_screen_chooses_is_what_is_drilled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Metre, click, lean and numbers of a choice; an exercise of a set is begun without any of them."""
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([], []))

    drill, settings = prepared(
        DrillChoice("anchor 3", 90.0, metre="3/4", click="one", lean=Lean(15.0), feedback=Feedback.AFTER)
    )
    of_set, usual = prepared(DrillChoice("first-week:1"))

    assert ("3/4", 90, 15.0) == (str(drill.plan.metre.metres[0]), round(tempo_of(drill)), drill.lean_ms)
    assert "one" == exercise_from_toml(drill.exercise or "").click.kind
    assert (Feedback.AFTER, Feedback.BAR) == (settings.feedback, usual.feedback)
    assert of_set.exercise is not None


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
