"""Tests with two witnesses, and the rule that keeps a whole list honest.

First witness: the effect of each regressor under each noise model (generalised least squares), p-values and intervals
averaged by how plausible the model is with that effect in it. Second witness, which knows no noise model: the
whitened residuals' own scatter over whole sections or bars. Both must speak. Then Holm's step-down over the list;
what has been said is taken out of the data before the rest is asked again, so that one fault is not told twice.

Inside: `Bench` (a take prepared for all its questions), `Answer`, `step_down`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.core.arrays import FloatArray, IntArray
from heeltap.core.noise import MODELS, from_cosines, to_cosines, variances
from heeltap.core.stats import half_width

__all__ = ["Answer", "Bench", "step_down"]

WITNESS = 0.05
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


class Bench:
    """A take's values and regressors in the cosine basis, with their products under every plausible noise model.

    Column 0 is the constant, columns 1 to k the regressors (centred), the last one the values.
    """

    def __init__(self, values: FloatArray, regressors: FloatArray, cluster: IntArray) -> None:
        n = values.size
        self.n, self.count = n, regressors.shape[1]
        self.cluster = np.unique(cluster, return_inverse=True)[1]
        self.shares = regressors.mean(axis=0)
        centred = regressors - self.shares
        self.columns = to_cosines(np.column_stack((np.ones(n), centred, values)))
        self.table = variances(n)
        self.prior = np.log([model.prior for model in MODELS]) - 0.5 * np.sum(np.log(self.table), axis=1)
        self._drop_hopeless()
        inverse = 1 / self.table
        self.products = np.stack([(self.columns * row[:, None]).T @ self.columns for row in inverse])

    def _drop_hopeless(self) -> None:
        """Keep the models that the plain take finds within exp(-30) of the best: the rest never count."""
        y = self.columns[1:, -1] ** 2
        likely = self.prior - 0.5 * (self.n - 1) * np.log(np.maximum((1 / self.table[:, 1:]) @ y, 1e-12))
        likely += 0.5 * np.log(self.table[:, 0])
        keep = likely > likely.max() - 30 - self.count
        self.table, self.prior = self.table[keep], self.prior[keep]

    def ask(self, wanted: list[int], said: list[int], lean: float | None = None) -> list[Answer]:
        """Answers for the regressors ``wanted``, those ``said`` taken out; ``lean`` asks for the mean against it
        too."""
        base = [0] + [index + 1 for index in said]
        rest = [index + 1 for index in wanted] + [self.count + 1]
        inner = self.products[:, base][:, :, base]
        cross = self.products[:, base][:, :, rest]
        solved = np.linalg.solve(inner, cross)
        left = self.products[:, rest][:, :, rest] - np.swapaxes(cross, 1, 2) @ solved
        log_base = self.prior - 0.5 * np.linalg.slogdet(inner)[1]
        answers = [self._answer(left, place, index, len(base), log_base) for place, index in enumerate(wanted)]
        if lean is not None:
            share = np.concatenate(([0.0], self.shares[said]))
            shift = solved[:, :, -1] @ share
            blur = np.linalg.solve(inner, np.broadcast_to(share, inner.shape[:2])[:, :, None])[:, :, 0] @ share
            answers.append(self._mean(left[:, -1, -1], len(base), log_base, lean + shift, blur))
        return [answer for answer in answers if answer is not None]

    def _answer(self, left: FloatArray, place: int, index: int, base: int, log_base: FloatArray) -> Answer | None:
        own = left[:, place, place]
        if np.any(own < _SAME * self.products[:, index + 1, index + 1]) or self.n - base - 1 < 4:
            return None
        effect = left[:, place, -1] / own
        squares = np.maximum(left[:, -1, -1] - effect * left[:, place, -1], 1e-12)
        freedom = self.n - base - 1
        weight = _weights(log_base - 0.5 * np.log(own) - 0.5 * freedom * np.log(squares))
        return _mixture(index, effect, np.sqrt(squares / freedom / own), weight, freedom)

    def _mean(self, squares: FloatArray, base: int, log_base: FloatArray, lean: FloatArray, blur: FloatArray) -> Answer:
        """The mean of the strokes outside all classes named so far, against the lean."""
        freedom = self.n - base
        weight = _weights(log_base - 0.5 * freedom * np.log(np.maximum(squares, 1e-12)))
        middle = float(self.columns[0, -1]) / np.sqrt(self.n)
        scale = np.sqrt(np.maximum(squares, 1e-12) / freedom * (self.table[:, 0] / self.n + blur))
        return _mixture(-1, middle - lean, scale, weight, freedom)

    def agrees(self, index: int, said: list[int], lean: float = 0.0) -> bool:
        """Second witness: jackknife over clusters (CR3) of the whitened regressor and residuals, at `WITNESS`."""
        from scipy.special import stdtr

        row = self._best(index, said)
        scaled = self.columns / np.sqrt(row)[:, None]
        base = [i + 1 for i in said] + ([0] if index >= 0 else [])
        x, y = scaled[:, index + 1], scaled[:, -1] - lean * scaled[:, 0]
        if base:
            q = np.linalg.qr(scaled[:, base])[0]
            x, y = x - q @ (q.T @ x), y - q @ (q.T @ y)
        total = float(x @ x)
        effect = float(x @ y) / total
        pair = from_cosines(np.column_stack((x, y - effect * x)))
        share = np.bincount(self.cluster, pair[:, 0] ** 2) / total
        score = np.bincount(self.cluster, pair[:, 0] * pair[:, 1]) / np.maximum(1 - share, 0.05)
        freedom = 1 / float(np.sum(share**2)) - 1
        error = np.sqrt(float(np.sum(score**2))) / total
        return freedom >= 1 and bool(2 * stdtr(freedom, -abs(effect) / max(error, 1e-300)) < WITNESS)

    def residual(self, said: list[int]) -> FloatArray:
        """Whitened residual of the values, one a stroke, unit white variance under the most plausible model."""
        row = self._best(-1, said)
        scaled = self.columns / np.sqrt(row)[:, None]
        q = np.linalg.qr(scaled[:, [0] + [i + 1 for i in said]])[0]
        return from_cosines(scaled[:, -1] - q @ (q.T @ scaled[:, -1]))

    def _best(self, index: int, said: list[int]) -> FloatArray:
        """Variances of the most plausible model with all that was said, and the regressor in question, taken out."""
        base = [0] + [i + 1 for i in said] + ([index + 1] if index >= 0 else [])
        inner = self.products[:, base][:, :, base]
        cross = self.products[:, base][:, :, -1:]
        squares = self.products[:, -1, -1] - (np.swapaxes(cross, 1, 2) @ np.linalg.solve(inner, cross))[:, 0, 0]
        likely = self.prior - 0.5 * np.linalg.slogdet(inner)[1]
        likely -= 0.5 * (self.n - len(base)) * np.log(np.maximum(squares, 1e-12))
        return np.asarray(self.table[int(np.argmax(likely))])


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


def step_down(bench: Bench, *, alpha: float, lean: float | None = None) -> list[Answer]:
    """The statements that hold, in the order in which they were found, strongest first.

    Holm (1979, Scandinavian Journal of Statistics 6:65-70, from memory) over all regressors and, with a ``lean``,
    the mean: the smallest p must be below alpha divided by the number of questions still open.
    """
    open_ = list(range(bench.count))
    said: list[int] = []
    found: list[Answer] = []
    asked, highest = bench.count + (lean is not None), 0.0
    while asked > 0:
        answers = sorted(
            bench.ask(open_, said, lean), key=lambda a: (a.p, -abs(a.effect) / (a.ci95[1] - a.effect + 1e-12))
        )
        answers = [answer for answer in answers if answer.p * asked <= alpha]
        best = next((a for a in answers if bench.agrees(a.index, said, lean or 0.0)), None)
        if best is None:
            break
        highest = max(highest, best.p * asked)
        found.append(Answer(best.index, best.effect, best.ci95, best.p, min(highest, 1.0)))
        asked -= 1
        if best.index < 0:
            lean = None
        else:
            open_.remove(best.index)
            said.append(best.index)
    return found
