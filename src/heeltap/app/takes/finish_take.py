"""From a journal to a finished take and its result; and the same for what a killed run left behind.

The result always comes from the take folder, never from what the screen saw: so a drill and the scoring of its saved
file cannot differ.

Inside: `finish_take`, `played_of`, `left_out_of`, `options_of`, `score_kept`, `load_scored_inputs`, `score_path`,
`recover`, `Recovered`.
"""

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from heeltap.analysis.advice.after_take import course_aside
from heeltap.app.drill.external_clock import last_position_us, on_the_clock
from heeltap.app.score.read import Played
from heeltap.app.score.score import Options, score_file, score_take
from heeltap.engine.deadlines import late_clicks
from heeltap.engine.stamping import Assembler, restamp
from heeltap.errors import HeeltapError, PlanError
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.folder import OpenTake, load_take, read_context, save_take, set_aside, take_of, unfinished
from heeltap.files.takes.journal import Journal, read_journal
from heeltap.files.takes.metadata import Context, LeftOut, plan_from
from heeltap.files.takes.take_midi import merged, notes_of_messages, pedal_of_messages
from heeltap.model.arrays import IntArray
from heeltap.model.notes import Notes
from heeltap.model.pitch import key_of
from heeltap.model.plan import Plan
from heeltap.model.result import Result
from heeltap.session.handsfree import NO_CONTROLS, Controls, parse_trigger
from heeltap.wording import bars as bars_in_words
from heeltap.wording import count

__all__ = [
    "Recovered",
    "finish_take",
    "left_out_of",
    "load_scored_inputs",
    "options_of",
    "played_of",
    "recover",
    "score_kept",
    "score_path",
]

_OPENS = {"lost": "back", "pause": "resume"}
"""Kinds of gap in a journal and what ends each."""

_MOST_LATE = 0.25
"""Where more of the clicks than this left late, leaving their beats out would leave nothing to judge. Ours."""


@dataclass(frozen=True, slots=True)
class Recovered:
    """A take that a killed run left behind."""

    name: str
    folder: Path | None
    """Where it lies now; None when it held no note and is gone."""
    problem: str
    """Why it could not be finished; empty when it was."""


def finish_take(take: OpenTake, context: Context, *, ending: str, judged_to_us: int | None = None) -> Path:
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

    Raises
    ------
    TakeFileError
        The journal cannot be read or the folder not be written; nothing is lost, the open folder stays.
    """
    journal = read_journal(take.journal)
    plan = plan_from(context.plan, str(take.folder))
    notes, pedal = played_of(journal, controls_of(context))
    spans, late = left_out_of(journal, plan, sounding=bool(context.out_port))
    if context.clock_input >= 0:
        followed = on_the_clock(journal, context, plan, (notes, pedal), spans, judged_to_us)
        context, plan, (notes, pedal) = followed
        judged_to_us, spans = context.judged_to_us, []
    done = msgspec.structs.replace(
        context,
        ending=ending,
        judged_to_us=judged_to_us,
        left_out=[*context.left_out, *spans],
        late_clicks=late,
    )
    return save_take(take, done, plan, notes, pedal=pedal)


def controls_of(context: Context) -> Controls:
    """The hands-free controls that a take was played with; one that cannot be read is none."""
    found = {}
    for action, text in context.controls.items():
        with contextlib.suppress(PlanError):
            found[action] = parse_trigger(text)
    return Controls(found)


def played_of(journal: Journal, controls: Controls = NO_CONTROLS) -> tuple[Notes, Pedal]:
    """The notes and the pedal of a journal, microseconds from bar 1, beat 1.

    Each port is stamped by itself, its notes ended by its own note-offs, and all are merged by time; ``track`` is the
    port's index in the journal's header. Keys and pedals that are ``controls`` are no notes and no pedal.
    """
    ports = np.array(journal.port, dtype=object)
    names = ports_of(journal)
    played = [_one_port(journal, name, np.flatnonzero(ports == name), controls) for name in names]
    return merged([notes for notes, _ in played], [pedal for _, pedal in played])


def ports_of(journal: Journal) -> list[str]:
    """The ports of a journal in the order of its header; those that only its messages name come last."""
    told = journal.header.get("ports")
    names = [name for name in told if isinstance(name, str)] if isinstance(told, list) else []
    return list(dict.fromkeys([*names, *journal.port]))


def _one_port(journal: Journal, name: str, rows: IntArray, controls: Controls) -> tuple[Notes, Pedal]:
    """What was played on one port."""
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


def left_out_of(journal: Journal, plan: Plan, *, sounding: bool) -> tuple[list[LeftOut], int]:
    """What is not held against the player, and how many clicks left late.

    Of several ports each has its gaps, and any of them leaves out its stretch: nobody can tell which strokes were meant
    for it. ``sounding`` is whether anybody heard the clicks; where nobody did, a late one disturbs nobody.
    """
    spans: list[LeftOut] = []
    begun: dict[tuple[str, str], int] = {}
    for gap in journal.gaps:
        at_us = (gap.at_ns - journal.zero_ns + 500) // 1000
        if gap.kind in _OPENS:
            begun.setdefault((gap.kind, gap.port), at_us)
        ended = [key for key in begun if (_OPENS[key[0]], key[1]) == (gap.kind, gap.port)]
        spans += [LeftOut(begun.pop(key), at_us, "lost" if key[0] == "lost" else "held") for key in ended]
    end_us = int(journal.arrival_ns.max(initial=journal.zero_ns) - journal.zero_ns) // 1000 + 60_000_000
    spans += [LeftOut(at_us, max(at_us, end_us), "lost") for at_us in begun.values()]
    if not sounding:
        return spans, 0
    late = journal.click_due_us[late_clicks(journal.click_due_us, journal.click_sent_us)]
    if len(late) <= _MOST_LATE * len(journal.click_due_us):
        spans += [_beat_of(plan, due) for due in late.tolist() if due >= 0]
    return spans, len(late)


def score_kept(path: Path) -> Result:
    """The result of a saved take: its folder, or any file in it; errors as in `load_scored_inputs`."""
    result = score_take(*load_scored_inputs(path))
    folder = take_of(path)
    written = folder is not None and read_context(folder).exercise is not None
    return course_aside(result) if written else result


def score_path(path: str | Path, **options: Any) -> Result:
    """The result of a MIDI file, or of a kept take (its folder or a file in it) by the plan and aim that it was played to.

    ``options`` are those of `heeltap.score_file`; naming a plan scores a kept take like any other file.
    """
    folder = take_of(Path(path))
    if folder is None or options.get("plan") is not None:
        return score_file(path, **options)
    played, how = load_scored_inputs(folder)
    given = {name: options[name] for name in ("pocket_ms", "delay_ms") if options.get(name) is not None}
    if options.get("split") is not None:
        given["split_key"] = key_of(str(options["split"]))
    if "delay_ms" in given:
        given |= {"delay_uncertainty_ms": None, "delay_method": "given"}
    result = score_take(played, replace(how, **given))
    return result if read_context(folder).exercise is None else course_aside(result)


def load_scored_inputs(path: Path) -> tuple[Played, Options]:
    """A saved take, ready to be scored as it was meant: its folder, or any file in it.

    Raises
    ------
    TakeFileError, MidiFileError
        It cannot be read.
    """
    take = load_take(path)
    context = take.context
    notes, plan = take.judged()
    played = Played(
        notes,
        plan.tempo,
        plan.metre,
        plan,
        file=take.folder.name,
        part=context.in_port or "take",
        resolution_ms=context.resolution_ms,
        warnings=(*take.warnings, *_warnings(context, take.plan)),
    )
    return played, options_of(context)


def options_of(context: Context) -> Options:
    """How a take is to be judged, from what was known when it was made."""
    return Options(
        lean_ms=context.lean_ms,
        pocket_ms=context.pocket_ms,
        delay_ms=context.delay_ms,
        delay_uncertainty_ms=context.delay_uncertainty_ms,
        delay_method=context.delay_method,
        retrigger_ms=context.retrigger_ms,
        split_key=context.split_key,
        retrigger_of=context.retrigger_of,
    )


def recover(root: Path) -> list[Recovered]:
    """Finish every take that a killed run left behind; what cannot be finished is set aside and said."""
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
    if not take.journal.exists() or not len(read_journal(take.journal)):
        return Recovered(take.name, set_aside(take, keep=False), "")
    journal = read_journal(take.journal)
    last_ns = max(int(journal.arrival_ns.max()), journal.zero_ns)
    last_click_us = int(journal.click_due_us.max(initial=0))
    until_us = max((last_ns - journal.zero_ns) // 1000, last_click_us)
    if context.clock_input >= 0:
        until_us = last_position_us(journal, context, plan_from(context.plan, str(take.folder)))
    return Recovered(take.name, finish_take(take, context, ending="recovered", judged_to_us=until_us), "")


def _breaks(journal: Journal, name: str, rows: IntArray) -> np.ndarray:
    """True at the first message after each return of the port."""
    breaks = np.zeros(rows.size, dtype=np.bool_)
    for gap in journal.gaps:
        after = np.flatnonzero(journal.arrival_ns[rows] >= gap.at_ns)
        if gap.kind == "back" and gap.port in ("", name) and after.size:
            breaks[after[0]] = True
    return breaks


def _beat_of(plan: Plan, due_us: int) -> LeftOut:
    """From a click to just before the next beat."""
    quarter = float(plan.tempo.quarter_at(due_us))
    length = plan.metre.metres[int(plan.metre.row_at(quarter))].beat_quarters
    return LeftOut(due_us - 1_000, round(float(plan.tempo.us_at_quarter(quarter + length))) - 1_000, "late click")


def _warnings(context: Context, plan: Plan) -> Iterable[str]:
    """What a reader of the numbers must know of how the take came about."""
    if context.trusted is False:
        yield f"These scores are not trustworthy: the self-test of this route said ({context.selftest})"
    if context.delay_note:
        yield context.delay_note
    if context.clock_input >= 0:
        yield "The reference is the MIDI clock of the other device, freed of its jitter, and not a click of ours"
    if context.late_clicks:
        left = [span for span in context.left_out if span.why == "late click"]
        what = "the beats are left out of the score" if left else "too many to leave their beats out of the score"
        where = f" ({bars_in_words(_bars(plan, left))})" if left else ""
        yield f"{count(context.late_clicks, 'click')} left more than 2 ms late; {what}{where}"
    gaps = [span for span in context.left_out if span.why != "late click"]
    if gaps:
        yield f"Nothing could be heard for a while in {bars_in_words(_bars(plan, gaps))}; those strokes are left out"
    if context.ending == "recovered":
        yield "This take was recovered after the program was killed; it ends where the last note was written"
    elif context.judged_to_us is not None:
        bar = int(plan.metre.bar_beat(plan.tempo.quarter_at(context.judged_to_us))[0])
        yield f"The take ended early, in bar {max(bar, 1)} of {plan.bars} ({context.ending}); what follows is left out"


def _bars(plan: Plan, spans: Iterable[LeftOut]) -> list[int]:
    """The bars that spans touch."""
    numbers: set[int] = set()
    for span in spans:
        first, last = (
            int(plan.metre.bar_beat(plan.tempo.quarter_at(us))[0]) for us in (span.from_us + 1_000, span.to_us)
        )
        numbers |= set(range(max(first, 1), min(last, plan.bars) + 1))
    return sorted(numbers)
