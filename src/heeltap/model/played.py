"""A take as it goes into the analysis: the notes, and what they are held against.

Inside: `Played`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.errors import InputFileError
from heeltap.model.notes import Notes
from heeltap.model.plan import MOST_BARS, MOST_PLANNED, Plan, Section
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["Played"]


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """What somebody played, and what it is held against."""

    notes: Notes
    """On the click's clock: 0 us is bar 1, beat 1."""
    tempo: TempoMap
    """Of the click."""
    metre: MetreMap
    plan: Plan | None = None
    """None: the take is placed on the click's grid."""
    sections: tuple[Section, ...] = ()
    """Without a plan; a plan has its own."""
    leader: Notes | None = None
    """The drum part whose kick and snare time is measured against; None is the click."""
    leader_name: str = ""
    file: str = "take"
    """What the report calls the take."""
    part: str = ""
    """What the report calls the part."""
    resolution_ms: float | None = None
    """Nothing finer can be told from this source; None where that is not known."""
    warnings: tuple[str, ...] = ()
    """What was odd about the source, a line each."""
    stretch: tuple[int, int] | None = None
    """First and last bar that the take holds, where it is a part of the plan only; what lies outside is not held
    against it."""
    find_place: bool = False
    """Whether heeltap first looks for where the take lies on its plan; False where that is known, as for a drill."""
    dropped_us: tuple[int, ...] = ()
    """When the MIDI system dropped a cycle, microseconds from bar 1, beat 1: a note may be lost there."""
    drill: str = ""
    """What `heeltap drill` takes to play the part again; empty where that is not known."""

    def __post_init__(self) -> None:
        """Raise `InputFileError` where there are more notes than anybody plays, or one lies in a bar that is out of reach."""
        if len(self.notes) > MOST_PLANNED:
            raise InputFileError(self.file, f"{len(self.notes):,} notes", f"a take of at most {MOST_PLANNED:,}")
        for notes in (self.notes, self.leader):
            last_us = np.zeros(0) if notes is None else notes.onset_us[-1:]
            bar = int(self.metre.bar_beat(self.tempo.quarter_at(last_us))[0].max(initial=1))
            if bar > MOST_BARS:
                found = f"a note in bar {bar:,}"
                raise InputFileError(
                    self.file, found, f"at most {MOST_BARS:,} bars", "its tempo or its end is damaged?"
                )
