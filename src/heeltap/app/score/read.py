"""From files to what can be scored: the take, its plan, its sections and its leader.

Inside: `Played`, `read_take`, `load_plan`, `load_part`, `drum_part`.
"""

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
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.sound.percussion import CHANNEL

__all__ = ["Played", "drum_part", "load_part", "load_plan", "read_take"]

_DRUMS = "drums"
"""Names the drum part of a file whatever it is called there."""


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """What was played, and what it is held against."""

    notes: Notes
    """On the click's clock: 0 us is bar 1, beat 1."""
    tempo: TempoMap
    metre: MetreMap
    plan: Plan | None = None
    """None: the take is placed on the click's grid."""
    sections: tuple[Section, ...] = ()
    """Without a plan; a plan has its own."""
    leader: Notes | None = None
    """The drum part whose kick and snare time is measured against; None is the click."""
    leader_name: str = ""
    file: str = "take"
    part: str = ""
    resolution_ms: float | None = None
    """Nothing finer can be told from this source; None where that is not known."""
    warnings: tuple[str, ...] = ()


def read_take(
    path: str | Path,
    *,
    part: str | None = None,
    plan: str | Path | Plan | None = None,
    leader: str | None = None,
    sections: str | None = None,
    pattern: int | None = None,
) -> Played:
    """The take in a MIDI file; arguments and errors as in `heeltap.score_file`."""
    midi = read_midi(path, pattern=pattern)
    if len(midi) == 0:
        raise MidiFileError(midi.path, "no note", "at least one note to score")
    chosen = choose_part(midi, part)
    planned = load_plan(plan, part) if isinstance(plan, str | Path) else plan
    if planned is not None and sections is not None:
        planned = replace(planned, sections=sections_from_text(sections, planned.bars))
    ahead = None if leader is None else _leader(midi, leader)
    notes = midi.notes_of(chosen)
    return Played(
        notes=notes if planned is None else _from_bar_one(notes, count_in_of(midi)),
        tempo=midi.tempo if planned is None else planned.tempo,
        metre=midi.metre if planned is None else planned.metre,
        plan=planned,
        sections=_sections(midi, sections),
        leader=None if ahead is None else midi.notes_of(ahead),
        leader_name="" if ahead is None else ahead.name,
        file=Path(path).name,
        part=chosen.name,
        resolution_ms=_tick_ms(midi.tempo),
        warnings=midi.warnings,
    )


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
