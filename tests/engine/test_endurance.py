"""Ten minutes at 200 bpm, sixteenths, on a clock that only jumps: nothing lost, nothing grown."""

import gc
import resource
import sys
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.takes.finish_take import played_of
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, script_from_notes
from heeltap.engine.channel import Channel, channel_pair
from heeltap.engine.process import EngineSpec, run_here
from heeltap.files.takes.journal import read_journal
from heeltap.model.notes import make_notes
from heeltap.session import session
from heeltap.session.from_records import Presses, events_of
from heeltap.session.handsfree import NO_CONTROLS
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import Phase
from heeltap.sound.click import click_schedule
from tests.makers.drills import counted_plan

MINUTE_NS = 60_000_000_000
BARS = 500


def resident_kb() -> int:
    """Memory of this process now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() // 1024


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_ten_minutes_of_sixteenths_lose_nothing_and_grow_nothing(tmp_path: Path) -> None:
    """8,000 notes, 4 a quarter at 200 bpm, through loop, wire and session: every one told, kept and found; the engine
    without its screen grows by less than 1 MB from the second minute on, the collector off as in the real process."""
    plan = counted_plan(["1e&a 2e&a 3e&a 4e&a"] * BARS, bpm=200.0)
    rng = np.random.default_rng(4)
    onset_us = np.sort(plan.at_us + rng.integers(-20_000, 20_000, len(plan)))
    notes = make_notes(onset_us, np.full(len(plan), 60), duration_us=np.full(len(plan), 30_000))
    engine_end, screen_end = (Channel(sock) for sock in channel_pair())
    by_minute: list[int] = []
    told: list[tuple[int, int]] = []

    def look(now: int) -> None:
        if now - begun_ns >= len(by_minute) * MINUTE_NS:
            by_minute.append(resident_kb())
        if now % 33_000_000 < 1_000_000:
            told.extend((record.kind, record.at_us) for record in screen_end.receive() if record.kind == 1)

    clock = FakeClock(on_wait=look)
    begun_ns = clock.now_ns()
    port = FakeInPort(script_from_notes(notes), clock.now_ns)
    schedule = click_schedule(plan.tempo, plan.metre, BARS)
    gc.collect()
    gc.disable()
    try:
        report = run_here(EngineSpec(schedule, journal=tmp_path / "j.jsonl"), clock, engine_end, inputs=[port])
    finally:
        gc.enable()
    told.extend((record.kind, record.at_us) for record in screen_end.receive() if record.kind == 1)
    kept, _ = played_of(read_journal(tmp_path / "j.jsonl"))

    assert len(by_minute) >= 10
    assert (report.messages, report.dropped, report.clicks_late) == (2 * len(plan), 0, 0)
    assert [at for _, at in told] == onset_us.tolist() == kept.onset_us.tolist()
    # Of this process, what the test itself keeps is 120 kB a minute (800 pairs); the rest is the engine's.
    assert by_minute[-1] - by_minute[2] < 1_000 + 8 * 120


@pytest.mark.slow
def test_ten_minutes_are_followed_to_the_last_stroke(tmp_path: Path) -> None:
    """The session finds every one of 8,000 strokes, and what it keeps for the second look stays a few bars long."""
    from heeltap.engine.records import NOTE_ON, Record

    plan = counted_plan(["1e&a 2e&a 3e&a 4e&a"] * BARS, bpm=200.0)
    rng = np.random.default_rng(4)
    offset_us = rng.integers(-20_000, 20_000, len(plan))
    state = session.step(session.begin(columns_of(plan)), session.Begin())[0]
    presses, longest = Presses(NO_CONTROLS), 0
    for at, which in sorted((int(at + off), 0) for at, off in zip(plan.at_us, offset_us, strict=True)):
        for event in events_of(Record(NOTE_ON, 0, 60, 80, which, at_us=at), presses):
            state, _ = session.step(state, event)
        longest = max(longest, len(state.lately))
    state, _ = session.step(state, session.Elapsed(int(plan.at_us[-1]) + 5_000_000))

    assert state.phase is Phase.DONE
    assert [stroke.offset_us for stroke in state.strokes] == offset_us.tolist()
    assert longest <= 16 * 11
    assert state.extras == ()
