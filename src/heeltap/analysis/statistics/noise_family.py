"""The family of noise models, and how plausible each member is before anything was played.

Ours, where no source is named.

Inside: `NoiseModel`, `MODELS` (the family).
"""

from dataclasses import dataclass

__all__ = ["MODELS", "NoiseModel"]


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """One member of the family: a wandering part and white stroke noise on top."""

    kind: str
    """``short``: the wander forgets geometrically (AR(1) plus white, the ARMA(1,1) family); ``long``: as a power
    (1/f)."""
    memory: float
    """Correlation from stroke to stroke of a ``short`` wander; Hurst exponent of a ``long`` one."""
    wander: float
    """Share of the variance that wanders, 0-1; the rest is white."""
    mean_prior: float
    """Prior probability for intervals of means; the family's sum to one."""
    interval_prior: float
    """Prior probability for all other intervals (spread, slopes, contrasts); the family's sum to one."""
    test_prior: float
    """Prior probability for hypothesis tests; the family's sum to one."""


_SHORT = (0.2, 0.4, 0.6, 0.75, 0.87, 0.94, 0.98)
_LONG = (0.65, 0.75, 0.85, 0.93, 0.97)

_LEARNT = (
    45.1, 77.0, 0.6,
    93.8, 9.1, 2.6, 2.4,
    71.5, 11.8, 4.4, 2.5,
    35.3, 2.2, 1.7, 2.2,
    186.4, 10.0, 1.9, 2.0,
    102.7, 26.7, 9.3, 5.3,
    41.4, 113.6, 1.1, 1.3,
    13.3, 38.2, 0.9, 0.7,
    1.7, 1.6, 1.5,
    1.2, 1.2, 1.3,
    3.2, 1.0, 1.1,
    30.4, 3.8, 1.5,
    15.3, 16.5, 1.5,
)  # fmt: skip
"""Weights for intervals of means in thousandths, in the order of `MODELS`, a row for each memory. Learnt from half of the
drummers (Groove: Gillick et al. 2019) and half of the tappers (Bååth & Madison 2012), then moved until they cover simulated
takes with long memory, too: ``python -m tests.makers.noise_weights`` makes them, decision 0021 says why."""


def _family() -> tuple[NoiseModel, ...]:
    """All members with their three plausibilities.

    For means those that were learnt. For other intervals, ours: white noise ten times, a wander of half the variance or
    less a fifth, the longest memory half as much again; with the learnt ones slopes under 1/f cover 0.85 instead of 0.92.
    For tests, which have a cluster-robust check beside them, ours: white noise ten times, plain AR(1) three times, long
    memory 0.4, thin wander a quarter.
    """
    rows: list[tuple[str, float, float, float, float]]
    rows = [("short", 0.0, 0.0, 10.0, 10.0), ("short", -0.25, 1.0, 1.5, 1.0), ("short", -0.5, 1.0, 1.5, 1.0)]
    for memory in _SHORT:
        rows += [("short", memory, 1.0, 1.5, 3.0), ("short", memory, 0.8, 1.0, 1.0)]
        rows += [("short", memory, share, 0.2, 0.25) for share in (0.5, 0.25)]
    for memory in _LONG:
        more = 1.5 if memory == _LONG[-1] else 1.0
        rows += [("long", memory, share, more, 0.4) for share in (1.0, 0.8)]
        rows += [("long", memory, 0.5, 0.2 * more, 0.1)]
    means, intervals, tests = sum(_LEARNT), sum(row[3] for row in rows), sum(row[4] for row in rows)
    return tuple(
        NoiseModel(kind, memory, share, mean / means, i / intervals, t / tests)
        for (kind, memory, share, i, t), mean in zip(rows, _LEARNT, strict=True)
    )


MODELS: tuple[NoiseModel, ...] = _family()
"""The family. Ours: the grid is as coarse as 1,000 strokes can tell apart."""
