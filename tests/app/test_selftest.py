"""The self-test with the real engine: inside heeltap anywhere, over a real route where there is one."""

import os

import numpy as np
import pytest

from heeltap.app.route import selftest as selftesting
from heeltap.app.route.selftest import PORTS, keep, load_average, selftest
from heeltap.devices.loopback import INSIDE, VIRTUAL
from heeltap.errors import PortError
from heeltap.files.calibrations import selftests
from heeltap.gear.selftest import summary
from tests.engine.jack_server import Server, server_missing


@pytest.fixture
def no_midi(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without a MIDI system."""
    monkeypatch.setenv("HEELTAP_MIDI_API", "jack")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "heeltap-nobody")
    monkeypatch.setenv("JACK_NO_START_SERVER", "1")


@pytest.mark.live
@pytest.mark.usefixtures("no_midi")
def test_without_midi_the_loop_stays_inside(rng: np.random.Generator) -> None:
    """The engine itself loses nothing and knows its own stamps; the report says what was tested."""
    shares: list[float] = []
    report = selftest(rng=rng, notes=100, progress=shares.append)

    assert (INSIDE, INSIDE, INSIDE) == (report.loop, report.in_port, report.out_port)
    assert (100, 0, 0, 0, 0) == (report.sent, report.lost, report.doubled, report.swapped, report.strange)
    assert report.stamp_ms is not None
    assert report.stamp_ms.median < 1.0
    assert report.fault == ""
    assert report.scheduler
    assert shares == sorted(shares)


@pytest.mark.parametrize(("in_port", "out_port"), [("Pad", None), (None, "Pad")])
def test_one_end_is_no_loop(rng: np.random.Generator, in_port: str | None, out_port: str | None) -> None:
    """Both ends are named, or neither."""
    with pytest.raises(PortError, match="a loop has two ends"):
        selftest(in_port, out_port, rng=rng)


@pytest.mark.live
@pytest.mark.usefixtures("no_midi")
def test_named_ports_are_not_replaced_by_a_loop_inside(rng: np.random.Generator) -> None:
    """Whoever names ports wants those tested: that they cannot be opened is an error."""
    with pytest.raises(PortError):
        selftest("Pad", "Pad", rng=rng, notes=10)


@pytest.mark.live
@pytest.mark.usefixtures("no_midi")
def test_kept_for_the_takes_to_come(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    """With date, summary and every number; a second test of the same route takes its place."""
    monkeypatch.setattr(selftesting, "load_average", lambda: 1.5)
    keep(selftest(rng=rng, notes=30))
    report = selftest(rng=rng, notes=40)
    keep(report)
    (row,) = selftests()

    assert (summary(report), report.trusted, 40, 1.5) == (
        row.summary,
        row.trusted,
        row.report["sent"],
        row.report["load"],
    )
    assert row.date[:2] == "20"


def test_load_is_a_number_or_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """Systems that do not say are not guessed."""
    known = load_average()
    monkeypatch.setattr(os, "getloadavg", lambda: (_ for _ in ()).throw(OSError), raising=False)

    assert known is None or known >= 0
    assert load_average() is None


@pytest.mark.jack
@pytest.mark.skipif(bool(server_missing()), reason=server_missing())
def test_over_a_real_route(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    """Through a server and back: every note, in order, none strange; the way takes less than a few turns."""
    monkeypatch.setenv("HEELTAP_MIDI_API", "jack")
    with Server(period=64) as server:
        for key, value in server.environment.items():
            monkeypatch.setenv(key, value)
        report = selftest(rng=rng, notes=300)

    assert (VIRTUAL, 300, 0, 0, 0, 0) == (
        report.loop,
        report.sent,
        report.lost,
        report.doubled,
        report.swapped,
        report.strange,
    )
    assert report.trip_ms is not None
    assert 0 < report.trip_ms < 20
    assert report.drift_ppm is not None
    assert "0 of 300 notes lost, through the system's MIDI" in summary(report)


@pytest.mark.jack
@pytest.mark.skipif(bool(server_missing()), reason=server_missing())
def test_ports_that_are_not_connected_say_that_nothing_came_back(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two ports without a cable between them: all lost, not trusted."""
    from tests.engine.jack_player import Player

    monkeypatch.setenv("HEELTAP_MIDI_API", "jack")
    with Server(period=64) as server:
        for key, value in server.environment.items():
            monkeypatch.setenv(key, value)
        player = Player(server.environment)
        try:
            report = selftest("robot:", "robot-ear:", rng=rng, notes=50)
        finally:
            player.stop()

    assert (PORTS, "robot:out", "robot-ear:in") == (report.loop, report.in_port, report.out_port)
    assert (50, 50, False) == (report.sent, report.lost, report.trusted)
