"""Findings about section changes: running into them, landing after them, fills; their rows and their contrasts.

Sizes are ms; a negative one means earlier.

Ours, where no source is named.

Inside: `CHANGE_KINDS`.
"""

from collections.abc import Iterator

import numpy as np

from heeltap.analysis.findings.contrasts import (
    FILL,
    GROOVE,
    LANDING,
    MIN_CHANGES,
    MIN_CLASS,
    Contrast,
    FindingKind,
    class_contrast,
    has_enough_strokes,
    of_class,
)
from heeltap.model.arrays import BoolArray, FloatArray
from heeltap.model.offsets import Offsets

__all__ = ["CHANGE_KINDS"]

_LOOK_AHEAD = 4
"""Bars after a change within which coming back is looked for."""


_BACK_WITHIN = {2: "two", 3: "three", 4: "four"}
"""Beats after the landing by which people are back on time, with the word for it (ours)."""

_PEAK_SENTENCES = (
    "You rush into the changes: the last bar gets earlier and earlier, and you are back about {what} beats into the new "
    "section. Its first stroke comes {size} early.",
    "You drag into the changes: the last bar gets later and later, and you are back about {what} beats into the new "
    "section. Its first stroke comes {size} late.",
)


def _is_asked(table: Offsets, rows: BoolArray) -> bool:
    """Whether these bars lie at enough changes, with enough strokes in and outside them."""
    return np.unique(table.bar[rows]).size >= MIN_CHANGES and min(rows.sum(), (~rows).sum()) >= MIN_CLASS


def _into_change(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """The bar before a new section, a ramp through it, and a ramp that goes on to the landing and decays after it."""
    before = table.bars_to_change == 1
    if not _is_asked(table, before):
        return
    yield class_contrast(kind, before)
    length = max(float(np.ceil(table.beat.max())) - 1.0, 1.0)
    ramp = np.where(before, np.clip((table.beat - 1) / length, 0, 1), 0.0)
    # Told of a ramp is the plain difference of the whole bar, as of the class.
    yield Contrast(kind, "", ramp, before, before.astype(np.float64), share=1 / 3)
    for back_beats, words in _BACK_WITHIN.items():
        shape = _rush_and_return(table, back_beats)
        yield Contrast(kind, words, shape, before, None, share=1 / 3, sentences=_PEAK_SENTENCES)


def _rush_and_return(table: Offsets, back_beats: float) -> FloatArray:
    """Growing through the last bar, 1 at the landing, back to 0 after so many beats.

    Players rush gradually and come back gradually: a class of whole bars misses most of such a rush under wander.
    """
    beats = max(float(np.floor(table.beat.max())), 1.0)
    up = np.where(table.bars_to_change == 1, np.clip((table.beat - 1) / beats, 0, 1), 0.0)
    since = beats * table.bars_since_change + table.beat - 1
    return np.asarray(np.maximum(up, np.clip(1 - since / back_beats, 0, 1)))


def _fills(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """Fills against the groove; and fills after their first stroke, for a run needs something to run from."""
    fill = table.kind == FILL
    starts = fill & ~np.concatenate(([False], fill[:-1])) if len(table) else fill
    for rows, share in ((fill, 1.0), (fill & ~starts, 0.5)):
        if has_enough_strokes(table, rows):
            yield class_contrast(kind, rows, against=table.kind == GROOVE, share=share)


def _after_change(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """The first bar of a new section."""
    after = table.bars_since_change == 0
    if _is_asked(table, after):
        yield class_contrast(kind, after)


def _back_after(table: Offsets, effect_ms: float) -> str:
    """How long after the changes the player is back, in words; empty where the table does not say.

    Back: the mean of that bar over all changes is within a third of the effect of the strokes far from any change.
    """
    since = table.bars_since_change
    far: BoolArray = (table.bars_to_change > 1) & ((since >= _LOOK_AHEAD) | (since < 0))
    if not np.any(far):
        return ""
    usual = float(np.mean(table.offset_ms[far]))
    for bars in range(_LOOK_AHEAD):
        rows = since == bars
        if not np.any(rows):
            return ""
        if (float(np.mean(table.offset_ms[rows])) - usual) / effect_ms < 1 / 3:
            return ", back in the first bar after it." if bars == 0 else f", back by bar {bars + 1} of the new section."
    return f", and not back within {_LOOK_AHEAD} bars."


CHANGE_KINDS: tuple[FindingKind, ...] = (
    FindingKind(
        code="into-change",
        asks="the last bar before a new section against the rest, a ramp through it, or a rush that grows through it and "
        "is gone two to four beats after it",
        less="You rush into the changes: the last bar before a new section is {size} earlier than the rest.",
        more="You drag into the changes: the last bar before a new section is {size} later than the rest.",
        class_words=("rushing into changes", "dragging into changes"),
        advice="turns",
        measure="place",
        weight=3.0,
        about_changes=True,
        contrasts=_into_change,
        once=True,
        tail=_back_after,
    ),
    FindingKind(
        code="after-change",
        asks="the first bar of a new section against the rest",
        less="The first bar of a new section is {size} earlier than the rest.",
        more="The first bar of a new section is {size} later than the rest.",
        class_words=("early after changes", "late after changes"),
        advice="turns",
        measure="place",
        weight=0.3,
        about_changes=True,
        contrasts=_after_change,
    ),
    FindingKind(
        code="fills",
        asks="fills against the groove",
        less="Your fills come {size} earlier than the groove.",
        more="Your fills come {size} later than the groove.",
        class_words=("fills early", "fills late"),
        advice="fills",
        measure="place",
        weight=3.0,
        about_changes=True,
        once=True,
        contrasts=_fills,
    ),
    FindingKind(
        code="landing",
        asks="the new section's first stroke against the rest",
        less="Your first stroke in a new section comes {size} earlier than the rest.",
        more="Your first stroke in a new section comes {size} later than the rest.",
        class_words=("landings early", "landings late"),
        advice="turns",
        measure="place",
        weight=0.3,
        about_changes=True,
        contrasts=of_class(lambda table: table.kind == LANDING),
    ),
)
"""Rows whose sentences are complete; `heeltap.analysis.findings.sentences` adds how sure they are, and the bars."""
