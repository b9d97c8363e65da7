"""From what a person names to what is played."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.from_settings import route_in_use
from heeltap.app.route.ports import choose_ports
from heeltap.devices.systems import PortName
from heeltap.errors import InputFileError, OptionError, PlanError, PortError
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model.lean import AUTO
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo


@pytest.mark.parametrize("name", ["anchor 2", "anchor-2", "anchor2", "Anchor 2", " anchor_2 "])
def test_a_family_and_a_grade_in_any_spelling(name: str) -> None:
    """However it is written, it is the same exercise."""
    assert np.array_equal(drill_of(name).plan.at_tick, drill_of("anchor 2").plan.at_tick)
    assert drill_of(name).title == drill_of("anchor 2").title


def test_the_users_wishes_go_into_the_exercise_that_is_kept() -> None:
    """Tempo and click are written into the kept text, so a take says how it was played."""
    drill = drill_of("anchor 2", tempo_bpm=63.0, click="one", lean=AUTO, pocket_ms=12.0)
    assert drill.exercise is not None

    kept = exercise_from_toml(drill.exercise)

    assert (kept.tempo_bpm, kept.click.kind) == (63.0, "one")
    assert drill.lean_ms == 30.0  # 4 % of 952 ms is more than the most, 30 ms
    assert drill.pocket_ms == 12.0


def test_the_same_seed_is_the_same_drill() -> None:
    """Another seed may be another; the same one never is."""
    same = [drill_of("turn 6", seed=5).plan.at_tick.tolist() for _ in range(2)]

    assert same[0] == same[1]
    assert any(drill_of("turn 6", seed=seed).plan.at_tick.tolist() != same[0] for seed in range(6, 12))


def test_a_part_of_a_midi_file_at_another_tempo(tmp_path: Path) -> None:
    """The strokes keep their places in the bar; their times follow the tempo; the count-in is a bar of it."""
    path = tmp_path / "part.mid"
    write_midi(path, [TrackOut(make_notes([0, 500_000, 750_000], [60, 62, 64]))], tempo=steady_tempo(120.0))

    drill = drill_of(str(path), tempo_bpm=60.0)

    assert drill.plan.at_us.tolist() == [0, 1_000_000, 1_500_000]
    assert (drill.count_in_us, drill.lean_ms, drill.exercise, drill.name) == (4_000_000, 0.0, None, "part")
    assert drill.schedule.due_us.min() == -4_000_000


def test_the_count_in_is_as_long_as_its_clicks() -> None:
    """In every family's first grade the first click stands where the count-in begins."""
    for name in ("anchor 1", "split 1", "turn 1"):
        drill = drill_of(name)
        assert int(drill.schedule.due_us[0]) == -drill.count_in_us


def test_a_family_is_drilled_in_another_metre() -> None:
    """As `heeltap make` makes it; what is written down already has its own metre, and says so."""
    drill = drill_of("anchor 3", metre="3/4")

    assert ("3/4", "all") == (str(drill.plan.metre.metres[0]), exercise_from_toml(drill.exercise or "").grade)
    for what in ("first-week:1", "no.toml", "no.mid"):
        with pytest.raises(OptionError, match="--metre 3/4"):
            drill_of(what, metre="3/4")


@pytest.mark.parametrize(
    ("what", "error"),
    [("anchor 99", PlanError), ("ankor 1", PlanError), ("1 2 3 4", InputFileError), ("no.toml", InputFileError)],
)
def test_what_is_no_exercise_is_said(what: str, error: type[Exception]) -> None:
    """Each with the error of its kind."""
    with pytest.raises(error):
        drill_of(what)


def _ports(inputs: list[str], outputs: list[str]) -> tuple[list[PortName], list[PortName]]:
    return [PortName(f"{name} 20:0", name) for name in inputs], [PortName(f"{name} 20:0", name) for name in outputs]


@pytest.mark.parametrize(
    ("there", "asked", "chosen"),
    [
        ((["Midi Through", "Pad"], ["Midi Through", "Synth"]), (None, None), ("Pad", "Synth")),
        ((["Pad"], ["Synth", "Pad"]), (None, None), ("Pad", "Pad")),
        ((["Pad"], []), (None, None), ("Pad", None)),
        ((["Pad"], ["Synth"]), (None, "none"), ("Pad", None)),
        (([], ["Synth"]), ("keys", None), ("keys", "Synth")),
        (([], []), ("fake:x.mid", "Other"), ("fake:x.mid", "Other")),
    ],
)
def test_ports_are_chosen_when_nobody_says(
    monkeypatch: pytest.MonkeyPatch,
    there: tuple[list[str], list[str]],
    asked: tuple[str | None, str | None],
    chosen: tuple[str, str | None],
) -> None:
    """The first real device; its own output before another; never the system's loop."""
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: _ports(*there))

    assert choose_ports(*asked) == chosen


def test_no_midi_system_is_no_hindrance_with_the_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any MIDI system ``keys`` works with a silent click, and a real input says what does work."""

    def broken() -> None:
        raise PortError("no sequencer")

    monkeypatch.setattr("heeltap.app.route.ports.list_ports", broken)

    assert choose_ports("keys", None) == ("keys", None)
    with pytest.raises(PortError, match="--in keys"):
        choose_ports(None, None)


@pytest.mark.parametrize(("outputs", "chosen"), [([], "audio"), (["Synth"], "Synth")])
def test_the_computers_own_sound_is_taken_where_no_midi_output_sounds(
    monkeypatch: pytest.MonkeyPatch, outputs: list[str], chosen: str
) -> None:
    """Without a MIDI output, and without any MIDI system; what is plugged in goes before it."""
    monkeypatch.setattr("heeltap.app.route.ports.audio_found", lambda: True)
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: _ports(["Pad"], outputs))

    assert ("Pad", chosen) == choose_ports(None, None)
    assert ("keys", None) == choose_ports("keys", "none")


def test_a_newcomer_without_midi_hears_the_click_and_plays_on_the_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """The screen begins with the computer's keyboard and its own sound; without sound with the keyboard alone."""

    def broken() -> None:
        raise PortError("no sequencer")

    monkeypatch.setattr("heeltap.app.route.ports.list_ports", broken)
    silent = route_in_use()
    monkeypatch.setattr("heeltap.app.route.ports.audio_found", lambda: True)

    assert ((("keys",), None), (("keys",), "audio")) == (silent, route_in_use())
