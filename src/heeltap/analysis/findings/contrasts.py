"""The questions that a take can be asked: one regressor each, only those that it has enough strokes for.

Conventions: a regressor is one number a stroke; for a class it is 1 inside and 0 outside, so that its coefficient is
the class minus the rest in ms.

Inside: `Question`, `place_questions`, `scatter_questions`, `clusters`, `places`.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.findings.catalogue import kind_of
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.subdivisions import BEAT, DIVISIONS, SWUNG

__all__ = ["MIN_BARS", "MIN_CLASS", "Question", "clusters", "place_questions", "places", "scatter_questions"]

MIN_CLASS = 8
"""Fewest strokes on each side of a class."""

MIN_BARS = 4
"""Fewest bars on each side of a class."""

MIN_CHANGES = 3
"""Fewest section changes before anything is said about them in general."""

_WIDE_LEAP = 7
"""Semitones: a fifth, about what a hand reaches without moving on a keyboard (ours, common practice, no source)."""

_LONG_GAP = 1.5
"""Times the usual gap (ours)."""

_FILL, _LANDING = 1, 2

_SLOTS = {
    "eighth": "eighths",
    "triplet": "triplets",
    "sixteenth": "sixteenths",
    "swung": "swung eighths",
    "fine": "finest notes",
    "grace": "grace notes",
}
"""Kinds of slot as sentences name them."""


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """One thing to test."""

    code: str
    """Row of `heeltap.analysis.findings.catalogue.FINDING_KINDS`."""
    what: str
    """Names the strokes inside the sentence; empty where the sentence does."""
    regressor: FloatArray
    """One number a stroke."""
    rows: BoolArray
    """The strokes that the question is about, to name their bars."""
    weight: float
    """Share of the permitted error, beside the other questions'."""
    metrical: bool = False
    """About places in the bar. All other questions are asked with the mean of every place in the bar taken out
    first, so that a habit of the player's (a late four, say) is not mistaken for what happens to fall on it."""


def clusters(table: Offsets) -> IntArray:
    """What the second witness counts as one: whole sections where there are five or more, else bars."""
    whole = np.where(table.section >= 0, table.section, -1)
    return whole if np.unique(whole).size >= 5 else table.bar


def place_questions(table: Offsets) -> list[Question]:
    """Everything that can be asked about where the strokes sit, but the bias itself."""
    asked = [*_beats(table), *_divisions(table), *_drifts(table), *_changes(table)]
    classes = (
        ("fills", table.kind == _FILL),
        ("landing", table.kind == _LANDING),
        ("after-rest", _after_rest(table)),
        ("leaps", np.abs(table.leap) >= _WIDE_LEAP),
    )
    asked += [_class(code, rows) for code, rows in classes if _enough(table, rows)]
    return [*asked, *_loudness(table), *_hands(table)]


def scatter_questions(table: Offsets) -> list[Question]:
    """Everything that can be asked about how much the strokes scatter."""
    classes = (
        ("scatter-off-beats", table.division != BEAT),
        ("scatter-into-change", table.bars_to_change == 1),
        ("scatter-fills", table.kind == _FILL),
        ("scatter-after-rest", _after_rest(table)),
        ("scatter-leaps", np.abs(table.leap) >= _WIDE_LEAP),
        ("scatter-hands", table.hand == 1),
    )
    asked = [_class(code, rows) for code, rows in classes if _enough(table, rows)]
    n = len(table)
    if n >= 4 * MIN_CLASS:
        asked.append(
            Question(
                "scatter-grows",
                "",
                np.linspace(-0.5, 0.5, n),
                np.arange(n) >= 2 * n // 3,
                kind_of("scatter-grows").weight,
            )
        )
    return asked


def _class(code: str, rows: BoolArray, what: str = "") -> Question:
    return Question(code, what, rows.astype(np.float64), rows, kind_of(code).weight, code in _METRICAL)


_METRICAL = {"beat", "backbeat", "off-beats", "division", "swing", "scatter-off-beats", "hands", "scatter-hands"}


def places(table: Offsets) -> FloatArray:
    """One column for each place in the bar but the commonest, shape (strokes, places); those with few strokes share
    one.

    Without columns where there are fewer than four strokes a place.
    """
    code = np.unique(np.round(table.beat, 2), return_inverse=True)[1]
    count = np.bincount(code)
    code = np.where(count[code] < MIN_BARS, -1, code)
    kept, count = np.unique(code, return_counts=True)
    kept = np.delete(kept, np.argmax(count))
    if len(table) < 4 * (kept.size + 1):
        kept = kept[:0]
    return np.asarray(code[:, None] == kept[None, :], dtype=np.float64)


def _enough(table: Offsets, rows: BoolArray) -> bool:
    """Enough strokes in enough bars on both sides."""
    return all(int(side.sum()) >= MIN_CLASS and np.unique(table.bar[side]).size >= MIN_BARS for side in (rows, ~rows))


def _beats(table: Offsets) -> Iterator[Question]:
    """Each beat of the bar; two and four together where the bar has four."""
    on_beat = table.division == BEAT
    beats = [int(b) for b in np.unique(np.round(table.beat[on_beat])) if b <= 12]
    words = ("The one", "Beat two", "Beat three", "Beat four", "Beat five", "Beat six")
    for beat in beats:
        rows = on_beat & (np.abs(table.beat - beat) < 0.01)
        if _enough(table, rows) and len(beats) > 1:
            yield _class("beat", rows, words[beat - 1] if beat <= len(words) else f"Beat {beat}")
    backbeat = on_beat & ((np.abs(table.beat - 2) < 0.01) | (np.abs(table.beat - 4) < 0.01))
    if beats[-1:] == [4] and _enough(table, backbeat):
        yield _class("backbeat", backbeat)


def _divisions(table: Offsets) -> Iterator[Question]:
    """Off the beat against on it; then each kind of slot, where there are several."""
    off = table.division != BEAT
    kinds = [int(code) for code in np.unique(table.division[off])]
    if kinds != [SWUNG] and _enough(table, off):
        yield _class("off-beats", off)
    for code in kinds:
        rows = table.division == code
        if (code == SWUNG or len(kinds) > 1) and _enough(table, rows):
            yield _class("swing", rows) if code == SWUNG else _class("division", rows, _SLOTS[DIVISIONS[code]])


def _drifts(table: Offsets) -> Iterator[Question]:
    """Slope inside the sections and over the take."""
    every = np.ones(len(table), np.bool_)
    bar = table.bar.astype(np.float64)
    if np.unique(bar).size < 2 * MIN_BARS:
        return
    inside = np.zeros(len(table))
    songs = [code for code in np.unique(table.section) if code >= 0]
    for code in songs:
        rows = table.section == code
        inside[rows] = bar[rows] - bar[rows].mean()
    if len(songs) > 1 and np.any(inside):
        yield Question("section-drift", "", inside, every, kind_of("section-drift").weight)
    yield Question("drift", "", bar - bar.mean(), every, kind_of("drift").weight)


def _changes(table: Offsets) -> Iterator[Question]:
    """The bar before a new section, a ramp through it, and the bar after."""
    before, after = table.bars_to_change == 1, table.bars_since_change == 0
    if np.unique(table.bar[before]).size >= MIN_CHANGES and min(before.sum(), (~before).sum()) >= MIN_CLASS:
        yield _class("into-change", before)
        length = max(float(np.ceil(table.beat.max())) - 1.0, 1.0)
        ramp = np.where(before, np.clip((table.beat - 1) / length, 0, 1), 0.0)
        yield Question("into-change", "ramp", ramp, before, kind_of("into-change").weight / 3)
    if np.unique(table.bar[after]).size >= MIN_CHANGES and min(after.sum(), (~after).sum()) >= MIN_CLASS:
        yield _class("after-change", after)


def _after_rest(table: Offsets) -> BoolArray:
    return np.asarray(table.rest_ms > _LONG_GAP * np.median(table.rest_ms)) if len(table) else np.zeros(0, np.bool_)


def _loudness(table: Offsets) -> Iterator[Question]:
    """Loudness in standard deviations, its tails drawn in."""
    velocity = table.velocity.astype(np.float64)
    scale = float(velocity.std()) if velocity.size else 0.0
    if velocity.size >= 4 * MIN_CLASS and scale >= 2.0:
        standard = np.clip((velocity - velocity.mean()) / scale, -3, 3)
        yield Question("loudness", f"{scale:.0f}", standard, standard > 0, kind_of("loudness").weight, True)


def _hands(table: Offsets) -> Iterator[Question]:
    left, right = table.hand == 1, table.hand == 2
    if min(left.sum(), right.sum()) >= MIN_CLASS and _enough(table, left):
        share = left.sum() / (left.sum() + right.sum())
        yield Question(
            "hands", "", np.where(left, 1.0, np.where(right, 0.0, share)), left, kind_of("hands").weight, True
        )
