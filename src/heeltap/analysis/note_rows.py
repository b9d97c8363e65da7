"""The rows of a Result's note list: one a note, played or missed.

How a note is described is ours.

Inside: `plan_rows`, `grid_rows`, `planned_division`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.quantise import Slots
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan, Section
from heeltap.model.result import NoteRow
from heeltap.model.sections import section_columns
from heeltap.model.subdivisions import DIVISIONS, SWUNG, division_of
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["grid_rows", "plan_rows", "planned_division"]


def planned_division(plan: Plan, quarter: FloatArray) -> IntArray:
    """Division of each planned position; the late eighth of a swung plan is named so.

    Parameters
    ----------
    plan : Plan
    quarter : float64, shape (len(plan),)
        Planned positions, quarter notes from bar 1.

    Returns
    -------
    int64, shape (len(plan),)
        Codes into `heeltap.model.subdivisions.DIVISIONS`.
    """
    _, beat = plan.metre.bar_beat(quarter)
    unit = np.array([one.beat_quarters for one in plan.metre.metres])[plan.metre.row_at(quarter)]
    code = np.where(unit == 1.5, division_of(beat, thirds=True), division_of(beat))
    if plan.swing_ratio != 1.0:
        late = plan.swing_ratio / (1.0 + plan.swing_ratio)
        code[np.abs(np.mod(beat, 1.0) - late) < 2e-3] = SWUNG
    return code.astype(np.int64)


def plan_rows(
    plan: Plan,
    notes: Notes,
    match: IntArray,
    wrong: BoolArray,
    doubled: BoolArray,
    note_offset: FloatArray,
    confidence: FloatArray,
) -> tuple[NoteRow, ...]:
    """A row for each planned note and each extra one.

    Parameters
    ----------
    plan : Plan
    notes : Notes
        The take, double triggers folded.
    match : int64, shape (len(plan),)
        Row in ``notes`` of each planned note, -1 where none was played.
    wrong : bool, shape (len(plan),)
        Whether another key was played for it.
    doubled : bool, shape (len(notes),)
        Whether a note that no planned one claims doubles a chord's.
    note_offset : float64, shape (len(plan),)
        Milliseconds, nan where none was played.
    confidence : float64, shape (len(plan),)
        Probability that the match is right.

    Returns
    -------
    tuple of NoteRow
        By time.
    """
    hit = match >= 0
    quarter = plan.at_tick / TICKS_PER_QUARTER
    bar, beat = plan.metre.bar_beat(quarter)
    planned = map(
        NoteRow,
        (np.where(hit, notes.onset_us[match] if len(notes) else 0, plan.at_us) / 1e6).tolist(),
        bar.tolist(),
        np.round(beat, 6).tolist(),
        np.where(hit, notes.pitch[match] if len(notes) else 0, plan.pitch).tolist(),
        np.where(hit, notes.velocity[match] if len(notes) else 0, 0).tolist(),
        np.where(hit, np.where(wrong, "wrong_pitch", "matched"), "missed").tolist(),
        [None if x != x else x for x in np.round(note_offset, 3).tolist()],
        [DIVISIONS[code] for code in planned_division(plan, quarter).tolist()],
        _section_names(bar, plan.sections),
        np.round(confidence, 4).tolist(),
    )
    return tuple(sorted([*planned, *_extra_rows(notes, match[hit], doubled)], key=lambda row: row.time_s))


def _extra_rows(notes: Notes, used: IntArray, doubled: BoolArray) -> list[NoteRow]:
    """Rows of the notes that no planned note claimed: they double a chord, or are extra."""
    free = np.ones(len(notes), bool)
    free[used] = False
    played = zip(
        (notes.onset_us[free] / 1e6).tolist(),
        notes.pitch[free].tolist(),
        notes.velocity[free].tolist(),
        np.where(doubled[free], "doubled", "extra").tolist(),
        strict=True,
    )
    return [NoteRow(t, None, None, pitch, velocity, status, None, None, None) for t, pitch, velocity, status in played]


def grid_rows(
    notes: Notes, stroke_of_note: IntArray, note_offset: FloatArray, slots: Slots, sections: Sequence[Section]
) -> tuple[NoteRow, ...]:
    """A row for each played note.

    Parameters
    ----------
    notes : Notes
    stroke_of_note : int64, shape (len(notes),)
        Stroke that each note belongs to.
    note_offset : float64, shape (len(notes),)
        Milliseconds, nan where there is no slot.
    slots : Slots
        One row a stroke.
    sections : sequence of Section

    Returns
    -------
    tuple of NoteRow
        In the order of the notes.
    """
    placed = slots.placed.tolist()
    names = [DIVISIONS[code] if ok else None for code, ok in zip(slots.division.tolist(), placed, strict=True)]
    bars = [number if ok else None for number, ok in zip(slots.bar.tolist(), placed, strict=True)]
    beats = [number if ok else None for number, ok in zip(np.round(slots.beat, 6).tolist(), placed, strict=True)]
    inside = [name if ok else None for name, ok in zip(_section_names(slots.bar, sections), placed, strict=True)]
    sure = np.round(slots.confidence, 4).tolist()
    stroke = stroke_of_note.tolist()
    return tuple(
        map(
            NoteRow,
            (notes.onset_us / 1e6).tolist(),
            [bars[s] for s in stroke],
            [beats[s] for s in stroke],
            notes.pitch.tolist(),
            notes.velocity.tolist(),
            ["matched" if placed[s] else "unplaced" for s in stroke],
            [None if x != x else x for x in np.round(note_offset, 3).tolist()],
            [names[s] for s in stroke],
            [inside[s] for s in stroke],
            [sure[s] for s in stroke],
        )
    )


def _section_names(bar: IntArray, sections: Sequence[Section]) -> list[str | None]:
    """Name of the section that each bar lies in."""
    index, _, _ = section_columns(bar, sections)
    return [sections[i].name or None if i >= 0 else None for i in index.tolist()]
