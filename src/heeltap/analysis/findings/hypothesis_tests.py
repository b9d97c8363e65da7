"""Hypothesis tests of one take's contrasts, with the error of the whole list held.

1. Generalised least squares of each regressor under each noise model of
   `heeltap.analysis.statistics.noise_family.MODELS`; p-values and intervals are averaged by how plausible the model is
   with that regressor in it.
2. A cluster-robust check that knows no noise model: the whitened residuals' own spread over whole sections or bars.
   Both must reject.
3. Holm's step-down over the list. What has been found is taken out of the data before the rest is tested again, so that
   one fault is not told twice.

Ours, where no source is named.

Inside: `RegressionProblem` (a take prepared for all its tests), `TestResult`, `ErrorBudget`, `step_down`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.statistics.cosines import from_cosines, to_cosines
from heeltap.analysis.statistics.mixtures import half_width
from heeltap.analysis.statistics.noise_family import MODELS
from heeltap.analysis.statistics.noise_models import log_determinants, products_under, variances
from heeltap.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["ErrorBudget", "RegressionProblem", "TestResult", "step_down"]

CLUSTER_LEVEL = 0.07
"""Level at which the cluster-robust check must reject, too."""

_COLLINEAR = 0.15
"""A regressor of which less than this share is left beside what was found already is not tested again."""


@dataclass(frozen=True, slots=True)
class TestResult:
    """What the data say about one regressor."""

    __test__ = False
    """Not a test case, whatever the name suggests to the test runner."""

    index: int
    """Which regressor; -1 is the mean itself."""
    effect: float
    """Coefficient, averaged over the noise models; unit of the values for each unit of the regressor."""
    ci95: tuple[float, float]
    """95 % interval of the coefficient."""
    p: float
    """Two-sided, by generalised least squares, before any correction."""
    p_adjusted: float = 1.0
    """After Holm's correction."""

    @property
    def size(self) -> float:
        """Effect in half-widths of its interval."""
        return abs(self.effect) / max(self.ci95[1] - self.effect, 1e-12)


class RegressionProblem:
    """A take's values and regressors in the cosine basis, with their products under every plausible noise model.

    Column 0 is the constant, columns 1 to k the regressors, then the nuisance regressors, last the values. All but the
    constant and the values are centred.

    Parameters
    ----------
    values : float64, shape (n,)
        One for each stroke, in time order.
    regressors : float64, shape (n, k)
        What is tested, one column each.
    nuisance : float64, shape (n, m)
        What is taken out before every regressor that is not ``unadjusted``.
    unadjusted : bool, k of them
        Which regressors are tested without taking the nuisance regressors out.
    cluster : int64, shape (n,)
        Labels of the clusters for `agrees`.
    mean_error : float
        A standard error that all values share, in their unit (that of the delay taken away): the mean alone is less
        sure by it.
    """

    def __init__(
        self,
        values: FloatArray,
        regressors: FloatArray,
        nuisance: FloatArray,
        unadjusted: Sequence[bool],
        cluster: IntArray,
        *,
        mean_error: float = 0.0,
    ) -> None:
        n = values.size
        self.n, self.count, self.unadjusted = n, regressors.shape[1], tuple(unadjusted)
        self.mean_error = mean_error
        self.cluster = np.unique(cluster, return_inverse=True)[1]
        self.means = regressors.mean(axis=0)
        self.nuisance = list(range(1 + self.count, 1 + self.count + nuisance.shape[1]))
        inner = np.column_stack((regressors - self.means, nuisance - nuisance.mean(axis=0)))
        self.columns = to_cosines(np.column_stack((np.ones(n), inner, values)))
        self.beyond_nuisance = self._beyond_nuisance()
        self.spectra = variances(n)
        self.log_prior: FloatArray = np.log([model.test_prior for model in MODELS]) - 0.5 * log_determinants(n)
        self.products = products_under(self.columns, self._drop_implausible())

    def _beyond_nuisance(self) -> list[bool]:
        """Which regressors say something that the nuisance ones do not: those of beats mostly lie among them."""
        regressors = self.columns[:, 1 : 1 + self.count]
        whole = np.sum(regressors**2, axis=0)
        q = np.linalg.qr(self.columns[:, self.nuisance])[0]
        left = whole - np.sum((q.T @ regressors) ** 2, axis=0)
        return [bool(own > _COLLINEAR * all_) for own, all_ in zip(left, whole, strict=True)]

    def _drop_implausible(self) -> BoolArray:
        """Keep the models that the plain take finds within exp(-30) of the best, more where more is taken out; return
        which."""
        y = self.columns[1:, -1] ** 2
        likely = self.log_prior - 0.5 * (self.n - 1) * np.log(np.maximum((1 / self.spectra[:, 1:]) @ y, 1e-12))
        likely += 0.5 * np.log(self.spectra[:, 0])
        keep = likely > likely.max() - 30 - self.columns.shape[1]
        self.spectra, self.log_prior = self.spectra[keep], self.log_prior[keep]
        return np.asarray(keep)

    def _given(self, index: int, found: Sequence[int]) -> list[int]:
        """Columns that are taken out before the regressor ``index`` is tested."""
        if not self.nuisance or (index >= 0 and self.unadjusted[index]):
            return [0] + [i + 1 for i in found]
        return [0, *self.nuisance] + [i + 1 for i in found if self.beyond_nuisance[i]]

    def test(self, wanted: Sequence[int], found: Sequence[int], lean: float | None = None) -> list[TestResult]:
        """Results for the regressors ``wanted``, those ``found`` taken out.

        Parameters
        ----------
        wanted, found : indices of regressors
        lean : float, optional
            Tests the mean against it, too; in the unit of the values.

        Returns
        -------
        list of TestResult
            Without those that cannot be told apart from what is taken out. ``p_adjusted`` is 1.
        """
        results: list[TestResult] = []
        for unadjusted in (True, False):
            some = [index for index in wanted if self.unadjusted[index] == unadjusted]
            if some:
                results += self._test(some, self._given(some[0], found))
        if lean is not None:
            results.append(self._test_mean(found, lean))
        return results

    def _reduce(self, given: list[int], rest: list[int]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Products of the columns ``rest`` with ``given`` taken out, their coefficients on it, log plausibility so
        far."""
        inner = self.products[:, given][:, :, given]
        cross = self.products[:, given][:, :, rest]
        solved = np.linalg.solve(inner, cross)
        left = self.products[:, rest][:, :, rest] - np.swapaxes(cross, 1, 2) @ solved
        log_likely = self.log_prior - 0.5 * np.linalg.slogdet(inner)[1]
        return left, np.asarray(solved, dtype=np.float64), np.asarray(log_likely)

    def _test(self, wanted: list[int], given: list[int]) -> list[TestResult]:
        left, _, log_given = self._reduce(given, [index + 1 for index in wanted] + [-1])
        freedom = self.n - len(given) - 1
        results = []
        for place, index in enumerate(wanted):
            own = left[:, place, place]
            if np.any(own <= _COLLINEAR * self.products[:, index + 1, index + 1] + 1e-9) or freedom < 4:
                continue
            effect = left[:, place, -1] / own
            squares = np.maximum(left[:, -1, -1] - effect * left[:, place, -1], 1e-12)
            weight = _weights(log_given - 0.5 * np.log(own) - 0.5 * freedom * np.log(squares))
            results.append(_mixture(index, effect, np.sqrt(squares / freedom / own), weight, freedom))
        return results

    def _test_mean(self, found: Sequence[int], lean: float) -> TestResult:
        """The mean of the strokes outside all classes found so far, against the lean."""
        given = [0] + [i + 1 for i in found]
        left, solved, log_given = self._reduce(given, [-1])
        squares, freedom = np.maximum(left[:, 0, 0], 1e-12), self.n - len(given)
        share = np.concatenate(([0.0], self.means[list(found)]))
        inner = self.products[:, given][:, :, given]
        blur = np.linalg.solve(inner, np.tile(share, (inner.shape[0], 1))[:, :, None])[:, :, 0] @ share
        middle = float(self.columns[0, -1]) / np.sqrt(self.n) - lean - solved[:, :, 0] @ share
        scale = np.sqrt(squares / freedom * (self.spectra[:, 0] / self.n + blur) + self.mean_error**2)
        return _mixture(-1, middle, scale, _weights(log_given - 0.5 * freedom * np.log(squares)), freedom)

    def agrees(self, index: int, found: Sequence[int], lean: float = 0.0) -> bool:
        """Whether the cluster-robust check rejects, too, at `CLUSTER_LEVEL`.

        Jackknife over clusters (CR3) of the whitened regressor and residuals (Bell & McCaffrey 2002, Survey
        Methodology 28:169-181, from memory; the degrees of freedom from the clusters' shares are ours).

        Parameters
        ----------
        index : int
            Which regressor; -1 is the mean.
        found : indices of regressors
            What is taken out.
        lean : float
            What the mean is held against, in the unit of the values.

        Returns
        -------
        bool
        """
        from scipy.special import stdtr

        given = self._given(index, found) if index >= 0 else [i + 1 for i in found]
        scaled = self._whitened([0, index + 1, *given])
        x, y = scaled[:, index + 1], scaled[:, -1] - (lean * scaled[:, 0] if index < 0 else 0.0)
        q = np.linalg.qr(scaled[:, given])[0]
        x, y = x - q @ (q.T @ x), y - q @ (q.T @ y)
        total = float(x @ x)
        effect = float(x @ y) / total
        pair = from_cosines(np.column_stack((x, y - effect * x)))
        share = np.bincount(self.cluster, pair[:, 0] ** 2) / total
        score = np.bincount(self.cluster, pair[:, 0] * pair[:, 1]) / np.maximum(1 - share, 0.05)
        freedom = 1 / float(np.sum(share**2)) - 1
        error = float(np.hypot(np.sqrt(float(np.sum(score**2))) / total, self.mean_error if index < 0 else 0.0))
        return freedom >= 1 and bool(2 * stdtr(freedom, -abs(effect) / max(error, 1e-300)) < CLUSTER_LEVEL)

    def residual(self, found: Sequence[int]) -> FloatArray:
        """Whitened residual of the values with the regressors ``found`` and the nuisance taken out.

        Parameters
        ----------
        found : indices of regressors

        Returns
        -------
        float64, shape (n,)
            White of one variance under the most plausible model.
        """
        given = self._given(-1, found)
        scaled = self._whitened(given)
        q = np.linalg.qr(scaled[:, given])[0]
        return from_cosines(scaled[:, -1] - q @ (q.T @ scaled[:, -1]))

    def _whitened(self, given: Sequence[int]) -> FloatArray:
        """All columns, whitened by the model that is most plausible with the columns ``given`` taken out."""
        used = sorted(set(given))
        left, _, likely = self._reduce(used, [-1])
        likely = likely - 0.5 * (self.n - len(used)) * np.log(np.maximum(left[:, 0, 0], 1e-12))
        return np.asarray(self.columns / np.sqrt(self.spectra[int(np.argmax(likely))])[:, None])


def _weights(log_weight: FloatArray) -> FloatArray:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _mixture(index: int, effect: FloatArray, scale: FloatArray, weight: FloatArray, freedom: int) -> TestResult:
    """Effect, interval and two-sided p of a mixture of Student's t."""
    from scipy.special import stdtr

    middle = float(weight @ effect)
    p = float(weight @ (2 * stdtr(freedom, -np.abs(effect) / np.maximum(scale, 1e-12))))
    wide = np.sqrt(scale**2 + (effect - middle) ** 2)
    half = half_width(wide, weight, freedom)
    return TestResult(index, middle, (middle - half, middle + half), p)


@dataclass(frozen=True, slots=True)
class ErrorBudget:
    """What each test may spend of the permitted error."""

    weights: Sequence[float]
    """One for each regressor."""
    alpha: float
    """Chance of at least one false rejection in the whole list."""
    reserved: float = 0.0
    """Weight of tests that are made elsewhere out of the same error."""
    lean: float | None = None
    """Tests the mean against it, too; None does not."""
    lean_weight: float = 0.0
    """Weight of the test of the mean."""

    def weight(self, index: int) -> float:
        """Weight of a regressor, or of the mean.

        Parameters
        ----------
        index : int
            Which regressor; -1 is the mean.

        Returns
        -------
        float
        """
        return self.weights[index] if index >= 0 else self.lean_weight


def step_down(
    problem: RegressionProblem, budget: ErrorBudget, admit: Callable[[TestResult], bool] = lambda _: True
) -> tuple[list[TestResult], float]:
    """The results that hold, strongest first, and the weight of the tests that stay open.

    Weighted step-down of Holm (1979, Scandinavian Journal of Statistics 6:65-70, from memory): a regressor is
    found when its p is below alpha times its share of the weight still open, and the cluster-robust check agrees. It is
    taken out of the data before the rest is tested again.

    Parameters
    ----------
    problem : RegressionProblem
    budget : ErrorBudget
    admit : function from TestResult to bool
        May turn away a result that would be found next: something else explains it. It stays open.

    Returns
    -------
    results : list of TestResult
        With ``p_adjusted``.
    open_weight : float
        Weight of what was not found, without ``budget.reserved``.
    """
    open_, lean = list(range(problem.count)), budget.lean
    found: list[TestResult] = []
    taken_out: list[int] = []
    total, highest = sum(budget.weights) + budget.reserved + (budget.lean_weight if lean is not None else 0.0), 0.0
    while open_ or lean is not None:
        tested = [
            replace(result, p_adjusted=result.p * total / budget.weight(result.index))
            for result in problem.test(open_, taken_out, lean)
        ]
        likely = sorted((r for r in tested if r.p_adjusted <= budget.alpha), key=lambda r: (r.p_adjusted, -r.size))
        best = next((r for r in likely if problem.agrees(r.index, taken_out, lean or 0.0) and admit(r)), None)
        if best is None:
            break
        highest = max(highest, best.p_adjusted)
        found.append(replace(best, p_adjusted=highest))
        total -= budget.weight(best.index)
        if best.index < 0:
            lean = None
        else:
            open_.remove(best.index)
            taken_out.append(best.index)
    return found, total - budget.reserved
