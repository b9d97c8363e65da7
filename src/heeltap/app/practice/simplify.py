"""Make four simpler parts out of a MIDI file, and write them.

If the notes lie on written slots, heeltap takes the file as written; if somebody played it, heeltap first finds the slots
along the click. It refuses a file that follows no click: nothing in it says which beat a note belongs to.

Inside: `SimplerParts`, `simplify_file`, `simpler_midi`, `write_simpler`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.analysis.quantise import Slots, quantise
from heeltap.app.score.read import click_tempo, read_pattern
from heeltap.course.simplify.levels import Simpler, bars_of, simplify
from heeltap.course.simplify.notation import (
    Written,
    on_placed_slots,
    on_written_slots,
    sounding_until_us,
    written_already,
)
from heeltap.errors import InputFileError, MidiFileError
from heeltap.files.smf import Midi, TrackOut, midi_bytes
from heeltap.model.arrays import IntArray
from heeltap.model.exercise import parse_metre
from heeltap.model.notes import Notes, make_notes
from heeltap.model.parts import Part, choose_part
from heeltap.model.sections import sections_from_markers
from heeltap.model.subdivisions import SWUNG
from heeltap.model.timeline import MetreMap, TempoMap, steady_metre
from heeltap.units import TICKS_PER_QUARTER, bpm_from_us_per_quarter
from heeltap.write import MADE_BY, check_asked, write_whole

__all__ = ["SimplerParts", "simpler_midi", "simplify_file", "write_simpler"]

_HANGING_QUARTERS = 1.0
"""Length given to a note that is never released."""


@dataclass(frozen=True, slots=True, eq=False)
class SimplerParts:
    """The four forms of one part of a file."""

    file: str
    """Name of the file without its folder."""
    part: Part
    how: str
    """``as written``, or ``placed on the grid``."""
    forms: tuple[Simpler, ...]
    left_out: int
    """Notes that fit no slot."""
    warnings: tuple[str, ...] = ()


def simplify_file(
    path: str | Path,
    part: str | None = None,
    *,
    tempo_bpm: float | None = None,
    metre: str | None = None,
    pattern: int | None = None,
) -> SimplerParts:
    """The four simpler forms of a part of a MIDI file.

    Parameters
    ----------
    part : str, optional
        Which one, as for `heeltap.score_file`; not needed where there is only one.
    tempo_bpm : float, optional
        Quarter notes a minute of the click that was played to, where the file does not say or says it wrong.
    metre : str, optional
        Where the file does not say or says it wrong.

    Raises
    ------
    InputFileError
        The file cannot be read, has no such part, or does not follow a click at that tempo.
    PlanError
        No such metre, or a tempo out of range.
    """
    midi = read_pattern(path, pattern)
    chosen = choose_part(midi, part)
    tempo = click_tempo(midi, tempo_bpm)
    metres = midi.metre if metre is None else _metre(metre)
    written, scale, how = _written(midi, chosen, tempo, metres, given=tempo_bpm is not None)
    if len(written) == 0:
        raise MidiFileError(midi.path, f"no note of '{chosen.name}' on any slot", "at least one")
    per_quarter = tempo.ticks_per_quarter
    at_tick = tempo.tick_at([marker.at_us for marker in midi.markers]).tolist()
    markers = [(tick, marker.text) for tick, marker in zip(at_tick, midi.markers, strict=True)]
    bars = bars_of(written, metres, drums=chosen.is_drums)
    forms = simplify(
        written,
        tempo=_scaled(tempo, scale),
        metre=metres,
        drums=chosen.is_drums,
        sections=sections_from_markers(markers, metres, bars, ticks_per_quarter=per_quarter),
        name=Path(path).stem,
    )
    return SimplerParts(Path(path).name, chosen, how, forms, written.left_out, midi.warnings)


def _written(midi: Midi, part: Part, tempo: TempoMap, metre: MetreMap, *, given: bool) -> tuple[Written, float, str]:
    """The part on its slots, its tempo over the tempo given, and how that came about."""
    notes = midi.notes_of(part)
    ends = _ends(midi, part, notes, tempo)
    ticks = midi.tick[midi.rows_of(part)]
    if not given and not midi.frames and written_already(ticks, tempo.ticks_per_quarter):
        return _as_written(notes, ends, tempo), 1.0, "as written"
    if not given and not midi.has_tempo:
        raise _no_click(midi, tempo, given=False)
    slots = quantise(notes.onset_us, tempo, metre, take_pitch=notes.pitch, take_velocity=notes.velocity)
    if not slots.on_grid:
        raise _no_click(midi, tempo, given=given)
    return _placed(notes, ends, tempo, slots), slots.tempo_scale, "placed on the grid"


def _metre(text: str) -> MetreMap:
    one = parse_metre(text)
    return steady_metre(one.count, one.unit)


def _no_click(midi: Midi, tempo: TempoMap, *, given: bool) -> MidiFileError:
    """Why a part cannot be made simpler."""
    expected = "a part played to a click, or as written"
    if not given and not midi.has_tempo:
        return MidiFileError(midi.path, "states no tempo and was played", expected, "name the click's --tempo")
    bpm = f"{bpm_from_us_per_quarter(int(tempo.us_per_quarter[0])):.4g} bpm"
    hint = "where its tempo is free no beat can be told; where there was a click, name its --tempo and --metre"
    return MidiFileError(midi.path, f"the notes do not follow {'' if given else 'its '}{bpm}", expected, hint)


def _ends(midi: Midi, part: Part, notes: Notes, tempo: TempoMap) -> tuple[IntArray, IntArray]:
    """When the finger leaves and when the sound ends, microseconds."""
    hanging = notes.onset_us + round(_HANGING_QUARTERS * int(tempo.us_per_quarter[0]))
    held = np.where(notes.duration_us < 0, hanging, notes.onset_us + notes.duration_us)
    pedal = midi.pedal
    mine = pedal.channel == part.channel
    if np.any(mine & (pedal.track == part.track)):
        mine &= pedal.track == part.track
    sounding = sounding_until_us(notes.onset_us, held, notes.pitch, pedal.at_us[mine], pedal.value[mine])
    return np.minimum(held, sounding), sounding


def _as_written(notes: Notes, ends: tuple[IntArray, IntArray], tempo: TempoMap) -> Written:
    at, held, sounding = (tempo.quarter_at(one) for one in (notes.onset_us, *ends))
    return on_written_slots(at, held, sounding, notes.pitch, notes.velocity)


def _placed(notes: Notes, ends: tuple[IntArray, IntArray], tempo: TempoMap, slots: Slots) -> Written:
    at, held, sounding = (tempo.quarter_at(one) for one in (notes.onset_us, *ends))
    ratio = 1.0 if slots.swing is None else slots.swing.ratio
    swung = slots.division == SWUNG
    return on_placed_slots(slots.quarter, swung, ratio, at, held, sounding, notes.pitch, notes.velocity)


def _scaled(tempo: TempoMap, scale: float) -> TempoMap:
    """The tempi as they were played."""
    if scale == 1:
        return tempo
    per_quarter = np.rint(tempo.us_per_quarter / scale).astype(np.int64)
    return TempoMap(tempo.ticks_per_quarter, tempo.at_tick.copy(), per_quarter)


def simpler_midi(parts: SimplerParts, form: Simpler) -> bytes:
    """One form as a MIDI file, played exactly on its slots, on the channel and with the sound of the part."""
    plan = form.plan
    ends_us = plan.tempo.us_at(plan.at_tick + form.length_tick)
    notes = make_notes(plan.at_us, plan.pitch, plan.velocity, duration_us=ends_us - plan.at_us)
    starts = plan.metre.quarter_of_bar([section.first_bar for section in plan.sections])
    at_us = plan.tempo.us_at(np.rint(starts * TICKS_PER_QUARTER).astype(np.int64)).tolist()
    name = f"{parts.part.name or Path(parts.file).stem}, {form.level.title.lower()}"
    return midi_bytes(
        [TrackOut(notes, name=name, channel=parts.part.channel, program=parts.part.program)],
        tempo=plan.tempo,
        metre=plan.metre,
        markers=[(at, section.name) for at, section in zip(at_us, plan.sections, strict=True)],
        name=name,
        text=MADE_BY,
    )


def write_simpler(
    parts: SimplerParts, folder: str | Path, *, inputs: Iterable[str | Path] = (), force: bool = False
) -> tuple[Path, ...]:
    """Write the four forms into a folder, made where it is missing, and return their paths.

    Raises `InputFileError` when one of them cannot be written, before any is: as `heeltap.write.check_asked`.
    """
    stem = Path(parts.file).stem
    paths = [Path(folder) / f"{stem}-{n}-{form.level.name}.mid" for n, form in enumerate(parts.forms, 1)]
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise InputFileError(str(folder), f"cannot be written: {e.strerror or e}", "a folder to write to") from e
    files = [(path, simpler_midi(parts, form)) for path, form in zip(paths, parts.forms, strict=True)]
    for path, data in files:
        check_asked(path, data, inputs=inputs, force=force)
    return tuple(write_whole(path, data) for path, data in files)
