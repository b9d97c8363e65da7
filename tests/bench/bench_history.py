"""How long a history of 2,000 takes takes to open, as a ratio to an empty one in the same run.

Run ``python -m tests.bench.bench_history``. Printed: the whole command ``heeltap history``; opening the index and reading
its newest forty inside a running program; reading all 2,000; taking in one take more; a rebuild of forty takes, each scored
again. The takes lie on the disk as folders, because the list looks at their names.
"""

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from heeltap.app.takes.history import history, rebuild
from heeltap.files.history_db import open_store
from tests.bench.bench_commands import ratio
from tests.files.test_history_db import a_take
from tests.makers.kept import keep

TAKES = 2_000
ROUNDS = 15


def fill(takes: Path) -> None:
    """Folders and rows of 2,000 takes, a result of a usual size each."""
    rows = []
    for number in range(TAKES):
        folder = takes / f"take-{number:04}"
        folder.mkdir(parents=True)
        (folder / "take.mid").touch()
        (folder / "context.json").touch()
        rows.append((a_take(number), b"x" * 6_000))
    with open_store(takes) as store:
        store.replace_all(rows)


def median_ms(work: Callable[[], object]) -> float:
    """Median of some rounds, ms."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()  # noqa: TID251
        work()
        times.append(1000 * (time.perf_counter() - start))  # noqa: TID251
    return statistics.median(times)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        full, empty = Path(name) / "full", Path(name) / "empty"
        fill(full / "takes")
        open_store(empty / "takes").close()
        python = [sys.executable, "-m", "heeltap", "history"]
        # The home goes by the environment, so each command is started through env.
        many, none = (["env", f"HEELTAP_HOME={home}", *python] for home in (full, empty))
        ours, theirs, times = ratio(many, none, ROUNDS)
        print(f"heeltap history, {TAKES} takes {ours:.3f} s / empty {theirs:.3f} s: ratio {times:.2f} (to reach: <= 3)")
        found = median_ms(lambda: history(full / "takes", last=40))
        nothing = median_ms(lambda: history(empty / "takes", last=40))
        print(f"in a running program: {found:.2f} ms / {nothing:.2f} ms: ratio {found / nothing:.2f}")
        print(f"all {TAKES} rows: {median_ms(lambda: history(full / 'takes')):.1f} ms")
        with open_store(full / "takes") as store:
            print(f"one take more: {median_ms(lambda: store.add([(a_take(9_999), b'x' * 6_000)])):.2f} ms")
        size = sum(entry.stat().st_size for entry in os.scandir(full / "takes" / ".index"))
        print(f"index of {TAKES} takes: {size / 1e6:.1f} MB")
        rng = np.random.default_rng(1)
        kept = Path(name) / "kept"
        for number in range(40):
            keep(kept, bars=16, date=f"2026-03-02T18:{number:02}:00+01:00", rng=rng)
        start = time.perf_counter()  # noqa: TID251
        rebuild(kept)
        print(f"rebuild: {1000 * (time.perf_counter() - start) / 40:.1f} ms a take of 16 bars")  # noqa: TID251


if __name__ == "__main__":
    main()
