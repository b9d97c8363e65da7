"""Findings: statements about a take that hold beyond chance, strongest first, in plain words.

Offsets are played minus reference, ms; negative is early. Statements about differences inside the take need no
calibration. The one about all strokes against the lean needs a lean and a known delay.

The chance of at least one untrue statement about a faultless player is held at 5 % over the whole list
(`heeltap.analysis.findings.hypothesis_tests`), not for each statement.

Ours, where no source is named.

Inside: `findings`.
"""

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from heeltap.analysis.findings.catalogue import FINDING_KINDS, kind_of
from heeltap.analysis.findings.contrasts import Contrast, FindingKind, clusters, place_means
from heeltap.analysis.findings.from_columns import as_offsets
from heeltap.analysis.findings.hypothesis_tests import ErrorBudget, RegressionProblem, TestResult, step_down
from heeltap.analysis.findings.other_kinds import MIN_TAKE, nothing, other_findings, too_even
from heeltap.analysis.findings.plain_numbers import (
    holds_away_from_changes,
    is_explained_by_changes,
    is_told_already,
    plain_number,
)
from heeltap.analysis.findings.sentences import bars_of, sentence
from heeltap.analysis.findings.spread_kinds import spread_size_ms
from heeltap.analysis.section_words import delay_share
from heeltap.analysis.statistics.estimates import bias
from heeltap.analysis.statistics.mixtures import half_width
from heeltap.analysis.statistics.noise_models import Noise, fit_noise
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.result import Finding

__all__ = ["LEAST_MS", "findings"]

ALPHA = 0.042
"""Error that the weighted list may spend."""

LEAST_MS = 2.0
"""Nothing smaller is told, however sure: a third of 6 ms, the least that listeners notice in fast even strokes
(Friberg & Sundberg 1995, JASA 98:2524-2531). For slopes it is the change from end to end."""

_BIAS_MARGIN = 1.5
"""Half-widths of its careful interval (weighed as those of slopes, wider in short takes) by which the mean must miss the
lean. Under long memory a take's mean wanders further than the take shows: at 1.0 up to 0.10 of faultless takes heard that
they were early or late, at 1.4 at most 0.04 (300 takes a cell, `docs/decisions/0022-error-over-the-whole-list.md`)."""

_MIN_CONFIDENCE = 0.5


def findings(
    table: Offsets | Mapping[str, npt.ArrayLike],
    lean_ms: float | None = None,
    *,
    delay_known: bool = True,
    delay_uncertainty_ms: float = 0.0,
    accent_beats: Collection[float] = (),
    swing_asked: bool = True,
) -> list[Finding]:
    """Statements about the take that hold, strongest first; one row ``nothing`` where none does.

    Parameters
    ----------
    table : Offsets, or a mapping of equally long columns named as those of `heeltap.model.offsets.Offsets`
        Needed: ``offset_ms``, ``bar``, ``beat``; see `heeltap.analysis.findings.from_columns.as_offsets` for the others.
    lean_ms : float, optional
        The offset that was aimed at. None: nothing is said about early or late as such.
    delay_known : bool
        False: the constant delay of the route is not known, so again nothing is said about early or late as such.
    delay_uncertainty_ms : float
        95 % half-width of the delay that was taken away: early or late as such is said only beyond it and the strokes'
        own uncertainty together. Differences inside the take do not depend on it.
    accent_beats : beats from 1
        Beats that should carry an accent; empty: nothing is said about missing accents.
    swing_asked : bool
        False: the swing was measured on this very take, so it is not held against itself.

    Returns
    -------
    list of Finding
        ``effect_ms`` and ``ci95_ms`` are the plain difference or slope that the table shows, with its own interval;
        ``p_adjusted`` is adjusted for everything that was tested. Below `MIN_TAKE` strokes always ``nothing``.

    Raises
    ------
    ValueError
        As `as_offsets`, or an uncertainty below 0.
    """
    if not delay_uncertainty_ms >= 0.0:
        raise ValueError(f"delay_uncertainty_ms: {delay_uncertainty_ms}; expected 0 or more")
    offsets = as_offsets(table)
    offsets = offsets.pick(offsets.confidence >= _MIN_CONFIDENCE)
    if len(offsets) < MIN_TAKE:
        counted = "1 stroke is" if len(offsets) == 1 else f"{len(offsets)} strokes are"
        return [nothing(f"{counted} too few; {MIN_TAKE} are needed")]
    even = too_even(offsets)
    if even is not None:
        return [even]
    lean = lean_ms if delay_known else None
    spreads = _contrasts("spread", offsets)
    reserved = sum(c.weight for c in spreads)
    found, residual, open_weight = _place(offsets, lean, reserved, delay_uncertainty_ms, swing_asked=swing_asked)
    about_changes = any(kind_of(row.code).about_changes for row in found)
    loose = _spreads(offsets, spreads, residual, open_weight)
    found += [row for row in loose if not (about_changes and kind_of(row.code).about_changes)]
    found += other_findings(offsets, accent_beats)
    return found or [nothing()]


def _contrasts(measure: str, offsets: Offsets, *, swing_asked: bool = True) -> list[Contrast]:
    """All contrasts of a measure that the take has enough strokes for."""
    kinds = (kind for kind in FINDING_KINDS if kind.measure == measure and (swing_asked or not kind.asked_swing))
    return [contrast for kind in kinds if kind.contrasts for contrast in kind.contrasts(kind, offsets)]


def _place(
    offsets: Offsets, lean: float | None, reserved: float, unsure_ms: float, *, swing_asked: bool
) -> tuple[list[Finding], FloatArray, float]:
    """Where the strokes sit; the whitened residual when all of that is taken out; the weight still open."""
    contrasts, whole = _contrasts("place", offsets, swing_asked=swing_asked), kind_of("bias")
    values = _winsorised(offsets.offset_ms)
    problem = _problem(offsets, values, contrasts, unsure_ms)
    budget = ErrorBudget([c.weight for c in contrasts], ALPHA, reserved, lean, whole.weight)
    results, open_weight = step_down(problem, budget, lambda result: _holds(offsets, values, contrasts, result))
    taken_out = [result.index for result in results if result.index >= 0]
    noise = fit_noise(values, np.column_stack([place_means(offsets), *(contrasts[i].regressor for i in taken_out)]))
    told: list[Contrast] = []
    rows = []
    for result in results:
        beside = _beside_the_others(problem, result, taken_out, lean)
        contrast = contrasts[result.index] if result.index >= 0 else _whole(offsets, whole)
        size = _size(offsets, contrast, beside, noise) if result.index >= 0 else _bias(offsets, lean, unsure_ms)
        # What a later finding explains better falls away again: beside it, this one no longer stands on its own.
        if beside.p > 0.05 or size is None or is_told_already(contrast, told):
            continue
        told.append(contrast)
        within = delay_share(unsure_ms) if result.index < 0 else ""
        rows.append(_finding(offsets, contrast, size, result.p_adjusted, within))
    about_changes = any(contrast.kind.about_changes for contrast in told)
    kept = [
        row
        for row, contrast in zip(rows, told, strict=True)
        if not (about_changes and contrast.kind.slope and is_explained_by_changes(offsets, values, contrast, LEAST_MS))
    ]
    return kept, problem.residual(taken_out), open_weight


def _holds(offsets: Offsets, values: FloatArray, contrasts: Sequence[Contrast], result: TestResult) -> bool:
    """Whether a result is no mere shadow of what happens at section changes."""
    return result.index < 0 or holds_away_from_changes(offsets, values, contrasts[result.index], result.effect)


_Size = tuple[float, tuple[float, float]]
"""What is told, ms, and its 95 % interval."""


def _bias(offsets: Offsets, lean: float | None, unsure_ms: float) -> _Size | None:
    """The take's mean against the lean with the interval of the headline and the delay's own; None where it is near."""
    mean = bias(offsets.offset_ms)
    if lean is None or mean.value is None or mean.ci95 is None:
        return None
    effect = mean.value - lean
    half = float(np.hypot(mean.ci95[1] - mean.value, unsure_ms))
    noise, even = fit_noise(offsets.offset_ms), np.full(len(offsets), 1 / len(offsets))
    careful = half_width(np.sqrt(noise.error_variance(even)), noise.weight, noise.freedom)
    least = max(_BIAS_MARGIN * float(np.hypot(max(careful, mean.ci95[1] - mean.value), unsure_ms)), LEAST_MS)
    return (effect, (effect - half, effect + half)) if abs(effect) > least else None


def _size(offsets: Offsets, contrast: Contrast, beside: TestResult, noise: Noise) -> _Size | None:
    """What is told of a contrast; None where the table shows the other sign, or too little."""
    plain = plain_number(offsets, contrast, noise)
    if plain is None or plain.value is None or plain.ci95 is None:
        size = (beside.effect, beside.ci95)
    elif plain.value * beside.effect <= 0:
        return None
    else:
        size = (plain.value, plain.ci95)
    return size if abs(size[0]) * contrast.reach >= LEAST_MS else None


def _problem(
    offsets: Offsets, values: FloatArray, contrasts: Sequence[Contrast], unsure_ms: float = 0.0
) -> RegressionProblem:
    """The take's values with its contrasts, ready to be tested."""
    matrix = np.column_stack([c.regressor for c in contrasts]) if contrasts else np.zeros((len(offsets), 0))
    metrical = [c.kind.metrical for c in contrasts]
    return RegressionProblem(
        values, matrix, place_means(offsets), metrical, clusters(offsets), mean_error=unsure_ms / 1.96
    )


def _beside_the_others(
    problem: RegressionProblem, result: TestResult, taken_out: list[int], lean: float | None
) -> TestResult:
    """The same test with all other findings taken out; the first result where that cannot be told apart."""
    others = [index for index in taken_out if index != result.index]
    again = problem.test([result.index], others) if result.index >= 0 else problem.test([], others, lean)
    return again[-1] if again else result


def _winsorised(offset_ms: FloatArray) -> FloatArray:
    """Offsets with single stumbles drawn in to five robust deviations, so that one slip does not drown a tendency."""
    middle = float(np.median(offset_ms))
    scale = 1.4826 * float(np.median(np.abs(offset_ms - middle)))
    return np.clip(offset_ms, middle - 5 * scale, middle + 5 * scale) if scale > 0 else offset_ms


def _whole(offsets: Offsets, kind: FindingKind) -> Contrast:
    """All strokes of the take."""
    every = np.ones(len(offsets), np.bool_)
    return Contrast(kind, "", every.astype(np.float64), every, None)


def _finding(offsets: Offsets, contrast: Contrast, size: _Size, p: float, within: str) -> Finding:
    effect, ci95 = size
    bars = bars_of(offsets, contrast, effect)
    tail = contrast.kind.tail(offsets, effect) if contrast.kind.tail and not any(contrast.sentences) else ""
    return Finding(contrast.kind.code, sentence(contrast, effect, ci95, bars, tail, within), effect, ci95, p, bars)


def _spreads(offsets: Offsets, contrasts: list[Contrast], residual: FloatArray, reserved: float) -> list[Finding]:
    """How far the strokes stray from the wander and about everything said so far."""
    if not contrasts:
        return []
    root = np.sqrt(np.abs(residual))
    problem = _problem(offsets, root, contrasts)
    budget = ErrorBudget([c.weight for c in contrasts], ALPHA, reserved)
    results, _ = step_down(problem, budget, lambda result: _holds(offsets, root, contrasts, result))
    told: list[Contrast] = []
    rows = []
    for result in results:
        contrast = contrasts[result.index]
        size = spread_size_ms(contrast, result.effect, root, offsets.offset_ms)
        if abs(size) < LEAST_MS / 2 or is_told_already(contrast, told):
            continue
        told.append(contrast)
        ratio = [bound / result.effect for bound in result.ci95] if result.effect else [1.0, 1.0]
        low, high = sorted(size * r for r in ratio)
        bars = bars_of(offsets, contrast, 0.0)
        text = sentence(contrast, size, (low, high), bars, "")
        rows.append(Finding(contrast.kind.code, text, size, (low, high), result.p_adjusted, bars))
    return rows
