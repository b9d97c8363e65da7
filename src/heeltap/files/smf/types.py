"""What the reader gives of a MIDI file: notes, maps, parts, markers, pedal.

Conventions: times are int64 microseconds from tick 0 of the file; the reader trims and moves nothing.
Inside: `Marker`, `Pedal`, `Midi`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import IntArray, freeze_columns
from heeltap.model.notes import Notes
from heeltap.model.parts import Part
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["Marker", "Midi", "Pedal"]

_COLUMNS = ("onset_us", "pitch", "velocity", "channel", "track", "duration_us", "tick", "part")


@dataclass(frozen=True, slots=True)
class Marker:
    """A named place in the piece."""

    at_us: int
    """Microseconds from the start."""
    tick: int
    """The same in the file's ticks."""
    text: str
    """Fit for display; may be empty."""
    kind: str
    """``marker`` or ``cue``."""
    track: int
    """The file's track, from 0."""


@dataclass(frozen=True, slots=True, eq=False)
class Pedal:
    """Sustain pedal (controller 64) in time order; columns are read-only and equally long."""

    at_us: IntArray
    """Microseconds from the start, not decreasing."""
    channel: IntArray
    """0-15."""
    value: IntArray
    """0-127; 64 and more is down."""
    track: IntArray
    """The file's track, from 0."""

    def __post_init__(self) -> None:
        """Check the columns."""
        freeze_columns(self, ("at_us", "channel", "value", "track"))

    def __len__(self) -> int:
        return int(self.at_us.size)


@dataclass(frozen=True, slots=True, eq=False)
class Midi:
    """A file that was read: all note-ons of all parts in time order, and the maps that time them.

    The eight columns are int64, read-only and equally long. Notes at the same tick stand in the order of track, then
    file.
    """

    path: str
    """Where it came from, as shown to people."""
    format: int
    """As written in the header: 0, 1 or 2."""
    onset_us: IntArray
    """Microseconds from tick 0, not decreasing."""
    pitch: IntArray
    """Key number 0-127."""
    velocity: IntArray
    """1-127."""
    channel: IntArray
    """0-15 as on the wire; shown to people as 1-16."""
    track: IntArray
    """The file's track, from 0."""
    duration_us: IntArray
    """Microseconds to the note-off; -1 when it never came."""
    tick: IntArray
    """Position in ticks of ``tempo.ticks_per_quarter``."""
    part: IntArray
    """Index into ``parts``."""
    tempo: TempoMap
    """One map for all tracks, in the file's own ticks."""
    metre: MetreMap
    """One map for all tracks; 4/4 until the file says otherwise."""
    parts: tuple[Part, ...]
    """Who plays, in the order of track, port and channel."""
    markers: tuple[Marker, ...]
    """Markers and cue points of all tracks, in time order."""
    pedal: Pedal
    """Sustain pedal of all parts."""
    warnings: tuple[str, ...]
    """What was odd, one line each: where, what, what was done."""
    frames: int = 0
    """Frame rate (24, 25, 29 for 29.97, 30) when the ticks count frames and bars mean nothing; 0 for beats."""

    has_tempo: bool = True
    """False when the file states no tempo: 120 bpm is then the standard's default, and beats may mean nothing."""

    def __post_init__(self) -> None:
        """Check the columns."""
        freeze_columns(self, _COLUMNS)

    def __len__(self) -> int:
        return int(self.onset_us.size)

    @property
    def length_us(self) -> int:
        """Microseconds from the start to the end of the last note; 0 without notes."""
        return int(np.max(self.onset_us + np.maximum(self.duration_us, 0), initial=0))

    @property
    def notes(self) -> Notes:
        """All note-ons of all parts."""
        return Notes(self.onset_us, self.pitch, self.velocity, self.channel, self.track, self.duration_us)

    def notes_of(self, part: Part) -> Notes:
        """The note-ons of one part."""
        return self.notes.pick(self.rows_of(part))

    def rows_of(self, part: Part) -> IntArray:
        """Rows of one part in the columns of the file, increasing."""
        return np.flatnonzero(self.part == part.index - 1).astype(np.int64)
