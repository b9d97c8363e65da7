"""Load a take folder with the plan, lean, pocket and delay that you played it with.

The result always comes from the take folder, never from what the screen saw, so a drill and a later scoring of its file
agree.

Inside: `load_scored_inputs`, `scored_inputs_of`, `ScoredInputs`, `score_inputs`, `score_kept`, `options_of`.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from heeltap.analysis.advice.after_take import course_aside
from heeltap.analysis.analyse import Options, analyse
from heeltap.app.drill.external_clock import NO_CLOCK
from heeltap.devices.inputs import KEYS_NAME
from heeltap.files.smf import UNRELEASED
from heeltap.files.takes.folder import Take, load_take
from heeltap.files.takes.metadata import FINISHED_LATER, Context, LeftOut, drums_from
from heeltap.model.lean import Lean
from heeltap.model.plan import Plan
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.units import bpm_from_us_per_quarter
from heeltap.wording import bars as bars_in_words
from heeltap.wording import count

__all__ = ["ScoredInputs", "load_scored_inputs", "options_of", "score_inputs", "score_kept", "scored_inputs_of"]


@dataclass(frozen=True, slots=True, eq=False)
class ScoredInputs:
    """All that the result of a kept take is made from."""

    take: Take
    """As it lies on the disk."""
    played: Played
    """What of it counts."""
    options: Options


def load_scored_inputs(path: Path, context: Context | None = None) -> ScoredInputs:
    """A kept take, ready to be scored as it was meant: its folder, or any file in it.

    Parameters
    ----------
    path : Path
    context : Context, optional
        Of the take, where the caller has read it already.

    Returns
    -------
    ScoredInputs

    Raises
    ------
    TakeFileError, MidiFileError
        It cannot be read.
    """
    return scored_inputs_of(load_take(path, context))


def scored_inputs_of(take: Take) -> ScoredInputs:
    """The same for a take that was read.

    Parameters
    ----------
    take : Take

    Returns
    -------
    ScoredInputs
    """
    context = take.context
    notes, plan = take.judged()
    drums = context.drums if context.drums_lead and context.drums and context.drums.at_us else None
    played = Played(
        notes,
        plan.tempo,
        plan.metre,
        plan,
        leader=None if drums is None else drums_from(drums, str(take.folder)),
        leader_name="" if drums is None else drums.name,
        file=take.folder.name,
        part=context.in_port or "take",
        resolution_ms=context.resolution_ms,
        warnings=(*_of_the_file(take), *_warnings(context, take.plan)),
        dropped_us=tuple(context.dropped_cycles_us),
        drill=_drill_of(context, take.plan),
    )
    return ScoredInputs(take, played, options_of(context))


def score_inputs(inputs: ScoredInputs) -> Result:
    """The result; for an exercise of the course the history says what comes next, so that advice is left out.

    Parameters
    ----------
    inputs : ScoredInputs

    Returns
    -------
    Result
    """
    result = analyse(inputs.played, inputs.options)
    return result if inputs.take.context.exercise is None else course_aside(result)


def score_kept(path: Path) -> Result:
    """The result of a kept take: its folder, or any file in it; raises as `load_scored_inputs`.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Result
    """
    return score_inputs(load_scored_inputs(path))


def options_of(context: Context) -> Options:
    """How a take is to be judged, from what was known when it was made.

    Parameters
    ----------
    context : Context

    Returns
    -------
    Options
    """
    return Options(
        lean=Lean(context.lean_ms),
        pocket_ms=context.pocket_ms,
        delay_ms=context.delay_ms,
        delay_uncertainty_ms=context.delay_uncertainty_ms,
        delay_method=context.delay_method,
        retrigger_ms=context.retrigger_ms,
        split_key=context.split_key,
        retrigger_of=context.retrigger_of,
    )


_MADE = re.compile(r"([a-z]+)-([a-z0-9-]+)_(\d+)-(\d+)_s(\d+)")
"""Name of a generated exercise: family, grade, the two numbers of its metre, seed."""


def _drill_of(context: Context, plan: Plan) -> str:
    """What `heeltap drill` takes to play the same exercise; empty for a song, whose file may be anywhere by now."""
    made = _MADE.fullmatch(context.name)
    if made is None or context.exercise is None:
        return ""
    bpm = bpm_from_us_per_quarter(int(plan.tempo.us_per_quarter[0]))
    metre = "" if (made[3], made[4]) == ("4", "4") else f" --metre {made[3]}/{made[4]}"
    seed = "" if made[5] == "1" else f" --seed {made[5]}"
    return f"{made[1]} {made[2]}{metre} --tempo {bpm:.5g}{seed}"


def _of_the_file(take: Take) -> list[str]:
    """What the reader of its MIDI file warns of; the computer's keyboard says of no key that it was released."""
    silent = take.context.in_port == KEYS_NAME
    return [text for text in take.warnings if not (silent and text.startswith(UNRELEASED))]


def _warnings(context: Context, plan: Plan) -> Iterable[str]:
    """What a reader of the numbers must know of how the take came about."""
    if context.trusted is False:
        yield f"You cannot trust these scores: the self-test of this route said ({context.selftest})"
    if context.delay_note:
        yield context.delay_note
    if context.clock_input >= 0:
        yield "heeltap measured against the MIDI clock of the other device, without its jitter, not against its own click"
    yield from _click_warnings(context, plan)
    mine = [span for span in context.left_out if span.why == "held"]
    if mine:
        yield f"You left {bars_in_words(_bars(plan, mine))} out, so heeltap did not judge the strokes there"
    clockless = [span for span in context.left_out if span.why == NO_CLOCK]
    if clockless:
        where = bars_in_words(_bars(plan, clockless))
        yield f"The clock of the other device was gone for a while in {where}; heeltap left those strokes out"
    gaps = [span for span in context.left_out if span.why not in ("late click", "held", NO_CLOCK)]
    if gaps:
        yield f"heeltap heard nothing for a while in {bars_in_words(_bars(plan, gaps))} and left those strokes out"
    if context.ending == "recovered":
        said = "heeltap finished this take later: the program was killed or could write no more"
        yield f"{said}; it ends with the last note on the disk"
    elif context.ending == FINISHED_LATER:
        yield "heeltap finished this take later: the drill ended before the take was kept; it ends where the drill did"
    elif context.judged_to_us is not None:
        bar = int(plan.metre.bar_beat(plan.tempo.quarter_at(context.judged_to_us))[0])
        yield f"The take ended early, in bar {max(bar, 1)} of {plan.bars} ({context.ending}); heeltap left the rest out"


def _click_warnings(context: Context, plan: Plan) -> Iterable[str]:
    """What was wrong with the clicks, and what became of the strokes beside them."""
    left = [span for span in context.left_out if span.why == "late click"]
    what = "heeltap left out the strokes beside them" if left else "heeltap left no stroke out for it"
    where = f" ({bars_in_words(_bars(plan, left))})" if left else ""
    if context.late_clicks:
        yield f"{count(context.late_clicks, 'click')} left 5 ms late or more; {what}{where}"
    if context.unsent_clicks:
        again = "" if context.late_clicks else f"; {what}{where}"
        yield f"{count(context.unsent_clicks, 'click')} never sounded{again}"


def _bars(plan: Plan, spans: Iterable[LeftOut]) -> list[int]:
    """The bars that spans touch."""
    numbers: set[int] = set()
    for span in spans:
        first, last = (
            int(plan.metre.bar_beat(plan.tempo.quarter_at(us))[0]) for us in (span.from_us + 1_000, span.to_us)
        )
        numbers |= set(range(max(first, 1), min(last, plan.bars) + 1))
    return sorted(numbers)
