"""How many strokes of a take are left out because clicks came late, with ordinary scheduling on a loaded machine.

A scripted player drills eighths at 120 bpm while busy loops run beside. Printed: the load, how late the clicks left, how many
were 5 ms late or more, and the share of the strokes that the result leaves out.

``python -m tests.bench.live.bench_left_out [--busy 10] [--bars 25] [--real-time]``
"""

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap.app.drill import run as running
from heeltap.app.drill.drill import Drill
from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.files.takes.folder import JOURNAL, load_take
from heeltap.files.takes.journal import read_journal
from tests.app.test_run import settings
from tests.makers.drills import counted_plan


def main() -> None:
    """Play one take and print what became of its strokes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--busy", type=int, default=10)
    parser.add_argument("--bars", type=int, default=25)
    parser.add_argument("--real-time", action="store_true")
    args = parser.parse_args()
    plan = counted_plan(["1& 2& 3& 4&"] * args.bars, bpm=120.0)
    what = Drill("eighths", "Eighths", "", plan, None, 1, 0.0, None, None, None)

    def started(spec: EngineSpec) -> Engine:
        return start_engine(replace(spec, real_time=args.real_time))

    running.start_engine = started  # type: ignore[assignment]
    busy = "import os; os.setpriority(os.PRIO_PROCESS, 0, 0)\nwhile True: pass"  # ordinary, however this was started
    loops = [subprocess.Popen([sys.executable, "-c", busy]) for _ in range(args.busy)]
    try:
        with tempfile.TemporaryDirectory() as home:
            heard = settings(what, [5.0] * len(plan), takes=Path(home), out_port="fake:")
            outcome = running.drill(what, heard, lambda state, new: None)
            print(f"{args.busy} busy loops, load {os.getloadavg()[0]:.1f}, {outcome.ending}")
            assert outcome.folder is not None
            journal, take = read_journal(outcome.folder / JOURNAL), load_take(outcome.folder)
    finally:
        for loop in loops:
            loop.kill()
    late_ms = (journal.click_sent_us - journal.click_due_us) / 1000
    judged = len(take.judged()[1])
    print(f"scheduler: {take.context.engine['scheduler']}")
    print(f"clicks {late_ms.size}, lateness p50 {np.median(late_ms):.2f}, p99 {np.percentile(late_ms, 99):.2f} ms")
    print(f"clicks 5 ms late or more: {int(np.sum(late_ms >= 5))}")
    print(f"strokes left out: {len(plan) - judged} of {len(plan)} ({1 - judged / len(plan):.1%})")


if __name__ == "__main__":
    main()
