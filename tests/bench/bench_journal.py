"""What keeping a message costs the loop that sends the clicks: ``python -m tests.bench.bench_journal``.

Ours beside the plain way in the same run: ``json.dumps`` of a dictionary and a write to a buffered text file.
"""

import json
import os
import tempfile
import time
from pathlib import Path

from heeltap.files.takes.journal import JournalWriter

COUNT = 20_000


def ours(folder: Path, *, flush: bool) -> float:
    """Microseconds a message; with ``flush`` each is handed to the system at once."""
    with JournalWriter(folder / f"ours-{flush}.jsonl", {"zero_ns": 0}) as writer:
        start = time.process_time()
        for n in range(COUNT):
            writer.message(10_000_000_000 + n * 1_000_000, 0.001, bytes([0x90, 60, 90]), "Pad")
            if flush:
                writer.flush(0)
        return (time.process_time() - start) / COUNT * 1e6


def plain(folder: Path) -> float:
    """Microseconds a message of the plain way."""
    with (folder / "plain.jsonl").open("w") as file:
        start = time.process_time()
        for n in range(COUNT):
            at_ns = 10_000_000_000 + n * 1_000_000
            line = {"t": at_ns / 1e9, "bytes": [0x90, 60, 90], "dt": 0.001, "t_ns": at_ns, "port": "Pad"}
            file.write(json.dumps(line) + "\n")
            file.flush()
        return (time.process_time() - start) / COUNT * 1e6


def main() -> None:
    """Best of five, in turns."""
    print(f"{COUNT:,} messages, best of 5; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    rows: dict[str, list[float]] = {"ours": [], "ours, each flushed": [], "plain, each flushed": []}
    for _ in range(5):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            rows["ours"].append(ours(folder, flush=False))
            rows["ours, each flushed"].append(ours(folder, flush=True))
            rows["plain, each flushed"].append(plain(folder))
    for name, values in rows.items():
        print(
            f"{name:<20} {min(values):5.1f} us a message   {min(values) / min(rows['plain, each flushed']):.2f} x plain"
        )


if __name__ == "__main__":
    main()
