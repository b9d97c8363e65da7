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
    interval_prior: float
    """Prior probability for intervals; the family's sum to one."""
    test_prior: float
    """Prior probability for hypothesis tests; the family's sum to one."""


def _family() -> tuple[NoiseModel, ...]:
    """All members with their two plausibilities.

    Ours, by what they reach on simulated takes of 40 to 512 strokes. For intervals: white noise ten times, a wander
    of half the variance or less a fifth, the longest memory half as much again; with that the mean's intervals cover
    0.91 or more under every long memory tried, and come within 1.3 of the textbook's on independent strokes from 100
    on. For tests, which have a cluster-robust check beside them: white noise ten times, plain AR(1) three times, long
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
    intervals, tests = sum(row[3] for row in rows), sum(row[4] for row in rows)
    return tuple(NoiseModel(kind, memory, share, i / intervals, t / tests) for kind, memory, share, i, t in rows)


_SHORT = (0.2, 0.4, 0.6, 0.75, 0.87, 0.94, 0.98)
_LONG = (0.65, 0.75, 0.85, 0.93, 0.97)

MODELS: tuple[NoiseModel, ...] = _family()
"""The family. Ours: the grid is as coarse as 1,000 strokes can tell apart."""
