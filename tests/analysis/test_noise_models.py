"""The noise family: its transform, its exact variances, and that a take finds the model it was made with."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.analysis.statistics.cosines import from_cosines, to_cosines
from heeltap.analysis.statistics.noise_family import MODELS
from heeltap.analysis.statistics.noise_models import (
    autocorrelations,
    correlations,
    fit_noise,
    lag_products,
    products_under,
    variances,
)
from tests.makers.tables import noise


@pytest.mark.parametrize("n", [1, 2, 7, 40, 101])
def test_transform_is_the_orthonormal_cosine_transform(n: int, rng: np.random.Generator) -> None:
    """The transform equals SciPy's type II with norm 'ortho', and its inverse gives the columns back."""
    from scipy.fft import dct

    columns = rng.normal(size=(n, 3))

    np.testing.assert_allclose(dct(columns, axis=0, norm="ortho"), to_cosines(columns), atol=1e-12)
    np.testing.assert_allclose(columns, from_cosines(to_cosines(columns)), atol=1e-12)


@pytest.mark.parametrize("n", [2, 13, 60])
def test_variances_are_the_exact_diagonal(n: int) -> None:
    """The closed form equals the diagonal of the covariance matrix, built in full and turned into the cosine
    basis."""
    from scipy.fft import dct
    from scipy.linalg import toeplitz

    basis = dct(np.eye(n), axis=0, norm="ortho")
    expected = [np.diag(basis @ toeplitz(row) @ basis.T) for row in autocorrelations(n)]

    np.testing.assert_allclose(expected, variances(n), atol=1e-9)


def test_long_memory_mean_has_its_published_variance() -> None:
    """The mean of n strokes of fractional Gaussian noise has variance n ** (2H - 2) (Mandelbrot & Van Ness 1968,
    from memory)."""
    n = 77
    for row, model in zip(autocorrelations(n), MODELS, strict=True):
        if model.kind == "long" and model.wander == 1.0:
            found = (n * row[0] + 2 * np.sum((n - np.arange(1, n)) * row[1:])) / n**2

            assert found == pytest.approx(n ** (2 * model.memory - 2), rel=1e-9)


def test_priors_sum_to_one() -> None:
    """All three plausibilities are distributions over the family."""
    assert sum(model.mean_prior for model in MODELS) == pytest.approx(1.0)
    assert sum(model.interval_prior for model in MODELS) == pytest.approx(1.0)
    assert sum(model.test_prior for model in MODELS) == pytest.approx(1.0)


def test_error_variance_is_that_of_the_full_matrix(rng: np.random.Generator) -> None:
    """The variance of a weighted sum equals w' S w with the covariance matrix written out, for every model."""
    from scipy.linalg import toeplitz

    fitted = fit_noise(noise("wander", 50, rng))
    weights = rng.normal(size=50)
    expected = [v * weights @ toeplitz(r) @ weights for v, r in zip(fitted.variance_ms2, correlations(50), strict=True)]

    np.testing.assert_allclose(expected, fitted.error_variance(weights), rtol=1e-9)


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=30))
def test_lag_products_are_the_correlation_of_the_weights(weights: list[float]) -> None:
    """Lag 0 once, every other lag twice, as NumPy's own correlation gives it."""
    row = np.array(weights)
    full = np.correlate(row, row, "full")[row.size - 1 :]
    full[1:] *= 2

    np.testing.assert_allclose(full, lag_products(row), atol=1e-9)


@pytest.mark.parametrize(
    ("kind", "memory", "wander"),
    [("ar0", (0.0,), (0.0,)), ("ar70", (0.6, 0.75), (1.0, 0.8)), ("wander", (0.87, 0.94), (0.8, 0.5))],
)
def test_a_long_take_finds_its_own_model(
    kind: str, memory: tuple[float, ...], wander: tuple[float, ...], rng: np.random.Generator
) -> None:
    """Four thousand strokes put most plausibility on a member of the family next to the truth."""
    fitted = fit_noise(noise(kind, 4000, rng))
    best = MODELS[int(np.argmax(fitted.weight))]

    assert best.kind == "short"
    assert best.memory in memory
    assert best.wander in wander


def test_a_long_take_finds_long_memory(rng: np.random.Generator) -> None:
    """Fractional noise of exponent 0.9 is told from every geometric memory."""
    fitted = fit_noise(noise("long90", 4000, rng))

    assert sum(w for w, m in zip(fitted.weight, MODELS, strict=True) if m.kind == "long") > 0.95


def test_regressors_are_taken_out_even_if_redundant(rng: np.random.Generator) -> None:
    """A planted step does not count as noise when it is named, and naming it twice changes nothing."""
    step = np.repeat([0.0, 1.0], 200)
    plain = noise("ar0", 400, rng)
    once = fit_noise(plain + 40 * step, step[:, None])
    twice = fit_noise(plain + 40 * step, np.column_stack((step, 1 - step, step)))

    np.testing.assert_allclose(once.variance_ms2, twice.variance_ms2, rtol=1e-9)
    np.testing.assert_allclose(fit_noise(plain, step[:, None]).weight, once.weight, atol=1e-9)
    assert float(once.weight @ once.variance_ms2) == pytest.approx(144.0, rel=0.2)


@pytest.mark.parametrize("n", [5, 40, 700])
def test_products_over_bands_are_the_plain_products(n: int) -> None:
    """Summing over narrow bands first gives the products under every model to a quarter of a per cent of their scale."""
    rng = np.random.default_rng(n)
    columns = to_cosines(np.cumsum(rng.normal(size=(n, 6)), axis=0))
    table = variances(n)
    plain = np.stack([(columns / row[:, None]).T @ columns for row in table])

    scale = np.sqrt(np.einsum("mii->mi", plain))
    assert np.abs((products_under(columns) - plain) / (scale[:, :, None] * scale[:, None, :])).max() < 2.5e-3
