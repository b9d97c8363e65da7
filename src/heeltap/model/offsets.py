"""The Offsets table: one row a judged stroke. Everything downstream (statistics, score, findings, charts) reads this.

Conventions: ``offset_ms`` is played minus reference; negative is early, positive is late. Rows are in time order. A stroke
that was planned and not played, or played and not planned, has no row here: those live in `Tally`.
"""

from dataclasses import dataclass, fields

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray, freeze_columns
from heeltap.model.plan import Section

__all__ = ["Offsets", "Tally"]


@dataclass(frozen=True, slots=True)
class Tally:
    """How many strokes there were of each kind."""

    planned: int
    matched: int
    missed: int
    extra: int
    wrong_pitch: int
    unplaced: int
    """Notes that fit no slot of the grid; without a plan only."""


@dataclass(frozen=True, slots=True, eq=False)
class Offsets:
    """Judged strokes in time order; columns are read-only and equally long."""

    onset_us: IntArray
    """When it was played (the median note of a chord), microseconds on the take's clock."""
    offset_ms: FloatArray
    """Played minus reference, milliseconds, the known delay already taken away."""
    bar: IntArray
    """From 1."""
    beat: FloatArray
    """In the metre's own beats from 1."""
    division: IntArray
    """Code into `heeltap.model.subdivisions.DIVISIONS`."""
    section: IntArray
    """Index into ``sections``; -1 outside all."""
    kind: IntArray
    """Code into `heeltap.model.plan.KINDS`: groove, fill, landing, after."""
    hand: IntArray
    """Code into `heeltap.model.plan.HANDS`."""
    pitch: IntArray
    """Lowest key of the stroke."""
    drum: IntArray
    """Key of the loudest note where the keys are drums of a kit or pads, so that they are no distances; else -1."""
    velocity: IntArray
    """Loudest note of the stroke, 1-127."""
    interval_ms: FloatArray
    """Expected time to the nearer neighbour in the same part; the beat's length where there is none."""
    rest_ms: FloatArray
    """Expected time since the stroke before; the beat's length for the first."""
    leap: IntArray
    """Semitones between this stroke's lowest key and that of the stroke before in the same hand; 0 for the first, and
    where either is a drum."""
    spread_ms: FloatArray
    """Last minus first note of the stroke; 0 for a single note."""
    bars_to_change: IntArray
    """Whole bars until a new section starts: 1 in the last bar before it; 9999 where none follows."""
    bars_since_change: IntArray
    """Whole bars since the section started: 0 in its first bar."""
    confidence: FloatArray
    """Probability that this stroke was meant for this place."""
    reference_sd_ms: FloatArray
    """Standard error of the reference itself: 0 against the click."""
    beat_ms: FloatArray
    """Length of the beat that the stroke is in."""
    sections: tuple[Section, ...]
    """What ``section`` points to."""

    def __post_init__(self) -> None:
        """Check the columns; raise `ValueError` when they differ in length."""
        freeze_columns(self, (f.name for f in fields(self) if f.name != "sections"))

    def __len__(self) -> int:
        return int(self.offset_ms.size)

    def pick(self, rows: np.ndarray) -> "Offsets":
        """The chosen rows as a new table.

        Parameters
        ----------
        rows : bool, shape (n,), or int64, shape (m,)
            A mask, or increasing indices.

        Returns
        -------
        Offsets
        """
        columns = {f.name: getattr(self, f.name) for f in fields(self)}
        return Offsets(**{k: v if k == "sections" else v[rows] for k, v in columns.items()})
