"""Scoring a take: from a file or from raw notes to a `Result`.

Conventions: milliseconds at this border; a delay that is not given is not known, and nothing is taken away.

Inside: `score_file`, `score_notes`, `Options`, `load_plan`.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.core.align import align
from heeltap.core.arrays import IntArray
from heeltap.core.assemble import Aim, Source, result_of
from heeltap.core.grid import place
from heeltap.core.judge import Judged, judge_grid, judge_plan
from heeltap.core.meter import MetreMap, TempoMap
from heeltap.core.notes import Notes
from heeltap.core.onsets import fold_retriggers, strokes
from heeltap.core.plan import Plan, Section
from heeltap.core.planning import plan_of, plan_of_part, sections_from_markers, sections_from_text
from heeltap.core.result import Calibration, Reference, Result, Swing
from heeltap.errors import InputFileError, MidiFileError
from heeltap.files.exercises import read_exercise
from heeltap.files.parts import choose_part
from heeltap.files.smf import Midi, read_midi
from heeltap.units import auto_lean_ms, bpm_from_us_per_quarter

__all__ = ["Options", "load_plan", "score_file", "score_notes"]


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
        Not supported yet; must be None.
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

    Raises
    ------
    MidiFileError
        The file cannot be read, or holds no note.
    InputFileError
        No such part, or several could be meant.
    SetFileError, PlanError
        The plan cannot be read or built.
    """
    if leader is not None:
        raise InputFileError(str(path), f"leader {leader!r}", "no leader", "scoring against the drums is still to come")
    midi = read_midi(path, pattern=pattern)
    if midi.onset_us.size == 0:
        raise MidiFileError(str(path), "no note", "at least one note to score")
    chosen = choose_part(midi, part)
    options = Options(lean_ms=lean_ms, pocket_ms=pocket_ms, delay_ms=delay_ms, retrigger_ms=retrigger_ms, grid=grid)
    planned = load_plan(plan, part) if isinstance(plan, str | Path) else plan
    return score_notes(
        midi.notes_of(chosen),
        plan=_named(planned, sections),
        tempo=midi.tempo,
        metre=midi.metre,
        sections=_sections(midi, sections),
        options=options,
        file=Path(path).name,
        part=chosen.name,
        resolution_ms=_tick_ms(midi.tempo),
        warnings=midi.warnings,
    )


def score_notes(
    notes: Notes,
    *,
    plan: Plan | None = None,
    tempo: TempoMap | None = None,
    metre: MetreMap | None = None,
    sections: tuple[Section, ...] = (),
    options: Options | None = None,
    file: str = "take",
    part: str = "",
    resolution_ms: float | None = None,
    warnings: tuple[str, ...] = (),
) -> Result:
    """Score raw notes against a plan, or against the grid of a tempo and metre map.

    ``notes`` are on the click's clock: 0 us is bar 1, beat 1. Without a plan, ``tempo`` and ``metre`` are needed.
    """
    how = options or Options()
    tempo = plan.tempo if plan is not None else tempo
    metre = plan.metre if plan is not None else metre
    if tempo is None or metre is None:
        raise ValueError("score_notes needs a plan, or a tempo and a metre")
    window = 30_000 if how.retrigger_ms is None else round(how.retrigger_ms * 1000)
    folded = fold_retriggers(notes, retrigger_us=window)
    if plan is not None:
        judged, found, swing = _against_plan(plan, folded.notes, how), (), None
    else:
        judged, found, swing = _against_grid(folded.notes, tempo, metre, sections, how)
    source = Source(
        file=file,
        part=part,
        reference=_click(tempo, plan),
        calibration=_calibration(how),
        resolution_ms=resolution_ms,
        metre=metre,
        swing=swing,
        warnings=(*warnings, *_folded(folded.folded_count), *found),
    )
    lean = auto_lean_ms(_beat_ms(judged, tempo, metre)) if how.lean_ms is None else how.lean_ms
    return result_of(judged, source, Aim(lean, how.pocket_ms))


def load_plan(path: str | Path, part: str | None = None) -> Plan:
    """The plan in a file: an exercise (``.toml``) or a part of a MIDI file.

    Of a MIDI file with several parts, ``part`` says which; raises `InputFileError` when that does not settle it.
    """
    if Path(path).suffix.lower() == ".toml":
        return plan_of(read_exercise(path))
    midi = read_midi(path)
    chosen = choose_part(midi, part)
    rows = midi.rows_of(chosen)
    return plan_of_part(
        midi.tick[rows],
        midi.pitch[rows],
        midi.velocity[rows],
        tempo=midi.tempo,
        metre=midi.metre,
        markers=_markers(midi),
        name=f"{Path(path).name}, {chosen.name}",
    )


def _against_plan(plan: Plan, notes: Notes, how: Options) -> Judged:
    found = align(plan.at_us, plan.pitch, notes.onset_us, notes.pitch, notes.velocity, delay_ms=how.delay_ms)
    return judge_plan(plan, notes, found.match, found.confidence, delay_ms=how.delay_ms or 0.0)


def _against_grid(
    notes: Notes, tempo: TempoMap, metre: MetreMap, sections: tuple[Section, ...], how: Options
) -> tuple[Judged, tuple[str, ...], Swing | None]:
    if how.grid is None:
        grouped = strokes(notes)
        at_us, stroke_of_note = grouped.at_us, grouped.stroke_of_note
    else:
        at_us, stroke_of_note = notes.onset_us, np.arange(len(notes), dtype=np.int64)
    slots = place(at_us, tempo, metre, grid=how.grid, delay_ms=how.delay_ms or 0.0)
    judged = judge_grid(
        notes,
        stroke_of_note,
        slots.quarter,
        slots.reference_us,
        slots.division,
        slots.confidence,
        tempo=tempo,
        metre=metre,
        sections=sections,
        delay_ms=how.delay_ms or 0.0,
    )
    return judged, slots.warnings, slots.swing


def _named(plan: Plan | None, text: str | None) -> Plan | None:
    """The plan with the sections that the user named."""
    return plan if plan is None or text is None else replace(plan, sections=sections_from_text(text, plan.bars))


def _sections(midi: Midi, text: str | None) -> tuple[Section, ...]:
    """Sections of a file: as the user named them, else from its markers."""
    quarters = midi.tick[-1:] / midi.tempo.ticks_per_quarter
    last_bar = int(midi.metre.bar_beat(quarters)[0].max(initial=1))
    if text is not None:
        return sections_from_text(text, last_bar)
    return sections_from_markers(_markers(midi), midi.metre, last_bar, ticks_per_quarter=midi.tempo.ticks_per_quarter)


def _markers(midi: Midi) -> list[tuple[int, str]]:
    """Ticks and texts of a file's markers."""
    return [(marker.tick, marker.text) for marker in midi.markers]


def _beat_ms(judged: Judged, tempo: TempoMap, metre: MetreMap) -> float:
    """Length of the take's usual beat."""
    if len(judged.offsets):
        return float(np.median(judged.offsets.beat_ms))
    return float(tempo.us_per_quarter[0] * metre.metres[0].beat_quarters / 1000.0)


def _tick_ms(tempo: TempoMap) -> float:
    """Length of the longest tick of the file: nothing finer was written down."""
    return float(tempo.us_per_quarter.max() / tempo.ticks_per_quarter / 1000.0)


def _click(tempo: TempoMap, plan: Plan | None) -> Reference:
    bpms: IntArray = tempo.us_per_quarter
    low, high = bpm_from_us_per_quarter(int(bpms.max())), bpm_from_us_per_quarter(int(bpms.min()))
    speed = f"{low:.4g} bpm" if round(low, 1) == round(high, 1) else f"{low:.4g} to {high:.4g} bpm"
    what = "the click" if plan is None else f"the click and the plan '{plan.name}'"
    return Reference("clock", f"{what} at {speed}")


def _calibration(how: Options) -> Calibration:
    if how.delay_ms is None:
        return Calibration(False, 0.0, None, "none")
    return Calibration(True, how.delay_ms, how.delay_uncertainty_ms, how.delay_method)


def _folded(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    noun = "double trigger was" if count == 1 else "double triggers were"
    return (f"{count} {noun} folded into the stroke before (--retrigger 0 keeps them)",)
