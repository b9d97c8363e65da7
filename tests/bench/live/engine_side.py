"""Our way: the engine in its own process, the same drawing in this one.

Run as ``python -m tests.bench.live.engine_side CLICKS PERIOD_US SECONDS REAL_TIME``; output as
`tests.bench.live.naive`, with more fields.
"""

import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

from heeltap.engine.process import EngineSpec, start_engine
from heeltap.engine.records import NOTE_ON
from heeltap.engine.stamping import restamp
from heeltap.files.takes.journal import read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from tests.bench.live.drawing import draw_until
from tests.engine.timing import now_ns

__all__: list[str] = []


def main() -> None:
    """Start the engine and draw."""
    clicks, period_us, seconds = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    due = as_ints(k * period_us for k in range(clicks))
    schedule = Schedule(due, (b"\x99\x4d\x64",) * clicks, ("click",) * clicks, round(seconds * 1e6))
    live_ns: list[int] = []
    with tempfile.TemporaryDirectory() as folder:
        journal = Path(folder) / "take.jsonl"
        spec = EngineSpec(
            schedule,
            ("robot:out",),
            "robot-ear:in",
            journal,
            start_delay_us=1_000_000,
            tail_us=1_000_000,
            api="jack",
            real_time=sys.argv[4] == "1",
        )
        with start_engine(spec) as engine:
            print("zero", engine.zero_ns, flush=True)
            end_ns = now_ns() + round((seconds + 30) * 1e9)

            def frame() -> bool:
                live_ns.extend(engine.zero_ns + r.at_us * 1000 for r in engine.poll() if r.kind == NOTE_ON)
                return not engine.alive or now_ns() > end_ns

            draw_until(frame)
            frame()
            report = engine.report
        take = read_journal(journal)
    answer = {
        "late_us": (take.click_sent_us - take.click_due_us).tolist(),
        "stamp_ns": restamp(take.arrival_ns, take.delta_s).tolist(),
        "live_ns": live_ns,
        "arrival_ns": take.arrival_ns.tolist(),
        "scheduler": engine.scheduler,
        "report": None if report is None else asdict(report),
    }
    print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
