"""Finish a take from its journal, also one that a killed run left behind.

Inside: `RawRecording`, `read_recording`, `finish_take`, `played_of`, `recover`, `Recovered`.
"""

import contextlib
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from heeltap.app.drill.external_clock import last_position_us, on_the_clock
from heeltap.app.takes.left_out_of import dropped_cycles_us, left_out_of
from heeltap.app.takes.passes import split_loop
from heeltap.app.takes.sounded import drums_that_sounded
from heeltap.engine.stamping import Assembler, restamp
from heeltap.errors import HeeltapError, PlanError
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.folder import OpenTake, read_context, save_take, set_aside, unfinished
from heeltap.files.takes.journal import RESUMED, Journal, read_journal
from heeltap.files.takes.metadata import FINISHED_LATER, Context, plan_from
from heeltap.files.takes.take_midi import merged, notes_of_messages, pedal_of_messages
from heeltap.model.arrays import IntArray
from heeltap.model.notes import Notes
from heeltap.session.handsfree import NO_CONTROLS, Controls, parse_trigger

__all__ = [
    "RawRecording",
    "Recovered",
    "controls_of",
    "finish_take",
    "played_of",
    "ports_of",
    "read_recording",
    "recover",
]


@dataclass(frozen=True, slots=True)
class Recovered:
    """A take that a killed run left behind."""

    name: str
    folder: Path | None
    """Where it lies now, of a loop its first pass; None when it held no note and is gone."""
    problem: str
    """Why it could not be finished; empty when it was."""


@dataclass(frozen=True, slots=True, eq=False)
class RawRecording:
    """A journal and what was played in it."""

    journal: Journal
    notes: Notes
    """Microseconds from bar 1, beat 1."""
    pedal: Pedal


def read_recording(path: Path, controls: Controls = NO_CONTROLS) -> RawRecording:
    """The recording in a journal file; keys and pedals that are ``controls`` are no notes. Raises `TakeFileError`.

    Parameters
    ----------
    path : Path
        Of the journal.
    controls : Controls

    Returns
    -------
    RawRecording
    """
    journal = read_journal(path)
    return RawRecording(journal, *played_of(journal, controls))


def finish_take(
    take: OpenTake,
    context: Context,
    *,
    ending: str,
    judged_to_us: int | None = None,
    recording: RawRecording | None = None,
) -> Path:
    """Finish a take from its journal; the finished folder.

    Parameters
    ----------
    take : OpenTake
        Its engine has ended.
    context : Context
        As it was when the take began, with what became known since.
    ending : str
        Why it ended.
    judged_to_us : int, optional
        Where an unfinished take ends.
    recording : RawRecording, optional
        From the take's journal, where the caller has read it already.

    Returns
    -------
    Path

    Raises
    ------
    TakeFileError
        The journal cannot be read or the folder not be written; nothing is lost, the open folder stays.
    """
    if recording is None:
        recording = read_recording(take.journal, controls_of(context))
    journal, notes, pedal = recording.journal, recording.notes, recording.pedal
    plan = plan_from(context.plan, str(take.folder))
    spans, clicks = left_out_of(journal, plan, heard=context.heard if context.out_port else None, until_us=judged_to_us)
    context = msgspec.structs.replace(context, dropped_cycles_us=dropped_cycles_us(journal).tolist())
    if context.clock_input >= 0:
        followed = on_the_clock(journal, context, plan, (notes, pedal), spans, judged_to_us)
        context, plan, (notes, pedal) = followed
        judged_to_us, spans = context.judged_to_us, []
    done = msgspec.structs.replace(
        context,
        ending=ending,
        judged_to_us=judged_to_us,
        left_out=[*context.left_out, *spans],
        late_clicks=clicks.late,
        unsent_clicks=clicks.unsent,
        drums=drums_that_sounded(context.drums, journal),
    )
    return save_take(take, done, plan, notes, pedal=pedal)


def controls_of(context: Context) -> Controls:
    """The hands-free controls that a take was played with; one that cannot be read is none.

    Parameters
    ----------
    context : Context

    Returns
    -------
    Controls
    """
    found = {}
    for action, text in context.controls.items():
        with contextlib.suppress(PlanError):
            found[action] = parse_trigger(text)
    return Controls(found)


def played_of(journal: Journal, controls: Controls = NO_CONTROLS) -> tuple[Notes, Pedal]:
    """The notes and the pedal of a journal, microseconds from bar 1, beat 1.

    Each port is stamped by itself, its notes ended by its own note-offs, and all are merged by time; ``track`` is the
    port's index in the journal's header. Keys and pedals that are ``controls`` are no notes and no pedal.

    Parameters
    ----------
    journal : Journal
    controls : Controls

    Returns
    -------
    notes : Notes
    pedal : Pedal
    """
    ports = np.array(journal.port, dtype=object)
    names = ports_of(journal)
    played = [_one_port(journal, name, np.flatnonzero(ports == name), controls) for name in names]
    return merged([notes for notes, _ in played], [pedal for _, pedal in played])


def ports_of(journal: Journal) -> list[str]:
    """The ports of a journal in the order of its header; those that only its messages name come last.

    Parameters
    ----------
    journal : Journal

    Returns
    -------
    list of str
    """
    told = journal.header.get("ports")
    names = [name for name in told if isinstance(name, str)] if isinstance(told, list) else []
    return list(dict.fromkeys([*names, *journal.port]))


def _one_port(journal: Journal, name: str, rows: IntArray, controls: Controls) -> tuple[Notes, Pedal]:
    """What was played on one port."""
    rows = rows[np.argsort(journal.arrival_ns[rows], kind="stable")]  # in order already, unless a line is damaged
    stamps = restamp(journal.arrival_ns[rows], journal.delta_s[rows], breaks=_breaks(journal, name, rows))
    assembler = Assembler()
    at_us: list[int] = []
    messages: list[bytes] = []
    for stamp, row in zip(stamps.tolist(), rows.tolist(), strict=True):
        for message in assembler.feed(journal.data[row]):
            if controls and _is_control(message, controls):
                continue
            at_us.append((stamp - journal.zero_ns + 500) // 1000)
            messages.append(message)
    times = np.array(at_us, dtype=np.int64)
    return notes_of_messages(times, messages), pedal_of_messages(times, messages)


def _is_control(message: bytes, controls: Controls) -> bool:
    """Whether a message is of a key or a pedal that only starts and stops."""
    kind = message[0] & 0xF0
    if kind not in (0x80, 0x90, 0xB0) or len(message) < 2:
        return False
    return bool(controls.actions_of("cc" if kind == 0xB0 else "key", message[1]))


def recover(root: Path) -> list[Recovered]:
    """Finish every take that a killed run left behind; what cannot be finished is set aside and said.

    Parameters
    ----------
    root : Path
        The folder of all takes.

    Returns
    -------
    list of Recovered
    """
    found = []
    for take in unfinished(root):
        try:
            found.append(_recover_one(take))
        except HeeltapError as error:
            found.append(Recovered(take.name, set_aside(take, keep=True), str(error)))
    return [one for one in found if one.folder is not None]


def _recover_one(take: OpenTake) -> Recovered:
    """One take; without a single message there is nothing to keep."""
    context = read_context(take.folder)
    recording = read_recording(take.journal, controls_of(context)) if take.journal.exists() else None
    if recording is None or not len(recording.journal):
        return Recovered(take.name, set_aside(take, keep=False), "")
    journal = recording.journal
    last_ns = max(int(journal.arrival_ns.max()), journal.zero_ns)
    last_click_us = int(journal.click_due_us.max(initial=0))
    until_us = max((last_ns - journal.zero_ns) // 1000, last_click_us)
    if context.clock_input >= 0:
        until_us = last_position_us(journal, context, plan_from(context.plan, str(take.folder)))
    ending = FINISHED_LATER if journal.closed else "recovered"
    folder = finish_take(take, context, ending=ending, judged_to_us=until_us, recording=recording)
    loop = split_loop(folder, context.passes)
    return Recovered(take.name, (*loop.passes, loop.whole)[0], "")


def _breaks(journal: Journal, name: str, rows: IntArray) -> np.ndarray:
    """True at the first message after each return of the port, and after each pause."""
    breaks = np.zeros(rows.size, dtype=np.bool_)
    for gap in journal.gaps:
        after = np.flatnonzero(journal.arrival_ns[rows] >= gap.at_ns)
        if gap.kind in ("back", RESUMED) and gap.port in ("", name) and after.size:
            breaks[after[0]] = True
    return breaks
