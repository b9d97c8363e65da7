"""What is told of the contrasts that the tests found: the number that the tables show, and no fault twice.

The tests estimate each contrast beside all others. A sentence says "than the rest", so the number in it is the plain one
that a reader can check: a difference of two means, a slope. Where the two differ in sign nothing is told.

Ours, where no source is named.

Inside: `plain_number`, `is_told_already`, `is_explained_by_changes`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.findings.contrasts import Contrast, clusters, place_means
from heeltap.analysis.findings.hypothesis_tests import RegressionProblem
from heeltap.analysis.statistics.estimates import Estimate, weighted_sum
from heeltap.analysis.statistics.noise_models import Noise
from heeltap.model.arrays import BoolArray, FloatArray
from heeltap.model.offsets import Offsets

__all__ = ["is_explained_by_changes", "is_told_already", "plain_number"]

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
