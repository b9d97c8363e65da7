"""From a take to its `Result`: the one way, for files, kept takes, hand-ins and the end of a drill.

First the take is judged: every stroke against its planned place, or against the click's grid. Then statistics, score,
findings and the bars to play again are put together.

Conventions: milliseconds; an offset is played minus reference, negative is early. A delay that is not given is not known,
and nothing is taken away.

Each step names its own sources; their order is ours.

Inside: `analyse`, `Options`; the two steps `judge_take` and `result_of` with `Aim` and `Source`; `bars_to_replay`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np

from heeltap.analysis.advice.after_take import advice_of
from heeltap.analysis.align import align
from heeltap.analysis.at_its_place import Laid, at_its_place
from heeltap.analysis.findings import findings
from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import Leader
from heeltap.analysis.lost_notes import lost_words, may_be_lost
from heeltap.analysis.offsets_of import Judged, Shift, judge_grid, judge_plan
from heeltap.analysis.pocket import centre_of
from heeltap.analysis.quantise import Slots, quantise
from heeltap.analysis.result_parts import Aim, counts_of, missed_bars, scored, section_rows
from heeltap.analysis.section_words import unsure_ms
from heeltap.analysis.statistics.tables import summarise
from heeltap.analysis.strokes import RETRIGGER_US, fold_retriggers, strokes
from heeltap.analysis.weak_bars import WeakBars, weak_bars, with_commands
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.hands import hand_lines, hands_of, with_hands
from heeltap.model.lean import ON_THE_BEAT, Lean
from heeltap.model.notes import Notes
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Plan, kept_rows, within_bars
from heeltap.model.plan_from import accent_beats
from heeltap.model.played import Played
from heeltap.model.result import FEEL, Calibration, Finding, Reference, Result, Swing
from heeltap.model.timeline import MetreMap
from heeltap.units import TICKS_PER_QUARTER, bpm_from_us_per_quarter

__all__ = ["Aim", "Options", "Source", "analyse", "bars_to_replay", "judge_take", "result_of"]


@dataclass(frozen=True, slots=True)
class Options:
    """How a take is to be judged. None is always "not said"; what then holds stands beside each field."""

    lean: Lean | None = None
    """Offset aimed at; else the beat itself."""
    pocket_ms: float | None = None
    """Half-width of the pocket; else it is 4 % of the beat, 12 to 25 ms."""
    delay_ms: float | None = None
    """Known delay of the route; else it is not known."""
    delay_uncertainty_ms: float | None = None
    """95 % half-width of ``delay_ms``; else it is not known."""
    delay_method: str | None = None
    """How the delay was found; else ``given``."""
    retrigger_ms: float | None = None
    """Window for double triggers, 0 folds nothing; else 30 ms."""
    grid: int | None = None
    """Slots a whole note of a forced plain raster; else the grid is found, or the plan followed."""
    split_key: int | None = None
    """Lowest key of the right hand; else hands are not told apart."""
    retrigger_of: Mapping[int, float] = field(default_factory=dict)
    """Window for double triggers of single keys, ms."""

    def over(self, usual: "Options") -> "Options":
        """These options, and the usual ones where these say nothing.

        A delay that is given replaces all that was known of the usual one; a window for double triggers holds for every key.

        Parameters
        ----------
        usual : Options
            Such as those that a kept take was played with.

        Returns
        -------
        Options
        """
        if self.delay_ms is not None:
            usual = replace(usual, delay_uncertainty_ms=None, delay_method=None)
        if self.retrigger_ms is not None:
            usual = replace(usual, retrigger_of={})
        said = {one.name: getattr(self, one.name) for one in fields(self)}
        return replace(usual, **{name: value for name, value in said.items() if value not in (None, {})})


@dataclass(frozen=True, slots=True)
class Source:
    """Where the take comes from, in words and numbers for the head of the report."""

    file: str
    part: str
    reference: Reference
    calibration: Calibration
    resolution_ms: float | None
    metre: MetreMap
    swing: Swing | None = None
    warnings: tuple[str, ...] = ()
    accent_beats: tuple[float, ...] = ()
    """Beats that the plan accents, from 1; empty where it accents none."""
    on_grid: bool = True
    """False: the take follows no grid that was tried, so nothing is said about how it was played."""
    place: tuple[str, ...] = ()
    """Where it lies on its plan, in sentences."""
    drill: str = ""
    """What `heeltap drill` takes to play the part; empty where that is not known."""


def analyse(take: Played, options: Options | None = None) -> Result:
    """The whole Result of one take: the one way from raw notes to numbers.

    Parameters
    ----------
    take : Played
        The notes and what they are held against, microseconds from bar 1, beat 1.
    options : Options, optional
        How it is to be judged.

    Returns
    -------
    Result
        Times in milliseconds.
    """
    return result_of(*judge_take(take, options))


def judge_take(take: Played, options: Options | None = None) -> tuple[Judged, "Source", "Aim"]:
    """The first step of `analyse`: the take's Offsets table, and all else that its Result is put together from.

    Parameters
    ----------
    take : Played
    options : Options, optional

    Returns
    -------
    judged : Judged
    source : Source
    aim : Aim
    """
    how = options or Options()
    window = RETRIGGER_US if how.retrigger_ms is None else round(how.retrigger_ms * 1000)
    single = {key: round(ms * 1000) for key, ms in how.retrigger_of.items()}
    folded = fold_retriggers(take.notes, retrigger_us=window, retrigger_of=single)
    leader = _leader(take, window)
    slots: Slots | None = None
    laid: Laid | None = None
    lost = 0
    if take.plan is not None:
        laid = _laid(take, take.plan, folded.notes, how)
        judged, lost = _against_plan(laid.plan, laid.notes, how, leader, take.dropped_us)
    else:
        judged, slots = _against_grid(take, folded.notes, how, leader)
    source = Source(
        file=take.file,
        part=take.part,
        reference=_reference(take),
        calibration=_calibration(how),
        resolution_ms=take.resolution_ms,
        metre=take.metre,
        swing=None if slots is None else slots.swing,
        warnings=(
            *take.warnings,
            *_stretched(take, laid),
            *_folded(folded.folded_count),
            *lost_words(take, lost),
            *(() if slots is None else slots.warnings),
        ),
        accent_beats=() if take.plan is None else accent_beats(take.plan),
        on_grid=slots is None or slots.on_grid,
        place=() if laid is None else laid.said,
        drill=take.drill,
    )
    return judged, source, Aim((how.lean or ON_THE_BEAT).ms_at(_beat_ms(judged, take)), how.pocket_ms)


def result_of(judged: Judged, source: Source, aim: Aim) -> Result:
    """The whole Result of one take.

    Parameters
    ----------
    judged : Judged
    source : Source
        Where the take is from.
    aim : Aim
        Lean and pocket, milliseconds.

    Returns
    -------
    Result
        Times in milliseconds.
    """
    table = judged.offsets
    summary = summarise(table)
    beat = source.metre.metres[0].beat_quarters
    counts, overall = counts_of(judged), summary.overall
    if source.on_grid:
        overall = scored(overall, judged, aim, source.calibration, source.metre)
    found = _found(table, source, aim)
    again = bars_to_replay(judged, source, aim) if source.on_grid else WeakBars((), None)
    return Result(
        file=source.file,
        part=source.part,
        reference=source.reference,
        lean_ms=aim.lean_ms,
        pocket_ms=aim.pocket_ms,
        calibration=source.calibration,
        resolution_ms=source.resolution_ms,
        counts=counts,
        overall=overall,
        by_beat=summary.by_beat,
        by_division=summary.by_division,
        by_section=section_rows(
            summary, judged, aim, source.calibration, against_drums=source.reference.kind == "leader"
        ),
        swing=source.swing,
        findings=found,
        replay=again.entries,
        replay_more=again.more,
        advice=advice_of(found, again.entries, overall, counts, table, beat_quarters=beat) if source.on_grid else (),
        notes=judged.rows,
        warnings=source.warnings + _doubt(judged),
        on_grid=source.on_grid,
        place=source.place,
    )


def _found(table: Offsets, source: Source, aim: Aim) -> tuple[Finding, ...]:
    """The findings; a take on no grid has none: what it says of the player would be about the wrong click."""
    if not source.on_grid:
        return ()
    return tuple(
        findings(
            table,
            lean_ms=aim.lean_ms if source.calibration.known else None,
            delay_uncertainty_ms=unsure_ms(source.calibration),
            accent_beats=source.accent_beats,
            swing_asked=source.swing is None,
        )
    )


def bars_to_replay(judged: Judged, source: Source, aim: Aim) -> WeakBars:
    """The bars worth playing again, worst first.

    Parameters
    ----------
    judged : Judged
    source : Source
    aim : Aim

    Returns
    -------
    WeakBars
        Bars count from 1.
    """
    found = weak_bars(
        judged.offsets,
        missed_bars(judged),
        centre_ms=centre_of(judged.offsets, aim.lean_ms, delay_known=source.calibration.known),
        against_drums=_against_drums(source),
        pocket_ms=aim.pocket_ms,
        delay_uncertainty_ms=unsure_ms(source.calibration),
    )
    return replace(found, entries=with_commands(found.entries, source.drill))


def _against_drums(source: Source) -> bool:
    return source.reference.kind == "leader"


def _doubt(judged: Judged) -> tuple[str, ...]:
    """A line for the strokes that were left out."""
    if not judged.doubtful:
        return ()
    noun, pronoun = ("stroke", "it") if judged.doubtful == 1 else ("strokes", "them")
    return (f"heeltap left {judged.doubtful} {noun} out, because it cannot tell where you meant {pronoun}",)


def _leader(take: Played, window_us: int) -> Leader | None:
    """The drums' time, where they lead."""
    if take.leader is None:
        return None
    drums = fold_retriggers(take.leader, retrigger_us=window_us).notes
    return follow_drums(drums, take.tempo, take.metre)


def _stretched(take: Played, laid: Laid | None) -> tuple[str, ...]:
    """That only some bars are judged, where the take holds no more."""
    if take.stretch is None or laid is None or laid.said:
        return ()
    return (f"this take holds bars {take.stretch[0]} to {take.stretch[1]}; heeltap judges only those",)


def _laid(take: Played, plan: Plan, notes: Notes, how: Options) -> Laid:
    """Plan and notes as they are held against each other: at the place of the take, where that has to be found."""
    known = how.delay_ms is not None
    found = at_its_place(plan, notes, delay_known=known, file=take.file) if take.find_place else Laid(plan, notes)
    return found if found.said else Laid(within_bars(plan, take.stretch), notes)


def _against_plan(
    plan: Plan, notes: Notes, how: Options, leader: Leader | None, dropped_us: tuple[int, ...]
) -> tuple[Judged, int]:
    """The take against its plan, and how many planned notes are left out because they may be lost."""
    plan = with_hands(plan, how.split_key)
    wanted, struck = hand_lines(plan, notes.pitch, how.split_key)
    shift = None if leader is None else _shift(leader, plan.at_tick / TICKS_PER_QUARTER)
    # Where the leader was is where the part was meant to be: the aligner is asked against that.
    at_us = plan.at_us if shift is None else plan.at_us + np.round(1000 * shift.ms).astype(np.int64)
    found = align(at_us, wanted, notes.onset_us, struck, notes.velocity, delay_ms=how.delay_ms)
    delay_ms = how.delay_ms or 0.0
    here = ~may_be_lost(at_us + round(1000 * delay_ms), found.match, dropped_us)
    match, confidence = found.match[here], found.confidence[here]
    moved = None if shift is None else Shift(shift.ms[here], shift.sd_ms[here])
    judged = judge_plan(kept_rows(plan, here), notes, match, confidence, delay_ms=delay_ms, shift=moved)
    return judged, int(np.sum(~here))


def _against_grid(take: Played, notes: Notes, how: Options, leader: Leader | None) -> tuple[Judged, Slots]:
    if how.grid is None:
        grouped = strokes(notes)
        at_us, stroke_of_note, pitch, velocity = grouped.at_us, grouped.stroke_of_note, grouped.pitch, grouped.velocity
    else:
        at_us, stroke_of_note, pitch, velocity = notes.onset_us, np.arange(len(notes)), notes.pitch, notes.velocity
    slots = quantise(
        at_us,
        take.tempo,
        take.metre,
        grid=how.grid,
        take_pitch=pitch,
        take_velocity=velocity,
        delay_ms=how.delay_ms or 0.0,
        delay_known=how.delay_ms is not None,
    )
    judged = judge_grid(
        notes,
        stroke_of_note,
        slots,
        tempo=take.tempo,
        metre=take.metre,
        sections=take.sections,
        delay_ms=how.delay_ms or 0.0,
        shift=None if leader is None else _shift(leader, np.nan_to_num(slots.quarter)),
        hand=None if how.split_key is None else hands_of(notes.pitch, how.split_key),
    )
    return judged, slots


def _shift(leader: Leader, quarter: FloatArray) -> Shift:
    return Shift(*leader.reference_ms_at(quarter))


def _beat_ms(judged: Judged, take: Played) -> float:
    """Length of the take's usual beat."""
    if len(judged.offsets):
        return float(np.median(judged.offsets.beat_ms))
    return float(take.tempo.us_per_quarter[0] * take.metre.metres[0].beat_quarters / 1000.0)


def _reference(take: Played) -> Reference:
    """The click or the leader, in words."""
    bpms: IntArray = take.tempo.us_per_quarter
    low, high = bpm_from_us_per_quarter(int(bpms.max())), bpm_from_us_per_quarter(int(bpms.min()))
    speed = f"{low:.4g} bpm" if round(low, 1) == round(high, 1) else f"{low:.4g} to {high:.4g} bpm"
    plan = "" if take.plan is None else f" and the plan '{take.plan.name}'"
    if take.leader is not None:
        return Reference("leader", f"kick and snare of '{take.leader_name}'{plan} at {speed}")
    return Reference("clock", f"the click{plan} at {speed}")


def _calibration(how: Options) -> Calibration:
    if how.delay_ms is None:
        return Calibration(False, 0.0, None, how.delay_method if how.delay_method == FEEL else "none")
    return Calibration(True, how.delay_ms, how.delay_uncertainty_ms, how.delay_method or "given")


def _folded(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    noun = "double trigger" if count == 1 else "double triggers"
    return (f"heeltap left {count} {noun} out (--retrigger 0 counts every note)",)
