"""Findings about the spread: their rows, their contrasts, and the size in ms that a coefficient stands for.

Sizes are differences of standard deviations in ms; a negative one means a smaller spread.

Ours, where no source is named.

Inside: `SPREAD_KINDS`, `spread_size_ms`.
"""

from collections.abc import Iterator

import numpy as np

from heeltap.analysis.findings.contrasts import (
    FILL,
    MIN_CLASS,
    WIDE_LEAP,
    Contrast,
    FindingKind,
    after_rest,
    of_class,
)
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.subdivisions import BEAT

__all__ = ["SPREAD_KINDS", "spread_size_ms"]


def _growth(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
    """A line through the take, in half a unit at its start and its end."""
    n = len(table)
    if n >= 4 * MIN_CLASS:
        yield Contrast(kind, "", np.linspace(-0.5, 0.5, n), np.arange(n) >= 2 * n // 3, None)


def spread_size_ms(contrast: Contrast, effect: float, root: FloatArray, offset_ms: FloatArray) -> float:
    """Difference of standard deviations in ms that a coefficient on the root scale stands for.

    The root of a normal's absolute value is proportional to the root of its standard deviation, so the ratio of
    deviations is the ratio of means on the root scale, squared. Ours.

    Parameters
    ----------
    contrast : Contrast
    effect : float
        Its coefficient on the root scale.
    root : float64, shape (strokes,)
        Roots of the whitened residuals' absolute values.
    offset_ms : float64, shape (strokes,)
        They give the size of the jitter in ms.

    Returns
    -------
    float
        ms; negative is a smaller spread inside the class (or at the end of the take).
    """
    slope = contrast.kind.slope
    inside = contrast.regressor > np.median(contrast.regressor) if slope else contrast.rows
    level = float(root.mean())
    step = effect * float(contrast.regressor[inside].mean() - contrast.regressor[~inside].mean())
    if slope:
        step = effect
    share = float(inside.mean())
    high, low = max(level + step * (1 - share), 0.05 * level), max(level - step * share, 0.05 * level)
    scale = float(_jitter(offset_ms).std()) / np.sqrt(share * high**4 + (1 - share) * low**4)
    return float(scale * (high**2 - low**2))


def _jitter(offset_ms: FloatArray) -> FloatArray:
    """Offsets about their mean over nine strokes, the ends by what is there."""
    ones = np.convolve(np.ones(offset_ms.size), np.ones(9), "same")
    return np.asarray(offset_ms - np.convolve(offset_ms, np.ones(9), "same") / ones)


SPREAD_KINDS: tuple[FindingKind, ...] = (
    FindingKind(
        code="scatter-off-beats",
        asks="the spread between the beats against the spread on them",
        less="Between the beats your spread is {size} smaller than on them.",
        more="Between the beats your spread is {size} larger than on them.",
        class_words=("tighter between the beats", "loose between the beats"),
        advice="divisions",
        measure="spread",
        weight=0.2,
        local=True,
        contrasts=of_class(lambda table: table.division != BEAT),
        metrical=True,
    ),
    FindingKind(
        code="scatter-into-change",
        asks="the spread in the last bar before a new section",
        less="In the last bar before a new section your spread is {size} smaller than elsewhere.",
        more="In the last bar before a new section your spread is {size} larger than elsewhere.",
        class_words=("tighter before changes", "loose before changes"),
        advice="turns",
        measure="spread",
        weight=0.2,
        about_changes=True,
        contrasts=of_class(lambda table: table.bars_to_change == 1),
    ),
    FindingKind(
        code="scatter-fills",
        asks="the spread in fills against the groove",
        less="In fills your spread is {size} smaller than in the groove.",
        more="In fills your spread is {size} larger than in the groove.",
        class_words=("tighter in fills", "loose in fills"),
        advice="fills",
        measure="spread",
        weight=0.2,
        about_changes=True,
        contrasts=of_class(lambda table: table.kind == FILL),
    ),
    FindingKind(
        code="scatter-after-rest",
        asks="the spread after a rest or a long note",
        less="After a rest or a long note your spread is {size} smaller than elsewhere.",
        more="After a rest or a long note your spread is {size} larger than elsewhere.",
        class_words=("tighter after rests", "loose after rests"),
        advice="rests",
        measure="spread",
        weight=0.2,
        local=True,
        contrasts=of_class(after_rest),
    ),
    FindingKind(
        code="scatter-leaps",
        asks="the spread after a wide leap",
        less="After wide leaps your spread is {size} smaller than elsewhere.",
        more="After wide leaps your spread is {size} larger than elsewhere.",
        class_words=("tighter after leaps", "loose after leaps"),
        advice="leaps",
        measure="spread",
        weight=0.2,
        local=True,
        contrasts=of_class(lambda table: np.abs(table.leap) >= WIDE_LEAP),
    ),
    FindingKind(
        code="scatter-hands",
        asks="the spread of the left hand against the right",
        less="The spread of your left hand is {size} smaller than that of your right.",
        more="The spread of your left hand is {size} larger than that of your right.",
        class_words=("tighter left hand", "loose left hand"),
        advice="hands",
        measure="spread",
        weight=0.2,
        local=True,
        contrasts=of_class(lambda table: table.hand == 1),
        metrical=True,
    ),
    FindingKind(
        code="scatter-grows",
        asks="the spread over the take; the size is the change from the first to the last stroke",
        less="You get steadier over the take: your spread is {size} smaller at its end than at its start.",
        more="You get looser over the take: your spread is {size} larger at its end than at its start.",
        class_words=("tighter towards the end", "looser towards the end"),
        advice="rest-yourself",
        measure="spread",
        weight=0.2,
        contrasts=_growth,
        slope=True,
        bars="none",
    ),
)
"""Rows whose sentences are complete; `heeltap.analysis.findings.sentences` adds how sure they are, and the bars."""
