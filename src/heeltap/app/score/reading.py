"""What a person says of a file that is to be read, and how time runs in the song that it belongs to.

Inside: `Reading`, `Drums`, `Timeline`, `bar_us`.
"""

from dataclasses import dataclass
from pathlib import Path

from heeltap.errors import PlanError, sentence
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan, Section
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["Drums", "Reading", "Timeline", "bar_us"]


@dataclass(frozen=True, slots=True)
class Reading:
    """What a person says of a file: which part of it, and what to hold it against. None is "not said"."""

    part: str | None = None
    """Number, ``track 2``, ``channel 10`` or name."""
    pattern: int | None = None
    """Which pattern of a format 2 file, from 1."""
    plan: str | Path | Plan | None = None
    """What should have been played."""
    leader: "str | Drums | None" = None
    """The part whose kick and snare time is measured against: of the same file, or read before."""
    sections: str | None = None
    """``intro:1 verse:5``."""
    tempo_bpm: float | None = None
    """Quarter notes a minute of the click, where the file does not say or says it wrong."""
    at_bar: int | None = None
    """The bar of the song that the file begins with, where it is a clip."""
    timeline: "Timeline | None" = None
    """Tempo, metre and sections of the song that the take belongs to, in place of the file's own."""
    drill: str = ""
    """What `heeltap drill` takes to play the plan, where no file of it is named."""


@dataclass(frozen=True, slots=True, eq=False)
class Drums:
    """A drum part that leads."""

    name: str
    notes: Notes
    """On the song's clock."""


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """How time runs in a song."""

    tempo: TempoMap
    metre: MetreMap
    sections: tuple[Section, ...] = ()


def bar_us(time: Timeline, bar: int | None, where: str = "take") -> int:
    """When a bar begins, microseconds from bar 1; 0 where no bar is named. Raises `PlanError` below bar 1.

    Parameters
    ----------
    time : Timeline
    bar : int or None
        From 1; None is the beginning.
    where : str
        For the message.

    Returns
    -------
    int
        Microseconds from bar 1.

    Raises
    ------
    PlanError
        A bar below 1.
    """
    if bar is None:
        return 0
    if bar < 1:
        raise PlanError(sentence(where, f"bar {bar}", "a bar from 1"))
    return round(float(time.tempo.us_at_quarter(time.metre.quarter_of_bar(bar))))
