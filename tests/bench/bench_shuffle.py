"""Swung sixteenths without a plan: right slots, the ratio, and how often a straight take is called swung.

``python -m tests.bench.bench_shuffle [TAKES] [SEED]`` simulates sixteenth parts (hip-hop, funk, comping, half-time shuffle, and
6/8) of 1.2 to 2.2 to 1 at 60 to 116 bpm and prints, by ratio, the share of strokes in the right slot (goal .98), the error of
the ratio (goal .1) and the share of takes whose swing is told as that of sixteenths; then the same for straight takes (goal:
right .995, swing in at most 1 %) and for swung eighths.

Inside: `STYLES`, `part_of`, `reading`, `main`.
"""

import sys

import numpy as np

from heeltap.analysis.quantise import Slots, quantise
from heeltap.model.arrays import FloatArray, IntArray
from tests.bench.bench_offbeats import played_us

RATIOS = (1.2, 1.35, 1.5, 1.6, 1.8, 2.0, 2.2)
BARS = 16

STYLES = {
    "hip-hop": (".9 .1 .5 .6 .8 .1 .5 .5 .9 .2 .6 .6 .8 .1 .5 .5", "4/4"),
    "funk": (".9 .4 .6 .6 .8 .4 .5 .7 .7 .5 .6 .5 .9 .4 .6 .6", "4/4"),
    "comping": (".8 .0 .2 .6 .2 .0 .6 .5 .3 .0 .6 .4 .6 .0 .4 .6", "4/4"),
    "half-time shuffle": (".9 .0 .9 .9 .9 .0 .9 .9 .9 .0 .9 .9 .9 .0 .9 .9", "4/4"),
    "six-eight": (".9 .3 .7 .5 .7 .5 .8 .3 .7 .4 .7 .5", "6/8"),
}
"""How often each sixteenth of a bar is played; and the metre."""


def part_of(style: str, ratio: float, rng: np.random.Generator) -> tuple[FloatArray, IntArray]:
    """Where the strokes are meant, quarter notes, and which sixteenth each is.

    Half of the bars repeat a pattern; the others are made up anew.
    """
    chance = np.array(STYLES[style][0].split(), float)
    pattern = rng.random(chance.size) < chance
    rows = [pattern if rng.random() < 0.5 else rng.random(chance.size) < chance for _ in range(BARS)]
    which = np.flatnonzero(np.concatenate(rows))
    late = 0.5 * ratio / (1.0 + ratio)
    return (which // 2) * 0.5 + (which % 2) * late, which.astype(np.int64)


def reading(style: str, ratio: float, bpm: float, bias_ms: float, rng: np.random.Generator) -> tuple[float, Slots]:
    """Share of the strokes of a take that were read where they were meant, and the slots."""
    meant, which = part_of(style, ratio, rng)
    found = quantise(played_us(meant, bpm, bias_ms, rng).astype(np.int64), bpm, STYLES[style][1])
    quarter = np.nan_to_num(found.quarter, nan=-9.0)
    # the slot of a late sixteenth lies where the take plays it: anywhere in its half of the eighth
    part = quarter * 2 - which // 2
    right = np.where(which % 2 == 1, (part > 0.45) & (part < 0.75), np.abs(part) < 1e-3)
    return float(right.mean()), found


def main(takes: int = 10, seed: int = 1) -> None:
    """Print the tables."""
    rng = np.random.default_rng(seed)
    for style in STYLES:
        print(f"{style:<18} {'ratio':>6} {'right':>7} {'error':>7} {'told':>6}")
        for ratio in (*RATIOS, 1.0):
            rights, errors, told = [], [], 0
            for _ in range(takes):
                right, found = reading(style, ratio, rng.uniform(60, 116), rng.uniform(-40, 40), rng)
                rights.append(right)
                if found.swing is not None:
                    told += found.swing.unit == "sixteenth" or ratio == 1.0
                    errors.append(abs(found.swing.ratio - ratio))
            error = float(np.median(errors)) if errors else float("nan")
            print(f"{'':<18} {ratio:6.2f} {np.mean(rights):7.3f} {error:7.3f} {told / takes:6.2f}", flush=True)


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))
