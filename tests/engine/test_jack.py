"""The engine over a real MIDI route: another process plays into it and hears its click."""

import json
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from heeltap.devices.rtmidi import Rtmidi2, prefer_own_jack
from heeltap.devices.systems import list_ports, open_in
from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.engine.records import CLICK, DONE, NOTE_ON, PORT_BACK, PORT_LOST, Record
from heeltap.engine.stamping import restamp
from heeltap.errors import PortError
from heeltap.files.takes.folder import JOURNAL, list_takes, load_take
from heeltap.files.takes.journal import read_journal
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import click_schedule
from tests.bench.live.bench_drill import one_drill
from tests.engine.jack_player import Player
from tests.engine.jack_server import Server, server_missing
from tests.engine.timing import nap, now_ns

pytestmark = [pytest.mark.jack, pytest.mark.skipif(bool(server_missing()), reason=server_missing())]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    """One server for the file."""
    with Server(period=64) as running:
        yield running


@pytest.fixture(autouse=True)
def _see_server(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    """This process and those that it starts find the server."""
    for key, value in server.environment.items():
        monkeypatch.setenv(key, value)


@pytest.fixture
def player(server: Server) -> Iterator[Player]:
    """A player with its ports open."""
    running = Player(server.environment)
    yield running
    running.stop()


def all_records(engine: Engine) -> list[Record]:
    """Everything until the engine ends by itself."""
    records = []
    while engine.alive:
        records += engine.poll()
        nap(0.01)
    return records + engine.stop()


def test_every_note_arrives_and_every_click_is_heard(player: Player, tmp_path: Path, rng: np.random.Generator) -> None:
    """Two hundred notes from another process: all received, in order, stamped alike; the click comes out at its
    port."""
    schedule = click_schedule(steady_tempo(150), steady_metre(), 4)
    spec = EngineSpec(schedule, ("robot:out",), "robot-ear:in", tmp_path / "take.jsonl", api="jack")
    with start_engine(spec) as engine:
        steps = np.where(rng.random(200) < 0.3, 200_000, rng.integers(5_000_000, 55_000_000, 200))
        at_ns = engine.zero_ns + np.cumsum(steps)
        end_ns = engine.zero_ns + schedule.end_us * 1000
        player.play(at_ns.tolist(), rng.integers(30, 90, 200).tolist(), until_ns=end_ns)
        records = all_records(engine)
        sent_ns, heard = player.finish()
        report = engine.report
    notes = [r for r in records if r.kind == NOTE_ON]
    journal = read_journal(tmp_path / "take.jsonl")
    delay_ms = (restamp(journal.arrival_ns, journal.delta_s) - np.array(sent_ns)) / 1e6

    assert report is not None
    assert 200 == len(notes) == len(sent_ns) == report.messages == len(journal)
    assert sum(m[0] & 0xF0 == 0x90 for m in schedule.messages) == report.clicks
    assert report.clicks == sum(data[0] == 0x99 and data[2] > 0 for _, data in heard)
    assert report.clicks == sum(r.kind == CLICK for r in records)
    assert records[-1].kind == DONE
    assert np.median(np.abs(delay_ms - np.median(delay_ms))) < 5  # a turn of the server is 1.3 ms


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signal_silences_and_keeps_the_take(player: Player, tmp_path: Path, how: signal.Signals) -> None:
    """An engine that is told to end by a signal sends all notes off, closes the journal and reports."""
    schedule = click_schedule(steady_tempo(120), steady_metre(), 50)
    spec = EngineSpec(schedule, ("robot:out",), "robot-ear:in", tmp_path / "take.jsonl", api="jack")
    with start_engine(spec) as engine:
        player.play([now_ns() + 600_000_000], [60])
        nap(0.3)
        os.kill(engine._process.pid or 0, how)
        records = all_records(engine)
        _, heard = player.finish()

        assert engine.report is not None
    assert records[-1].kind == DONE
    assert 16 == sum(data[0] & 0xF0 == 0xB0 and data[1] == 123 for _, data in heard)
    assert read_journal(tmp_path / "take.jsonl").closed


def test_lost_device_is_noticed_and_taken_back(server: Server, tmp_path: Path) -> None:
    """A player that goes away and comes back under its name: both are told and kept, and its notes count again."""
    schedule = click_schedule(steady_tempo(60), steady_metre(), 60)
    first, records = Player(server.environment), []
    spec = EngineSpec(schedule, ("robot:out",), None, tmp_path / "take.jsonl", api="jack")
    with start_engine(spec) as engine:
        first.stop()
        records += until(engine, PORT_LOST)
        second = Player(server.environment)
        records += until(engine, PORT_BACK)
        second.play([now_ns() + 100_000_000], [61])
        second.finish()
        records += until(engine, NOTE_ON)
        engine.stop()

    assert [61] == [r.number for r in records if r.kind == NOTE_ON]
    assert ["lost", "back"] == [gap.kind for gap in read_journal(tmp_path / "take.jsonl").gaps if gap.port]


def test_lost_output_is_taken_back(server: Server) -> None:
    """The click's device goes and comes back: clicks in between are told as never sent, then they are heard again."""
    schedule = click_schedule(steady_tempo(120), steady_metre(), 60)
    first, records = Player(server.environment), []
    with start_engine(EngineSpec(schedule, (), "robot-ear:in", api="jack")) as engine:
        first.stop()
        records += until(engine, CLICK, silent=True)
        second = Player(server.environment)
        second.play([now_ns()], [60], until_ns=now_ns() + 3_000_000_000)
        _, heard = second.finish()
        engine.stop()

    assert any(data[0] == 0x99 and data[2] for _, data in heard)


def until(engine: Engine, kind: int, *, silent: bool = False) -> list[Record]:
    """Records up to the first of a kind (for clicks: that was not sent); fails after 10 s."""
    records: list[Record] = []
    end = now_ns() + 10_000_000_000
    while not any(r.kind == kind and (not silent or r.value) for r in records):
        assert now_ns() < end
        records += engine.poll()
        nap(0.01)
    return records


def test_ports_are_listed_and_found_by_their_beginning(player: Player) -> None:
    """Inputs are others' outputs; the beginning of a name will do; a wrong one names those that there are."""
    inputs, outputs = list_ports("jack")

    assert "robot:out" in [port.stable for port in inputs]
    assert "robot-ear:in" in [port.stable for port in outputs]
    port = open_in("robot:", api="jack")
    assert port.name == "robot:out"
    assert port.connected()
    assert port.poll() is None
    port.close()
    with pytest.raises(PortError, match=r"MIDI input 'drum kit': no such port; expected one of: .*robot:out"):
        open_in("drum kit", api="jack")


def test_virtual_port_is_there_for_others(player: Player) -> None:
    """A port of our own can be made where the system can."""
    port = open_in("our pad", api="jack", virtual=True)
    _, outputs = list_ports("jack")
    names = [name.full for name in outputs]
    connected = port.connected()
    port.close()

    assert any("our pad" in name for name in names)
    assert connected


def test_second_library_plays_and_listens(player: Player) -> None:
    """Where rtmidi2 is installed: it lists, opens, hears with the driver's deltas, plays, and makes a port of its own."""
    prefer_own_jack()
    system = Rtmidi2(pytest.importorskip("rtmidi2"), "jack")
    assert ["robot:out"] == system.names(inputs=True)
    ear, voice = system.open_in("robot:"), system.open_out("robot-ear:")
    mine = system.open_in("our pad", virtual=True)
    first_ns = now_ns() + 200_000_000
    player.play([first_ns + k * 50_000_000 for k in range(5)], list(range(60, 65)))
    voice.send(b"\x99\x4d\x64")
    got = []
    while len(got) < 5 and now_ns() < first_ns + 2_000_000_000:
        got += [message] if (message := ear.poll()) else []
        nap(0.001)
    seen = (ear.connected(), ear.returned(), any("our pad" in name for name in system.names(inputs=False)))
    _, heard = player.finish()
    for port in (ear, voice, mine):
        port.close()

    assert [bytes((0x90, pitch, 90)) for pitch in range(60, 65)] == [data for data, _ in got]
    assert [0.0, *[pytest.approx(0.05, abs=0.01)] * 4] == [delta_s for _, delta_s in got]
    assert (True, True, True) == seen
    assert [b"\x99\x4d\x64"] == [data for _, data in heard]


@pytest.mark.slow
def test_whole_drill_receives_every_note(server: Server, tmp_path: Path) -> None:
    """Five hundred notes from another process into ``heeltap drill --no-screen``: all in the take, in order, and the
    command ends well."""
    sent_ns, text = one_drill(server, "anchor 2", "120", 500, tmp_path)
    (folder,) = list_takes(tmp_path / "takes")
    take = load_take(folder)
    journal = read_journal(folder / JOURNAL)
    delay_ms = (journal.zero_ns + take.notes.onset_us * 1000 - np.array(sent_ns)) / 1e6

    assert 500 == len(sent_ns) == len(take.notes) == len(journal)
    assert journal.closed
    assert np.median(np.abs(delay_ms - np.median(delay_ms))) < 5
    assert 0 < json.loads(text)["counts"]["matched"]
