"""The engine: whole drills on a clock that only jumps, and the real process with its ways to end."""

import errno
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import mido
import numpy as np
import pytest

from heeltap.app.takes.left_out_of import dropped_cycles_us
from heeltap.clock import FakeClock
from heeltap.devices.computer_keys import KeysInPort, key_message
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.devices.inputs import reopen_input, reopen_output
from heeltap.engine.channel import BACKLOG_BYTES, Channel, channel_pair
from heeltap.engine.loop import EngineLoop
from heeltap.engine.process import EngineReport, EngineSpec, run_here, start_engine
from heeltap.engine.records import (
    CLICK,
    CONTROL,
    COUNT_IN,
    DIED,
    DONE,
    DROPPED,
    ENDED,
    GAP,
    KEY,
    NOT_SENT_US,
    NOTE_OFF,
    NOTE_ON,
    OUT_BACK,
    OUT_LOST,
    PLAYING,
    PORT_BACK,
    PORT_LOST,
    SIZE,
    STATE,
    STOP,
    STOPPED,
    UNWRITTEN,
    Record,
    pack,
    unpack,
)
from heeltap.engine.scripts import script_from_file
from heeltap.engine.stamping import restamp
from heeltap.errors import HeeltapError, MidiFileError, PortError, TakeFileError
from heeltap.files.takes.journal import JournalWriter, read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule, merge
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import click_schedule
from tests.engine.timing import nap, now_ns

SECOND = 1_000_000_000


class Screen:
    """The other end of the wire, in the same process."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self.orders: list[Record] = []
        self.dropped = 0
        self.closed_by_peer = False

    def send(self, record: Record) -> None:
        """Keep it."""
        self.records.append(record)

    def flush(self) -> None:
        """Nothing waits."""

    def receive(self) -> list[Record]:
        """Orders put there by a test."""
        orders, self.orders = self.orders, []
        return orders

    def of(self, *kinds: int) -> list[Record]:
        """Records of some kinds."""
        return [record for record in self.records if record.kind in kinds]


def four_bars(bpm: float = 120) -> Schedule:
    """Four bars of click after a bar of count-in."""
    return click_schedule(steady_tempo(bpm), steady_metre(), 4)


def some_notes(rng: np.random.Generator, n: int = 40) -> Notes:
    """Notes over four bars at 120, with note-offs."""
    onset = np.sort(rng.integers(-5_000, 7_900_000, n))
    return make_notes(onset, rng.integers(40, 80, n), rng.integers(1, 128, n), duration_us=rng.integers(0, 90_000, n))


def run_fake(
    tmp_path: Path, notes: Notes, *, on_wait: Callable[[FakeInPort, Screen, int], None] | None = None
) -> tuple[EngineReport, Screen, FakeOutPort, FakeClock]:
    """A drill with a scripted player on a fake clock."""
    screen = Screen()
    clock = FakeClock(on_wait=lambda now: on_wait(port, screen, now) if on_wait else None)
    port = FakeInPort(script_from_notes(notes), clock.now_ns)
    output = FakeOutPort(clock.now_ns)
    spec = EngineSpec(four_bars(), journal=tmp_path / "take.jsonl", header={"take": "t"})
    return run_here(spec, clock, screen, inputs=[port], output=output), screen, output, clock


def test_scripted_drill_gives_the_script_back(tmp_path: Path, rng: np.random.Generator) -> None:
    """Every note of the script is told and kept at its own microsecond, though the loop came round at other times."""
    notes = some_notes(rng)
    report, screen, _, _ = run_fake(tmp_path, notes)
    told = screen.of(NOTE_ON)
    journal = read_journal(tmp_path / "take.jsonl")
    final_us = (restamp(journal.arrival_ns, journal.delta_s) - journal.zero_ns + 500) // 1000
    on = np.array([data[0] & 0xF0 == 0x90 for data in journal.data])

    assert list(zip(notes.onset_us, notes.pitch, notes.velocity, strict=True)) == [
        (r.at_us, r.number, r.value) for r in told
    ]
    assert notes.onset_us.tolist() == final_us[on].tolist()
    assert 2 * len(notes) == report.messages == len(told) + len(screen.of(NOTE_OFF))
    assert journal.closed


def test_clicks_leave_at_their_deadlines(tmp_path: Path, rng: np.random.Generator) -> None:
    """On a clock that only jumps every message of the schedule leaves at its own nanosecond, and is kept and told."""
    schedule = four_bars()
    report, screen, output, _ = run_fake(tmp_path, some_notes(rng))
    journal = read_journal(tmp_path / "take.jsonl")
    sent = [(at, data) for at, data in output.sent if data[0] & 0xF0 != 0xB0]
    clicks = [i for i, kind in enumerate(schedule.kind) if kind != "off"]

    assert [journal.zero_ns + due * 1000 for due in schedule.due_us.tolist()] == [at for at, _ in sent]
    assert list(schedule.messages) == [data for _, data in sent]
    assert clicks == [r.which for r in screen.of(CLICK)] == journal.click_index.tolist()
    assert schedule.due_us[clicks].tolist() == [r.at_us for r in screen.of(CLICK)] == journal.click_sent_us.tolist()
    assert (20, 0, 0) == (report.clicks, report.clicks_late, report.worst_click_us)


def test_states_follow_the_bars(tmp_path: Path, rng: np.random.Generator) -> None:
    """Count-in, playing, ended, done: in this order, each once; and all notes off on every channel at the end."""
    _, screen, output, _ = run_fake(tmp_path, some_notes(rng))
    silencing = [data for _, data in output.sent if data[0] & 0xF0 == 0xB0]

    assert [COUNT_IN, PLAYING, ENDED] == [r.which for r in screen.of(STATE)]
    assert 0 <= screen.of(STATE)[1].at_us < 2_000
    assert DONE == screen.records[-1].kind
    assert {(0xB0 | channel, control, 0) for channel in range(16) for control in (64, 120, 123)} == {
        tuple(data) for data in silencing
    }
    assert output.closed


def test_stop_ends_the_run_and_keeps_what_was_played(tmp_path: Path, rng: np.random.Generator) -> None:
    """Asked to stop after two seconds, the run ends there, the take holds what came before."""
    notes = some_notes(rng)

    def stop(_: FakeInPort, screen: Screen, now: int) -> None:
        if screen.records and now > 1_000_000_000_000 + 4 * SECOND:
            screen.orders.append(Record(STOP))

    _, screen, output, _ = run_fake(tmp_path, notes, on_wait=stop)
    journal = read_journal(tmp_path / "take.jsonl")
    last_us = screen.of(STATE)[-1].at_us

    assert STOPPED == screen.of(STATE)[-1].which
    assert 1_600_000 < last_us < 1_800_000  # 4 s less delay and count-in
    assert notes.onset_us[notes.onset_us < last_us - 2_000].tolist() == [r.at_us for r in screen.of(NOTE_ON)]
    assert journal.closed
    assert output.closed


def test_vanished_screen_ends_the_run(tmp_path: Path, rng: np.random.Generator) -> None:
    """When nobody is at the other end any more, notes are silenced and the take is closed."""

    def vanish(_: FakeInPort, screen: Screen, now: int) -> None:
        screen.closed_by_peer = now > 1_000_000_000_000 + 4 * SECOND

    _, _, output, _ = run_fake(tmp_path, some_notes(rng), on_wait=vanish)

    assert output.closed
    assert 48 == sum(data[0] & 0xF0 == 0xB0 for _, data in output.sent)
    assert read_journal(tmp_path / "take.jsonl").closed


def test_lost_cable_is_told_and_its_notes_are_gone(tmp_path: Path) -> None:
    """Pulled from 2 to 3.5 s: lost and back are told within a second and kept; the gap begins at the last sign of life, and
    only the notes in between are missing."""
    notes = make_notes(np.arange(0, 8_000_000, 250_000), np.full(32, 60))

    def pull(port: FakeInPort, _: Screen, now: int) -> None:
        at_s = (now - 1_000_000_000_000) / SECOND - 2.3
        port.lose(2.0 <= at_s < 3.5)

    _, screen, _, _ = run_fake(tmp_path, notes, on_wait=pull)
    journal = read_journal(tmp_path / "take.jsonl")
    (lost,), (back,) = screen.of(PORT_LOST), screen.of(PORT_BACK)
    missing = sorted(set(notes.onset_us.tolist()) - {r.at_us for r in screen.of(NOTE_ON)})

    assert 1_750_000 == lost.at_us  # the last note that came through
    assert 3_500_000 <= back.at_us <= 4_600_000
    assert ["lost", "back"] == [gap.kind for gap in journal.gaps]
    assert set(range(2_000_000, 3_500_001, 250_000)) <= set(missing)
    assert max(missing) <= back.at_us


def test_suspended_process_marks_a_gap_and_skips_old_clicks(tmp_path: Path, rng: np.random.Generator) -> None:
    """Three seconds without a turn: told as a gap, clicks that would have come 50 ms late and more are not played."""
    screen = Screen()
    jumped: list[int] = []

    def suspend(now: int) -> None:
        if not jumped and now > 1_000_000_000_000 + 4 * SECOND:
            jumped.append(now)
            clock.advance(3 * SECOND)

    clock = FakeClock(on_wait=suspend)
    output = FakeOutPort(clock.now_ns)
    report = run_here(EngineSpec(four_bars(), journal=tmp_path / "j.jsonl"), clock, screen, inputs=[], output=output)
    (gap,) = screen.of(GAP)
    skipped = [r for r in screen.of(CLICK) if r.value]

    assert 3_000_000 <= gap.other_us - gap.at_us <= 3_002_000
    assert 5 <= len(skipped) <= 6  # six clicks fall into 3 s at 120; one may be late by less
    assert 20 == report.clicks + len(skipped)
    assert (len(skipped), 0) == (report.clicks_unsent, report.clicks_late)
    assert ["pause", "resume"] == [g.kind for g in read_journal(tmp_path / "j.jsonl").gaps]


def test_broken_output_keeps_the_take(tmp_path: Path) -> None:
    """An output that fails in the middle ends the run with its reason; the take is closed and kept."""

    class Broken(FakeOutPort):
        def send(self, message: bytes) -> None:
            if self.sent:
                raise OSError("the cable\nis out")
            super().send(message)

    clock, screen = FakeClock(), Screen()
    spec = EngineSpec(four_bars(), journal=tmp_path / "j.jsonl")
    report = run_here(spec, clock, screen, inputs=[], output=Broken(clock.now_ns))

    assert "the cable is out" == report.fault
    assert read_journal(tmp_path / "j.jsonl").closed
    assert DONE == screen.records[-1].kind


def test_lost_output_marks_its_clicks(tmp_path: Path) -> None:
    """The click's device is away from 2 to 3.5 s: clicks that nobody heard are told and kept as never sent."""

    def pull(now: int) -> None:
        output.lost = 2.0 <= (now - 1_000_000_000_000) / SECOND - 2.3 < 3.5

    screen, clock = Screen(), FakeClock(on_wait=pull)
    output = FakeOutPort(clock.now_ns)
    spec = EngineSpec(four_bars(), journal=tmp_path / "j.jsonl")
    report = run_here(spec, clock, screen, inputs=[], output=output)
    journal = read_journal(tmp_path / "j.jsonl")
    silent = [r.at_us for r in screen.of(CLICK) if r.value]
    struck = [data for _, data in output.sent if data[0] & 0xF0 == 0x90]

    assert {3_000_000, 3_500_000} == set(silent)  # the device is asked for once a second
    assert {NOT_SENT_US} == {r.other_us for r in screen.of(CLICK) if r.value}
    assert silent == journal.click_due_us[journal.click_sent_us == NOT_SENT_US].tolist()
    assert [OUT_LOST, OUT_BACK] == [record.kind for record in screen.of(OUT_LOST, OUT_BACK)]
    assert len(silent) == report.clicks_unsent == 20 - report.clicks == 20 - len(struck)


def test_full_disk_is_said(tmp_path: Path) -> None:
    """A journal that cannot be written is told at once, in the count-in, and is the run's fault, in words."""

    class Full(JournalWriter):
        fault = property(lambda self: "the disk is full, so the take is not whole")
        fault_code = property(lambda self: errno.ENOSPC)

    journal = Full(tmp_path / "j.jsonl", {})
    clock, screen = FakeClock(), Screen()
    report = EngineLoop(
        four_bars(),
        [],
        None,
        clock=clock,
        screen=screen,
        journal=journal,
        zero_ns=clock.now_ns(),
        reopen=reopen_input,
        reopen_output=reopen_output,
    ).run()

    assert "the disk is full, so the take is not whole" == report.unwritten
    (told,) = screen.of(UNWRITTEN)
    assert errno.ENOSPC == told.which
    assert 0 <= told.at_us < 10_000  # the run begins with bar 1


def test_dropped_cycles_are_counted_kept_and_told_at_once(tmp_path: Path) -> None:
    """Two inputs share the system's cycles: three that are dropped in bar 2 are three, in journal, report and on screen."""

    def drop(now: int) -> None:
        for port in ports:
            port.dropped = 5 + 3 * (now - zero_ns >= 2_500 * SECOND // 1000)

    clock, screen = FakeClock(on_wait=drop), Screen()
    zero_ns = clock.now_ns()
    nothing = script_from_notes(make_notes([], []))
    ports = [FakeInPort(nothing, clock.now_ns, name=name) for name in ("Pads", "Keys")]
    drop(zero_ns)
    journal = JournalWriter(tmp_path / "j.jsonl", {"zero_ns": zero_ns})
    report = EngineLoop(
        four_bars(),
        ports,
        None,
        clock=clock,
        screen=screen,
        journal=journal,
        zero_ns=zero_ns,
        reopen=reopen_input,
        reopen_output=reopen_output,
    ).run()
    kept = dropped_cycles_us(read_journal(tmp_path / "j.jsonl"))

    assert 3 == report.cycles_dropped == kept.size
    (told,) = screen.of(DROPPED)
    assert 3 == told.which
    assert 2_500_000 <= told.at_us < 2_502_000
    assert {told.at_us} == set(kept.tolist())


def test_keys_come_from_the_screen() -> None:
    """A key stamped by the screen's process is a note at that stamp, however late it is passed on."""
    screen, clock = Screen(), FakeClock()
    message = key_message("j")
    assert message is not None

    def press(now: int) -> None:
        if now == 1_000_000_000_000 + SECOND:
            order = Record(KEY, message[0] & 15, message[1], message[2], at_us=now - 30_000_000)
            screen.orders.append(order)

    clock = FakeClock(on_wait=press)
    zero_ns = clock.now_ns()
    schedule = Schedule(as_ints([]), (), (), 2_000_000)
    keys = KeysInPort()
    loop = EngineLoop(
        schedule,
        [keys],
        None,
        clock=clock,
        screen=screen,
        zero_ns=zero_ns,
        reopen=reopen_input,
        reopen_output=reopen_output,
    )
    loop.run()
    (note,) = screen.of(NOTE_ON)

    assert (970_000, 38, 9) == (note.at_us, note.number, note.channel)


def test_pedal_is_told_and_the_clock_is_not(tmp_path: Path) -> None:
    """Controls reach the screen; clock, sensing and bends are kept in the journal only."""
    data = (b"\xb0\x40\x7f", b"\xf8", b"\xfe", b"\xe0\x00\x40", b"\xb0\x40\x00")
    script = Schedule(as_ints([0, 10, 20, 30, 40]), data, ("x",) * 5, 40)
    clock, screen = FakeClock(), Screen()
    spec = EngineSpec(four_bars(), journal=tmp_path / "j.jsonl")
    run_here(spec, clock, screen, inputs=[FakeInPort(script, clock.now_ns)], output=None)

    assert [(64, 127, 0), (64, 0, 40)] == [(r.number, r.value, r.at_us) for r in screen.of(CONTROL)]
    assert [] == screen.of(NOTE_ON, NOTE_OFF)
    assert data == read_journal(tmp_path / "j.jsonl").data


def test_journal_plays_itself_again(tmp_path: Path, rng: np.random.Generator) -> None:
    """A take's journal as the script of the next drill gives the same notes."""
    _, first, _, _ = run_fake(tmp_path, some_notes(rng))
    script = script_from_file(tmp_path / "take.jsonl")
    clock, second = FakeClock(), Screen()
    run_here(EngineSpec(four_bars()), clock, second, inputs=[FakeInPort(script, clock.now_ns)], output=None)

    def heard(screen: Screen) -> list[tuple[int, ...]]:
        return [(r.kind, r.channel, r.number, r.value, r.at_us) for r in screen.of(NOTE_ON, NOTE_OFF)]

    assert heard(first) == heard(second)


def test_midi_file_plays_from_its_first_tick(tmp_path: Path) -> None:
    """A MIDI file as the script: tick 0 is bar 1, beat 1; note-offs come too."""
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.add_track().extend(
        [
            mido.MetaMessage("set_tempo", tempo=600_000),
            mido.Message("note_on", channel=9, note=38, velocity=99, time=480),
            mido.Message("note_off", channel=9, note=38, time=240),
        ]
    )
    midi.save(tmp_path / "player.mid")
    script = script_from_file(tmp_path / "player.mid")

    assert [600_000, 900_000] == script.due_us.tolist()
    assert (b"\x99\x26\x63", b"\x89\x26\x00") == script.messages


def test_record_survives_the_wire() -> None:
    """Packed and unpacked, a record is itself, at a size of 25 to 32 bytes."""
    record = Record(NOTE_ON, 15, 127, 1, 3, 2**32 - 1, -(2**40), 2**40)

    assert [record, record] == unpack(pack(record) * 2)
    assert 25 <= SIZE <= 32


def test_screen_that_does_not_read_costs_its_own_copy_only() -> None:
    """Twenty thousand records into a wire that nobody reads: the writer never waits, drops whole records, and counts
    them."""
    ours, theirs = (Channel(sock) for sock in channel_pair())
    began = now_ns()
    for i in range(20_000):
        ours.send(Record(CLICK, which=i))
        ours.flush()
    took_s = (now_ns() - began) / 1e9
    got: list[Record] = []
    while batch := theirs.receive():
        got += batch
        ours.flush()

    assert took_s < 2
    assert 0 < ours.dropped < 20_000
    assert 20_000 == len(got) + ours.dropped
    assert BACKLOG_BYTES // SIZE <= len(got)
    assert [r.which for r in got] == [r.sequence for r in got]
    ours.close()
    theirs.receive()
    assert theirs.closed_by_peer
    theirs.close()


def until_death(engine) -> list[Record]:
    """Records until the process is gone; fails after 20 s."""
    end, records = now_ns() + 20 * SECOND, []
    while engine.alive:
        assert now_ns() < end
        records += engine.poll()
        nap(0.01)
    return records + engine.poll()


@pytest.mark.live
def test_process_plays_a_script(tmp_path: Path) -> None:
    """The real process in real time: the script comes back to the microsecond, the report and the journal too."""
    notes = make_notes([-3_000, 251_234, 499_000], [60, 62, 64], duration_us=[50_000] * 3)
    schedule = click_schedule(steady_tempo(240), steady_metre(2, 4), 1, count_in_bars=0)
    spec = EngineSpec(
        schedule, ("fake:",), "fake:", tmp_path / "j.jsonl", script=script_from_notes(notes), tail_us=100_000
    )
    with start_engine(spec) as engine:
        records = until_death(engine)

        assert engine.report is not None
        assert engine.scheduler == engine.report.scheduler
        assert (2, 6, 0) == (engine.report.clicks, engine.report.messages, engine.report.dropped)
        assert engine.zero_ns == read_journal(tmp_path / "j.jsonl").zero_ns
    assert notes.onset_us.tolist() == [r.at_us for r in records if r.kind == NOTE_ON]
    assert DONE == records[-1].kind
    assert list(range(len(records))) == [r.sequence for r in records]


@pytest.mark.live
def test_suspended_process_tells_its_gap(tmp_path: Path) -> None:
    """Stopped for 0.8 s by the terminal and let go on: the gap is told, the run goes on."""
    spec = EngineSpec(four_bars(), ("keys",), "fake:", tmp_path / "j.jsonl")
    with start_engine(spec) as engine:
        nap(0.1)
        os.kill(engine._process.pid or 0, signal.SIGSTOP)
        nap(0.8)
        os.kill(engine._process.pid or 0, signal.SIGCONT)
        nap(0.1)
        records = engine.poll() + engine.stop()
    (gap,) = [r for r in records if r.kind == GAP]

    assert 0.7 < (gap.other_us - gap.at_us) / 1e6 < 5
    assert STOPPED == [r for r in records if r.kind == STATE][-1].which


@pytest.mark.live
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_process_obeys_signals(tmp_path: Path, how: signal.Signals) -> None:
    """Interrupted or told to end, the process closes the take and reports."""
    spec = EngineSpec(four_bars(), ("keys",), "fake:", tmp_path / "j.jsonl")
    with start_engine(spec) as engine:
        os.kill(engine._process.pid or 0, how)
        records = until_death(engine)

        assert engine.report is not None
    assert STOPPED == [r for r in records if r.kind == STATE][-1].which
    assert read_journal(tmp_path / "j.jsonl").closed


@pytest.mark.live
def test_killed_process_is_noticed_and_its_take_is_there(tmp_path: Path) -> None:
    """Killed without warning: the screen's side says so, and the journal holds all but the last second."""
    notes = make_notes(np.arange(0, 4_000_000, 20_000), np.full(200, 60))
    spec = EngineSpec(
        click_schedule(steady_tempo(240), steady_metre(), 8, count_in_bars=0),
        ("fake:",),
        None,
        tmp_path / "j.jsonl",
        script=script_from_notes(notes),
        start_delay_us=0,
    )
    with start_engine(spec) as engine:
        nap(1.6)
        killed_us = (now_ns() - engine.zero_ns) // 1000
        os.kill(engine._process.pid or 0, signal.SIGKILL)
        records = until_death(engine)

        assert engine.report is None
    journal = read_journal(tmp_path / "j.jsonl")

    assert DIED == records[-1].kind
    assert not journal.closed
    assert (journal.arrival_ns[-1] - journal.zero_ns) // 1000 > killed_us - 1_000_000


@pytest.mark.live
def test_engine_ends_when_its_screen_is_killed(tmp_path: Path) -> None:
    """The process that draws is killed: the engine closes the take and goes."""
    code = (
        "import sys, time\n"
        "from pathlib import Path\n"
        "from heeltap.model.arrays import as_ints\n"
        "from heeltap.engine.process import EngineSpec, start_engine\n"
        "from heeltap.model.messages import Schedule\n"
        "if __name__ == '__main__':\n"
        "    quiet = Schedule(as_ints([]), (), (), 60_000_000)\n"
        "    engine = start_engine(EngineSpec(quiet, ('keys',), None, Path(sys.argv[1])))\n"
        "    print(engine._process.pid, flush=True)\n"
        "    time.sleep(60)\n"
    )
    script = tmp_path / "face.py"
    script.write_text(code)
    face = subprocess.Popen([sys.executable, script, tmp_path / "j.jsonl"], stdout=subprocess.PIPE, text=True)
    assert face.stdout is not None
    engine_pid = int(face.stdout.readline())
    face.kill()
    face.wait()
    face.stdout.close()
    end = now_ns() + 10 * SECOND
    while not read_journal(tmp_path / "j.jsonl").closed:
        assert now_ns() < end
        nap(0.02)

    while now_ns() < end and Path(f"/proc/{engine_pid}/stat").exists():
        state = Path(f"/proc/{engine_pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
        if state == "Z":
            break
        nap(0.02)
    assert now_ns() < end


@pytest.mark.live
@pytest.mark.parametrize(
    ("spec", "error", "text"),
    [
        (EngineSpec(four_bars(), ("no such pad",)), PortError, "^MIDI (input 'no such pad'|devices)"),
        (EngineSpec(four_bars(), ("fake:nothing.mid",)), MidiFileError, "nothing.mid"),
        (EngineSpec(four_bars(), (), None, Path("/no/such/folder/j.jsonl")), TakeFileError, "cannot be created"),
    ],
)
def test_what_goes_wrong_at_the_start_is_raised(
    spec: EngineSpec, error: type[HeeltapError], text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Errors of the engine's start come out of `start_engine` with their own type and line."""
    monkeypatch.setenv("JACK_NO_START_SERVER", "1")
    with pytest.raises(error, match=text) as caught:
        start_engine(spec)

    assert "\n" not in str(caught.value)


@pytest.mark.live
def test_engine_loads_no_screen() -> None:
    """Importing the engine imports neither Textual nor Matplotlib nor SciPy."""
    code = "import sys, json, heeltap.engine.process; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.split(".")[0] for name in json.loads(done.stdout)}

    assert set() == loaded & {"textual", "rich", "matplotlib", "scipy", "rtmidi", "mido"}


def test_merged_schedules_keep_their_order() -> None:
    """Two schedules as one: by time, the first argument's first where they meet, the later end."""
    first = Schedule(as_ints([0, 10]), (b"a", b"b"), ("click", "click"), 20)
    second = Schedule(as_ints([0, 5]), (b"c", b"d"), ("drum", "drum"), 30)
    both = merge(first, second)

    assert (b"a", b"c", b"d", b"b") == both.messages
    assert ("click", "drum", "drum", "click") == both.kind
    assert 30 == both.end_us
    with pytest.raises(ValueError, match="must not decrease"):
        Schedule(as_ints([1, 0]), (b"a", b"b"), ("x", "x"), 0)
    with pytest.raises(ValueError, match="differ in length"):
        Schedule(as_ints([1]), (), (), 0)
