"""From matched or placed notes to the Offsets table: the one place where "played minus reference" is computed.

Conventions: offsets in milliseconds, negative is early; counts are of notes, rows of the table are strokes. A wrong key
struck at the right place has a time like any other and is judged; a stroke whose place is more doubtful than not
(`DOUBT`) is listed but left out of the statistics. Ours.

Inside: `judge_plan` (a take against a plan), `judge_grid` (a take against the click's grid), `Judged`, `Shift`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.note_rows import grid_rows, plan_rows, planned_division
from heeltap.analysis.quantise import Slots
from heeltap.analysis.voicing import voiced
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.notes import Notes
from heeltap.model.offsets import Offsets, Tally
from heeltap.model.parts import DRUM_CHANNEL
from heeltap.model.plan import ANY_PITCH, Plan, Section
from heeltap.model.result import NoteRow
from heeltap.model.sections import section_columns
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["DOUBT", "Judged", "Shift", "group_median", "judge_grid", "judge_plan"]

DOUBT = 0.5
"""Strokes whose place is less probable than this are left out of the statistics."""


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A take after judging."""

    offsets: Offsets
    """One row a stroke."""
    tally: Tally
    """Notes by status."""
    rows: tuple[NoteRow, ...]
    """One row a note, played or missed, in time order."""
    doubtful: int
    """Strokes left out of ``offsets`` because their place is in doubt."""
    last_bar: int
    """Last bar in which something was planned or played; 0 when there is none."""


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """Where a leader was against the click: the reference moves with it. One entry a planned note, or a stroke."""

    ms: FloatArray
    """Leader minus click, milliseconds."""
    sd_ms: FloatArray
    """Standard error of the same."""


@dataclass(frozen=True, slots=True, eq=False)
class _Strokes:
    """Judged strokes before the musical columns are added; rows in time order of the reference."""

    onset_us: FloatArray
    offset_ms: FloatArray
    reference_us: FloatArray
    quarter: FloatArray
    division: IntArray
    hand: IntArray
    kind: IntArray
    pitch: IntArray
    drum: IntArray
    velocity: IntArray
    spread_ms: FloatArray
    confidence: FloatArray
    reference_sd_ms: FloatArray


def group_median(values: npt.ArrayLike, group: IntArray, groups: int) -> FloatArray:
    """Median of the values in each group, nan for an empty group; equals ``[np.median(values[group == g]) ...]``.

    Parameters
    ----------
    values : float, shape (n,)
    group : int64, shape (n,)
        From 0.
    groups : int
        How many groups there are.

    Returns
    -------
    float64, shape (groups,)
        In the unit of the values.
    """
    data = np.asarray(values, dtype=np.float64)
    order = np.lexsort((data, group))
    counts = np.bincount(group, minlength=groups)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    out = np.full(groups, np.nan)
    filled = counts > 0
    low = order[(starts + (counts - 1) // 2)[filled]]
    high = order[(starts + counts // 2)[filled]]
    out[filled] = (data[low] + data[high]) / 2.0
    return out


def judge_plan(
    plan: Plan,
    notes: Notes,
    match: IntArray,
    confidence: FloatArray,
    *,
    delay_ms: float = 0.0,
    shift: Shift | None = None,
) -> Judged:
    """A take against a plan.

    Parameters
    ----------
    plan : Plan
    notes : Notes
        The take, retriggers folded, on the click's clock.
    match : int64, shape (len(plan),)
        Row in ``notes`` that was played for each planned note, -1 where none was.
    confidence : float64, shape (len(plan),)
        Probability that the match is right.
    delay_ms : float
        Known delay of the route, taken away from every offset.
    shift : Shift, optional
        Where the leader sat against the click at each planned note; without it the click is the reference.

    Returns
    -------
    Judged
        Offsets in milliseconds, a row for every note, and counts.
    """
    moved = _still(len(plan)) if shift is None else shift
    hit = match >= 0
    note_offset = np.full(len(plan), np.nan)
    note_offset[hit] = (notes.onset_us[match[hit]] - plan.at_us[hit]) / 1000.0 - delay_ms - moved.ms[hit]
    trusted = hit & (confidence >= DOUBT)
    struck = _planned_strokes(plan, notes, match, note_offset, trusted, confidence, moved.sd_ms)
    doubtful = int(np.unique(plan.stroke[hit]).size - struck.offset_ms.size)
    last_bar = max(plan.bars, int(plan.metre.bar_beat(plan.at_tick[-1:] / TICKS_PER_QUARTER)[0].max(initial=0)))
    offsets = _table(struck, plan.tempo, plan.metre, plan.sections, np.unique(plan.at_us))
    wrong = hit & (plan.pitch >= 0)
    wrong[wrong] = notes.pitch[match[wrong]] != plan.pitch[wrong]
    right, doubled = voiced(plan, notes, match)
    wrong &= ~right
    rows = plan_rows(plan, notes, match, wrong, doubled, note_offset, confidence)
    extra = len(notes) - int(hit.sum()) - int(doubled.sum())
    tally = Tally(len(plan), int((hit & ~wrong).sum()), int((~hit).sum()), extra, int(wrong.sum()), 0)
    return Judged(offsets, tally, rows, doubtful, last_bar)


def judge_grid(
    notes: Notes,
    stroke_of_note: IntArray,
    slots: Slots,
    *,
    tempo: TempoMap,
    metre: MetreMap,
    sections: Sequence[Section] = (),
    delay_ms: float = 0.0,
    shift: Shift | None = None,
    hand: IntArray | None = None,
) -> Judged:
    """A take against the click's grid.

    Parameters
    ----------
    notes : Notes
        The take, retriggers folded, on the click's clock.
    stroke_of_note : int64, shape (len(notes),)
        Stroke that each note belongs to: 0, 0, 1, ...
    slots : Slots
        Where each stroke was meant, one row a stroke.
    tempo : TempoMap
    metre : MetreMap
    sections : sequence of Section
    delay_ms : float
        Known delay of the route, taken away from every offset.
    shift : Shift, optional
        Where the leader sat against the click at each stroke's slot; without it the click is the reference.
    hand : int64, shape (len(notes),), optional
        Code into `heeltap.model.plan.HANDS` of each note; a stroke of both hands has none.

    Returns
    -------
    Judged
        Offsets in milliseconds, a row for every note, and counts.
    """
    moved = _still(len(slots)) if shift is None else shift
    late_us = notes.onset_us - slots.reference_us[stroke_of_note]
    note_offset = late_us / 1000.0 - delay_ms - moved.ms[stroke_of_note]
    placed = slots.placed
    note_offset[~placed[stroke_of_note]] = np.nan
    keep = placed & (slots.confidence >= DOUBT)
    struck = _free_strokes(notes, stroke_of_note, note_offset, slots, keep, moved.sd_ms, hand)
    offsets = _table(struck, tempo, metre, sections, np.unique(slots.reference_us[placed]))
    rows = grid_rows(notes, stroke_of_note, note_offset, slots, sections)
    unplaced = int((~placed[stroke_of_note]).sum())
    tally = Tally(0, len(notes) - unplaced, 0, 0, 0, unplaced)
    return Judged(offsets, tally, rows, int((placed & ~keep).sum()), int(slots.bar[placed].max(initial=0)))


def _still(size: int) -> Shift:
    """The click itself as the reference."""
    return Shift(np.zeros(size), np.zeros(size))


def _planned_strokes(
    plan: Plan,
    notes: Notes,
    match: IntArray,
    note_offset: FloatArray,
    trusted: BoolArray,
    confidence: FloatArray,
    reference_sd_ms: FloatArray,
) -> _Strokes:
    """One row for each planned stroke of which at least one note was surely played."""
    stroke = plan.stroke[trusted]
    played = match[trusted]
    found, group = np.unique(stroke, return_inverse=True)
    size = found.size
    first = np.searchsorted(plan.stroke, found)
    quarter = plan.at_tick[first] / TICKS_PER_QUARTER
    onset = group_median(notes.onset_us[played], group, size)
    return _Strokes(
        onset_us=onset,
        offset_ms=group_median(note_offset[trusted], group, size),
        reference_us=plan.at_us[first].astype(np.float64),
        quarter=quarter,
        division=planned_division(plan, quarter),
        hand=_shared(plan.hand, plan.stroke, found, first),
        kind=plan.kind[first],
        pitch=_extreme(notes.pitch[played], group, size, np.minimum, 127),
        drum=_drums(notes, played, plan.pitch[trusted] == ANY_PITCH, group),
        velocity=_extreme(notes.velocity[played], group, size, np.maximum, 0),
        spread_ms=_group_range(notes.onset_us[played], group, size) / 1000.0,
        confidence=_group_min(confidence[trusted], group, size),
        reference_sd_ms=reference_sd_ms[first],
    )


def _free_strokes(
    notes: Notes,
    stroke_of_note: IntArray,
    note_offset: FloatArray,
    slots: Slots,
    keep: BoolArray,
    reference_sd_ms: FloatArray,
    hand: IntArray | None,
) -> _Strokes:
    """One row for each stroke that has a slot."""
    rows = keep[stroke_of_note]
    found, group = np.unique(stroke_of_note[rows], return_inverse=True)
    size = found.size
    zero = np.zeros(size, np.int64)
    return _Strokes(
        onset_us=group_median(notes.onset_us[rows], group, size),
        offset_ms=group_median(note_offset[rows], group, size),
        reference_us=slots.reference_us[found].astype(np.float64),
        quarter=slots.quarter[found],
        division=slots.division[found],
        hand=zero if hand is None else _agreed(hand[rows], group, size),
        kind=zero,
        pitch=_extreme(notes.pitch[rows], group, size, np.minimum, 127),
        drum=_drums(notes, np.flatnonzero(rows), np.zeros(group.size, np.bool_), group),
        velocity=_extreme(notes.velocity[rows], group, size, np.maximum, 0),
        spread_ms=_group_range(notes.onset_us[rows], group, size) / 1000.0,
        confidence=slots.confidence[found],
        reference_sd_ms=reference_sd_ms[found],
    )


def _table(
    struck: _Strokes,
    tempo: TempoMap,
    metre: MetreMap,
    sections: Sequence[Section],
    expected_us: npt.NDArray[np.generic],
) -> Offsets:
    """Add the musical columns; ``expected_us``: sorted times of all strokes that should have been played."""
    bar, beat = metre.bar_beat(struck.quarter)
    reference_us = struck.reference_us
    unit = np.array([one.beat_quarters for one in metre.metres])[metre.row_at(struck.quarter)]
    beat_ms = tempo.us_per_quarter_at(reference_us) * unit / 1000.0
    before, after = _neighbours(reference_us, expected_us.astype(np.float64))
    section, to_change, since = section_columns(bar, sections)
    return Offsets(
        onset_us=np.round(struck.onset_us).astype(np.int64),
        offset_ms=struck.offset_ms,
        bar=bar,
        beat=np.round(beat, 6),
        division=struck.division,
        section=section,
        kind=struck.kind,
        hand=struck.hand,
        pitch=struck.pitch,
        drum=struck.drum,
        velocity=struck.velocity,
        interval_ms=np.where(np.isinf(np.minimum(before, after)), beat_ms, np.minimum(before, after) / 1000.0),
        rest_ms=np.where(np.isinf(before), beat_ms, before / 1000.0),
        leap=np.where(struck.drum < 0, _leaps(struck.pitch, struck.hand), 0),
        spread_ms=struck.spread_ms,
        bars_to_change=to_change,
        bars_since_change=since,
        confidence=struck.confidence,
        reference_sd_ms=struck.reference_sd_ms,
        beat_ms=beat_ms,
        sections=tuple(sections),
    )


def _drums(notes: Notes, rows: IntArray, any_key: BoolArray, group: IntArray) -> IntArray:
    """Key of each group's loudest note where that is a drum or stands for any key, else -1; ``rows`` of the notes."""
    order = np.lexsort((notes.velocity[rows], group))
    loudest = order[np.flatnonzero(np.diff(group[order], append=-1))]
    is_drum = (notes.channel[rows[loudest]] == DRUM_CHANNEL) | any_key[loudest]
    return np.where(is_drum, notes.pitch[rows[loudest]], -1).astype(np.int64)


def _neighbours(reference_us: FloatArray, expected_us: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Time to the expected stroke before and after each reference, microseconds; inf where there is none."""
    fence = np.concatenate([[-np.inf], expected_us, [np.inf]])
    left = np.searchsorted(fence, reference_us, side="left") - 1
    right = np.searchsorted(fence, reference_us, side="right")
    return reference_us - fence[left], fence[right] - reference_us


def _leaps(pitch: IntArray, hand: IntArray) -> IntArray:
    """Semitones from the stroke before in the same hand; 0 for the first of each hand."""
    leap = np.zeros(pitch.size, np.int64)
    for code in np.unique(hand):
        rows = np.flatnonzero(hand == code)
        leap[rows[1:]] = np.diff(pitch[rows])
    return leap


def _shared(column: IntArray, stroke: IntArray, found: IntArray, first: IntArray) -> IntArray:
    """The column's value where all notes of a stroke agree, else 0 (both hands together)."""
    last = np.searchsorted(stroke, found, side="right") - 1
    same = column[first] == column[last]
    return np.where(same, column[first], 0)


def _agreed(hand: IntArray, group: IntArray, groups: int) -> IntArray:
    """The hand of each group where all its notes have the same, else 0."""
    low, high = _extreme(hand, group, groups, np.minimum, 127), _extreme(hand, group, groups, np.maximum, 0)
    return np.where(low == high, low, 0).astype(np.int64)


def _extreme(values: IntArray, group: IntArray, groups: int, pick: np.ufunc, start: int) -> IntArray:
    """Smallest or largest value of each group."""
    out = np.full(groups, start, np.int64)
    pick.at(out, group, values)
    return out


def _group_range(values: IntArray, group: IntArray, groups: int) -> FloatArray:
    """Largest minus smallest value of each group."""
    high = np.full(groups, np.iinfo(np.int64).min)
    low = np.full(groups, np.iinfo(np.int64).max)
    np.maximum.at(high, group, values)
    np.minimum.at(low, group, values)
    span: FloatArray = (high - low).astype(np.float64)
    return span


def _group_min(values: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Smallest value of each group."""
    out = np.full(groups, np.inf)
    np.minimum.at(out, group, values)
    return out
