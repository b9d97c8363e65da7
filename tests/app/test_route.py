"""What a drill knows of its route before it begins."""

from pathlib import Path

import msgspec
import pytest

from heeltap.analysis.analyse import Options
from heeltap.app.drill import settings as drill_settings
from heeltap.app.drill.run import drill
from heeltap.app.route import route
from heeltap.app.route.route import Route, route_of
from heeltap.app.score.score import score_path
from heeltap.devices.systems import PortName
from heeltap.errors import PortError, StoreError
from heeltap.files.calibrations import calibration_file, keep_calibration, keep_selftest
from heeltap.model.result import Calibration
from tests.app.test_run import a_drill, settings
from tests.files.test_calibrations import a_row, a_test


@pytest.fixture(autouse=True)
def _ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some devices, and a JACK server with 128 frames."""
    names = ("Pad MIDI 1", "Keys", "Pad Bluetooth", "Module")
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([PortName(n, n) for n in names],) * 2)
    monkeypatch.setattr(route, "sound_buffer", lambda: "128 frames at 48000 Hz")


def test_nothing_known() -> None:
    """Neither delay nor self-test, and nothing to say about it."""
    assert Route() == route_of("Keys", "Module")


def test_kept_delay_is_used_for_its_ports() -> None:
    """Also where only the beginning of a name is typed; with its uncertainty and method."""
    keep_calibration(a_row("Pad MIDI 1"))
    found = route_of("pad m", "mod")

    assert (12.5, 0.6, "microphone", "") == (found.delay_ms, found.uncertainty_ms, found.method, found.note)


def test_given_delay_goes_before_a_kept_one() -> None:
    """What the player says on the command line holds."""
    keep_calibration(a_row("Keys"))
    found = route_of("Keys", "Module", given_ms=3.0)

    assert (3.0, None, "given") == (found.delay_ms, found.uncertainty_ms, found.method)


@pytest.mark.parametrize(("in_port", "out_port"), [("Keys", "Module"), ("Pad MIDI 1", "Keys"), ("Pad MIDI 1", None)])
def test_other_ports_ask_for_calibration_again(in_port: str, out_port: str | None) -> None:
    """A delay of other ports is not used, and that is said."""
    keep_calibration(a_row("Pad MIDI 1"))
    found = route_of(in_port, out_port)

    assert (None, "none") == (found.delay_ms, found.method)
    assert "calibrate again" in found.note


def test_another_buffer_asks_for_calibration_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A delay measured with another sound buffer is not used; where the buffer cannot be asked for, it is."""
    keep_calibration(a_row("Keys"))
    monkeypatch.setattr(route, "sound_buffer", lambda: "256 frames at 48000 Hz")
    changed = route_of("Keys", "Module")
    monkeypatch.setattr(route, "sound_buffer", lambda: "")
    unknown = route_of("Keys", "Module")

    assert changed.delay_ms is None
    assert "buffer of 128 frames at 48000 Hz" in changed.note
    assert "256 frames at 48000 Hz now" in changed.note
    assert (12.5, "") == (unknown.delay_ms, unknown.note)


def test_feel_offset_is_no_delay() -> None:
    """It names itself and takes nothing away; beside a calibration it does not show."""
    keep_calibration(a_row("Keys", method="feel", delay_ms=-30.0))
    alone = route_of("Keys", "Module")
    keep_calibration(a_row("Keys"))

    assert (None, "feel") == (alone.delay_ms, alone.method)
    assert 12.5 == route_of("Keys", "Module").delay_ms


def test_selftest_of_the_ports_goes_before_the_machines() -> None:
    """The newest of these ports, else the newest without ports; never one of other ports."""
    keep_selftest(a_test("Pad MIDI 1", trusted=False))
    without = route_of("Pad MIDI 1", "Pad MIDI 1")
    other = route_of("Keys", "Module")
    keep_selftest(a_test())
    machine = route_of("Keys", "Module")
    both = route_of("Pad MIDI 1", "Pad MIDI 1")

    assert (False, None, True, False) == (without.trusted, other.trusted, machine.trusted, both.trusted)
    assert "2026-01-02: stamps stray 0.3 ms" == machine.selftest


@pytest.mark.parametrize(("in_port", "out_port"), [("Pad Bluetooth", "Module"), ("Keys", "pad b")])
def test_wireless_is_refused_by_name(in_port: str, out_port: str) -> None:
    """Input or output, also by the beginning of its name, whatever delay is given."""
    with pytest.raises(PortError, match="'Pad Bluetooth': heeltap does not score wireless routes"):
        route_of(in_port, out_port, given_ms=0.0)


@pytest.mark.parametrize("trusted", [True, False])
def test_wireless_is_allowed_by_a_good_selftest_of_these_ports_only(trusted: bool) -> None:
    """A self-test of the machine does not help, nor a bad one."""
    keep_selftest(a_test())
    keep_selftest(a_test("Pad Bluetooth", trusted=trusted))

    if trusted:
        assert route_of("Pad Bluetooth", "Pad Bluetooth").trusted
    else:
        with pytest.raises(PortError):
            route_of("Pad Bluetooth", "Pad Bluetooth")


def test_damaged_store_is_said_before_the_drill() -> None:
    """A drill does not guess a delay from a damaged file."""
    calibration_file().parent.mkdir(parents=True)
    calibration_file().write_text("{")

    with pytest.raises(StoreError, match="is damaged"):
        route_of("Keys", "Module")


OFFSETS_MS = [15.0, 12.0, 18.0, 15.0] * 2


@pytest.mark.live
def test_drill_takes_the_kept_delay_away_and_says_so(tmp_path: Path) -> None:
    """Screen, take and result: offsets less the delay, known, with method and uncertainty; the take keeps them."""
    keep_calibration(a_row("fake:", ""))
    keep_selftest(msgspec.structs.replace(a_test(trusted=False), in_port="fake:", out_port="", loop="ports"))
    what = a_drill(2)
    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path), lambda *_: None)

    assert outcome.result is not None
    assert outcome.folder is not None
    assert Calibration(True, 12.5, 0.6, "microphone") == outcome.result.calibration
    assert [2.5, -0.5, 5.5, 2.5] * 2 == pytest.approx([n.offset_ms for n in outcome.result.notes], abs=0.006)
    assert [2_500, -500, 5_500, 2_500] * 2 == [stroke.offset_us for stroke in outcome.state.strokes]
    assert any("cannot trust" in warning for warning in outcome.result.warnings)
    given = score_path(outcome.folder, options=Options(delay_ms=5.0))
    assert Calibration(True, 5.0, None, "given") == given.calibration


@pytest.mark.live
def test_drill_with_a_feel_offset_only_stays_uncalibrated(tmp_path: Path) -> None:
    """The result says that the delay is not known; nothing is taken away."""
    keep_calibration(a_row("fake:", "", method="feel", delay_ms=-30.0))
    what = a_drill(2)
    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path), lambda *_: None)

    assert outcome.result is not None
    assert Calibration(False, 0.0, None, "feel") == outcome.result.calibration
    assert OFFSETS_MS == pytest.approx([n.offset_ms for n in outcome.result.notes], abs=0.006)


@pytest.mark.live
def test_drill_on_other_ports_says_why_nothing_was_taken_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The note travels with the take."""
    monkeypatch.setattr(drill_settings, "route_of", lambda *_, **__: Route(note="calibrate again"))
    what = a_drill(2)
    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path), lambda *_: None)

    assert outcome.result is not None
    assert Calibration(False, 0.0, None, "none") == outcome.result.calibration
    assert "calibrate again" in outcome.result.warnings


@pytest.mark.parametrize("in_port", ["fake:player.mid", "keys"])
def test_simulated_players_and_keys_are_not_told_of_calibration(in_port: str) -> None:
    """Neither another route's delay nor the machine's self-test concerns them."""
    keep_calibration(a_row("Pad MIDI 1"))
    keep_selftest(a_test(trusted=False))

    assert Route() == route_of(in_port, None)
