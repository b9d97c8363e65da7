"""Scoring a take: from a file or from raw notes to a `Result`.

Conventions: milliseconds at this border; a delay that is not given is not known, and nothing is taken away.

Inside: `score_file`, `score_take`, `judge_take`, `Options`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from heeltap.analysis.align import align
from heeltap.analysis.analyse import Aim, Source, result_of
from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import Leader
from heeltap.analysis.offsets_of import Judged, Shift, judge_grid, judge_plan
from heeltap.analysis.quantise import Slots, quantise
from heeltap.analysis.strokes import fold_retriggers, strokes
from heeltap.app.score.read import Played, read_take
from heeltap.files.calibrations import FEEL
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.hands import hand_lines, hands_of, with_hands
from heeltap.model.notes import Notes
from heeltap.model.pitch import key_of
from heeltap.model.plan import Plan
from heeltap.model.plan_from import accent_beats
from heeltap.model.result import Calibration, Reference, Result
from heeltap.units import TICKS_PER_QUARTER, auto_lean_ms, bpm_from_us_per_quarter

__all__ = ["Options", "judge_take", "score_file", "score_take"]


@dataclass(frozen=True, slots=True)
class Options:
    """How a take is to be judged."""

    lean_ms: float | None = 0.0
    """Offset aimed at; None means auto: 4 % of the beat, 10 to 30 ms."""
    pocket_ms: float | None = None
    delay_ms: float | None = None
    """Known delay of the route; None means not known."""
    delay_uncertainty_ms: float | None = None
    delay_method: str = "given"
    retrigger_ms: float | None = None
    """Window for double triggers; None means the usual 30 ms, 0 folds nothing."""
    grid: int | None = None
    """Slots a whole note of a forced plain raster."""
    split_key: int | None = None
    """Lowest key of the right hand; None where hands are not told apart."""
    retrigger_of: Mapping[int, float] = field(default_factory=dict)
    """Window for double triggers of single keys, ms."""


def score_file(
    path: str | Path,
    part: str | None = None,
    plan: str | Path | Plan | None = None,
    leader: str | None = None,
    grid: int | None = None,
    lean_ms: float | None = 0.0,
    pocket_ms: float | None = None,
    delay_ms: float | None = None,
    retrigger_ms: float | None = None,
    *,
    sections: str | None = None,
    pattern: int | None = None,
    split: str | int | None = None,
) -> Result:
    """Score one recorded MIDI file.

    Parameters
    ----------
    path : path
        A Standard MIDI File whose bar 1, beat 1 is tick 0 of the click it was played to.
    part : str, optional
        Number, ``track 2``, ``channel 10`` or name; needed when several parts could be meant.
    plan : path or Plan, optional
        What should have been played: an exercise (``.toml``) or another MIDI file; without it the take is placed on the
        click's grid.
    leader : str, optional
        A part of the same file (as for ``part``), or ``drums`` for its drum part: time is then measured against its
        kick and snare instead of the click.
    grid : 8, 12, 16 or 24, optional
        Force a plain raster of so many slots a whole note: every note to its own nearest slot, nothing followed.
    lean_ms : float or None
        Offset aimed at, plus is behind; None means auto.
    pocket_ms, delay_ms, retrigger_ms : float, optional
        Half-width of the pocket; the route's known delay; the window of double triggers (None: 30, 0: off).
    sections : str, optional
        ``intro:1 verse:5``; without it the file's markers name the sections.
    pattern : int, optional
        Which pattern of a format 2 file, from 1.
    split : str or int, optional
        Lowest key of the right hand, such as ``C4``: keys below are the left hand's.

    Raises
    ------
    MidiFileError
        The file cannot be read, or holds no note.
    InputFileError
        No such part, or several could be meant; a leader without kick and snare.
    SetFileError, PlanError
        The plan cannot be read or built.
    """
    key = None if split is None else key_of(str(split))
    options = Options(lean_ms, pocket_ms, delay_ms, retrigger_ms=retrigger_ms, grid=grid, split_key=key)
    return score_take(read_take(path, part=part, plan=plan, leader=leader, sections=sections, pattern=pattern), options)


def score_take(take: Played, options: Options | None = None) -> Result:
    """Score a take that was read or played."""
    return result_of(*judge_take(take, options))


def judge_take(take: Played, options: Options | None = None) -> tuple[Judged, Source, Aim]:
    """The take's Offsets table and all else that its Result is put together from."""
    how = options or Options()
    window = 30_000 if how.retrigger_ms is None else round(how.retrigger_ms * 1000)
    single = {key: round(ms * 1000) for key, ms in how.retrigger_of.items()}
    folded = fold_retriggers(take.notes, retrigger_us=window, retrigger_of=single)
    leader = _leader(take, window)
    slots: Slots | None = None
    if take.plan is not None:
        judged = _against_plan(take.plan, folded.notes, how, leader)
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
        warnings=(*take.warnings, *_folded(folded.folded_count), *(() if slots is None else slots.warnings)),
        accent_beats=() if take.plan is None else accent_beats(take.plan),
        on_grid=slots is None or slots.on_grid,
    )
    lean = auto_lean_ms(_beat_ms(judged, take)) if how.lean_ms is None else how.lean_ms
    return judged, source, Aim(lean, how.pocket_ms)


def _leader(take: Played, window_us: int) -> Leader | None:
    """The drums' time, where they lead."""
    if take.leader is None:
        return None
    drums = fold_retriggers(take.leader, retrigger_us=window_us).notes
    return follow_drums(drums, take.tempo, take.metre)


def _against_plan(plan: Plan, notes: Notes, how: Options, leader: Leader | None) -> Judged:
    plan = with_hands(plan, how.split_key)
    wanted, struck = hand_lines(plan, notes.pitch, how.split_key)
    shift = None if leader is None else _shift(leader, plan.at_tick / TICKS_PER_QUARTER)
    # Where the leader was is where the part was meant to be: the aligner is asked against that.
    at_us = plan.at_us if shift is None else plan.at_us + np.round(1000 * shift.ms).astype(np.int64)
    found = align(at_us, wanted, notes.onset_us, struck, notes.velocity, delay_ms=how.delay_ms)
    return judge_plan(plan, notes, found.match, found.confidence, delay_ms=how.delay_ms or 0.0, shift=shift)


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
    return Calibration(True, how.delay_ms, how.delay_uncertainty_ms, how.delay_method)


def _folded(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    noun = "double trigger was" if count == 1 else "double triggers were"
    return (f"{count} {noun} folded into the stroke before (--retrigger 0 keeps them)",)
