"""How long whole commands take, as ratios against a baseline in the same run.

Run ``python -m tests.bench.bench_commands``. Printed: the help page against importing argparse, a take of a thousand notes
against importing what scoring needs, a folder with two processes against one. Commands alternate with their baselines, and
medians of the ratios are printed, because machines are shared.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from heeltap.files.smf import TrackOut, write_midi
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo

ROUNDS = 7


def seconds(command: list[str]) -> float:
    """Wall time of a command."""
    start = time.perf_counter()  # noqa: TID251
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start  # noqa: TID251


def ratio(command: list[str], baseline: list[str], rounds: int = ROUNDS) -> tuple[float, float, float]:
    """Median seconds of both and the median of their ratios, taken in turn."""
    pairs = [(seconds(command), seconds(baseline)) for _ in range(rounds)]
    ours, theirs = zip(*pairs, strict=True)
    return statistics.median(ours), statistics.median(theirs), statistics.median(a / b for a, b in pairs)


def write_take(path: Path, size: int, seed: int) -> None:
    """A take of eighth notes at 120 bpm with 10 ms of spread."""
    rng = np.random.default_rng(seed)
    at = np.sort(250_000 * np.arange(1, size + 1) + np.round(rng.normal(0, 10_000, size)).astype(np.int64))
    notes = make_notes(at, 60 + np.arange(size) % 12, rng.integers(60, 100, size), duration_us=np.full(size, 90_000))
    write_midi(path, [TrackOut(notes, name="keys")], tempo=steady_tempo(120), metre=steady_metre())


def show(what: str, found: tuple[float, float, float], reach: str) -> None:
    """One line of the report."""
    print(f"{what:<52} {found[0]:7.3f} s against {found[1]:7.3f} s: ratio {found[2]:5.2f} (to reach: {reach})")


def main() -> None:
    """Measure and print."""
    python, heeltap = sys.executable, [sys.executable, "-m", "heeltap"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        take = folder / "take.mid"
        write_take(take, 1000, 1)
        many = folder / "many"
        many.mkdir()
        for number in range(48):
            write_take(many / f"take{number:02}.mid", 1000, number)
        imports = [python, "-c", "import numpy, scipy.special, mido"]
        show("heeltap --help / import argparse", ratio([*heeltap, "--help"], [python, "-c", "import argparse"]), "<= 3")
        show("heeltap score, 1,000 notes / imports", ratio([*heeltap, "score", str(take)], imports), "<= 2")
        alone = [*heeltap, "score", str(many), "--json", "-", "--jobs", "1"]
        both = [*heeltap, "score", str(many), "--json", "-", "--jobs", "2"]
        show("48 takes: one process / two", ratio(alone, both, 3), ">= 1.7")


if __name__ == "__main__":
    main()
