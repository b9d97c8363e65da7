"""The parts of a file: who plays what, and which one a person means.

A part is what one track sends on one channel (and port): channel alone would make one player of two, track alone would
make one of four. Inside: `Part`, `guess_drums`, `choose_part`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from heeltap.errors import InputFileError
from heeltap.model.arrays import IntArray

__all__ = ["DRUM_CHANNEL", "HasParts", "Part", "choose_part", "describe_parts", "guess_drums"]

_DRUM_NAME = re.compile(
    r"drum|perc(?!eiv)|\bkit\b|schlagzeug|batteri|bater[ií]a|trommel|ドラム|パーカッション|鼓", re.IGNORECASE
)
"""Names that players give to a drum part, in a few languages. Ours."""

DRUM_CHANNEL = 9
"""Channel 10 of General MIDI, counted from 0 (General MIDI 1, from memory)."""

_KICK, _SNARE = (35, 36), (37, 38, 39, 40)
_CYMBAL = (42, 44, 46, 49, 51, 52, 53, 55, 57, 59)
"""General MIDI percussion keys: bass drums, snare sounds, hi-hats and cymbals (General MIDI 1, percussion map)."""


@dataclass(frozen=True, slots=True)
class Part:
    """One player in a file."""

    index: int
    """Number for people, from 1, in the order of track, port, channel."""
    name: str
    """Name in the file, fit for display; may be empty, and need not be unique."""
    track: int
    """The file's track, from 0."""
    channel: int
    """0-15 as on the wire; shown to people as 1-16."""
    program: int | None
    """First program change on the channel, 0-127; None where there is none."""
    notes: int
    """Number of note-ons."""
    is_drums: bool
    """A guess from channel, name and content: never more than that."""
    port: int = 0
    """Output port that the track asks for."""

    def __str__(self) -> str:
        """One line for a list: number, name, place, note count."""
        name = f' "{self.name}"' if self.name else ""
        port = f", port {self.port + 1}" if self.port else ""
        drums = ", drums" if self.is_drums else ""
        return (
            f"part {self.index}{name}: track {self.track}, channel {self.channel + 1}{port}, {self.notes} notes{drums}"
        )


class HasParts(Protocol):
    """Anything that has a path and parts."""

    @property
    def path(self) -> str:
        """Where it came from, for messages.

        Returns
        -------
        str
        """

    @property
    def parts(self) -> tuple[Part, ...]:
        """Its parts, in order.

        Returns
        -------
        tuple of Part
        """


def guess_drums(channel: int, name: str, pitch: IntArray, tick: IntArray) -> bool:
    """Whether a part is probably a drum part.

    On channel 10 it is (General MIDI); else its name may say so; else it is when its keys are those of a drum kit with bass
    drum, snare and cymbals, and cymbals fall together with drums, as no bass line does, on a tenth of its instants at
    least. Ours.

    Parameters
    ----------
    channel : int
        0-15 as on the wire.
    name : str
        Of the track; may be empty.
    pitch, tick : int64, shape (n,)
        Key and position of each note, in any one unit.

    Returns
    -------
    bool
    """
    if channel == DRUM_CHANNEL or _DRUM_NAME.search(name):
        return True
    if pitch.size < 4 or pitch.min() < 27 or pitch.max() > 87:
        return False
    count = np.bincount(pitch, minlength=128)
    if min(count[list(keys)].sum() for keys in (_KICK, _SNARE, _CYMBAL)) < 0.05 * pitch.size:
        return False
    cymbal, drum = np.isin(pitch, _CYMBAL), np.isin(pitch, _KICK + _SNARE)
    together = np.intersect1d(tick[cymbal], tick[drum]).size
    return bool(together >= 0.1 * np.unique(tick).size)


def describe_parts(parts: Sequence[Part]) -> str:
    """The parts with their note counts, on one line; the first thirty.

    Parameters
    ----------
    parts : sequence of Part

    Returns
    -------
    str
    """
    more = f"; and {len(parts) - 30} more" if len(parts) > 30 else ""
    return "; ".join(str(part) for part in parts[:30]) + more


def choose_part(midi: HasParts, wanted: str | None = None) -> Part:
    """The part that a person means.

    Parameters
    ----------
    midi : HasParts
        A file that was read.
    wanted : str or None
        A part's number ("2"), "track 2" (as in the file, from 0), "ch 10" or "channel 10" (from 1), both ("track 2
        channel 10"), or a name: whole, else how it begins, else what it contains; upper and lower case are the same.
        None takes the only part there is.

    Returns
    -------
    Part

    Raises
    ------
    InputFileError
        When there is no note, no such part, or more than one; lists the parts with their note counts.
    """
    if not midi.parts:
        raise InputFileError(midi.path, "no notes in this file", hint="there is nothing to score")
    found = list(midi.parts) if wanted is None else _matching(midi.parts, wanted.strip())
    if len(found) == 1:
        return found[0]
    if not found:
        raise InputFileError(midi.path, f"no part {wanted!r}", "one of: " + describe_parts(midi.parts))
    what = f"{len(found)} parts" if wanted is None else f"{len(found)} parts fit {wanted!r}"
    raise InputFileError(
        midi.path, what, "one of: " + describe_parts(found), "choose by number, track, channel or name"
    )


def _matching(parts: Sequence[Part], wanted: str) -> list[Part]:
    """All parts that fit best: by number or place, else by whole name, beginning, content."""
    place = re.fullmatch(r"(?:track\s*(\d+))?[\s,]*(?:ch(?:annel|an|\.)?\s*(\d+))?", wanted, re.IGNORECASE)
    if place and (place[1] or place[2]):
        there = [
            part
            for part in parts
            if (place[1] is None or part.track == int(place[1]))
            and (place[2] is None or part.channel + 1 == int(place[2]))
        ]
        if there:
            return there
    if re.fullmatch(r"#?\d+", wanted) and (found := [part for part in parts if part.index == int(wanted.lstrip("#"))]):
        return found
    key = wanted.casefold()
    names = [part.name.casefold() for part in parts]
    for fits in (str.__eq__, str.startswith, str.__contains__):
        if key and (rows := [part for part, name in zip(parts, names, strict=True) if fits(name, key)]):
            return rows
    return []
