"""Read what heeltap can score: the take, its plan, its sections and its leader.

Inside: `Reading`, `read_take`, `read_pattern`, `click_tempo`, `load_plan`, `load_part`, `drum_part`.
"""

import shlex
from dataclasses import dataclass, replace
from pathlib import Path

from heeltap.analysis.leader.leader import kick_and_snare
from heeltap.errors import InputFileError, MidiFileError, OptionError, PlanError, sentence
from heeltap.files.smf import Midi, read_midi
from heeltap.files.takes.take_midi import count_in_of
from heeltap.files.toml.exercises import read_exercise
from heeltap.model.notes import Notes
from heeltap.model.parts import Part, choose_part, describe_parts
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of, plan_of_part, sections_from_markers, sections_from_text
from heeltap.model.played import Played
from heeltap.model.timeline import TempoMap, steady_tempo
from heeltap.sound.percussion import CHANNEL

__all__ = ["Reading", "click_tempo", "drum_part", "load_part", "load_plan", "read_pattern", "read_take"]

_DRUMS = "drums"
"""Names the drum part of a file whatever it is called there."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a person says of a file: which part of it, and what to hold it against. None is "not said"."""

    part: str | None = None
    """Number, ``track 2``, ``channel 10`` or name."""
    pattern: int | None = None
    """Which pattern of a format 2 file, from 1."""
    plan: str | Path | Plan | None = None
    """What should have been played."""
    leader: str | None = None
    """The part whose kick and snare time is measured against."""
    sections: str | None = None
    """``intro:1 verse:5``."""
    tempo_bpm: float | None = None
    """Quarter notes a minute of the click, where the file does not say or says it wrong."""


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
    midi = read_pattern(path, asked.pattern)
    if len(midi) == 0:
        raise MidiFileError(midi.path, "no note", "at least one note to score")
    chosen = choose_part(midi, asked.part)
    planned = load_plan(asked.plan, asked.part) if isinstance(asked.plan, str | Path) else asked.plan
    if planned is not None and asked.sections is not None:
        planned = replace(planned, sections=sections_from_text(asked.sections, planned.bars))
    ahead = None if asked.leader is None else _leader(midi, asked.leader)
    notes, tempo = midi.notes_of(chosen), click_tempo(midi, asked.tempo_bpm)
    return Played(
        notes=notes if planned is None else _from_bar_one(notes, count_in_of(midi)),
        tempo=tempo if planned is None else planned.tempo,
        metre=midi.metre if planned is None else planned.metre,
        plan=planned,
        sections=_sections(midi, tempo, asked.sections),
        leader=None if ahead is None else midi.notes_of(ahead),
        leader_name="" if ahead is None else ahead.name,
        file=Path(path).name,
        part=chosen.name,
        resolution_ms=_tick_ms(midi.tempo),
        warnings=midi.warnings,
        drill=_drill_of(asked),
    )


def _drill_of(asked: Reading) -> str:
    """What `heeltap drill` takes to play the plan; empty where the plan lies in no file."""
    if not isinstance(asked.plan, str | Path):
        return ""
    part = [] if asked.part is None or Path(asked.plan).suffix.lower() == ".toml" else ["--part", asked.part]
    return shlex.join([str(asked.plan), *part])


def read_pattern(path: str | Path, pattern: int | None) -> Midi:
    """A MIDI file, or one pattern of a format 2 file; raises `OptionError` where a pattern of another file is asked for."""
    midi = read_midi(path, pattern=pattern)
    if pattern is not None and midi.format != 2:
        hint = "only a format 2 file holds patterns"
        raise OptionError(sentence(str(path), f"--pattern {pattern} of a format {midi.format} file", "none", hint))
    return midi


def click_tempo(midi: Midi, tempo_bpm: float | None) -> TempoMap:
    """The tempo of the click: the file's, or the steady one that a person names. Raises `PlanError` outside 20 to 300."""
    if tempo_bpm is None:
        return midi.tempo
    if not 20 <= tempo_bpm <= 300:
        raise PlanError(sentence("tempo", f"{tempo_bpm:g} bpm", "20 to 300 (quarter notes a minute)"))
    return steady_tempo(tempo_bpm)


def _from_bar_one(notes: Notes, count_in_us: int) -> Notes:
    """The notes of a drill's own file on the plan's clock: the file begins with the count-in, the plan with bar 1."""
    return replace(notes, onset_us=notes.onset_us - count_in_us) if count_in_us else notes


def load_plan(path: str | Path, part: str | None = None) -> Plan:
    """The plan in a file: an exercise (``.toml``) or a part of a MIDI file.

    Of a MIDI file with several parts, ``part`` says which; raises `InputFileError` when that does not settle it.
    """
    if Path(path).suffix.lower() == ".toml":
        return plan_of(read_exercise(Path(path)))
    return load_part(path, part)[0]


def load_part(path: str | Path, part: str | None = None) -> tuple[Plan, bool]:
    """A part of a MIDI file as a plan, and whether it is all on the percussion channel; raises as `load_plan`."""
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


def _leader(midi: Midi, wanted: str) -> Part:
    """The part that leads; ``drums`` is the one that looks like a drum part."""
    found = drum_part(midi, wanted)
    if len(kick_and_snare(midi.notes_of(found), channel=None)) == 0:
        raise InputFileError(
            midi.path, f"no kick or snare in '{found.name}'", "a drum part to lead", describe_parts(midi.parts)
        )
    return found


def drum_part(midi: Midi, wanted: str) -> Part:
    """The part that a person names; ``drums`` is the one that looks like a drum part. Raises `InputFileError`."""
    drums = [part for part in midi.parts if part.is_drums]
    return drums[0] if wanted.lower() == _DRUMS and len(drums) == 1 else choose_part(midi, wanted)


def _sections(midi: Midi, tempo: TempoMap, text: str | None) -> tuple[Section, ...]:
    """Sections of a file: as the user named them, else from its markers."""
    own = tempo is midi.tempo
    quarters = midi.tick[-1:] / tempo.ticks_per_quarter if own else tempo.quarter_at(midi.notes.onset_us[-1:])
    last_bar = int(midi.metre.bar_beat(quarters)[0].max(initial=1))
    if text is not None:
        return sections_from_text(text, last_bar)
    # Where somebody names another tempo, a marker stays where it is in time.
    markers = [(m.tick if own else int(tempo.tick_at(m.at_us)), m.text) for m in midi.markers]
    return sections_from_markers(markers, midi.metre, last_bar, ticks_per_quarter=tempo.ticks_per_quarter)


def _markers(midi: Midi) -> list[tuple[int, str]]:
    """Ticks and texts of a file's markers."""
    return [(marker.tick, marker.text) for marker in midi.markers]


def _tick_ms(tempo: TempoMap) -> float:
    """Length of the longest tick of the file: nothing finer was written down."""
    return float(tempo.us_per_quarter.max() / tempo.ticks_per_quarter / 1000.0)
