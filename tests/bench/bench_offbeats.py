"""Off-beat parts without a plan: how many strokes are read where they were meant, and how sure the reading is.

``python -m tests.bench.bench_offbeats [TAKES] [SEED]`` simulates players (spread 10 ms, a slow wander of 4 ms) who are early
or late by up to 40 ms, at 60 to 220 bpm, and prints a table: kind of part by tempo, share of the strokes in the right slot
over all biases (goal .99), then the same among confident strokes.

Inside: `KINDS`, `part_of`, `played_us`, `reading`, `main`.
"""

import sys

import numpy as np

from heeltap.analysis.quantise import Slots, quantise
from heeltap.model.arrays import FloatArray

TEMPI = (60, 80, 100, 120, 140, 160, 180, 200, 220)
BIASES_MS = (-40.0, -20.0, 0.0, 20.0, 40.0)
BARS = 16
CONFIDENT = 0.95
"""A stroke whose slot is at least so probable is confident."""

KINDS = ("and", "and of two and four", "sparse and", "and, one in every fourth", "beats", "two and four", "eighths")


def part_of(kind: str, rng: np.random.Generator) -> FloatArray:
    """The meant places of a part, quarter notes from bar 1.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    rng : numpy.random.Generator
        For the sparse ones.
    """
    beats = np.arange(4.0 * BARS)
    if kind == "and":
        return beats + 0.5
    if kind == "and of two and four":
        return beats[1::2] + 0.5
    if kind == "sparse and":
        return (beats + 0.5)[rng.random(beats.size) < 0.45]
    if kind == "and, one in every fourth":
        return np.sort(np.concatenate([beats + 0.5, beats[::16]]))
    if kind == "beats":
        return beats
    return beats[1::2] if kind == "two and four" else np.arange(8.0 * BARS) / 2


def played_us(meant: FloatArray, bpm: float, bias_ms: float, rng: np.random.Generator) -> FloatArray:
    """Onsets in microseconds of a player with this bias: spread 10 ms, and a slow wander of 4 ms."""
    wander, state = np.empty(meant.size), 0.0
    for i, step in enumerate(rng.normal(0.0, 4.0 * np.sqrt(1 - 0.9**2), meant.size)):
        state = 0.9 * state + step
        wander[i] = state
    late_ms = bias_ms + wander + rng.normal(0.0, 10.0, meant.size)
    return np.round(meant * 60e6 / bpm + 1000.0 * late_ms)


def reading(meant: FloatArray, onset_us: FloatArray, bpm: float) -> tuple[FloatArray, Slots]:
    """For each stroke 1 where it was read where it was meant, else 0; and the slots."""
    found = quantise(onset_us.astype(np.int64), bpm, "4/4")
    right = np.abs(np.nan_to_num(found.quarter, nan=-99.0) - meant) < 1e-3
    return right.astype(float), found


def main(takes: int = 10, seed: int = 1) -> None:
    """Print the table."""
    rng = np.random.default_rng(seed)
    sure_right, sure = 0.0, 0
    print(f"{'share right':<26}" + "".join(f"{bpm:>7}" for bpm in TEMPI))
    for kind in KINDS:
        cells = []
        for bpm in TEMPI:
            rights = []
            for bias_ms in BIASES_MS:
                for _ in range(takes):
                    meant = part_of(kind, rng)
                    right, found = reading(meant, played_us(meant, bpm, bias_ms, rng), bpm)
                    confident = found.confidence >= CONFIDENT
                    sure_right, sure = sure_right + right[confident].sum(), sure + int(confident.sum())
                    rights.append(right.mean())
            cells.append(float(np.mean(rights)))
        print(f"{kind:<26}" + "".join(f"{one:7.3f}" for one in cells), flush=True)
    print(f"confident strokes right: {sure_right / max(sure, 1):.4f} of {sure}")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))
