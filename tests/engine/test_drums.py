"""The engine with drums and with a MIDI clock: what is sent, what counts, and silence at the end."""

from pathlib import Path

import numpy as np

from heeltap.clock import FakeClock
from heeltap.course.drum_patterns import Hits
from heeltap.devices.fake import FakeInPort, FakeOutPort
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import CLICK, TICK
from heeltap.files.takes.journal import read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import ALL_NOTES_OFF, Schedule, merge
from heeltap.model.timeline import steady_tempo
from heeltap.sound.drums import hits_schedule
from heeltap.sound.midi_clock import clock_schedule
from tests.engine.test_process import Screen


def drums(bars: int = 2) -> Schedule:
    """An open hat on every beat at 120."""
    ticks = as_ints(np.arange(4 * bars) * 10_080)
    return hits_schedule(Hits(ticks, ticks * 0 + 46, ticks / 1 * 0 + 0.7), steady_tempo(120), bars * 2_000_000)


def played(schedule: Schedule, *, stop_at_s: float | None = None, **more: object) -> tuple[FakeOutPort, Screen]:
    """A run on a clock that jumps; a screen that goes away at a moment stops it."""
    screen = Screen()

    def leave(now: int) -> None:
        if stop_at_s is not None and now - 1_000_000_000_000 > stop_at_s * 1e9:
            screen.closed_by_peer = True

    clock = FakeClock(on_wait=leave)
    output = FakeOutPort(clock.now_ns)
    run_here(EngineSpec(schedule, **more), clock, screen, inputs=[], output=output)  # type: ignore[arg-type]
    return output, screen


def test_drums_are_sent_when_due_and_silenced_when_stopped() -> None:
    """Stopped between a stroke and its note-off: no stroke after that, and every channel is silenced at once."""
    output, _ = played(drums(), stop_at_s=0.3 + 0.52)  # the second stroke was 20 ms before
    struck = [at for at, data in output.sent if data[0] & 0xF0 == 0x90]
    silence = [(at, data) for at, data in output.sent if data in ALL_NOTES_OFF]

    assert 2 == len(struck)
    assert list(ALL_NOTES_OFF) == [data for _, data in silence]
    assert silence[0][0] - struck[-1] < 25_000_000
    assert output.closed


def test_clock_messages_are_no_clicks_and_end_with_stop(tmp_path: Path) -> None:
    """Each at its moment, none told or written as a click; stop comes first of all at the end."""
    clock = clock_schedule(steady_tempo(120), from_quarter=-4, to_quarter=8)
    output, screen = played(merge(drums(), clock), journal=tmp_path / "j.jsonl")
    zero = next(at for at, data in output.sent if data[0] & 0xF0 == 0x90)
    at = [at for at, data in output.sent if data == b"\xf8"]
    due = np.rint((np.arange(288) - 96) * 500_000 / 24).astype(int)

    assert 288 == len(at)
    assert np.max(np.abs((np.array(at) - zero) / 1000 - due)) < 2  # on this clock nothing is late
    assert 8 == len(screen.of(CLICK)) == len(read_journal(tmp_path / "j.jsonl").click_due_us)
    assert [b"\xfc", *ALL_NOTES_OFF] == [data for _, data in output.sent[-1 - len(ALL_NOTES_OFF) :]]


def test_a_stopped_run_stops_its_receiver() -> None:
    """The screen goes away in bar 1: stop is sent, and no clock after it."""
    output, _ = played(merge(drums(), clock_schedule(steady_tempo(120), from_quarter=-4, to_quarter=8)), stop_at_s=3.0)
    sent = [data for _, data in output.sent]

    assert b"\xf8" not in sent[sent.index(b"\xfc") :]


def test_followed_clock_is_told_and_the_run_waits_for_its_end() -> None:
    """Only of the input that is followed; the run goes on past its last bar until it is asked to end."""
    clock, screen = FakeClock(), Screen()

    def leave(now: int) -> None:
        screen.closed_by_peer = now - 1_000_000_000_000 > 10e9

    clock = FakeClock(on_wait=leave)
    beat = Schedule(as_ints([0, 20_000]), (b"\xfa", b"\xf8"), ("start", "clock"), 0)
    other = Schedule(as_ints([5_000]), (b"\xf8",), ("clock",), 0)
    inputs = [FakeInPort(other, clock.now_ns, name="a"), FakeInPort(beat, clock.now_ns, name="b")]
    spec = EngineSpec(Schedule(as_ints([]), (), (), 1_000_000), clock_input=1)
    run_here(spec, clock, screen, inputs=list(inputs))

    assert [(0xFA, 1, 0), (0xF8, 1, 20_000)] == [(r.value, r.which, r.at_us) for r in screen.of(TICK)]
    assert clock.now_ns() - 1_000_000_000_000 > 10e9
