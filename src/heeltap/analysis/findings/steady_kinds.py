"""Findings about places in the bar, about drift, and about what the hands do: their rows and their contrasts.

Sizes are ms; a negative one means earlier.

Ours, where no source is named.

Inside: `STEADY_KINDS`.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from heeltap.analysis.findings.contrasts import (
    MIN_BARS,
    MIN_CLASS,
    WIDE_LEAP,
    Contrast,
    FindingKind,
    after_rest,
    class_contrast,
    has_enough_strokes,
    of_class,
)
from heeltap.model.arrays import BoolArray
from heeltap.model.offsets import Offsets
from heeltap.model.subdivisions import BEAT, DIVISIONS, SWUNG

__all__ = ["STEADY_KINDS"]

_BEATS = ("Beat one", "Beat two", "Beat three", "Beat four", "Beat five", "Beat six")

_SLOTS = {
    "eighth": "eighths",
    "triplet": "triplets",
    "sixteenth": "sixteenths",
    "swung": "swung eighths",
    "fine": "finest notes",
    "grace": "grace notes",
}
"""Kinds of slot as sentences name them."""


_WITHIN_A_DRUM = (
    "On the same drum you come earlier when you play louder: {size} for every {what} steps of velocity.",
    "On the same drum you come later when you play louder: {size} for every {what} steps of velocity.",
)


def _beat_numbers(table: Offsets) -> list[int]:
    """Beats of the bar on which strokes fall."""
    return [int(b) for b in np.unique(np.round(table.beat[table.division == BEAT])) if b <= 12]


def _on(table: Offsets, *beats: int) -> BoolArray:
    """Strokes on any of these beats."""
    near = np.abs(table.beat[:, None] - np.array(beats)) < 0.01
    return np.asarray((table.division == BEAT) & near.any(axis=1))


def _beats(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Each beat of the bar."""
    beats = _beat_numbers(table)
    for beat in beats if len(beats) > 1 else ():
        rows = _on(table, beat)
        if has_enough_strokes(table, rows):
            yield class_contrast(kind, rows, _BEATS[beat - 1] if beat <= len(_BEATS) else f"Beat {beat}")


def _backbeat(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Two and four together, where the bar has four beats."""
    rows = _on(table, 2, 4)
    if _beat_numbers(table)[-1:] == [4] and has_enough_strokes(table, rows):
        yield class_contrast(kind, rows)


def _off_beat_slots(table: Offsets) -> list[int]:
    """Codes of the kinds of slot between the beats that the take uses, but the swung one."""
    used = (int(code) for code in np.unique(table.division))
    return [code for code in used if code not in (BEAT, SWUNG)]


def _off_beats(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Off the beat against on it; swung eighths are left to the swing."""
    off = np.isin(table.division, _off_beat_slots(table))
    if has_enough_strokes(table, off):
        yield class_contrast(kind, off, against=table.division == BEAT)


def _divisions(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Each kind of slot between the beats but the swung one, where there are several."""
    slots = _off_beat_slots(table)
    for code in slots if np.unique(table.division[table.division != BEAT]).size > 1 else ():
        rows = table.division == code
        if has_enough_strokes(table, rows):
            yield class_contrast(kind, rows, _SLOTS[DIVISIONS[code]])


def _section_drift(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Slope over the bars inside the sections, where there are at least two."""
    bar = table.bar.astype(np.float64)
    inside = np.zeros(len(table))
    sections = [code for code in np.unique(table.section) if code >= 0]
    for code in sections:
        rows = table.section == code
        inside[rows] = bar[rows] - bar[rows].mean()
    if np.unique(bar).size >= 2 * MIN_BARS and len(sections) > 1 and np.any(inside):
        yield Contrast(kind, "", inside, np.ones(len(table), np.bool_), inside)


def _drift(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Slope over the bars of the take."""
    bar = table.bar.astype(np.float64)
    if np.unique(bar).size >= 2 * MIN_BARS:
        yield Contrast(kind, "", bar - bar.mean(), np.ones(len(table), np.bool_), bar)


def _loudness(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Loudness in standard deviations, its tails drawn in; of drums each within itself, for one is louder by nature."""
    velocity = table.velocity.astype(np.float64)
    drum = np.unique(table.drum, return_inverse=True)[1]
    usual = np.bincount(drum, velocity) / np.maximum(np.bincount(drum), 1) if velocity.size else np.zeros(0)
    louder = velocity - usual[drum]
    scale = float(louder.std()) if velocity.size else 0.0
    if velocity.size >= 4 * MIN_CLASS and scale >= 2.0:
        standard = np.clip(louder / scale, -3, 3)
        sentences = _WITHIN_A_DRUM if np.any(table.drum >= 0) else ("", "")
        yield Contrast(kind, f"{scale:.0f}", standard, standard > 0, standard, sentences=sentences)


def _hands(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Left against right."""
    left, right = table.hand == 1, table.hand == 2
    if min(left.sum(), right.sum()) >= MIN_CLASS and has_enough_strokes(table, left):
        contrast = class_contrast(kind, left, against=right)
        # Strokes of both hands, or of an unknown one, are in between; they are not the right hand's.
        share = left.sum() / (left.sum() + right.sum())
        yield replace(contrast, regressor=np.where(left, 1.0, np.where(right, 0.0, share)))


STEADY_KINDS: tuple[FindingKind, ...] = (
    FindingKind(
        code="bias",
        asks="all strokes against the lean; needs a lean and a known delay",
        less="On the whole you play {size} earlier than you aim.",
        more="On the whole you play {size} later than you aim.",
        class_words=("early on the whole", "late on the whole"),
        advice="place",
        measure="place",
        weight=10.0,
        bars="none",
    ),
    FindingKind(
        code="beat",
        asks="one beat of the bar against all other strokes",
        less="{what} comes {size} earlier than the rest.",
        more="{what} comes {size} later than the rest.",
        class_words=("one beat early", "one beat late"),
        advice="strong-beats",
        measure="place",
        weight=0.6,
        local=True,
        contrasts=_beats,
        metrical=True,
        bars="listed",
    ),
    FindingKind(
        code="backbeat",
        asks="two and four together against all other strokes, in four",
        less="Your two and four come {size} earlier than the rest.",
        more="Your two and four come {size} later than the rest.",
        class_words=("two and four early", "two and four late"),
        advice="strong-beats",
        measure="place",
        weight=0.3,
        local=True,
        contrasts=_backbeat,
        metrical=True,
        bars="listed",
    ),
    FindingKind(
        code="off-beats",
        asks="everything between the beats against the beats",
        less="Your strokes between the beats come {size} earlier than those on them.",
        more="Your strokes between the beats come {size} later than those on them.",
        class_words=("off-beats early", "off-beats late"),
        advice="divisions",
        measure="place",
        weight=2.0,
        local=True,
        contrasts=_off_beats,
        metrical=True,
        bars="listed",
    ),
    FindingKind(
        code="division",
        asks="one kind of slot (eighths, triplets, sixteenths, finer) against all other strokes",
        less="Your {what} come {size} earlier than the rest.",
        more="Your {what} come {size} later than the rest.",
        class_words=("one subdivision early", "one subdivision late"),
        advice="divisions",
        measure="place",
        weight=0.6,
        local=True,
        contrasts=_divisions,
        metrical=True,
        bars="listed",
    ),
    FindingKind(
        code="swing",
        asks="the swung eighths against the beats, measured from where the asked swing puts them",
        less="You swing less than the plan asks: your swung eighths come {size} early.",
        more="You swing more than the plan asks: your swung eighths come {size} late.",
        class_words=("swinging too little", "swinging too much"),
        advice="swing",
        measure="place",
        weight=2.0,
        asked_swing=True,
        local=True,
        contrasts=of_class(lambda table: table.division == SWUNG, lambda table: table.division == BEAT),
        metrical=True,
        bars="listed",
    ),
    FindingKind(
        code="section-drift",
        asks="slope over the bars inside the sections, all sections together; the size is ms per bar",
        less="Inside the sections you speed up: {size} earlier with every bar.",
        more="Inside the sections you slow down: {size} later with every bar.",
        class_words=("speeding up inside sections", "slowing down inside sections"),
        advice="steady",
        measure="place",
        weight=0.5,
        contrasts=_section_drift,
        slope=True,
        bars="none",
    ),
    FindingKind(
        code="drift",
        asks="slope over the bars of the whole take; the size is ms per bar",
        less="You speed up over the take: {size} earlier with every bar.",
        more="You slow down over the take: {size} later with every bar.",
        class_words=("speeding up over the take", "slowing down over the take"),
        advice="steady",
        measure="place",
        weight=0.4,
        contrasts=_drift,
        slope=True,
        bars="none",
    ),
    FindingKind(
        code="after-rest",
        asks="strokes after a gap of more than one and a half times the usual one",
        less="After a rest or a long note you come in {size} earlier than elsewhere.",
        more="After a rest or a long note you come in {size} later than elsewhere.",
        class_words=("early after rests", "late after rests"),
        advice="rests",
        measure="place",
        weight=0.4,
        local=True,
        contrasts=of_class(after_rest),
    ),
    FindingKind(
        code="loudness",
        asks="loud against soft, on a kit within each drum; the size is ms for one standard deviation of velocity",
        less="You come earlier when you play louder: {size} for every {what} steps of velocity.",
        more="You come later when you play louder: {size} for every {what} steps of velocity.",
        class_words=("louder is earlier", "louder is later"),
        advice="dynamics",
        measure="place",
        weight=1.0,
        local=True,
        contrasts=_loudness,
        bars="listed",
    ),
    FindingKind(
        code="leaps",
        asks="strokes after a leap of seven semitones or more in the same hand",
        less="After a wide leap you are {size} earlier than elsewhere.",
        more="After a wide leap you are {size} later than elsewhere.",
        class_words=("early after leaps", "late after leaps"),
        advice="leaps",
        measure="place",
        weight=0.4,
        local=True,
        contrasts=of_class(lambda table: np.abs(table.leap) >= WIDE_LEAP),
    ),
    FindingKind(
        code="hands",
        asks="left hand against right",
        less="Your left hand comes {size} earlier than your right.",
        more="Your left hand comes {size} later than your right.",
        class_words=("left hand early", "left hand late"),
        advice="hands",
        measure="place",
        weight=0.5,
        local=True,
        contrasts=_hands,
        metrical=True,
        bars="listed",
    ),
)
"""Rows whose sentences are complete; `heeltap.analysis.findings.sentences` adds how sure they are, and the bars."""
