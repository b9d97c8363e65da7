"""From files to what can be scored: the take, its plan, its sections and its leader.

Inside: `Reading`, `read_take`, `load_plan`, `load_part`, `drum_part`.
"""

import shlex
from dataclasses import dataclass, replace
from pathlib import Path

from heeltap.analysis.leader.leader import kick_and_snare
from heeltap.errors import InputFileError, MidiFileError
from heeltap.files.smf import Midi, read_midi
from heeltap.files.takes.take_midi import count_in_of
from heeltap.files.toml.exercises import read_exercise
from heeltap.model.notes import Notes
from heeltap.model.parts import Part, choose_part, describe_parts
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of, plan_of_part, sections_from_markers, sections_from_text
from heeltap.model.played import Played
from heeltap.model.timeline import TempoMap
from heeltap.sound.percussion import CHANNEL

__all__ = ["Reading", "drum_part", "load_part", "load_plan", "read_take"]

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
    """
    asked = reading or Reading()
    midi = read_midi(path, pattern=asked.pattern)
    if len(midi) == 0:
        raise MidiFileError(midi.path, "no note", "at least one note to score")
    chosen = choose_part(midi, asked.part)
    planned = load_plan(asked.plan, asked.part) if isinstance(asked.plan, str | Path) else asked.plan
    if planned is not None and asked.sections is not None:
        planned = replace(planned, sections=sections_from_text(asked.sections, planned.bars))
    ahead = None if asked.leader is None else _leader(midi, asked.leader)
    notes = midi.notes_of(chosen)
    return Played(
        notes=notes if planned is None else _from_bar_one(notes, count_in_of(midi)),
        tempo=midi.tempo if planned is None else planned.tempo,
        metre=midi.metre if planned is None else planned.metre,
        plan=planned,
        sections=_sections(midi, asked.sections),
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


def _tick_ms(tempo: TempoMap) -> float:
    """Length of the longest tick of the file: nothing finer was written down."""
    return float(tempo.us_per_quarter.max() / tempo.ticks_per_quarter / 1000.0)
