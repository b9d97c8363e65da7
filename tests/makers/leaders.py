"""Simulated drum leaders and followers with known truth.

The leader's true place is a level plus a slow curve (forgetting, or with long memory); each hit scatters about it. The
follower goes where the leader's curve goes, a lag behind, with noise of their own. Nothing here uses the code under
test.

Conventions: ms against the click, negative is early; positions in quarter notes from 0, bars of four.

Inside: `Song`, `lead_and_follow`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import FloatArray

__all__ = ["Song", "lead_and_follow"]


@dataclass(frozen=True, slots=True, eq=False)
class Song:
    """What was played and where it really belonged."""

    leader_quarter: FloatArray
    leader_ms: FloatArray
    """Played minus click of each leader's hit."""
    follower_quarter: FloatArray
    follower_ms: FloatArray
    """Played minus click of each follower's stroke."""
    reference_ms: FloatArray
    """Where the leader's curve truly was at the follower's strokes."""
    lag_ms: float
    """Follower minus leader, truly."""


def _slow(rng: np.random.Generator, steps: int, kind: str, memory: float) -> FloatArray:
    """Curve of unit variance on a grid of sixteenths."""
    if kind == "long":
        size = 2 * steps
        fall = np.arange(1, size // 2 + 1) ** -0.5
        spectrum = np.concatenate([[0.0], fall * (rng.normal(size=fall.size) + 1j * rng.normal(size=fall.size))])
        return np.fft.irfft(spectrum, size)[:steps] * size / np.sqrt(4 * np.sum(fall**2))
    gone = np.exp(-0.25 / memory)
    out, here = np.empty(steps), rng.normal()
    for step in range(steps):
        out[step] = here
        here = gone * here + np.sqrt(1 - gone**2) * rng.normal()
    return out


def _hits(rng: np.random.Generator, bars: int, kind: str) -> FloatArray:
    """Sixteenth slots of the leader's kick and snare."""
    full = np.concatenate([[0, 4, 8, 12] + [s for s in (3, 6, 10, 14) if rng.random() < 0.3] for _ in range(bars)])
    bar = np.repeat(np.arange(bars), np.diff(np.flatnonzero(np.append(full == 0, True))))
    slots = 16 * bar + full
    if kind == "sparse":
        slots = slots[(full == 0) | (rng.random(full.size) < 0.15)]
    if kind == "silent":
        slots = slots[(bar // 4) % 2 == 0]
    return np.sort(slots)


def lead_and_follow(
    rng: np.random.Generator,
    bars: int = 64,
    *,
    leader: str = "full",
    curve: str = "forgets",
    lag_ms: float = 12.0,
    own_ms: float = 10.0,
    own_rho: float = 0.0,
) -> Song:
    """A song of ``bars``; leader ``full``, ``sparse``, ``silent`` (four bars in eight); curve ``forgets``, ``long``."""
    steps = 16 * bars
    level = rng.normal(0, 10)
    true = level + rng.uniform(5, 15) * _slow(rng, steps, curve, float(np.exp(rng.uniform(np.log(3), np.log(40)))))
    hits = _hits(rng, bars, leader)
    strokes = np.arange(0, steps, 2)
    strokes = strokes[rng.random(strokes.size) < 0.85]
    own, here = np.empty(strokes.size), rng.normal()
    for row in range(strokes.size):
        own[row] = here
        here = own_rho * here + np.sqrt(1 - own_rho**2) * rng.normal()
    return Song(
        hits / 4.0,
        true[hits] + rng.normal(0, rng.uniform(4, 9), hits.size),
        strokes / 4.0,
        true[strokes] + lag_ms + own_ms * own,
        true[strokes],
        lag_ms,
    )
