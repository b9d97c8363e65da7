"""Tables of what statistics and findings reach on simulated players: run ``python -m tests.bench.bench_findings
[PART] [TAKES]``.

PART is ``false`` (untruths about faultless players), ``power`` (planted faults found, and named first), ``rush`` (runs
into changes that grow and decay), ``turns`` (faults at the changes of the turn exercises, 20 takes a grade),
``coverage`` (of nominal 95 % intervals), ``speed``, or ``all``; TAKES how many takes a row (default 200). Prints; asserts
nothing.
"""

import sys
import time

import numpy as np

from heeltap.analysis.findings import findings
from heeltap.analysis.statistics.estimates import bias, drift, noise_of, spread
from heeltap.analysis.statistics.tables import summarise
from tests.makers.tables import NOISES, noise, offsets_table, plant
from tests.makers.turns import FAULTS_AT_CHANGES, RIGHT, TURNS, turn_take

CODES = {"rush-into-change": "into-change", "ramp-into-change": "into-change", "beat-two": "beat", "loud": "loudness",
         "hand": "hands", "rest": "after-rest", "leap": "leaps"}  # fmt: skip
"""Code that a planted fault should be named by, where it differs."""

FAULTS = (
    ("rush-into-change", 15.0), ("rush-into-change", 10.0), ("ramp-into-change", 20.0), ("beat-two", 8.0),
    ("off-beats", 5.0), ("fills", 12.0), ("loud", 3.0), ("bias", 6.0), ("bias", 10.0), ("hand", 4.0), ("rest", 8.0),
    ("leap", 8.0), ("drift", 20.0),
)  # fmt: skip
"""Planted faults and their sizes, ms; spread 12 ms, 512 strokes, 8 sections."""


def false_alarms(kind: str, n: int, takes: int, seed: int = 1) -> float:
    """Share of faultless takes about which at least one thing is said, the lean given and the delay known."""
    rng = np.random.default_rng(seed)
    told = 0
    for _ in range(takes):
        table = offsets_table(noise(kind, n, rng), rng, sections=max(2, min(8, n // 32)))
        told += [row.code for row in findings(table, 0.0)] != ["nothing"]
    return told / takes


def power(kind: str, fault: str, size_ms: float, takes: int, seed: int = 2) -> tuple[float, float, float]:
    """Share found, share named first among the found, share in which something else is said too."""
    rng = np.random.default_rng(seed)
    code = CODES.get(fault, fault)
    hits = first = more = 0
    for _ in range(takes):
        table = plant(offsets_table(noise(kind, 512, rng), rng), fault, size_ms)
        said = [row.code for row in findings(table, 0.0)]
        hits += code in said
        first += said[0] == code
        more += bool(set(said) - {code, "nothing"})
    return hits / takes, first / max(hits, 1), more / takes


def rushes(kind: str, size_ms: float, takes: int, seed: int = 5) -> tuple[float, float, float, float]:
    """Of rushes that decay over two, three or four beats: share found; found and nothing else said; share whose
    interval holds the peak; mean distance of the beats until back from the truth.
    """
    rng = np.random.default_rng(seed)
    found, alone, held, beats_off = 0, 0, 0, []
    words = {"two": 2, "three": 3, "four": 4}
    for take in range(takes):
        back = 2 + take % 3
        table = plant(offsets_table(noise(kind, 512, rng), rng), f"rush-back-in-{back}", size_ms)
        rows = findings(table, 0.0)
        rush = next((row for row in rows if row.code == "into-change"), None)
        if rush is None or rush.ci95_ms is None:
            continue
        found, alone = found + 1, alone + (len(rows) == 1)
        held += rush.ci95_ms[0] <= -size_ms <= rush.ci95_ms[1]
        beats_off += [abs(beats - back) for word, beats in words.items() if f"about {word} beats" in rush.text]
    return found / takes, alone / takes, held / max(found, 1), float(np.mean(beats_off or [np.nan]))


def turns(grade: str, fault: str, takes: int = 20, seed: int = 6) -> int:
    """How many takes of a turn exercise hear of the fault by its name and of nothing else."""
    rng = np.random.default_rng(seed)
    said = [{row.code for row in findings(turn_take(grade, take, fault, rng), 0.0)} for take in range(1, takes + 1)]
    return sum(codes <= RIGHT for codes in said)


def coverage(kind: str, n: int, takes: int, seed: int = 3) -> tuple[float, float, float]:
    """Share of takes whose intervals of bias, spread and drift hold the truth."""
    rng = np.random.default_rng(seed)
    holds = np.zeros(3)
    for _ in range(takes):
        offset = noise(kind, n, rng)
        learnt = noise_of(offset)
        rows = (
            (bias(offset, noise=learnt).ci95, 0.0),
            (spread(offset, noise=learnt).ci95, 12.0),
            (drift(offset, np.arange(n) // 8 + 1).ci95, 0.0),
        )
        holds += [ci is not None and ci[0] <= truth <= ci[1] for ci, truth in rows]
    share = holds / takes
    return float(share[0]), float(share[1]), float(share[2])


def speed(n: int) -> tuple[float, float, float]:
    """Seconds for all statistics, for findings, and (the peer) for NumPy sorting a million numbers."""
    rng = np.random.default_rng(4)
    table = offsets_table(noise("ar35", n, rng), rng)
    summarise(table), findings(table, 0.0)
    big = rng.random(1_000_000)
    started = time.perf_counter()  # noqa: TID251
    summarise(table)
    middle = time.perf_counter()  # noqa: TID251
    findings(table, 0.0)
    end = time.perf_counter()  # noqa: TID251
    np.sort(big)
    return middle - started, end - middle, time.perf_counter() - end  # noqa: TID251


def main(part: str, takes: int) -> None:
    """Print the tables asked for."""
    if part in ("false", "all"):
        print(f"faultless players: share with at least one statement, {takes} takes a cell")
        for kind in NOISES:
            cells = [f"{n}: {false_alarms(kind, n, takes):.3f}" for n in (40, 128, 512, 1000)]
            print(f"  {kind:14}", "  ".join(cells), flush=True)
    if part in ("power", "all"):
        print(f"planted faults, 512 strokes, 8 sections, spread 12 ms, {takes} takes: found / named first / other too")
        for fault, size in FAULTS:
            cells = [
                f"{k}: " + "/".join(f"{v:.3f}" for v in power(k, fault, size, takes))
                for k in ("ar35", "ar70", "wander")
            ]
            print(f"  {fault:17}{size:4.0f} ms ", "   ".join(cells), flush=True)
    if part in ("rush", "all"):
        print(
            f"runs into changes that grow and decay, 8 sections, {takes} takes: found (goal .80 at 20 ms, .95 at 30),"
        )
        print("  nothing else said, interval holds the peak, mean error of the beats until back")
        for kind in ("ar35", "wander"):
            for size in (20.0, 30.0):
                cells = "  ".join(f"{value:.3f}" for value in rushes(kind, size, takes))
                print(f"  {kind:8}{size:4.0f} ms  {cells}", flush=True)
    if part in ("turns", "all"):
        print(f"turn exercises, spread 8 ms, slow wander: named right and alone, of 20 (goal 16): {', '.join(TURNS)}")
        for fault in FAULTS_AT_CHANGES:
            print(f"  {fault:52}", "  ".join(f"{turns(grade, fault):2}" for grade in TURNS), flush=True)
    if part in ("coverage", "all"):
        print(f"coverage of nominal 95 % intervals, {takes} takes: bias / spread / drift")
        for kind in NOISES:
            cells = [f"{n}: " + "/".join(f"{v:.3f}" for v in coverage(kind, n, takes)) for n in (40, 100, 250, 512)]
            print(f"  {kind:14}", "  ".join(cells), flush=True)
    if part in ("speed", "all"):
        for n in (1_000, 10_000):
            statistics, found, peer = speed(n)
            print(f"{n} strokes: statistics {statistics:.3f} s ({statistics / peer:.2f} of a million sorted), ", end="")
            print(f"findings {found:.3f} s ({found / peer:.2f})")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "all", int(sys.argv[2]) if len(sys.argv) > 2 else 200)
