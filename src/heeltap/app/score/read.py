"""Read what heeltap can score: the take, its plan, its sections and its leader.

Inside: `read_take`, `take_in`, `read_pattern`, `click_tempo`, `named_tempo`, `stretch_of`, `load_plan`, `load_part`, `drum_part`,
`leading_drums`, `leader_of`.
"""

import shlex
from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap.analysis.leader.leader import kick_and_snare
from heeltap.app.score.reading import Drums, Reading, Timeline, bar_us
from heeltap.errors import InputFileError, MidiFileError, OptionError, PlanError, sentence
from heeltap.files.smf import Midi, read_midi
from heeltap.files.takes.take_midi import count_in_of
from heeltap.files.toml.exercises import read_exercise
from heeltap.model.notes import Notes
from heeltap.model.parts import Part, choose_part, describe_parts
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of, plan_of_part
from heeltap.model.played import Played
from heeltap.model.sections import sections_from_markers, sections_from_text
from heeltap.model.timeline import MetreMap, TempoMap, steady_tempo
from heeltap.sound.percussion import CHANNEL
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "click_tempo",
    "drum_part",
    "leader_of",
    "leading_drums",
    "load_part",
    "load_plan",
    "named_tempo",
    "read_pattern",
    "read_take",
    "stretch_of",
    "take_in",
]

_DRUMS = "drums"
"""Names the drum part of a file whatever it is called there."""


def read_take(path: str | Path, reading: Reading | None = None) -> Played:
    """The take in a MIDI file.

    Parameters
    ----------
    path : path
    reading : Reading, optional
        As the arguments of the same names of `heeltap.score_file`.

    Returns
    -------
    Played

    Raises
    ------
    MidiFileError, InputFileError, SetFileError, PlanError
        As `heeltap.score_file`.
    OptionError
        A pattern of a file that holds none.
    """
    asked = reading or Reading()
    return take_in(read_pattern(path, asked.pattern), asked)


def take_in(midi: Midi, asked: Reading) -> Played:
    """The take in a MIDI file that was read; arguments and errors as for `read_take`.

    Parameters
    ----------
    midi : Midi
    asked : Reading

    Returns
    -------
    Played

    Raises
    ------
    MidiFileError
        The file holds no note.
    """
    if len(midi) == 0:
        raise MidiFileError(midi.path, "no note", "at least one note to score")
    chosen = choose_part(midi, asked.part)
    planned = load_plan(asked.plan, asked.part) if isinstance(asked.plan, str | Path) else asked.plan
    if planned is not None and asked.sections is not None:
        planned = replace(planned, sections=sections_from_text(asked.sections, planned.bars))
    own = clip_timeline(midi, click_tempo(midi, asked.tempo_bpm), asked)
    time = asked.timeline or own if planned is None else Timeline(planned.tempo, planned.metre)
    begins_us = count_in_of(midi) if planned is not None else 0
    notes = _moved(midi.notes_of(chosen), bar_us(time, asked.at_bar, midi.path) - begins_us)
    ahead = leader_of(midi, asked.leader, bar_us(time, asked.at_bar, midi.path) - begins_us)
    stretch = None if planned is None else stretch_of(notes, planned)
    return Played(
        notes=notes,
        tempo=time.tempo,
        metre=time.metre,
        plan=planned,
        sections=time.sections,
        leader=None if ahead is None else ahead.notes,
        leader_name="" if ahead is None else ahead.name,
        file=Path(midi.path).name,
        part=chosen.name,
        resolution_ms=_tick_ms(midi.tempo),
        warnings=midi.warnings,
        drill=_drill_of(asked),
        stretch=stretch,
        find_place=planned is not None and asked.at_bar is None,
    )


def clip_timeline(midi: Midi, tempo: TempoMap, asked: Reading) -> Timeline:
    """How time runs in a file: its own tempo and metre from the bar on that it begins with, and its sections.

    Parameters
    ----------
    midi : Midi
    tempo : TempoMap
        Of the click.
    asked : Reading
        Says which bar the file begins with, and the sections.

    Returns
    -------
    Timeline
    """
    if asked.at_bar is None:
        return Timeline(tempo, midi.metre, _sections(midi, tempo, midi.metre, 0, asked))
    quarters = (asked.at_bar - 1) * midi.metre.metres[0].bar_quarters
    ticks = round(quarters * tempo.ticks_per_quarter)
    later = TempoMap(tempo.ticks_per_quarter, np.append(0, tempo.at_tick[1:] + ticks), tempo.us_per_quarter.copy())
    metre = MetreMap(np.append(0.0, midi.metre.at_quarter[1:] + quarters), midi.metre.metres)
    return Timeline(later, metre, _sections(midi, later, metre, ticks, asked))


_OWN_STRETCH_BARS = 2
"""Planned bars without a note at the beginning or the end from which a take counts as a part of the song only. Ours."""


def stretch_of(notes: Notes, plan: Plan) -> tuple[int, int] | None:
    """The bars that a take holds, where it leaves out two or more planned bars at the beginning or the end; else None.

    Fewer are a late entry or an early end, which count as missed.

    Parameters
    ----------
    notes : Notes
        On the clock of the plan.
    plan : Plan

    Returns
    -------
    (int, int) or None
        First and last bar.
    """
    if len(notes) == 0 or len(plan) == 0:
        return None
    bar_of = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)[0]
    # Of the nearest planned stroke: the first one of a bar is often played before the bar line.
    middle = (plan.at_us[1:] + plan.at_us[:-1]) / 2
    first, last = (int(bar) for bar in bar_of[np.searchsorted(middle, notes.onset_us[[0, -1]], side="right")])
    bars = np.unique(bar_of)
    before, behind = int((bars < first).sum()), int((bars > last).sum())
    from_bar = first if before >= _OWN_STRETCH_BARS else 1
    to_bar = last if behind >= _OWN_STRETCH_BARS else max(plan.bars, last)
    return None if (from_bar, to_bar) == (1, max(plan.bars, last)) else (from_bar, to_bar)


def _drill_of(asked: Reading) -> str:
    """What `heeltap drill` takes to play the plan; empty where nobody knows."""
    if not isinstance(asked.plan, str | Path):
        return asked.drill
    part = [] if asked.part is None or Path(asked.plan).suffix.lower() == ".toml" else ["--part", asked.part]
    return shlex.join([str(asked.plan), *part])


def read_pattern(path: str | Path, pattern: int | None) -> Midi:
    """A MIDI file, or one pattern of a format 2 file; raises `OptionError` where a pattern of another file is asked for.

    Parameters
    ----------
    path : path
    pattern : int or None
        From 1.

    Returns
    -------
    Midi

    Raises
    ------
    OptionError
        A pattern is asked for, and the file is of another format.
    """
    midi = read_midi(path, pattern=pattern)
    if pattern is not None and midi.format != 2:
        hint = "only a format 2 file holds patterns"
        raise OptionError(sentence(str(path), f"--pattern {pattern} of a format {midi.format} file", "none", hint))
    return midi


def click_tempo(midi: Midi, tempo_bpm: float | None) -> TempoMap:
    """The tempo of the click: the file's, or the steady one that a person names. Raises `PlanError` outside 20 to 300.

    Parameters
    ----------
    midi : Midi
    tempo_bpm : float or None
        Quarter notes a minute.

    Returns
    -------
    TempoMap

    Raises
    ------
    PlanError
        A tempo outside 20 to 300.
    """
    return midi.tempo if tempo_bpm is None else named_tempo(tempo_bpm)


def named_tempo(tempo_bpm: float) -> TempoMap:
    """The steady tempo that a person names.

    Parameters
    ----------
    tempo_bpm : float
        Quarter notes a minute.

    Returns
    -------
    TempoMap

    Raises
    ------
    PlanError
        A tempo outside 20 to 300.
    """
    if not 20 <= tempo_bpm <= 300:
        raise PlanError(sentence("tempo", f"{tempo_bpm:g} bpm", "20 to 300 (quarter notes a minute)"))
    return steady_tempo(tempo_bpm)


def _moved(notes: Notes, by_us: int) -> Notes:
    """The notes so much later: on the clock of the song, which begins with bar 1."""
    return replace(notes, onset_us=notes.onset_us + by_us) if by_us else notes


def load_plan(path: str | Path, part: str | None = None) -> Plan:
    """The plan in a file: an exercise (``.toml``) or a part of a MIDI file.

    Of a MIDI file with several parts, ``part`` says which; raises `InputFileError` when that does not settle it.

    Parameters
    ----------
    path : path
    part : str, optional
        Of a MIDI file.

    Returns
    -------
    Plan
    """
    if Path(path).suffix.lower() == ".toml":
        return plan_of(read_exercise(Path(path)))
    return load_part(path, part)[0]


def load_part(path: str | Path, part: str | None = None) -> tuple[Plan, bool]:
    """A part of a MIDI file as a plan, and whether it is all on the percussion channel; raises as `load_plan`.

    Parameters
    ----------
    path : path
    part : str, optional

    Returns
    -------
    plan : Plan
    percussion : bool
    """
    midi = read_midi(path)
    chosen = choose_part(midi, part)
    rows = midi.rows_of(chosen)
    plan = plan_of_part(
        midi.tick[rows],
        midi.pitch[rows],
        midi.velocity[rows],
        tempo=midi.tempo,
        metre=midi.metre,
        markers=_markers(midi),
        name=f"{Path(path).name}, {chosen.name}",
    )
    return plan, len(plan) > 0 and bool((midi.channel[rows] == CHANNEL).all())


def leader_of(midi: Midi, wanted: str | Drums | None, by_us: int) -> Drums | None:
    """The part that leads, on the song's clock; ``drums`` is the one that looks like a drum part.

    Parameters
    ----------
    midi : Midi
    wanted : str, Drums or None
    by_us : int
        Where the file begins in the song, microseconds from bar 1.

    Returns
    -------
    Drums or None
        None where none is wanted.

    Raises
    ------
    InputFileError
        As `leading_drums`.
    """
    if not isinstance(wanted, str):
        return wanted
    if wanted.casefold() == "click" and not any(part.name.casefold() == "click" for part in midi.parts):
        return None
    drums = leading_drums(midi, wanted)
    return replace(drums, notes=_moved(drums.notes, by_us))


def leading_drums(midi: Midi, wanted: str) -> Drums:
    """A drum part of a file, to lead. Raises `InputFileError` where there is none, or it has neither kick nor snare.

    Parameters
    ----------
    midi : Midi
    wanted : str
        A part, or ``drums``.

    Returns
    -------
    Drums

    Raises
    ------
    InputFileError
        No such part, or one without kick and snare.
    """
    found = drum_part(midi, wanted)
    notes = midi.notes_of(found)
    if len(kick_and_snare(notes, channel=None)) == 0:
        raise InputFileError(
            midi.path, f"no kick or snare in '{found.name}'", "a drum part to lead", describe_parts(midi.parts)
        )
    return Drums(found.name, notes)


def drum_part(midi: Midi, wanted: str) -> Part:
    """The part that a person names; ``drums`` is the one that looks like a drum part. Raises `InputFileError`.

    Parameters
    ----------
    midi : Midi
    wanted : str
        A part, or ``drums``.

    Returns
    -------
    Part
    """
    drums = [part for part in midi.parts if part.is_drums]
    return drums[0] if wanted.lower() == _DRUMS and len(drums) == 1 else choose_part(midi, wanted)


def _sections(midi: Midi, tempo: TempoMap, metre: MetreMap, ticks: int, asked: Reading) -> tuple[Section, ...]:
    """Sections of a file: as the user named them, else from its markers. The file begins so many ticks into the song."""
    own = asked.tempo_bpm is None
    last = (midi.tick[-1:] if own else tempo.tick_at(midi.notes.onset_us[-1:])) + ticks
    last_bar = int(metre.bar_beat(last / tempo.ticks_per_quarter)[0].max(initial=1))
    if asked.sections is not None:
        return sections_from_text(asked.sections, last_bar)
    # Where somebody names another tempo, a marker stays where it is in time.
    markers = [(m.tick + ticks if own else int(tempo.tick_at(m.at_us)) + ticks, m.text) for m in midi.markers]
    return sections_from_markers(markers, metre, last_bar, ticks_per_quarter=tempo.ticks_per_quarter)


def _markers(midi: Midi) -> list[tuple[int, str]]:
    """Ticks and texts of a file's markers."""
    return [(marker.tick, marker.text) for marker in midi.markers]


def _tick_ms(tempo: TempoMap) -> float:
    """Length of the longest tick of the file: nothing finer was written down."""
    return float(tempo.us_per_quarter.max() / tempo.ticks_per_quarter / 1000.0)
