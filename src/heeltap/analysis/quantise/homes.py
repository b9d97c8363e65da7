"""Where a part lies against the click as a whole: its home, the usual offset, and which other homes fit nearly as well.

A part that repeats its pattern fits as well a slot aside: off-beats played on time are beats played half a beat early.
The strokes themselves cannot tell the two apart; what is usual does. A usual player is within a few tens of milliseconds of
the click (now and then an unknown delay adds more), and a usual part plays beats more than what lies between them. So each
home is worth the likelihood of its strokes, how usual its offset is, and how usual its pattern is; both of the latter are
paid once, whatever the length of the take.

The likelihood is that of a mixture: strokes near each place of a pulse, a few strays, with shares learned from the take by
expectation maximisation (Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39, 1-38, from memory). What is usual, and all
numbers here, are ours.

Inside: `Homes`, `homes_of`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.quantise.pulses import PulseTable
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["Homes", "homes_of"]

_STEP_MS, _REACH_MS = 3.0, 150.0
"""Homes that are tried: every 3 ms to either side."""

_USUAL_MS, _FAR_MS, _FAR_SHARE, _FAR_SHARE_KNOWN = 25.0, 70.0, 0.1, 0.002
"""How usual a home is: a normal of 25 ms, and in one take of ten one of 70 ms, where the gear is slow and nobody has
measured it."""

_SPREADS_MS, _STRAY = (7.0, 12.0, 20.0, 32.0), 0.08
"""Spreads that are tried, the best for each home is taken; and the share of strokes that lie anywhere."""

_SIMPLE = ((0.0, 0), (1 / 4, 1), (1 / 3, 1), (1 / 2, 2), (2 / 3, 3), (3 / 4, 3))
_THIRDS = ((0.0, 0), (1 / 6, 1), (1 / 3, 2), (1 / 2, 3), (2 / 3, 4), (5 / 6, 5))
"""Places in a pulse, and to which group each belongs: places close together share strokes, so that only groups can be counted."""

_SIMPLE_GROUPS = ((0.7, 1.0), (0.22, 3.0), (0.5, 1.0), (0.3, 3.0))
_THIRDS_GROUPS = ((0.7, 1.0), (0.08, 2.0), (0.45, 1.0), (0.12, 2.0), (0.55, 1.0), (0.12, 2.0))
"""How often a usual part plays each group, and how many parts of that kind it takes to expect another one."""

_ODD, _PLACE = 6.0, 1.0
"""Nats for a part that plays no beat and nothing half-way, but something between; and for each place that it uses."""

_SHUFFLES = (0.0, 0.03, 0.06)
"""How much later the second and the fourth sixteenth may stand, parts of the pulse: ratios 1, 1.27 and 1.63."""

_LATE = np.arange(0.56, 0.721, 0.02)
"""Where the late eighth of a simple pulse may stand."""

_TOLD = 2.5
"""Spreads by which the late eighth lies behind half-way before the two are two places."""

_FINEST_MS = 40.0
"""As `heeltap.analysis.quantise.states`: nothing shorter than that is meant as such."""

_ROUNDS = 4
"""Of expectation maximisation: enough for three digits of a share."""

_TEMPER = 0.2
"""Weight of the likelihood when the first home is looked for: strokes hang together, and are fewer witnesses than they are."""

_SLACK = 0.08
"""Nats a stroke by which another home may fit worse and still fit as well."""

_LEAST = 1e-3
"""Homes less likely than this against the best are left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Homes:
    """The homes of a part, the likeliest first."""

    ms: FloatArray
    """Usual offset, milliseconds; negative is early."""
    chance: FloatArray
    """Probability of each, summing to 1."""


def homes_of(at: FloatArray, pulses: PulseTable, *, delay_known: bool = False) -> Homes:
    """The homes that a part may have.

    Parameters
    ----------
    at : float64, shape (strokes,)
        Positions, pulses from the first row.
    pulses : PulseTable
        The pulses.
    delay_known : bool
        The delay of the gear is taken away already, so that only the player can be early or late.

    Returns
    -------
    Homes
        At least one.
    """
    pulse_ms, thirds = pulses.median_ms, bool(np.median(pulses.thirds))
    bins = max(24, round(pulse_ms / _STEP_MS))
    reach = int(min(_REACH_MS, 0.5 * pulse_ms) * bins / pulse_ms)
    steps = np.arange(-reach, reach + 1)
    home_ms = steps * pulse_ms / bins
    counts = np.bincount(np.round(at * bins).astype(np.int64) % bins, minlength=bins)
    rolled = counts[(np.arange(bins)[None] + steps[:, None]) % bins]
    played = max(1, np.unique(np.floor(at)).size)
    likelihood, pattern = _best_fit(rolled, played, _Places.of(pulse_ms, thirds=thirds), pulse_ms)
    usual = pattern + _log_usual(home_ms, _FAR_SHARE_KNOWN if delay_known else _FAR_SHARE)
    first = int(np.argmax(_TEMPER * likelihood + usual))
    rows = np.unique([first, *_aside(home_ms, likelihood, first, pulse_ms)])
    misfit = np.maximum(likelihood[rows].max() - likelihood[rows] - _SLACK * at.size, 0.0)
    worth = usual[rows] - misfit
    chance = np.exp(worth - worth.max())
    order = np.argsort(-chance, kind="stable")
    order = order[chance[order] >= _LEAST]
    return Homes(home_ms[rows][order], chance[order] / chance[order].sum())


def _aside(home_ms: FloatArray, likelihood: FloatArray, first: int, pulse_ms: float) -> list[int]:
    """The best home near each one that is a quarter, a third or a half of the pulse away."""
    found = []
    for part in (1 / 4, 1 / 3, 1 / 2):
        for side in (-1, 1):
            far = np.abs(home_ms - home_ms[first] - side * part * pulse_ms)
            near = np.flatnonzero(far <= max(0.04 * pulse_ms, 1.5 * _STEP_MS))
            if near.size:
                found.append(int(near[np.argmax(likelihood[near])]))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where strokes may be meant in a pulse, and how usual parts play there."""

    part: FloatArray
    group: IntArray
    usual: FloatArray
    """Share of the pulses in which a usual part plays each group."""
    weighs: FloatArray
    thirds: bool

    @staticmethod
    def of(pulse_ms: float, *, thirds: bool) -> "_Places":
        """Those that hands can play in a pulse of this length."""
        rows = [r for r in (_THIRDS if thirds else _SIMPLE) if not r[0] or min(r[0], 1 - r[0]) * pulse_ms >= _FINEST_MS]
        usual, weighs = np.array(_THIRDS_GROUPS if thirds else _SIMPLE_GROUPS).T
        return _Places(np.array([r[0] for r in rows]), np.array([r[1] for r in rows]), usual, weighs, thirds)

    @property
    def before(self) -> FloatArray:
        """Strokes a pulse that are expected at each place before any is seen."""
        return np.asarray(self.usual[self.group] / np.bincount(self.group)[self.group])

    @property
    def late(self) -> int:
        """Column of the late eighth; -1 where the pulse has none."""
        found = np.flatnonzero(np.isclose(self.part, 2 / 3))
        return int(found[0]) if found.size and not self.thirds else -1


def _best_fit(counts: IntArray, played: int, places: _Places, pulse_ms: float) -> tuple[FloatArray, FloatArray]:
    """Log likelihood of the strokes at each home, under its best spread and shuffle, and how usual its pattern then is."""
    shifts = (0.0,) if places.thirds else _SHUFFLES
    fits = [_fit(counts, played, places, sd / pulse_ms, shift) for shift in shifts for sd in _SPREADS_MS]
    which = np.argmax([fit[0] for fit in fits], axis=0)
    return np.choose(which, [fit[0] for fit in fits]), np.choose(which, [fit[1] for fit in fits])


def _fit(counts: IntArray, played: int, places: _Places, sigma: float, shift: float) -> tuple[FloatArray, FloatArray]:
    """The same under one spread and one shuffle, both in pulses."""
    at = np.arange(counts.shape[1]) / counts.shape[1]
    part = np.where(np.isin(places.part, (1 / 4, 3 / 4)), places.part + shift, places.part)
    density, late = _density(at, part, sigma), _density(at, _LATE, sigma)
    which, column, before = np.full(counts.shape[0], int(np.argmin(np.abs(_LATE - 2 / 3)))), places.late, places.before
    weight = np.tile(before / before.sum(), (counts.shape[0], 1))
    for _ in range(_ROUNDS):
        total = weight @ density + _STRAY
        if column >= 0:
            total += weight[:, [column]] * (late[which] - density[column])
        rest = counts / total
        hits = weight * (rest @ density.T)
        if column >= 0:
            share = weight[:, [column]] * late[which] * rest
            hits[:, column] = share.sum(1)
            middle = (share @ at + before[column] * 2 / 3) / (hits[:, column] + before[column])
            which = np.clip(np.searchsorted(_LATE, middle - 0.01), 0, _LATE.size - 1)
        weight = (hits + before) / (hits + before).sum(1, keepdims=True)
    used = _PLACE * np.minimum(10.0 * hits / played, 1.0).sum(1)
    if column >= 0:
        hits = _one_place(hits, _LATE[which] - 0.5 < _TOLD * sigma, column, int(np.flatnonzero(places.group == 2)[0]))
    return np.asarray((counts * np.log(total)).sum(1)), _log_pattern(hits, played, places) - used


def _one_place(hits: FloatArray, near_half: np.ndarray, late: int, half: int) -> FloatArray:
    """The hits with those of the late eighth counted half-way, where the two are too near each other to be told apart."""
    out = hits.copy()
    out[:, half] += np.where(near_half, hits[:, late], 0.0)
    out[:, late] = np.where(near_half, 0.0, hits[:, late])
    return out


def _log_pattern(hits: FloatArray, played: int, places: _Places) -> FloatArray:
    """Log weight of how usual a pattern is: minus the divergence of its groups from the usual ones."""
    usual = places.usual
    often = np.stack([hits[:, places.group == one].sum(1) for one in range(usual.size)], axis=1)
    often = np.clip((often + usual) / (played + 1.0), 0.01, 0.99)
    apart = often * np.log(often / usual) + (1 - often) * np.log((1 - often) / (1 - usual))
    odd = np.zeros(hits.shape[0])
    if not places.thirds:
        main = np.maximum(often[:, 0], often[:, 2])
        for group in (1, 3):
            odd += np.maximum(often[:, group] - main, 0.0) / (often[:, group] + main)
    return np.asarray(-(apart @ places.weighs) - _ODD * odd)


def _density(at: FloatArray, part: FloatArray, sigma: float) -> FloatArray:
    """Density of the strokes meant for each part, shape (parts, places), without the strays."""
    far = np.abs(at - part[:, None])
    return np.asarray((1 - _STRAY) * _normal(np.minimum(far, 1.0 - far), sigma) / np.sqrt(2 * np.pi))


def _log_usual(home_ms: FloatArray, far_share: float) -> FloatArray:
    """Log weight of how usual an offset is."""
    return np.asarray(np.log((1 - far_share) * _normal(home_ms, _USUAL_MS) + far_share * _normal(home_ms, _FAR_MS)))


def _normal(value: FloatArray, sd: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (value / sd) ** 2) / sd)
