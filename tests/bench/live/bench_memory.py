"""What ten minutes of drill cost the engine: memory by the minute, and processor time without the waiting.

The loop runs on a clock that only jumps, with the collector off as in the real process, a player of 400 notes a minute,
a journal, and a screen that reads. ``python -m tests.bench.live.bench_memory``
"""

import resource
import tempfile
from pathlib import Path

import numpy as np

from heeltap.core.meter import steady_metre, steady_tempo
from heeltap.core.notes import make_notes
from heeltap.live.channel import Channel, channel_pair
from heeltap.live.clock import FakeClock
from heeltap.live.engine import EngineSpec, run_here
from heeltap.live.scheduling import stop_collecting
from heeltap.ports.fake import FakeInPort, script_from_notes
from heeltap.sound.click import click_schedule

MINUTE_NS = 60_000_000_000


def resident_kb() -> int:
    """Memory of this process now (Linux)."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() // 1024


def main() -> None:
    """Run and print."""
    engine_end, screen_end = (Channel(sock) for sock in channel_pair())
    by_minute: list[int] = []

    def look(now: int) -> None:
        if now - begun_ns >= len(by_minute) * MINUTE_NS:
            by_minute.append(resident_kb())
        if now % 33_000_000 < 1_000_000:
            screen_end.receive()

    clock = FakeClock(on_wait=look)
    begun_ns = clock.now_ns()
    notes = make_notes(np.arange(4000) * 150_000, np.full(4000, 60), duration_us=np.full(4000, 50_000))
    port = FakeInPort(script_from_notes(notes), clock.now_ns)
    schedule = click_schedule(steady_tempo(120), steady_metre(), 300)
    stop_collecting()
    before = resource.getrusage(resource.RUSAGE_SELF)
    with tempfile.TemporaryDirectory() as folder:
        spec = EngineSpec(schedule, journal=Path(folder) / "take.jsonl")
        report = run_here(spec, clock, engine_end, inputs=[port])
    after = resource.getrusage(resource.RUSAGE_SELF)
    used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print("resident memory at each minute, kB: " + " ".join(map(str, by_minute)))
    print(
        f"processor time {used_s:.2f} s for ten minutes of turns ({used_s / 6:.2f} % of a core, sleeping not counted)"
    )
    print(f"{report.messages} messages, {report.clicks} clicks, {report.dropped} records dropped")


if __name__ == "__main__":
    main()
