"""Slow pulses: published taps at 600-3000 ms, matched to their metronome, with the goals beside the figures.

Run: ``python -m tests.bench.bench_slow_pulses`` (data: Bååth & Madison 2012; set HEELTAP_OUTSIDE_DATA).
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np

from heeltap.analysis.align import align
from heeltap.model.arrays import FloatArray
from tests.conftest import _outside

__all__ = ["INTERVALS", "Tapped", "match_taps", "trials"]

INTERVALS = (600, 1200, 1800, 2400, 3000)


@dataclass(slots=True)
class Tapped:
    """Taps of one interval, as published and as told by the matcher."""

    published_ms: list[float] = field(default_factory=list)
    told_ms: list[float] = field(default_factory=list)
    right: int = 0

    @property
    def matched(self) -> float:
        """Share of the taps that answer their own click and are more certain than doubtful."""
        return self.right / max(len(self.published_ms), 1)

    @property
    def spread(self) -> float:
        """Standard deviation told, relative to the published one, less 1."""
        return float(np.std(self.told_ms) / np.std(self.published_ms)) - 1.0


def trials(folder: Path, interval_ms: int) -> Iterator[FloatArray]:
    """Asynchronies in ms of every trial at one interval."""
    rows: dict[tuple[str, str], list[float]] = {}
    with (folder / "tapping_data_baath_madison_2012.csv").open(newline="") as lines:
        for row in csv.DictReader(lines):
            if int(row["isi"]) == interval_ms:
                rows.setdefault((row["subject"], row["trial"]), []).append(float(row["asynch"]))
    return (np.array(one) for one in rows.values())


def match_taps(folder: Path, interval_ms: int, delay_ms: float | None, *, every: int = 1) -> Tapped:
    """All trials of one interval, or every so-many-th, against a plan of one note on any key a click."""
    out = Tapped()
    for tap_ms in islice(trials(folder, interval_ms), 0, None, every):
        plan = np.arange(tap_ms.size) * interval_ms * 1000
        take = plan + np.rint(1000 * tap_ms).astype(np.int64)
        order = np.argsort(take, kind="stable")
        found = align(plan, np.full(plan.size, -1), take[order], np.full(plan.size, 60), delay_ms=delay_ms)
        rows = np.flatnonzero((found.match >= 0) & (found.confidence >= 0.5))
        out.right += int(np.sum(order[found.match[rows]] == rows))
        out.published_ms += tap_ms.tolist()
        out.told_ms += ((take[order][found.match[rows]] - plan[rows]) / 1000).tolist()
    return out


def main() -> None:
    """Print everything."""
    folder = _outside("data") / "tapping"
    print("interval  delay     matched (goal .995)   spread (goal within 3 %)")
    for delay_ms in (0.0, None):
        for interval_ms in INTERVALS:
            got = match_taps(folder, interval_ms, delay_ms)
            name = "unknown" if delay_ms is None else "known"
            print(f"{interval_ms:5d} ms  {name:8s} {got.matched:9.4f} {100 * got.spread:+24.1f} %")


if __name__ == "__main__":
    main()
