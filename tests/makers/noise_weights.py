"""Learns the interval weights of the noise family from people: ``python -m tests.makers.noise_weights FOLDER [SEED]``.

FOLDER holds ``groove`` and ``tapping`` (outside data). Two steps. First, maximum likelihood on half of the people: blocks
of 200 strokes of every other drummers' take, trials at 600 ms of every other tapper. Second, these weights are moved as
little as it takes to reach `GOALS` on simulated takes. Prints the weights; the other half of the people is held out for
``tests.bench.bench_intervals``.

Inside: `Fits`, `fit_many`, `half_widths`, `oracle_ms`, `people`, `likeliest`, `tilted`.
"""

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import stdtr, stdtrit

from heeltap.analysis.statistics.cosines import to_cosines
from heeltap.analysis.statistics.noise_family import MODELS
from heeltap.analysis.statistics.noise_models import log_determinants, variances
from heeltap.model.arrays import FloatArray
from tests.makers.tables import noise
from tests.outside.test_placebo import human_takes, strokes

GOALS: dict[tuple[str, int], tuple[float, float | None]] = {
    **{(kind, 64): (0.93, 1.8) for kind in ("ar0", "ar35", "ar70", "wander")},
    **{(kind, 200): (0.93, 1.5) for kind in ("ar0", "ar35", "ar70", "wander")},
    **{(kind, n): (0.93, None) for kind in ("long90", "long90-white") for n in (40, 64, 128)},
}
"""Noise and strokes: the least coverage of the mean's interval, and its half-width over that of who knows the noise."""

_RHO = {"ar0": 0.0, "ar35": 0.35, "ar70": 0.7, "wander": 0.9}


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """What every noise model makes of many takes of one length."""

    n: int
    log_likely: FloatArray
    """Shape (takes, models)."""
    error_ms: FloatArray
    """Standard error of the mean under each model, shape (takes, models)."""
    mean_ms: FloatArray
    """Shape (takes,)."""


def fit_many(takes_ms: FloatArray) -> Fits:
    """The restricted likelihood and the mean's error under each model, as ``fit_noise`` has them, for all takes at once."""
    n = takes_ms.shape[1]
    cosines, table = to_cosines(takes_ms.T), variances(n)
    left = np.maximum((1 / table[:, 1:]) @ cosines[1:] ** 2, 1e-9)
    likely = 0.5 * (np.log(table[:, :1]) - log_determinants(n)[:, None] - (n - 1) * np.log(left))
    return Fits(n, likely.T, np.sqrt(left / (n - 1) * table[:, :1] / n).T, takes_ms.mean(axis=1))


def _posterior(fits: Fits, log_prior: FloatArray) -> FloatArray:
    weight = fits.log_likely + log_prior
    weight = np.exp(weight - weight.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def half_widths(fits: Fits, log_prior: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Half-width of each take's interval in ms, and its derivative by the logarithms of the weights."""
    weight, error, freedom = _posterior(fits, log_prior), fits.error_ms, fits.n - 1
    widest = float(stdtrit(freedom, 0.975))
    low, high = widest * error.min(axis=1), widest * error.max(axis=1)
    for _ in range(14):
        middle = (low + high) / 2
        short = np.sum(weight * stdtr(freedom, middle[:, None] / error), axis=1) < 0.975
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    scaled = high[:, None] / error
    density = np.sum(weight * np.exp(-(scaled**2) / 2) / np.sqrt(2 * np.pi) / error, axis=1)
    return high, -weight * (stdtr(freedom, scaled) - 0.975) / density[:, None]


def oracle_ms(kind: str, n: int) -> float:
    """Half-width in ms for who knows the noise of spread 12 ms; nan under long memory."""
    if kind not in _RHO:
        return float("nan")
    lag = np.arange(1, n)
    shared = (0.8 if kind == "wander" else 1.0) * _RHO[kind] ** lag
    return float(1.96 * 12.0 * np.sqrt((n + 2 * np.sum((n - lag) * shared)) / n**2))


def people(folder: Path, half: int) -> tuple[list[FloatArray], list[list[FloatArray]]]:
    """Drummers' whole takes, and each tapper's trials at 600 ms, ms; half 0 is learnt from, half 1 held out."""
    drummers = [strokes(take).offset_ms for take in human_takes(folder / "groove")][half::2]
    trials: dict[tuple[int, str], list[float]] = {}
    with (folder / "tapping" / "tapping_data_baath_madison_2012.csv").open(newline="") as lines:
        for row in csv.DictReader(lines):
            if row["isi"] == "600" and int(row["subject"]) % 2 == half:
                trials.setdefault((int(row["subject"]), row["trial"]), []).append(float(row["asynch"]))
    long = {key: np.array(trial) for key, trial in trials.items() if len(trial) >= 20}
    return drummers, [[long[key] for key in long if key[0] == who] for who in sorted({key[0] for key in long})]


def likeliest(rows: list[FloatArray]) -> FloatArray:
    """Weights under which the rows are likeliest (400 steps of expectation and maximisation), a twentieth of a row for
    every model."""
    likely = np.concatenate([fit_many(row[None]).log_likely for row in rows])
    weight = np.full(len(MODELS), 1 / len(MODELS))
    for _ in range(400):
        share = _posterior(Fits(0, likely, likely, likely), np.log(weight))
        weight = share.sum(axis=0) + 0.05
        weight /= weight.sum()
    return weight


def _slope(fits: Fits, kind: str, log_prior: FloatArray) -> FloatArray:
    """Which way a cell's miss of its goals falls, by the logarithms of the weights; zero where both are reached."""
    least, most = GOALS[kind, fits.n]
    half, by_weight = half_widths(fits, log_prior)
    out = np.zeros(len(MODELS))
    ideal = oracle_ms(kind, fits.n)
    if most is not None and half.mean() / ideal > most - 0.05:
        out += (half.mean() / ideal - most + 0.25) * by_weight.mean(axis=0) / ideal
    short = least + 0.012 - float(np.mean(half > np.abs(fits.mean_ms)))
    if short > 0:
        soft = 0.075 * half.mean()
        near = 0.25 / np.cosh((half - np.abs(fits.mean_ms)) / soft / 2) ** 2 / soft
        out -= 150 * short * np.mean(near[:, None] * by_weight, axis=0)
    return out


def tilted(start: FloatArray, seed: int, takes: int = 300, steps: int = 150) -> FloatArray:
    """The weights moved towards `GOALS` on simulated takes (Adam: Kingma & Ba 2015, from memory), drawn back to ``start``."""
    rng = np.random.default_rng(seed)
    cells = [(kind, fit_many(np.stack([noise(kind, n, rng) for _ in range(takes)]))) for kind, n in GOALS]
    origin = np.log(start)
    here, first, second = origin.copy(), np.zeros(start.size), np.zeros(start.size)
    for step in range(1, steps + 1):
        slope = 0.005 * (here - origin) + sum(_slope(fits, kind, here) for kind, fits in cells)
        first, second = 0.9 * first + 0.1 * slope, 0.99 * second + 0.01 * slope**2
        rate = 0.12 if step < steps / 2 else 0.06
        here = here - rate * first / (1 - 0.9**step) / (np.sqrt(second / (1 - 0.99**step)) + 1e-4)
        here -= np.log(np.exp(here).sum())
    return np.asarray(np.exp(here))


def main(folder: Path, seed: int) -> None:
    """Print the weights in tenths of a per cent."""
    drummers, tappers = people(folder, 0)
    trials = [trial for own in tappers for trial in own]
    blocks = [take[at : at + 200] for take in drummers for at in range(0, take.size - 199, 200)]
    learnt = likeliest([*blocks, *trials])
    moved = tilted(learnt, seed)
    print(f"learnt from {len(blocks)} blocks and {len(trials)} trials; weights in thousandths: learnt, moved")
    for model, before, after in zip(MODELS, learnt, moved, strict=True):
        print(f"{model.kind:6}{model.memory:6g}{model.wander:6g}{1000 * before:8.1f}{1000 * after:8.1f}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
