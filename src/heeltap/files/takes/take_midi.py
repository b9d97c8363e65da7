"""A take as a MIDI file: the notes in a journal's messages, and a plain file of them, written and read.

The count-in's bars come first, so that the bar lines of an editor fit; the markers say where bar 1 is.

Inside: `notes_of_messages`, `pedal_of_messages`, `merged`, `write_take_midi`, `count_in_of`.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap.files.smf.types import Midi, Pedal
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.metadata import Context
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["count_in_of", "merged", "notes_of_messages", "pedal_of_messages", "write_take_midi"]

_COUNT_IN = "count-in"
"""First marker of a ``take.mid``; bar 1 is at the second one."""

_LARGEST_RATE = 0x7FFF
"""Ticks per quarter that a MIDI file can hold: the finest grid keeps onsets to 17 us at 60 bpm."""


def notes_of_messages(at_us: IntArray, messages: Sequence[bytes]) -> Notes:
    """The note-ons among whole messages, each with its length.

    Parameters
    ----------
    at_us : int64, shape (n,)
        When each message was played, not decreasing.
    messages : n byte strings
        Whole MIDI messages; all but notes are passed over. A note-on of velocity 0 is a note-off; a note-off ends the
        oldest note of its key that still sounds.
    """
    rows: list[list[int]] = []
    sounding: dict[tuple[int, int], list[int]] = {}
    for at, message in zip(at_us.tolist(), messages, strict=True):
        if len(message) != 3 or message[0] & 0xE0 != 0x80:
            continue
        channel, key = message[0] & 0x0F, message[1] & 0x7F
        if message[0] & 0x10 and message[2]:
            sounding.setdefault((channel, key), []).append(len(rows))
            rows.append([at, key, message[2] & 0x7F, channel, 0, -1])
        elif sounding.get((channel, key)):
            row = rows[sounding[channel, key].pop(0)]
            row[5] = at - row[0]
    return Notes(*(as_ints(row[column] for row in rows) for column in range(6)))


def pedal_of_messages(at_us: IntArray, messages: Sequence[bytes]) -> Pedal:
    """The sustain pedal (controller 64) among whole messages."""
    rows = [
        (at, message[0] & 0x0F, message[2] & 0x7F)
        for at, message in zip(at_us.tolist(), messages, strict=True)
        if len(message) == 3 and message[0] & 0xF0 == 0xB0 and message[1] == 64
    ]
    at, channel, value = (as_ints(row[column] for row in rows) for column in range(3))
    return Pedal(at, channel, value, np.zeros_like(at))


def merged(notes: Sequence[Notes], pedals: Sequence[Pedal]) -> tuple[Notes, Pedal]:
    """The notes and the pedals of several ports as one table each, by time; ``track`` is the port's place in the list.

    At the same microsecond the earlier port comes first.
    """
    columns = ("onset_us", "pitch", "velocity", "channel", "duration_us")
    table = {name: np.concatenate([as_ints([]), *(getattr(one, name) for one in notes)]) for name in columns}
    track = np.repeat(np.arange(len(notes)), [len(one) for one in notes]).astype(np.int64)
    order = np.argsort(table["onset_us"], kind="stable")
    whole = Notes(track=track[order], **{name: column[order] for name, column in table.items()})
    feet = {
        name: np.concatenate([as_ints([]), *(getattr(one, name) for one in pedals)])
        for name in ("at_us", "channel", "value")
    }
    foot = np.repeat(np.arange(len(pedals)), [len(one) for one in pedals]).astype(np.int64)
    rank = np.argsort(feet["at_us"], kind="stable")
    return whole, Pedal(track=foot[rank], **{name: column[rank] for name, column in feet.items()})


def write_take_midi(path: Path, context: Context, plan: Plan, notes: Notes, pedal: Pedal | None) -> None:
    """Write the plain file: the count-in's bars first, then the plan's; markers name them; one track a port.

    ``notes`` and ``pedal`` count from bar 1, beat 1; what lies before the count-in is left out.
    """
    zero_us = context.count_in_us
    tempo, metre = _with_count_in(plan, zero_us)
    early = int(np.searchsorted(notes.onset_us, -zero_us))
    shown = notes.pick(np.arange(len(notes)) >= early)
    moved = replace(shown, onset_us=shown.onset_us + zero_us)
    starts = plan.tempo.us_at(
        [round(float(plan.metre.quarter_of_bar(s.first_bar)) * plan.tempo.ticks_per_quarter) for s in plan.sections]
    )
    named = [(zero_us + int(us), section.name) for us, section in zip(starts, plan.sections, strict=True)]
    if zero_us:
        first = [] if named and named[0][0] == zero_us else [(zero_us, "bar 1")]
        named = [(0, _COUNT_IN), *first, *named]
    if pedal is not None and len(pedal):
        late = pedal.at_us >= -zero_us
        pedal = Pedal(pedal.at_us[late] + zero_us, pedal.channel[late], pedal.value[late], pedal.track[late])
    tracks = _tracks(moved, pedal, [context.in_port or "take", *context.more_in_ports])
    write_midi(path, tracks, tempo=tempo, metre=metre, markers=named, name=context.title or context.name)


def _tracks(notes: Notes, pedal: Pedal | None, names: Sequence[str]) -> list[TrackOut]:
    """A track for each port that was open, played or not."""
    count = max(len(names), int(notes.track.max(initial=0)) + 1)
    found = []
    for number in range(count):
        foot = None
        if pedal is not None:
            rows = pedal.track == number
            foot = Pedal(pedal.at_us[rows], pedal.channel[rows], pedal.value[rows], pedal.track[rows])
        name = names[number] if number < len(names) else f"port {number + 1}"
        found.append(TrackOut(notes.pick(notes.track == number), name=name, pedal=foot))
    return found


def count_in_of(midi: Midi) -> int:
    """Where bar 1 is in a ``take.mid`` that was taken out of its folder, microseconds; 0 in any other file."""
    if len(midi.markers) < 2 or midi.markers[0].text != _COUNT_IN or midi.markers[0].tick != 0:
        return 0
    return midi.markers[1].at_us


def _with_count_in(plan: Plan, count_in_us: int) -> tuple[TempoMap, MetreMap]:
    """The plan's maps moved behind the count-in, on the finest grid that holds every tempo change exactly."""
    old = plan.tempo
    fine = max(1, _LARGEST_RATE // old.ticks_per_quarter)
    rate, first = old.ticks_per_quarter * fine, int(old.us_per_quarter[0])
    before = (count_in_us * rate * 2 + first) // (2 * first)
    quarters = count_in_us / first
    ticks = np.concatenate([as_ints([0]), old.at_tick[1:] * fine + before])
    metre = plan.metre
    at_quarter = np.concatenate([np.zeros(1), metre.at_quarter[1:] + quarters])
    return TempoMap(rate, ticks, old.us_per_quarter.copy()), MetreMap(at_quarter, metre.metres)
