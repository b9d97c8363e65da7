"""The other parts of the song that can sound while you play your own, each as a voice of the mix.

Inside: `Band`, `NO_BAND`, `band_of`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.files.smf import read_midi
from heeltap.files.smf.types import Midi
from heeltap.model.arrays import as_ints
from heeltap.model.messages import OFF, Schedule, is_note_on, merge
from heeltap.model.mix import MOST_PARTS, part_kind
from heeltap.model.notes import Notes
from heeltap.model.parts import Part
from heeltap.model.plan import Plan
from heeltap.sound.percussion import CHANNEL
from heeltap.sound.played import played_schedule

__all__ = ["NO_BAND", "Band", "band_of", "notes_at_plan"]


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Parts that can sound."""

    names: tuple[str, ...] = ()
    """Of each; the first one is the voice `part_kind` (1)."""
    numbers: tuple[int, ...] = ()
    """Of each in the file, from 1."""
    schedule: Schedule | None = None
    """Their notes, each part with a kind of its own; None where there is no part."""


NO_BAND = Band()


def band_of(song: str, left_out: tuple[int, ...], plan: Plan) -> Band:
    """The other parts of a song, at the tempo of the plan: the first `MOST_PARTS` that have notes.

    Parameters
    ----------
    song : str
        The MIDI file.
    left_out : tuple of int
        Numbers of the parts that the player plays, or hears as the drums.
    plan : Plan

    Returns
    -------
    Band
    """
    midi = read_midi(song)
    parts = [part for part in midi.parts if part.index not in left_out and part.notes][:MOST_PARTS]
    if not parts:
        return NO_BAND
    heard = [_heard(midi, part, part_kind(number), plan) for number, part in enumerate(parts, start=1)]
    names = tuple(part.name or f"part {part.index}" for part in parts)
    return Band(names, tuple(part.index for part in parts), merge(*heard))


def notes_at_plan(midi: Midi, part: Part, plan: Plan) -> Notes:
    """The notes of a part at the tempo of a plan.

    Parameters
    ----------
    midi : Midi
    part : Part
    plan : Plan

    Returns
    -------
    Notes
        Microseconds from bar 1, beat 1.
    """
    notes = midi.notes.pick(midi.rows_of(part))
    ends = notes.onset_us + np.maximum(notes.duration_us, 0)
    onset, end = (
        np.rint(plan.tempo.us_at_quarter(midi.tempo.quarter_at(us))).astype(np.int64) for us in (notes.onset_us, ends)
    )
    return replace(notes, onset_us=onset, duration_us=np.where(notes.duration_us < 0, -1, end - onset))


def _heard(midi: Midi, part: Part, kind: str, plan: Plan) -> Schedule:
    """One part as messages of its kind. Its program goes before the first note of every bar: a part may be switched on in
    any of them."""
    end_us = round(float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(plan.bars + 1))))
    notes = notes_at_plan(midi, part, plan)
    notes = notes.pick(notes.onset_us < end_us)
    notes = replace(notes, duration_us=np.minimum(notes.duration_us, end_us - notes.onset_us))
    sent = played_schedule(notes, end_us)
    sent = replace(sent, kind=tuple(one if one == OFF else kind for one in sent.kind))
    if part.program is None or part.channel == CHANNEL:
        return sent
    ons = as_ints(due for due, message in zip(sent.due_us.tolist(), sent.messages, strict=True) if is_note_on(message))
    bar = plan.metre.bar_beat(plan.tempo.quarter_at(ons))[0]
    at_us = ons[np.unique(bar, return_index=True)[1]]
    program = bytes((0xC0 | part.channel, part.program))
    return merge(Schedule(at_us, (program,) * at_us.size, (kind,) * at_us.size, end_us), sent)
