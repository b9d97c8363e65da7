"""Tests with two witnesses, and the rule that keeps a whole list honest.

First witness: the effect of each regressor under each noise model (generalised least squares), p-values and intervals
averaged by how plausible the model is with that effect in it. Second witness, which knows no noise model: the
whitened residuals' own scatter over whole sections or bars. Both must speak. Then Holm's step-down over the list;
what has been said is taken out of the data before the rest is asked again, so that one fault is not told twice.

Inside: `Bench` (a take prepared for all its questions), `Answer`, `step_down`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.statistics.mixtures import half_width
from heeltap.analysis.statistics.noise_models import (
    MODELS,
    from_cosines,
    log_determinants,
    products_under,
    to_cosines,
    variances,
)
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Answer", "Bench", "Stakes", "step_down"]

WITNESS = 0.07
"""Level at which the second witness must agree."""

_SAME = 0.15
"""A regressor of which less than this share is left beside what was said already is not asked again."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the data say about one regressor."""

    index: int
    """Which regressor; -1 is the mean itself."""
    effect: float
    """Coefficient, averaged over the noise models."""
    ci95: tuple[float, float]
    p: float
    """First witness, before any correction."""
    p_adjusted: float = 1.0
    """After Holm's correction."""

    @property
    def size(self) -> float:
        """Effect in half-widths of its interval."""
        return abs(self.effect) / max(self.ci95[1] - self.effect, 1e-12)


class Bench:
    """A take's values and regressors in the cosine basis, with their products under every plausible noise model.

    Column 0 is the constant, columns 1 to k the regressors, then the ``habits`` (what is taken out first for every
    regressor that is not ``exempt``), last the values. All but the constant and the values are centred. ``mean_error``
    is a standard error that all values share (that of the delay taken away): the mean alone is less sure by it.
    """

    def __init__(
        self,
        values: FloatArray,
        regressors: FloatArray,
        habits: FloatArray,
        exempt: Sequence[bool],
        cluster: IntArray,
        *,
        mean_error: float = 0.0,
    ) -> None:
        n = values.size
        self.n, self.count, self.exempt = n, regressors.shape[1], tuple(exempt)
        self.mean_error = mean_error
        self.cluster = np.unique(cluster, return_inverse=True)[1]
        self.shares = regressors.mean(axis=0)
        self.habits = list(range(1 + self.count, 1 + self.count + habits.shape[1]))
        inner = np.column_stack((regressors - self.shares, habits - habits.mean(axis=0)))
        self.columns = to_cosines(np.column_stack((np.ones(n), inner, values)))
        self.free = self._free()
        self.table = variances(n)
        self.prior: FloatArray = np.log([model.usual for model in MODELS]) - 0.5 * log_determinants(n)
        self.products = products_under(self.columns, self._drop_hopeless())

    def _free(self) -> list[bool]:
        """Which regressors say something that the habits do not: those of beats mostly lie among them."""
        asked = self.columns[:, 1 : 1 + self.count]
        whole = np.sum(asked**2, axis=0)
        q = np.linalg.qr(self.columns[:, self.habits])[0]
        left = whole - np.sum((q.T @ asked) ** 2, axis=0)
        return [bool(own > _SAME * all_) for own, all_ in zip(left, whole, strict=True)]

    def _drop_hopeless(self) -> BoolArray:
        """Keep the models that the plain take finds within exp(-30) of the best, more where more is taken out; return which."""
        y = self.columns[1:, -1] ** 2
        likely = self.prior - 0.5 * (self.n - 1) * np.log(np.maximum((1 / self.table[:, 1:]) @ y, 1e-12))
        likely += 0.5 * np.log(self.table[:, 0])
        keep = likely > likely.max() - 30 - self.columns.shape[1]
        self.table, self.prior = self.table[keep], self.prior[keep]
        return np.asarray(keep)

    def base(self, index: int, said: Sequence[int]) -> list[int]:
        """Columns that are taken out before the regressor ``index`` is looked at."""
        if not self.habits or (index >= 0 and self.exempt[index]):
            return [0] + [i + 1 for i in said]
        return [0, *self.habits] + [i + 1 for i in said if self.free[i]]

    def ask(self, wanted: Sequence[int], said: Sequence[int], lean: float | None = None) -> list[Answer]:
        """Answers for the regressors ``wanted``, those ``said`` taken out; ``lean`` asks for the mean against it
        too."""
        answers: list[Answer] = []
        for exempt in (True, False):
            some = [index for index in wanted if self.exempt[index] == exempt]
            if some:
                answers += self._ask(some, self.base(some[0], said))
        if lean is not None:
            answers.append(self._mean(said, lean))
        return answers

    def _reduce(self, base: list[int], rest: list[int]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Products of the columns ``rest`` with ``base`` taken out, their coefficients on it, log plausibility so
        far."""
        inner = self.products[:, base][:, :, base]
        cross = self.products[:, base][:, :, rest]
        solved = np.linalg.solve(inner, cross)
        left = self.products[:, rest][:, :, rest] - np.swapaxes(cross, 1, 2) @ solved
        return left, np.asarray(solved, dtype=np.float64), np.asarray(self.prior - 0.5 * np.linalg.slogdet(inner)[1])

    def _ask(self, wanted: list[int], base: list[int]) -> list[Answer]:
        left, _, log_base = self._reduce(base, [index + 1 for index in wanted] + [-1])
        freedom = self.n - len(base) - 1
        answers = []
        for place, index in enumerate(wanted):
            own = left[:, place, place]
            if np.any(own <= _SAME * self.products[:, index + 1, index + 1] + 1e-9) or freedom < 4:
                continue
            effect = left[:, place, -1] / own
            squares = np.maximum(left[:, -1, -1] - effect * left[:, place, -1], 1e-12)
            weight = _weights(log_base - 0.5 * np.log(own) - 0.5 * freedom * np.log(squares))
            answers.append(_mixture(index, effect, np.sqrt(squares / freedom / own), weight, freedom))
        return answers

    def _mean(self, said: Sequence[int], lean: float) -> Answer:
        """The mean of the strokes outside all classes named so far, against the lean."""
        base = [0] + [i + 1 for i in said]
        left, solved, log_base = self._reduce(base, [-1])
        squares, freedom = np.maximum(left[:, 0, 0], 1e-12), self.n - len(base)
        share = np.concatenate(([0.0], self.shares[list(said)]))
        inner = self.products[:, base][:, :, base]
        blur = np.linalg.solve(inner, np.tile(share, (inner.shape[0], 1))[:, :, None])[:, :, 0] @ share
        middle = float(self.columns[0, -1]) / np.sqrt(self.n) - lean - solved[:, :, 0] @ share
        scale = np.sqrt(squares / freedom * (self.table[:, 0] / self.n + blur) + self.mean_error**2)
        return _mixture(-1, middle, scale, _weights(log_base - 0.5 * freedom * np.log(squares)), freedom)

    def agrees(self, index: int, said: Sequence[int], lean: float = 0.0) -> bool:
        """Second witness: jackknife over clusters (CR3) of the whitened regressor and residuals, at `WITNESS`."""
        from scipy.special import stdtr

        base = self.base(index, said) if index >= 0 else [i + 1 for i in said]
        scaled = self._whitened([0, index + 1, *base])
        x, y = scaled[:, index + 1], scaled[:, -1] - (lean * scaled[:, 0] if index < 0 else 0.0)
        q = np.linalg.qr(scaled[:, base])[0]
        x, y = x - q @ (q.T @ x), y - q @ (q.T @ y)
        total = float(x @ x)
        effect = float(x @ y) / total
        pair = from_cosines(np.column_stack((x, y - effect * x)))
        share = np.bincount(self.cluster, pair[:, 0] ** 2) / total
        score = np.bincount(self.cluster, pair[:, 0] * pair[:, 1]) / np.maximum(1 - share, 0.05)
        freedom = 1 / float(np.sum(share**2)) - 1
        error = float(np.hypot(np.sqrt(float(np.sum(score**2))) / total, self.mean_error if index < 0 else 0.0))
        return freedom >= 1 and bool(2 * stdtr(freedom, -abs(effect) / max(error, 1e-300)) < WITNESS)

    def residual(self, said: Sequence[int]) -> FloatArray:
        """Whitened residual of the values, one a stroke, unit white variance under the most plausible model."""
        base = self.base(-1, said)
        scaled = self._whitened(base)
        q = np.linalg.qr(scaled[:, base])[0]
        return from_cosines(scaled[:, -1] - q @ (q.T @ scaled[:, -1]))

    def _whitened(self, base: Sequence[int]) -> FloatArray:
        """All columns, whitened by the model that is most plausible with the columns ``base`` taken out."""
        used = sorted(set(base))
        left, _, likely = self._reduce(used, [-1])
        likely = likely - 0.5 * (self.n - len(used)) * np.log(np.maximum(left[:, 0, 0], 1e-12))
        return np.asarray(self.columns / np.sqrt(self.table[int(np.argmax(likely))])[:, None])


def _weights(log_weight: FloatArray) -> FloatArray:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _mixture(index: int, effect: FloatArray, scale: FloatArray, weight: FloatArray, freedom: int) -> Answer:
    """Effect, interval and two-sided p of a mixture of Student's t."""
    from scipy.special import stdtr

    middle = float(weight @ effect)
    p = float(weight @ (2 * stdtr(freedom, -np.abs(effect) / np.maximum(scale, 1e-12))))
    wide = np.sqrt(scale**2 + (effect - middle) ** 2)
    half = half_width(wide, weight, freedom)
    return Answer(index, middle, (middle - half, middle + half), p)


@dataclass(frozen=True, slots=True)
class Stakes:
    """What each question may spend of the permitted error."""

    weights: Sequence[float]
    """One a regressor."""
    alpha: float
    """Error of the whole list."""
    beside: float = 0.0
    """Weight of questions that are asked elsewhere out of the same error."""
    lean: float | None = None
    """Ask for the mean against it too; None does not."""
    lean_weight: float = 0.0

    def weight(self, index: int) -> float:
        """Weight of a regressor, or of the mean (-1)."""
        return self.weights[index] if index >= 0 else self.lean_weight


def step_down(bench: Bench, stakes: Stakes) -> tuple[list[Answer], float]:
    """The statements that hold, strongest first, and the weight of the questions that stay open.

    Weighted step-down of Holm (1979, Scandinavian Journal of Statistics 6:65-70, from memory): a question is
    answered when its p is below alpha times its share of the weight still open, and the second witness agrees. An
    answer is taken out of the data before the rest is asked again.
    """
    open_, lean = list(range(bench.count)), stakes.lean
    said: list[int] = []
    found: list[Answer] = []
    total, highest = sum(stakes.weights) + stakes.beside + (stakes.lean_weight if lean is not None else 0.0), 0.0
    while open_ or lean is not None:
        answers = [replace(a, p_adjusted=a.p * total / stakes.weight(a.index)) for a in bench.ask(open_, said, lean)]
        likely = sorted((a for a in answers if a.p_adjusted <= stakes.alpha), key=lambda a: (a.p_adjusted, -a.size))
        best = next((a for a in likely if bench.agrees(a.index, said, lean or 0.0)), None)
        if best is None:
            break
        highest = max(highest, best.p_adjusted)
        found.append(replace(best, p_adjusted=highest))
        total -= stakes.weight(best.index)
        if best.index < 0:
            lean = None
        else:
            open_.remove(best.index)
            said.append(best.index)
    return found, total - stakes.beside
