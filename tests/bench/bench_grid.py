"""Scoring without a plan, and its parts: reading and placing recorded takes, against mido parsing the same files.

Run ``python -m tests.bench.bench_grid [FOLDER]``; the folder of MIDI files is the outside data's ``groove`` unless
given. Prints seconds of one core's own time (process time, best of five) and their ratios; asserts nothing.
"""

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

import mido

from heeltap.analysis.quantise import Slots, quantise
from heeltap.app.score.score import score_file
from heeltap.files.smf import Midi, read_midi

ROOT = Path(__file__).resolve().parents[2]


def _best(job: Callable[[], object], rounds: int = 5) -> float:
    """Least process time of some rounds, seconds."""
    took = []
    for _ in range(rounds):
        start = time.process_time()
        job()
        took.append(time.process_time() - start)
    return min(took)


def _place(take: Midi) -> Slots:
    return quantise(take.onset_us, take.tempo, take.metre, take_pitch=take.pitch, take_velocity=take.velocity)


def main() -> None:
    """Measure and print."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT.parent / "shared" / "data" / "groove"
    files = sorted(folder.glob("*.mid"))
    if not files:
        print(f"no MIDI files in {folder}")
        return
    takes = [read_midi(file) for file in files]
    notes = sum(take.onset_us.size for take in takes)
    peer = _best(lambda: [mido.MidiFile(file) for file in files])
    reading = _best(lambda: [read_midi(file) for file in files])
    placing = _best(lambda: [_place(take) for take in takes])
    raster = _best(lambda: [quantise(t.onset_us, t.tempo, t.metre, grid=16) for t in takes])
    print(f"{len(files)} files, {notes} notes, OMP_NUM_THREADS={os.environ.get('OMP_NUM_THREADS', 'unset')}")
    print(f"mido parsing            {peer:7.3f} s   1.00")
    print(f"reading                 {reading:7.3f} s   {reading / peer:.2f}")
    print(f"placing                 {placing:7.3f} s   {placing / peer:.2f}   {notes / placing:,.0f} notes a second")
    print(f"placing on a raster     {raster:7.3f} s   {raster / peer:.2f}")
    print(f"reading and placing     {reading + placing:7.3f} s   {(reading + placing) / peer:.2f}")
    scoring = _best(lambda: [score_file(file) for file in files])
    print(f"scoring, all of it      {scoring:7.3f} s   {scoring / peer:.2f}   (to reach: 3)")


if __name__ == "__main__":
    main()
