"""Score one handed-in take again, from bytes that nobody vouches for.

Inside: `score_raw`.
"""

import hashlib

import numpy as np

from heeltap.analysis.analyse import Options, judge_take, result_of
from heeltap.app.practice.handin import item_of
from heeltap.app.practice.sets import OpenSet, Work
from heeltap.app.takes.finish_take import played_of
from heeltap.app.takes.left_out_of import left_out_of
from heeltap.classroom.students import MOST_MISSED, ClassTake, TakeFigures
from heeltap.errors import HeeltapError, TakeFileError
from heeltap.files.handin_read import RawTake, shown
from heeltap.files.takes.journal import Journal, journal_from
from heeltap.files.takes.left_out import leave_out
from heeltap.files.takes.metadata import Context, context_from, plan_from
from heeltap.model.lean import Lean
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Plan
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.units import bpm_from_us_per_quarter

__all__ = ["score_raw"]

_MOST_MESSAGES = 100_000
"""In one take: an hour at twenty-seven a second. Ours."""

_MOST_PORTS = 16

_MOST_HELD = 1_000
"""Stretches of one take that the player held."""

_LONGEST_US = 4 * 3_600_000_000
"""Notes further than four hours from bar 1 are no playing."""


def score_raw(raw: RawTake, opened: OpenSet) -> ClassTake:
    """A handed-in take by the set's plan, lean and pocket.

    Raises
    ------
    TakeFileError
        Its journal or context is damaged or absurd, or it is of no exercise of the set; one line.
    """
    try:
        return _score(raw, opened)
    except HeeltapError:
        raise
    except Exception as error:
        # Bytes made by somebody else can be wrong in ways that no check names; the others have to be reported all the same.
        raise TakeFileError(
            raw.where, f"cannot be scored: {type(error).__name__}", "a take as it was played"
        ) from error


def _score(raw: RawTake, opened: OpenSet) -> ClassTake:
    context = context_from(raw.context, raw.where)
    plan = plan_from(context.plan, raw.where)
    number = item_of(plan, opened.works)
    if number is None:
        raise TakeFileError(
            raw.where, f"is of no exercise of '{opened.set.title}'", "the strokes that the set asks for"
        )
    work = opened.works[number - 1]
    journal = _journal(raw)
    notes, _ = played_of(journal)
    sane = notes.pick(np.abs(notes.onset_us) <= _LONGEST_US)
    spans, _ = left_out_of(journal, plan, heard=context.heard if context.out_port else None)
    # Only what the player held himself is known to nobody but the context; it makes a take count less, never more.
    held = [span for span in context.left_out if span.why == "held"][:_MOST_HELD]
    kept, judged_plan = leave_out(sane, plan, [*spans, *held], context.judged_to_us)
    options = _options(context, work, plan)
    played = Played(
        kept,
        judged_plan.tempo,
        judged_plan.metre,
        judged_plan,
        file=raw.entry.folder,
        resolution_ms=context.resolution_ms,
    )
    judged, source, aim = judge_take(played, options)
    result = result_of(judged, source, aim)
    return _row(raw, context, plan, number, result, judged.offsets, _events(journal))


def _journal(raw: RawTake) -> Journal:
    """The journal, if it is of a sane size."""
    lines = raw.journal.count(b"\n")
    if lines > 2 * _MOST_MESSAGES:
        raise TakeFileError(raw.where, f"a journal of {lines:,} lines", f"at most {2 * _MOST_MESSAGES:,}")
    journal = journal_from(raw.journal, raw.where)
    if len(journal) > _MOST_MESSAGES or len(journal.gaps) > 1000 or len(set(journal.port)) > _MOST_PORTS:
        raise TakeFileError(
            raw.where, f"{len(journal):,} messages", f"at most {_MOST_MESSAGES:,} from {_MOST_PORTS} ports"
        )
    if not len(journal):
        raise TakeFileError(raw.where, "nothing was played", "a take")
    # In floats: the difference of two int64 may not fit into one.
    since_s = (journal.arrival_ns.astype(np.float64) - journal.zero_ns) / 1e9
    if np.any(np.abs(since_s) > _LONGEST_US / 1e6) or np.any(np.abs(journal.delta_s) > _LONGEST_US / 1e6):
        raise TakeFileError(raw.where, "times that no take has", f"at most {_LONGEST_US // 3_600_000_000} hours")
    ports = np.array(journal.port, dtype=object)
    if any(np.any(np.diff(journal.arrival_ns[ports == name]) < 0) for name in set(journal.port)):
        raise TakeFileError(raw.where, "messages that run backwards", "a journal in the order of its arrivals")
    return journal


def _options(context: Context, work: Work, plan: Plan) -> Options:
    """Lean and pocket are the set's; the delay is what the student's calibration found, which nobody here can check."""
    return Options(
        lean=Lean(work.lean.ms_in(plan)),
        pocket_ms=_pocket(work),
        delay_ms=context.delay_ms,
        delay_uncertainty_ms=context.delay_uncertainty_ms,
        delay_method=context.delay_method,
        retrigger_ms=context.retrigger_ms,
    )


def _pocket(work: Work) -> float | None:
    exercise = work.item.exercise
    return work.item.pocket_ms if exercise is None else exercise.pocket.half_width_ms


def _row(
    raw: RawTake,
    context: Context,
    plan: Plan,
    number: int,
    result: Result,
    table: Offsets,
    events: str,
) -> ClassTake:
    """What the page needs of a result."""
    overall, counts, said = result.overall, result.counts, raw.entry.figures
    lost = len(plan) - counts.planned + counts.missed
    return ClassTake(
        item=number,
        tempo_bpm=round(bpm_from_us_per_quarter(int(plan.tempo.us_per_quarter[0])), 2),
        date=context.date[:40],
        folder=shown(raw.entry.folder),
        figures=TakeFigures(overall.n, overall.bias_ms, overall.spread_ms, overall.in_pocket),
        in_pocket=overall.in_pocket,
        said=None if said is None else TakeFigures(said.n, said.bias_ms, said.spread_ms, said.in_pocket),
        why_unlike=_unlike(context, result),
        whole=context.judged_to_us is None and lost <= MOST_MISSED * len(plan),
        delay_known=result.calibration.known,
        findings=result.findings,
        position=table.bar * 100_000 + np.rint(1000 * table.beat).astype(np.int64),
        offset_ms=table.offset_ms,
        events=events,
    )


def _unlike(context: Context, asked: Result) -> str:
    """Where the student aimed at something else than the set asks for."""
    parts = []
    if abs(context.lean_ms - asked.lean_ms) > 0.01:
        parts.append(f"aimed at {context.lean_ms:+g} ms, the set asks for {asked.lean_ms:+g}")
    if context.pocket_ms != asked.pocket_ms:
        own, wanted = (f"{width:g} ms" if width else "the usual size" for width in (context.pocket_ms, asked.pocket_ms))
        parts.append(f"took a pocket of {own}, the set asks for {wanted}")
    return "; ".join(parts)


def _events(journal: Journal) -> str:
    """Hash of what was played: bytes and the time between them, so that neither port nor hour changes it."""
    first = int(journal.arrival_ns[0])
    digest = hashlib.sha256()
    for at, data in zip(journal.arrival_ns.tolist(), journal.data, strict=True):
        digest.update(f"{at - first} {data.hex()}\n".encode())
    return digest.hexdigest()
