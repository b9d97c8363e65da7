"""Keep each pass of a loop as a take of its own.

You play a loop in one go, and the recording stays as it is, in ``takes/.loops``. Each pass is cut out of it: its notes, its
plan, the drums that sounded, its lines of the journal. So the history shows pass beside pass like take beside take.

Inside: `Loop`, `split_loop`.
"""

import os
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np

from heeltap.app.takes.left_out_of import dropped_cycles_us, left_out_of
from heeltap.errors import TakeFileError
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.folder import JOURNAL, Take, load_take, open_take, save_take
from heeltap.files.takes.journal import Journal, JournalWriter, read_journal
from heeltap.files.takes.metadata import Context, DrumsOut, LeftOut, plan_out
from heeltap.model.excerpt import excerpt
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.session.plan_columns import columns_of

__all__ = ["LOOPS", "Loop", "split_loop"]

LOOPS = ".loops"
"""Folder of the whole recordings, inside that of all takes."""


@dataclass(frozen=True, slots=True)
class Loop:
    """Where a loop lies."""

    whole: Path
    """The recording in one."""
    passes: tuple[Path, ...] = ()
    """A take for each pass; empty where only the first one was played, or it was no loop: then the whole is the take."""


@dataclass(frozen=True, slots=True)
class _Span:
    """One pass."""

    number: int
    """From 1."""
    from_us: int
    to_us: int
    """Its bar lines, microseconds from bar 1, beat 1 of the whole."""
    cut_us: tuple[int, int]
    """What lies between these belongs to it: an early first stroke does, as after a pause."""


def split_loop(folder: Path, passes: int) -> Loop:
    """Cut a finished take of a loop into its passes.

    Parameters
    ----------
    folder : Path
        Of a finished take.
    passes : int
        How often its bars come in a row, as its context says; 1 is no loop, and nothing is read.

    Returns
    -------
    Loop

    Raises
    ------
    TakeFileError, MidiFileError
        The take cannot be read, or the passes not be written; the whole take stays.
    """
    if passes < 2:
        return Loop(folder)
    take = load_take(folder)
    spans = _spans(take)
    if len(spans) < 2:
        return Loop(folder)
    journal = read_journal(folder / JOURNAL)
    kept = tuple(_kept(take, journal, span) for span in spans)
    aside = folder.parent / LOOPS / folder.name
    try:
        aside.parent.mkdir(exist_ok=True)
        os.rename(folder, aside)
    except OSError as error:
        raise TakeFileError(str(aside), f"cannot be written: {error.strerror}") from error
    return Loop(aside, kept)


def _spans(take: Take) -> list[_Span]:
    """The passes in which something was played."""
    context, plan = take.context, take.plan
    if context.clock_input >= 0:
        return []
    bars = plan.bars // context.passes
    edges = [
        round(float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(1 + k * bars))))
        for k in range(context.passes + 1)
    ]
    columns = columns_of(plan)
    late_us = round(1000 * (context.delay_ms or 0.0))
    cuts = [-(2**61), *(columns.cut_us(at) + late_us for at in edges[1:-1]), 2**61]
    until = 2**61 if context.judged_to_us is None else context.judged_to_us
    rows = zip(edges[:-1], edges[1:], cuts[:-1], cuts[1:], strict=True)
    spans = [_Span(k, low, high, (first, last)) for k, (low, high, first, last) in enumerate(rows, start=1)]
    return [span for span in spans if span.from_us < until and _inside(take.notes, span).any()]


def _inside(notes: Notes, span: _Span) -> np.ndarray:
    return np.asarray((notes.onset_us >= span.cut_us[0]) & (notes.onset_us < span.cut_us[1]))


def _kept(take: Take, journal: Journal, span: _Span) -> Path:
    """One pass as a take folder."""
    bars = take.plan.bars // take.context.passes
    cut = excerpt(take.plan, 1 + (span.number - 1) * bars, span.number * bars)
    plan = replace(cut.plan, sections=())
    notes = take.notes.pick(_inside(take.notes, span))
    notes = replace(notes, onset_us=notes.onset_us - span.from_us)
    foot = take.pedal
    rows = (foot.at_us >= span.cut_us[0]) & (foot.at_us < span.cut_us[1])
    pedal = Pedal(foot.at_us[rows] - span.from_us, foot.channel[rows], foot.value[rows], foot.track[rows])
    context = _context(take, plan, span)
    opened = open_take(take.folder.parent, context)
    own = _write_journal(opened.journal, journal, span, take.folder.name)
    return save_take(opened, _judged(context, take.context, span, (plan, own)), plan, notes, pedal=pedal)


def _context(take: Take, plan: Plan, span: _Span) -> Context:
    """What is known of a pass before its clicks are looked at."""
    whole = take.context
    return msgspec.structs.replace(
        whole,
        plan=plan_out(plan),
        title=f"{whole.title}, pass {span.number} of {whole.passes}",
        date=_later(whole.date, span.from_us),
        passes=1,
        loop=take.folder.name,
        drums=None if whole.drums is None else _drums(whole.drums, span),
    )


def _judged(context: Context, whole: Context, span: _Span, played: tuple[Plan, Journal]) -> Context:
    """The context of a pass with what is not held against the player, and where the pass ends."""
    plan, journal = played
    early = whole.judged_to_us
    ends = None if early is None or early >= span.to_us else early - span.from_us
    found, faults = left_out_of(journal, plan, heard=whole.heard if whole.out_port else None, until_us=ends)
    held = [
        LeftOut(max(one.from_us, span.from_us) - span.from_us, min(one.to_us, span.to_us) - span.from_us, one.why)
        for one in whole.left_out
        if one.why != "late click" and one.from_us < span.to_us and one.to_us > span.from_us
    ]
    clicks = [one for one in found if one.why == "late click"]
    return msgspec.structs.replace(
        context,
        ending=whole.ending if ends is not None else "played",
        judged_to_us=ends,
        left_out=[*held, *clicks],
        dropped_cycles_us=dropped_cycles_us(journal).tolist(),
        late_clicks=faults.late,
        unsent_clicks=faults.unsent,
    )


def _drums(drums: DrumsOut, span: _Span) -> DrumsOut:
    """The drum strokes of a pass."""
    rows = [i for i, at in enumerate(drums.at_us) if span.from_us <= at < span.to_us]
    at_us = [drums.at_us[i] - span.from_us for i in rows]
    return DrumsOut(drums.name, at_us, [drums.key[i] for i in rows], [drums.velocity[i] for i in rows])


def _write_journal(path: Path, whole: Journal, span: _Span, name: str) -> Journal:
    """Write the lines of a pass as a journal of its own, and read it back."""
    zero_ns = whole.zero_ns + 1000 * span.from_us
    header = {key: value for key, value in whole.header.items() if key not in ("format", "zero_ns", "t0")}
    low_ns, high_ns = (whole.zero_ns + 1000 * at for at in span.cut_us)
    with JournalWriter(path, {**header, "loop": name, "zero_ns": zero_ns}) as writer:
        clicks = (whole.click_index, whole.click_due_us, whole.click_sent_us, whole.click_key)
        for index, due, sent, key in zip(*(column.tolist() for column in clicks), strict=True):
            if span.from_us <= due < span.to_us or (span.number == 1 and due < 0):
                writer.click(index, due - span.from_us, sent - span.from_us, key)
        messages = zip(whole.arrival_ns.tolist(), whole.delta_s.tolist(), whole.data, whole.port, strict=True)
        for arrival_ns, delta_s, data, port in messages:
            if low_ns <= arrival_ns < high_ns:
                writer.message(arrival_ns, delta_s, data, port)
        for gap in whole.gaps:
            if low_ns <= gap.at_ns < high_ns:
                writer.gap(gap.kind, gap.at_ns, gap.port)
    return read_journal(path)


def _later(date: str, by_us: int) -> str:
    """A date so much later; as it is where it is none."""
    try:
        return (datetime.fromisoformat(date) + timedelta(microseconds=by_us)).isoformat(timespec="seconds")
    except ValueError:
        return date
