"""Findings: statements about a take that its numbers defend, strongest first, in plain words.

Conventions: offsets are played minus reference, ms; negative is early. Statements about differences inside the take
need no calibration; the one about all strokes against the lean is made only when a lean is given and the delay is
known.

Error control: the chance of at least one untrue statement about a faultless player is held at 5 % over the whole list
(`heeltap.analysis.findings.hypothesis_tests`), not for each statement.

Inside: `findings`.
"""

from collections.abc import Collection, Mapping

import numpy as np
import numpy.typing as npt

from heeltap.analysis.findings.catalogue import NOTHING, kind_of
from heeltap.analysis.findings.contrasts import (
    MIN_CLASS,
    Question,
    clusters,
    place_questions,
    places,
    scatter_questions,
)
from heeltap.analysis.findings.from_columns import as_offsets
from heeltap.analysis.findings.sentences import back_after, bars_of, sentence
from heeltap.analysis.findings.hypothesis_tests import Answer, Bench, Stakes, step_down
from heeltap.analysis.section_words import delay_share
from heeltap.analysis.statistics.estimates import bias
from heeltap.model.arrays import BoolArray, FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.result import Finding

__all__ = ["LEAST_MS", "MIN_TAKE", "findings"]

MIN_TAKE = 32
"""Fewest strokes about which anything is said."""

ALPHA = 0.042
"""Error that the weighted list may spend."""

ALPHA_OTHER = 0.002
"""Error that chord spread and missing accents may spend, each half; with `ALPHA` below 5 %."""

LEAST_MS = 2.0
"""Nothing smaller is told, however sure: a third of 6 ms, the least that listeners notice in fast even strokes
(Friberg & Sundberg 1995, JASA 98:2524-2531). For slopes it is the change from end to end."""

_MIN_CONFIDENCE = 0.5
_EVEN_MS = 1.0
_CHORD_MS = 30.0
_ACCENT_STEP = 4.0
"""Velocity steps by which an accent must at least stand out (ours)."""


def findings(
    table: Offsets | Mapping[str, npt.ArrayLike],
    lean_ms: float | None = None,
    *,
    delay_known: bool = True,
    delay_uncertainty_ms: float = 0.0,
    accent_beats: Collection[float] = (),
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

    Returns
    -------
    list of Finding
        ``effect_ms`` and ``ci95_ms`` are adjusted for the other statements; ``p_adjusted`` for everything that was
        asked. Below `MIN_TAKE` strokes always ``nothing``.

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
        return [_nothing(f"{counted} too few; {MIN_TAKE} are needed")]
    even = _too_even(offsets)
    if even:
        return even
    lean = lean_ms if delay_known else None
    scatter = scatter_questions(offsets)
    found, residual, still_open = _place(offsets, lean, sum(q.weight for q in scatter), delay_uncertainty_ms)
    found += _scatter(offsets, scatter, residual, still_open)
    found += _chords(offsets) + _accents(offsets, accent_beats)
    return found or [_nothing("")]


def _nothing(why: str) -> Finding:
    text = kind_of(NOTHING).more + (f" ({why})" if why else "")
    return Finding(NOTHING, text, 0.0, None, None)


def _place(
    offsets: Offsets, lean: float | None, beside: float, unsure_ms: float
) -> tuple[list[Finding], FloatArray, float]:
    """Where the strokes sit; the whitened residual when all of that is taken out; the weight still open."""
    asked = place_questions(offsets)
    matrix = np.column_stack([q.regressor for q in asked]) if asked else np.zeros((len(offsets), 0))
    values = _tame(offsets.offset_ms)
    bench = Bench(
        values, matrix, places(offsets), [q.metrical for q in asked], clusters(offsets), mean_error=unsure_ms / 1.96
    )
    stakes = Stakes([q.weight for q in asked], ALPHA, beside, lean, kind_of("bias").weight)
    answers, still_open = step_down(bench, stakes)
    said = [answer.index for answer in answers if answer.index >= 0]
    rows = []
    for answer in answers:
        joint = _joint(bench, answer, said, lean)
        question = asked[answer.index] if answer.index >= 0 else _bias_question(offsets)
        # What a later answer explains better falls away again: beside it, it no longer stands on its own.
        if joint.p <= 0.05 and abs(joint.effect) * _reach(question) >= LEAST_MS:
            within = delay_share(unsure_ms) if answer.index < 0 else ""
            rows.append(_finding(offsets, question, joint, answer.p_adjusted, within))
    return rows, bench.residual(said), still_open


def _joint(bench: Bench, answer: Answer, said: list[int], lean: float | None) -> Answer:
    """The same question with all other statements taken out; the first answer where that cannot be told apart."""
    others = [index for index in said if index != answer.index]
    again = bench.ask([answer.index], others) if answer.index >= 0 else bench.ask([], others, lean)
    return again[-1] if again else answer


def _tame(offset_ms: FloatArray) -> FloatArray:
    """Offsets with single stumbles drawn in to five robust deviations, so that one slip does not drown a tendency."""
    middle = float(np.median(offset_ms))
    scale = 1.4826 * float(np.median(np.abs(offset_ms - middle)))
    return np.clip(offset_ms, middle - 5 * scale, middle + 5 * scale) if scale > 0 else offset_ms


def _bias_question(offsets: Offsets) -> Question:
    every = np.ones(len(offsets), np.bool_)
    return Question("bias", "", every.astype(np.float64), every, kind_of("bias").weight)


def _finding(offsets: Offsets, question: Question, answer: Answer, p: float, within: str) -> Finding:
    scale = _share_of_ramp(question)
    effect, ci95 = answer.effect * scale, (answer.ci95[0] * scale, answer.ci95[1] * scale)
    bars = bars_of(offsets, question, effect)
    tail = back_after(offsets, effect) if question.code == "into-change" else ""
    return Finding(question.code, sentence(question, effect, ci95, bars, tail, within), effect, ci95, p, bars)


def _reach(question: Question) -> float:
    """What a coefficient is multiplied by before it is held against `LEAST_MS`: the length of a slope, else 1."""
    return float(np.ptp(question.regressor)) if question.code in ("drift", "section-drift") else 1.0


def _share_of_ramp(question: Question) -> float:
    """A ramp's coefficient is its end; what is told is the mean over its strokes."""
    return float(question.regressor[question.rows].mean()) if question.what == "ramp" else 1.0


def _scatter(offsets: Offsets, asked: list[Question], residual: FloatArray, beside: float) -> list[Finding]:
    """How much the strokes scatter about the wander and about everything said so far."""
    if not asked:
        return []
    matrix = np.column_stack([q.regressor for q in asked])
    root = np.sqrt(np.abs(residual))
    bench = Bench(root, matrix, places(offsets), [q.metrical for q in asked], clusters(offsets))
    answers, _ = step_down(bench, Stakes([q.weight for q in asked], ALPHA, beside))
    jitter = _jitter(offsets.offset_ms)
    rows = []
    for answer in answers:
        question = asked[answer.index]
        size = _scatter_size(question, answer, root, jitter)
        if abs(size) < LEAST_MS / 2:
            continue
        ratio = [bound / answer.effect for bound in answer.ci95] if answer.effect else [1.0, 1.0]
        low, high = sorted(size * r for r in ratio)
        finding = sentence(question, size, (low, high), bars := bars_of(offsets, question, 0.0), "")
        rows.append(Finding(question.code, finding, size, (low, high), answer.p_adjusted, bars))
    return rows


def _jitter(offset_ms: FloatArray) -> FloatArray:
    """Offsets about their mean over nine strokes, the ends by what is there."""
    ones = np.convolve(np.ones(offset_ms.size), np.ones(9), "same")
    return np.asarray(offset_ms - np.convolve(offset_ms, np.ones(9), "same") / ones)


def _scatter_size(question: Question, answer: Answer, root: FloatArray, jitter: FloatArray) -> float:
    """Difference of standard deviations in ms that the coefficient on the root scale stands for.

    The root of a normal's absolute value is proportional to the root of its standard deviation, so the ratio of
    deviations is the ratio of means on the root scale, squared. Ours.
    """
    inside = question.regressor > np.median(question.regressor) if question.code == "scatter-grows" else question.rows
    level = float(root.mean())
    step = answer.effect * float(question.regressor[inside].mean() - question.regressor[~inside].mean())
    if question.code == "scatter-grows":
        step = answer.effect
    share = float(inside.mean())
    high, low = max(level + step * (1 - share), 0.05 * level), max(level - step * share, 0.05 * level)
    usual = float(jitter.std())
    scale = usual / np.sqrt(share * high**4 + (1 - share) * low**4)
    return float(scale * (high**2 - low**2))


def _too_even(offsets: Offsets) -> list[Finding]:
    """A scatter that no hand has; nothing else is said about such a take."""
    size = float(np.std(offsets.offset_ms))
    if size >= _EVEN_MS:
        return []
    text = kind_of("too-even").more.format(size=f"{size:.1f} ms")
    return [Finding("too-even", text, size, None, None)]


def _chords(offsets: Offsets) -> list[Finding]:
    """Chords whose notes lie further apart than the ear takes for one."""
    rows = offsets.spread_ms > 0
    if int(rows.sum()) < MIN_TAKE:
        return []
    width = offsets.spread_ms[rows]
    found = bias(width)
    if found.ci95 is None or found.value is None or found.value <= _CHORD_MS:
        return []
    # From 1.96 to 3.1 standard errors: one-sided 0.1 %.
    margin = (found.value - found.ci95[0]) * 3.1 / 1.96
    if found.value - margin <= _CHORD_MS:
        return []
    bars = _worst_bars(offsets, rows & (offsets.spread_ms > found.value))
    text = kind_of("chord-spread").more.format(size=f"{found.value:.0f} ms")
    return [Finding("chord-spread", text, found.value, found.ci95, ALPHA_OTHER / 2, bars)]


def _worst_bars(offsets: Offsets, rows: BoolArray) -> tuple[int, ...]:
    return tuple(int(b) for b in np.unique(offsets.bar[rows])[:12])


def _accents(offsets: Offsets, accent_beats: Collection[float]) -> list[Finding]:
    """Accents that should be there: said when even the upper end of their interval is below a few steps of
    velocity."""
    rows = np.isin(np.round(offsets.beat, 3), np.round(list(accent_beats), 3))
    if min(int(rows.sum()), int((~rows).sum())) < MIN_CLASS or float(np.std(offsets.velocity)) == 0.0:
        return []
    velocity = offsets.velocity.astype(np.float64)
    error = np.sqrt(velocity[rows].var(ddof=1) / rows.sum() + velocity[~rows].var(ddof=1) / (~rows).sum())
    step = float(velocity[rows].mean() - velocity[~rows].mean())
    if step + 3.1 * error >= _ACCENT_STEP:
        return []
    names = " and ".join(f"{beat:g}" for beat in sorted(accent_beats))
    text = kind_of("accents-missing").more.format(what="beats " + names) + f" ({step:+.0f} steps of velocity)"
    return [Finding("accents-missing", text, 0.0, None, ALPHA_OTHER / 2)]
