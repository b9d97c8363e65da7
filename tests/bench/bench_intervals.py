"""How well the average's intervals hold, and how much they decide, goals beside the figures: run ``python -m
tests.bench.bench_intervals [PART] [TAKES] [SEED]``.

PART is ``simulated``, ``people`` (held-out half of the outside data, see `tests.makers.noise_weights`) or ``all``; TAKES how
many takes a cell (default 400). Prints; asserts nothing.
"""

import os
import sys
from itertools import combinations
from pathlib import Path

import numpy as np

from heeltap.analysis.statistics.estimates import Estimate, bias
from heeltap.analysis.statistics.noise_family import MODELS
from heeltap.model.arrays import FloatArray
from tests.makers.noise_weights import fit_many, half_widths, oracle_ms, people
from tests.makers.tables import NOISES, noise

LENGTHS = (40, 64, 128, 200, 512)
_WIDEST = {64: 1.8, 200: 1.5}


def simulated(kind: str, n: int, takes: int, seed: int) -> tuple[float, float]:
    """Coverage of the average's interval; its mean half-width over that of who knows the noise (nan under long memory)."""
    rng = np.random.default_rng(seed)
    fits = fit_many(np.stack([noise(kind, n, rng) for _ in range(takes)]))
    half, _ = half_widths(fits, np.log([model.mean_prior for model in MODELS]))
    return float(np.mean(np.abs(fits.mean_ms) <= half)), float(half.mean()) / oracle_ms(kind, n)


def held_by_the_rest(drummers: list[FloatArray], n: int) -> list[bool]:
    """Of each block of ``n`` strokes, whether its interval holds the mean of the rest of the take."""
    return [
        _holds(bias(take[at : at + n]), float(np.delete(take, np.s_[at : at + n]).mean()))
        for take in drummers
        for at in range(0, take.size - n + 1, n)
    ]


def trials_agree(tappers: list[list[FloatArray]]) -> list[bool]:
    """Of each two trials of a tapper, whether their means agree within both intervals."""
    out = []
    for trials in tappers:
        for one, other in combinations([bias(trial) for trial in trials], 2):
            reach = sum(((found.ci95[1] - found.ci95[0]) / 2) ** 2 for found in (one, other) if found.ci95)
            out.append(abs((one.value or 0.0) - (other.value or 0.0)) <= float(np.sqrt(reach)))
    return out


def _holds(found: Estimate, truth_ms: float) -> bool:
    return found.ci95 is not None and found.ci95[0] <= truth_ms <= found.ci95[1]


def _print_simulated(takes: int, seed: int) -> None:
    print(f"average, {takes} takes a cell, seed {seed}: coverage, half-width over the ideal one")
    print("goals: coverage .93 (long memory and 1/f .90), half-width 1.8 at 64 strokes, 1.5 at 200; ! is missed")
    for kind in NOISES:
        if kind.endswith("-heavy"):
            continue
        least = 0.9 if kind.startswith(("long", "pink")) else 0.93
        cells = []
        for n in LENGTHS:
            held, wide = simulated(kind, n, takes, seed)
            told = "     " if np.isnan(wide) else f"{wide:5.2f}"
            cells.append(
                f"{n}: {held:.3f}{' ' if held >= least else '!'}{told}{'!' if wide > _WIDEST.get(n, 99) else ' '}"
            )
        print(f"  {kind:14}", " ".join(cells), flush=True)


def _print_people(folder: Path) -> None:
    print("people that the weights were not learnt from: share that agrees (goal .93), how many")
    drummers, tappers = people(folder, 1)
    for n in (64, 200):
        held = held_by_the_rest([take for take in drummers if take.size >= 2 * n], n)
        print(f"  drummers, {n} strokes against the rest of the take: {np.mean(held):.3f} of {len(held)}")
    pairs = trials_agree(tappers)
    print(f"  tappers, trial against trial: {np.mean(pairs):.3f} of {len(pairs)}")


if __name__ == "__main__":
    part = sys.argv[1] if len(sys.argv) > 1 else "all"
    if part in ("simulated", "all"):
        _print_simulated(int(sys.argv[2]) if len(sys.argv) > 2 else 400, int(sys.argv[3]) if len(sys.argv) > 3 else 8)
    if part in ("people", "all"):
        _print_people(Path(os.environ["HEELTAP_OUTSIDE_DATA"]))
