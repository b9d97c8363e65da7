"""What a beat may be divided into, and what a stroke at a given place then costs.

A division is a set of slots, each with the probability that it is played, so a fine grid pays for every slot left
empty and needs no other penalty. A stroke falls near its slot (a normal distribution with a wider skirt) or anywhere
at all (a stray).

All numbers here are ours: the probabilities are those that read simulated takes best and were then checked on recorded
ones.

Inside: `Divisions`, `divisions_for`, `Costs`, `cost_tables`.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["Costs", "Divisions", "cost_tables", "divisions_for"]

_Row = tuple[str, tuple[float, ...], tuple[float, ...], float, float]

_PLAIN: tuple[_Row, ...] = (
    # name, slots as parts of the pulse, probability that each is played, share in simple metres, share where thirds
    # are plain
    ("beat", (0.0,), (0.7,), 0.22, 0.22),
    ("eighth", (0.0, 1 / 2), (0.7, 0.6), 0.26, 0.04),
    ("sixteenth", (0.0, 1 / 4, 1 / 2, 3 / 4), (0.7, 0.4, 0.6, 0.45), 0.24, 0.03),
    ("triplet", (0.0, 1 / 3, 2 / 3), (0.7, 0.5, 0.65), 0.10, 0.45),
    ("sixths", tuple(i / 6 for i in range(6)), (0.7, 0.45, 0.5, 0.55, 0.5, 0.45), 0.02, 0.20),
    ("eighths of a pulse", tuple(i / 8 for i in range(8)), (0.7, 0.35, 0.4, 0.35, 0.6, 0.35, 0.4, 0.35), 0.01, 0.005),
)
"""The probabilities lie closer together than those of real parts: a part repeats its pattern, so that bars are no
independent witnesses, and with the sharper (.75, .55) five takes in 400 were read a whole slot aside, with these
none."""

_SWUNG_PLAYED = (0.75, 0.60)
_SWUNG_SHARE = 0.15
_NEVER = 1e-9

_FINEST_MS = {"sixths": 55.0, "eighths of a pulse": 55.0, "sixteenth": 40.0, "triplet": 50.0}
"""Shortest gap between slots that is meant as such, milliseconds: 16 strokes a second is beyond one pair of hands, and
nothing so short can be told from an uneven stroke."""


@dataclass(frozen=True, eq=False)
class Divisions:
    """The divisions that a take is read with: *n* rows, slots padded with nan to eight columns."""

    slots: FloatArray
    """Parts of the pulse, shape (n, 8)."""
    played: FloatArray
    """Probability that each slot is played, shape (n, 8); 0 where there is no slot."""
    share: FloatArray
    """Prior share of each division, shape (2, n): simple pulses, pulses of three thirds."""
    swung: IntArray
    """1 for swung eighths, else 0, shape (n,)."""

    @cached_property
    def parts(self) -> FloatArray:
        """Every distinct slot, increasing."""
        return np.unique(np.round(self.slots[np.isfinite(self.slots)], 9))

    @cached_property
    def part_of(self) -> IntArray:
        """Index into ``parts`` of each slot, shape (n, 8); 0 where there is none."""
        return np.searchsorted(self.parts, np.nan_to_num(np.round(self.slots, 9))).astype(np.int64)


def divisions_for(
    pulse_ms: float, swing_parts: tuple[float, ...], shuffle: float | None = None, *, thirds: bool = False
) -> Divisions:
    """The divisions that can be meant at pulses of this length, with one row of swung eighths for each position
    given.

    Parameters
    ----------
    pulse_ms : float
        Length of a pulse, ms.
    swing_parts : tuple of float
        Swung off-beats to try, parts of the pulse.
    shuffle : float, optional
        Where the late sixteenth of a swung pair stands, part of an eighth; swung sixteenths then take the place of plain ones.
    thirds : bool
        Whether the eighths of a pulse are its thirds.

    Returns
    -------
    Divisions
        Those that hands can play at this tempo.
    """
    rows = [row for row in _PLAIN if pulse_ms * min(np.diff([*row[1], 1.0])) >= _FINEST_MS.get(row[0], 0.0)]
    if shuffle is not None:
        rows = [
            _swung_sixteenths(shuffle, thirds=thirds) if row[0] == ("sixths" if thirds else "sixteenth") else row
            for row in rows
        ]
    rows += [("swung", (0.0, part), _SWUNG_PLAYED, _SWUNG_SHARE / len(swing_parts), _NEVER) for part in swing_parts]
    slots, played = np.full((len(rows), 8), np.nan), np.zeros((len(rows), 8))
    for i, (_, at, p, _, _) in enumerate(rows):
        slots[i, : len(at)], played[i, : len(p)] = at, p
    share = np.array([[row[3] for row in rows], [row[4] for row in rows]])
    swung = np.array([int(row[0] == "swung") for row in rows])
    return Divisions(slots, played, share / share.sum(1, keepdims=True), swung)


def _swung_sixteenths(late: float, *, thirds: bool) -> _Row:
    """The row of plain sixteenths with the second of each pair at this part of the eighth."""
    name, slots, played, simple, compound = next(
        row for row in _PLAIN if row[0] == ("sixths" if thirds else "sixteenth")
    )
    eighth = 2 / len(slots)
    return name, tuple((i // 2 + (i % 2) * late) * eighth for i in range(len(slots))), played, simple, compound


@dataclass(frozen=True, eq=False)
class Costs:
    """Tables over the place of a stroke in its pulse, ``bins`` to a pulse, and over the set of slots struck."""

    bins: int
    """Places told apart in a pulse."""
    stroke: FloatArray
    """Minus the log density of a stroke at each place, against one anywhere in the pulse; shape (bins, n)."""
    bit: npt.NDArray[np.uint8]
    """The slot struck as one bit, 0 where the place belongs to the next pulse's first; shape (bins, n)."""
    slot: IntArray
    """Index of the nearest slot; 8 for the next pulse's first; shape (bins, n)."""
    sure: FloatArray
    """Probability that a stroke at this place was meant for that slot, and not a stray; shape (bins, n)."""
    struck: FloatArray
    """Minus the log probability of each set of slots struck, shape (256, n)."""


_STRAY = 0.03
_SKIRT = 0.08
_SKIRT_WIDTH = 2.2
_SAME_SLOT = 0.3
"""Nats for a second stroke on the same slot, so that two strokes rather mean two slots."""


def cost_tables(divisions: Divisions, bins: int, lead: int, sigma: float) -> Costs:
    """The tables for a spread ``sigma`` (in pulses) and windows that open ``lead`` bins before the pulse.

    Parameters
    ----------
    divisions : Divisions
        What a pulse may be divided into.
    bins : int
        Places told apart in a pulse.
    lead : int
        Bins by which a window opens before its pulse.
    sigma : float
        Spread about the local offset, pulses.

    Returns
    -------
    Costs
        Nats.

    Notes
    -----
    Ours.
    """
    position = ((np.arange(bins) + lead) % bins - lead) / bins
    slots = np.concatenate([divisions.slots, np.ones((divisions.slots.shape[0], 1))], axis=1)
    far = np.abs(position[:, None, None] - slots[None])
    far = np.where(np.isnan(far), 9.0, far)
    density = (1 - _SKIRT) * _normal(far, sigma) + _SKIRT * _normal(far, _SKIRT_WIDTH * sigma)
    near = np.argmin(far, axis=2)
    meant = (1 - _STRAY) * density
    total = meant.sum(2) + _STRAY
    sure = np.take_along_axis(meant, near[:, :, None], 2)[:, :, 0] / total
    bit = np.where(near < 8, 1 << np.minimum(near, 7), 0).astype(np.uint8)
    return Costs(bins, -np.log(total), bit, near, sure, _struck(divisions.played))


def _normal(far: FloatArray, sigma: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (far / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)))


def _struck(played: FloatArray) -> FloatArray:
    """Minus the log probability of each set of struck slots (a bit mask), shape (256, divisions)."""
    on = ((np.arange(256)[:, None] >> np.arange(8)[None]) & 1).astype(bool)
    there = played > 0
    hit = np.where(there, -np.log(np.maximum(played, _NEVER)) - _SAME_SLOT, 0.0)
    empty = np.where(there, -np.log1p(-np.minimum(played, 1 - _NEVER)), 0.0)
    return np.asarray(np.where(on[:, None, :], hit[None], empty[None]).sum(2))
