"""What ten minutes of drill cost: memory by the minute, and processor time without the waiting.

Sixteenths at 200 bpm, 800 notes a minute, on a clock that only jumps, with a journal. First the engine with a screen that
only reads; then with a session behind it that follows every note, in one process (as never in a real drill). The session
keeps the take, so it grows with it. The collector is off, as in the real engine. ``python -m tests.bench.live.bench_memory``
"""

import resource
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, script_from_notes
from heeltap.engine.channel import Channel, channel_pair
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import Record
from heeltap.engine.scheduling import stop_collecting
from heeltap.model.notes import make_notes
from heeltap.session import session
from heeltap.session.from_records import Presses, events_of
from heeltap.session.handsfree import NO_CONTROLS
from heeltap.session.plan_columns import columns_of
from heeltap.sound.click import click_schedule
from tests.makers.drills import counted_plan

MINUTE_NS = 60_000_000_000
BARS = 500


def resident_kb() -> int:
    """Memory of this process now (Linux)."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() // 1024


def ten_minutes(what: str, hear: Callable[[Record], None]) -> None:
    """Run the engine and print what it cost; ``hear`` gets every record 30 times a second."""
    engine_end, screen_end = (Channel(sock) for sock in channel_pair())
    by_minute: list[int] = []

    def look(now: int) -> None:
        if now - begun_ns >= len(by_minute) * MINUTE_NS:
            by_minute.append(resident_kb())
        if now % 33_000_000 < 1_000_000:
            for record in screen_end.receive():
                hear(record)

    clock = FakeClock(on_wait=look)
    begun_ns = clock.now_ns()
    plan = counted_plan(["1e&a 2e&a 3e&a 4e&a"] * BARS, bpm=200.0)
    at_us = plan.at_us + np.random.default_rng(1).integers(-15_000, 15_000, len(plan))
    notes = make_notes(at_us, np.full(len(plan), 60), duration_us=np.full(len(plan), 30_000))
    port = FakeInPort(script_from_notes(notes), clock.now_ns)
    schedule = click_schedule(plan.tempo, plan.metre, BARS)
    before = resource.getrusage(resource.RUSAGE_SELF)
    with tempfile.TemporaryDirectory() as folder:
        spec = EngineSpec(schedule, journal=Path(folder) / "take.jsonl")
        report = run_here(spec, clock, engine_end, inputs=[port])
    after = resource.getrusage(resource.RUSAGE_SELF)
    for record in screen_end.receive():
        hear(record)
    used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{what}: resident memory at each minute, kB: " + " ".join(map(str, by_minute)))
    print(f"  processor time {used_s:.2f} s ({used_s / 6:.2f} % of a core, sleeping not counted)")
    print(f"  {report.messages} messages, {report.clicks} clicks, {report.dropped} records dropped")


def main() -> None:
    """Run and print."""
    stop_collecting()
    ten_minutes("engine", lambda record: None)
    plan = counted_plan(["1e&a 2e&a 3e&a 4e&a"] * BARS, bpm=200.0)
    state = session.step(session.begin(columns_of(plan)), session.Begin())[0]
    presses = Presses(NO_CONTROLS)

    def follow(record: Record) -> None:
        nonlocal state
        for event in events_of(record, presses):
            state = session.step(state, event)[0]

    ten_minutes("engine and session", follow)
    found = sum(bool(stroke.notes) for stroke in state.strokes)
    print(f"  {found} of {len(state.strokes)} strokes found, {len(state.extras)} extra notes")


if __name__ == "__main__":
    main()
