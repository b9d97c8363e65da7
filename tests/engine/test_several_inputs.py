"""Several inputs at once: each stamped by itself, told apart in journal and take, lost and found by itself."""

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from heeltap.app.takes.finish_take import played_of, ports_of
from heeltap.app.takes.left_out_of import left_out_of
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, script_from_notes
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import NOTE_ON, PORT_BACK, PORT_LOST
from heeltap.files.takes.journal import JournalWriter, read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import click_schedule
from tests.engine.test_process import Screen
from tests.makers.drills import counted_plan

START_NS = 1_000_000_000_000
SPEC_DELAY_NS = 2_300_000_000  # 0.3 s and a bar of count-in at 120


class DriverPort:
    """A port as a driver library gives it: a delta each, no stamp, and a queue that is drained when somebody polls."""

    def __init__(self, name: str, at_us: Iterable[int], data: Iterable[bytes], now_ns: Callable[[], int]) -> None:
        self.dropped = 0
        self.name, self.stamped_ns = name, None
        self._rows = list(zip(at_us, data, strict=True))
        self._now_ns, self._next, self._zero_ns = now_ns, 0, 0

    def begin(self, zero_ns: int) -> None:
        """Times count from here."""
        self._zero_ns = zero_ns

    def poll(self) -> tuple[bytes, float] | None:
        """The next one that was played before now."""
        if self._next >= len(self._rows):
            return None
        at, data = self._rows[self._next]
        if self._zero_ns + at * 1000 > self._now_ns():
            return None
        before = self._rows[self._next - 1][0] if self._next else at
        self._next += 1
        return data, (at - before) / 1e6

    def connected(self) -> bool:
        """Always."""
        return True

    def returned(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


def fake(name: str, at_us: Iterable[int], pitch: int, clock: FakeClock) -> FakeInPort:
    """A scripted player of one key."""
    at = list(at_us)
    notes = make_notes(at, [pitch] * len(at), duration_us=[40_000] * len(at))
    return FakeInPort(script_from_notes(notes), clock.now_ns, name=name)


def four_bars() -> Schedule:
    """Four bars of click after a bar of count-in."""
    return click_schedule(steady_tempo(120), steady_metre(), 4)


def test_two_inputs_are_merged_by_time_and_told_apart(tmp_path: Path) -> None:
    """The take holds the notes of both in time order, each with its own length and its port's number."""
    screen, clock = Screen(), FakeClock()
    pads = fake("Pads", range(0, 8_000_000, 500_000), 38, clock)
    keys = fake("Keys", range(250_000, 8_000_000, 500_000), 38, clock)
    run_here(EngineSpec(four_bars(), journal=tmp_path / "j.jsonl"), clock, screen, inputs=[pads, keys])

    journal = read_journal(tmp_path / "j.jsonl")
    notes, _ = played_of(journal)

    assert ports_of(journal) == ["Pads", "Keys"]
    assert notes.onset_us.tolist() == list(range(0, 8_000_000, 250_000))
    assert notes.track.tolist() == [0, 1] * 16
    assert set(notes.duration_us.tolist()) == {40_000}
    assert [0, 1] * 16 == [r.which for r in sorted(screen.of(NOTE_ON), key=lambda r: r.at_us)]


def test_the_same_key_on_two_inputs_ends_by_its_own_release(tmp_path: Path) -> None:
    """Two devices that hold the same key at once: each note is as long as its own device says."""
    with JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0, "ports": ["A", "B"]}) as journal:
        for at_ms, port, data in (
            (100, "A", b"\x90\x3c\x50"),
            (110, "B", b"\x90\x3c\x50"),
            (200, "B", b"\x80\x3c\x00"),
            (400, "A", b"\x80\x3c\x00"),
        ):
            journal.message(at_ms * 1_000_000, 0.0, data, port)

    notes, _ = played_of(read_journal(tmp_path / "j.jsonl"))

    assert list(zip(notes.onset_us.tolist(), notes.duration_us.tolist(), notes.track.tolist(), strict=True)) == [
        (100_000, 300_000, 0),
        (110_000, 90_000, 1),
    ]


def test_one_input_comes_and_goes_and_the_other_plays_on(tmp_path: Path) -> None:
    """Pulled from 2 to 3.5 s: only that port is told lost and back, by its index and its name; the other loses nothing."""
    screen = Screen()

    def pull(now: int) -> None:
        pads.lose(2.0 <= (now - START_NS - SPEC_DELAY_NS) / 1e9 < 3.5)

    clock = FakeClock(on_wait=pull)
    keys = fake("Keys", range(0, 8_000_000, 250_000), 60, clock)
    pads = fake("Pads", range(0, 8_000_000, 250_000), 38, clock)
    run_here(EngineSpec(four_bars(), journal=tmp_path / "j.jsonl"), clock, screen, inputs=[keys, pads])
    journal = read_journal(tmp_path / "j.jsonl")
    (lost,), (back,) = screen.of(PORT_LOST), screen.of(PORT_BACK)
    heard = [(r.which, r.at_us) for r in screen.of(NOTE_ON)]
    plan = counted_plan(["1 2 3 4"] * 4)
    spans, _ = left_out_of(journal, plan, heard=None)

    assert (1, 1) == (lost.which, back.which)
    assert [("lost", "Pads"), ("back", "Pads")] == [(gap.kind, gap.port) for gap in journal.gaps]
    assert list(range(0, 8_000_000, 250_000)) == [at for which, at in heard if which == 0]
    assert set(range(2_000_000, 3_500_001, 250_000)).isdisjoint(at for which, at in heard if which == 1)
    assert [(lost.at_us, back.at_us, "lost")] == [(span.from_us, span.to_us, span.why) for span in spans]


def test_two_inputs_that_are_away_at_overlapping_times_have_two_gaps(tmp_path: Path) -> None:
    """The end of one gap does not end the other's."""
    with JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0, "ports": ["A", "B"]}) as journal:
        for at_s, kind, port in ((1, "lost", "A"), (2, "lost", "B"), (3, "back", "A"), (5, "back", "B")):
            journal.gap(kind, at_s * 1_000_000_000, port)

    spans, _ = left_out_of(read_journal(tmp_path / "j.jsonl"), counted_plan(["1 2 3 4"] * 4), heard=None)

    assert [(span.from_us, span.to_us) for span in spans] == [(1_000_000, 3_000_000), (2_000_000, 5_000_000)]


def test_a_flood_of_clock_sensing_and_aftertouch_moves_no_stamp(tmp_path: Path) -> None:
    """24 clocks a quarter, sensing, and aftertouch every 3 ms beside the notes: each note at its own time all the same.

    The driver's deltas count from one message to the next whatever it is, so none may be left out of the sum.
    """
    screen, clock = Screen(), FakeClock()
    at = list(range(0, 8_000_000, 125_000))
    rows = [(us, b"\x90\x3c\x50") for us in at]
    rows += [(us + 7, b"\xf8") for us in range(0, 8_000_000, 20_833)]
    rows += [(us + 11, b"\xfe") for us in range(0, 8_000_000, 300_000)]
    rows += [(us + 13, bytes((0xD0, us // 3000 % 128))) for us in range(0, 8_000_000, 3_000)]
    rows += [(us + 17, bytes((0xA0, 60, us // 3000 % 128))) for us in range(0, 8_000_000, 3_000)]
    rows.sort()
    flood = DriverPort("Flood", [us for us, _ in rows], [data for _, data in rows], clock.now_ns)
    calm = DriverPort("Calm", at, [b"\x90\x40\x50"] * len(at), clock.now_ns)
    run_here(EngineSpec(four_bars(), journal=tmp_path / "j.jsonl"), clock, screen, inputs=[flood, calm])

    notes, _ = played_of(read_journal(tmp_path / "j.jsonl"))
    told = screen.of(NOTE_ON)
    late = {0: [], 1: []}
    for record in told:
        late[record.which].append(record.at_us - min(at, key=lambda us: abs(us - record.at_us)))

    assert 2 * len(at) == len(told) == len(notes)
    assert max(np.abs(late[0])) <= 1_000  # a turn of the loop; the chain is laid anew as it goes
    assert np.max(np.abs(notes.onset_us[notes.track == 0] - as_ints(at))) <= 100
    assert np.ptp(notes.onset_us[notes.track == 1] - as_ints(at)) <= 100


def test_the_sustain_pedal_is_kept_of_its_own_port_and_is_no_note(tmp_path: Path) -> None:
    """Pedal of one device, notes of another: both in the take, the pedal with its port's number."""
    with JournalWriter(tmp_path / "j.jsonl", {"zero_ns": 0, "ports": ["Pads", "Keys"]}) as journal:
        journal.message(100_000_000, 0.0, b"\x99\x26\x50", "Pads")
        journal.message(150_000_000, 0.0, b"\xb0\x40\x7f", "Keys")
        journal.message(900_000_000, 0.75, b"\xb0\x40\x00", "Keys")

    notes, pedal = played_of(read_journal(tmp_path / "j.jsonl"))

    assert (len(notes), notes.track.tolist()) == (1, [0])
    assert (pedal.at_us.tolist(), pedal.value.tolist(), pedal.track.tolist()) == ([150_000, 900_000], [127, 0], [1, 1])
