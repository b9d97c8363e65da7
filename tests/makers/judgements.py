"""Simulated takes that judgements are checked on: what was planted is known, and so is what should be said of it.

Conventions: milliseconds, negative is early; all randomness comes from the ``rng`` argument.

Inside: `SCORE_TABLE`, `quarters_table`, `score_of`, `mean_score`, `week_of_scores`.
"""

import numpy as np

from heeltap.analysis.score import score
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets, Tally
from tests.makers.tables import offsets_table

__all__ = ["CLEAN", "RANDOM", "SCORE_TABLE", "mean_score", "quarters_table", "score_of", "week_of_scores"]

CLEAN = Tally(0, 0, 0, 0, 0, 0)
"""Nothing missed, nothing extra."""

RANDOM = (0.0, 0.0)
"""In the table below: strokes anywhere between their places."""

SCORE_TABLE: tuple[tuple[tuple[float, float], float, float], ...] = (
    ((0, 1), 95, 100),
    ((0, 2), 82, 92),
    ((0, 3), 68, 80),
    ((0, 4), 52, 66),
    ((0, 6), 28, 42),
    ((0, 8), 12, 26),
    ((-3, 2), 60, 78),
    ((-6, 2), 18, 38),
    ((-9, 2), 0, 12),
    (RANDOM, -2, 2),
)
"""Average and spread in % of the beat, and between what the score of such a player has to lie."""


def quarters_table(offset_ms: FloatArray, rng: np.random.Generator, *, tempo_bpm: float) -> Offsets:
    """Quarters in 4/4 with the given offsets."""
    return offsets_table(offset_ms, rng, per_bar=4, beat_ms=60_000.0 / tempo_bpm)


def score_of(offset_ms: FloatArray, rng: np.random.Generator, *, tempo_bpm: float) -> int:
    """Score of quarters with the given offsets, lean 0, known delay."""
    value = score(quarters_table(offset_ms, rng, tempo_bpm=tempo_bpm), CLEAN).value
    assert value is not None
    return value


def mean_score(
    player: tuple[float, float], rng: np.random.Generator, *, tempo_bpm: float, takes: int = 40, n: int = 128
) -> float:
    """Mean score of takes with white noise; ``player`` is (average, spread) in % of the beat, or `RANDOM`."""
    beat_ms = 60_000.0 / tempo_bpm
    found = []
    for _ in range(takes):
        average, spread = (0.01 * beat_ms * part for part in player)
        random = player == RANDOM
        offset = rng.uniform(-beat_ms / 2, beat_ms / 2, n) if random else rng.normal(average, spread, n)
        found.append(score_of(offset, rng, tempo_bpm=tempo_bpm))
    return float(np.mean(found))


def week_of_scores(
    rng: np.random.Generator, *, tempo_bpm: float = 96.0, n: int = 128, noise: str = "ar0"
) -> FloatArray:
    """Mean score of each of seven days of six takes whose spread goes evenly from 22 to 12 ms."""
    from tests.makers.tables import noise as noise_of_kind

    found = [
        score_of(noise_of_kind(noise, n, rng, sd_ms=spread), rng, tempo_bpm=tempo_bpm)
        for spread in np.linspace(22.0, 12.0, 42)
    ]
    return np.array(found, dtype=np.float64).reshape(7, 6).mean(axis=1)
