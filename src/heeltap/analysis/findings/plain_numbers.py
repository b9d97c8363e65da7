"""What is told of the contrasts that the tests found: the number that the tables show, and no fault twice.

The tests estimate each contrast beside all others. A sentence says "than the rest", so the number in it is the plain one
that a reader can check: a difference of two means, a slope. Where the two differ in sign nothing is told.

Ours, where no source is named.

Inside: `plain_number`, `is_told_already`, `holds_away_from_changes`, `is_explained_by_changes`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.findings.contrasts import GROOVE, MIN_CLASS, Contrast, clusters, place_means
from heeltap.analysis.findings.hypothesis_tests import RegressionProblem
from heeltap.analysis.statistics.estimates import Estimate, weighted_sum
from heeltap.analysis.statistics.noise_models import Noise
from heeltap.model.arrays import BoolArray, FloatArray
from heeltap.model.offsets import Offsets

__all__ = ["holds_away_from_changes", "is_explained_by_changes", "is_told_already", "plain_number"]

_AWAY_LEVEL = 0.1
"""Level at which an effect must hold among the strokes away from changes, which are half to three quarters of a take."""

_BARS_BACK = 3
"""Bars of a new section within which coming back from a rush is part of that rush."""


def plain_number(table: Offsets, contrast: Contrast, noise: Noise) -> Estimate | None:
    """Least-squares slope of the offsets on the contrast's plain column, with its own interval; None without a column.

    Parameters
    ----------
    table : Offsets
    contrast : Contrast
    noise : Noise
        Of this take, what was found taken out.

    Returns
    -------
    Estimate or None
        ms; for a class the difference of two means.
    """
    if contrast.plain is None:
        return None
    centred = contrast.plain - contrast.plain.mean()
    squares = float(centred @ centred)
    n = int(min(contrast.rows.sum(), (~contrast.rows).sum())) if contrast.is_class else len(table)
    return weighted_sum(table.offset_ms, centred / squares, n, noise)


def is_told_already(contrast: Contrast, told: Sequence[Contrast]) -> bool:
    """Whether what was told says this, too: another form of the fault, or a class that lies inside it or around it.

    Parameters
    ----------
    contrast : Contrast
    told : Contrast, any number
        What was told before, about the same measure.

    Returns
    -------
    bool
    """
    if contrast.kind.once and any(one.kind is contrast.kind for one in told):
        return True
    return any(_is_nested(contrast.rows, one.rows) for one in told if contrast.is_class and one.is_class)


def _is_nested(one: BoolArray, other: BoolArray) -> bool:
    """Whether either class lies inside the other."""
    both = int((one & other).sum())
    return both == min(int(one.sum()), int(other.sum()))


def holds_away_from_changes(table: Offsets, values: FloatArray, contrast: Contrast, effect: float) -> bool:
    """Whether at least half of an effect is there in the bars that have nothing to do with a section change.

    Fills lie on the last beats of a bar, and landings follow rests: an early fill makes the four, the sixteenths and
    the strokes after a rest early, too.

    Parameters
    ----------
    table : Offsets
    values : float64, shape (strokes,)
        What was tested: offsets in ms, or the size of their spread.
    contrast : Contrast
    effect : float
        Coefficient of the contrast over all strokes.

    Returns
    -------
    bool
        True for a contrast that is about changes itself, or about the whole take.
    """
    away = (table.bars_to_change != 1) & (table.bars_since_change != 0) & (table.kind == GROOVE)
    if not contrast.kind.local or bool(away.all()):
        return True
    rows = contrast.rows[away]
    if min(int(rows.sum()), int((~rows).sum())) < MIN_CLASS // 2:
        return False
    # The strokes at changes are left out, not given means of their own: their places in the bar would lend theirs.
    rest = table.pick(away)
    problem = RegressionProblem(
        values[away], contrast.regressor[away, None], place_means(rest), [contrast.kind.metrical], clusters(rest)
    )
    left = problem.test([0], [])
    return bool(left) and left[0].effect * np.sign(effect) >= abs(effect) / 2 and left[0].p <= _AWAY_LEVEL


def is_explained_by_changes(table: Offsets, values: FloatArray, contrast: Contrast, least_ms: float) -> bool:
    """Whether a slope is gone once the bars about the section changes have means of their own.

    Parameters
    ----------
    table : Offsets
    values : float64, shape (strokes,)
        The offsets that were tested, ms.
    contrast : Contrast
        Of a slope.
    least_ms : float
        Smallest change from end to end that is told.

    Returns
    -------
    bool
    """
    near = [table.bars_to_change == 1, *(table.bars_since_change == bars for bars in range(_BARS_BACK))]
    means = np.column_stack([*(rows.astype(np.float64) for rows in near if rows.any()), place_means(table)])
    problem = RegressionProblem(values, contrast.regressor[:, None], means, [False], clusters(table))
    left = problem.test([0], [])
    return not left or left[0].p > 0.05 or abs(left[0].effect) * contrast.reach < least_ms
