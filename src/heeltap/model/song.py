"""A song as data: whose drums you play to, which part you play, where its sections are, and where your takes lie.

Inside: `Song`.
"""

from dataclasses import dataclass

from heeltap.model.lean import Lean
from heeltap.model.plan import Section

__all__ = ["Song"]


@dataclass(frozen=True, slots=True)
class Song:
    """What a song file says."""

    name: str
    """Short: the file's name without its ending."""
    title: str
    file: str
    """The MIDI file of the song, from the song file's folder on."""
    part: str
    """The part that you play: its name, or as `heeltap.model.parts.choose_part` takes it."""
    drums: str
    """The part whose kick and snare give the time; empty: the click does."""
    drums_file: str = ""
    """Where that part is; empty: in ``file``."""
    plan: str = ""
    """The part of ``file`` that says what should be played; empty: only you know."""
    takes: str = "takes"
    """Folder of your takes, from the song file's folder on."""
    sections: tuple[Section, ...] = ()
    """Empty: the markers of ``file``."""
    lean: Lean | None = None
    """Offset to aim at; None is the drums themselves."""
    pocket_ms: float | None = None
    """Half-width of the pocket; None follows the tempo."""
    recording_delay_ms: float | None = None
    """So much later than played the takes were written; None where that is not known."""
    begins_at_bar: int | None = None
    """The bar of the song that every take file begins with; None: each file begins at bar 1, or its name says where."""
    folder: str = ""
    """Where the song file lies."""
