"""Levels with errors that follow each other: against statsmodels and by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from gearqa.statistics.levels import correlation, fit_levels, whitened


def wandering(rng: np.random.Generator, n: int, rho: float) -> np.ndarray:
    x = rng.standard_normal(n)
    for c in range(1, n):
        x[c] = rho * x[c - 1] + (1 - rho**2) ** 0.5 * x[c]
    return x


@pytest.mark.independent
@pytest.mark.parametrize("rho", [0.0, 0.3, 0.7])
def test_generalised_least_squares(rho: float) -> None:
    """statsmodels GLS with the correlation matrix rho^|i-j|."""
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    x = wandering(rng, 24, 0.5)
    design = np.column_stack([np.ones(24), np.arange(24) >= 10, np.arange(24)]).astype(float)
    sigma = rho ** np.abs(np.subtract.outer(np.arange(24), np.arange(24)))
    reference = sm.GLS(x, design, sigma=sigma).fit()
    fit = fit_levels(x, design, rho)
    assert fit.theta == pytest.approx(reference.params, rel=1e-8)
    assert fit.covariance == pytest.approx(reference.cov_params(), rel=1e-7)
    assert fit.variance == pytest.approx(reference.scale, rel=1e-8)
    row = np.array([1.0, 1.0, 24.0])
    level, leverage = fit.ahead(row)
    ahead = reference.get_prediction(row[None, :])
    assert level == pytest.approx(float(ahead.predicted_mean[0]), rel=1e-8)
    assert leverage * fit.variance == pytest.approx(float(ahead.se_mean[0]) ** 2, rel=1e-7)


@pytest.mark.independent
def test_likelihood_by_its_matrix_form() -> None:
    """REML over the grid from determinants of the covariance matrix; largest at the same correlation."""
    rng = np.random.default_rng(8)
    design = np.column_stack([np.ones(30), np.arange(30.0)])
    for true in (0.0, 0.5, 0.8):
        x = wandering(rng, 30, true)
        found = []
        for rho in np.arange(9) / 10:
            V = rho ** np.abs(np.subtract.outer(np.arange(30.0), np.arange(30.0)))
            inverse = np.linalg.inv(V)
            information = design.T @ inverse @ design
            theta = np.linalg.solve(information, design.T @ inverse @ x)
            rss = (x - design @ theta) @ inverse @ (x - design @ theta)
            logs = np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1] + 28 * np.log(rss)
            found.append(-logs / 2)
        assert correlation(x, design) == pytest.approx(int(np.argmax(found)) / 10)


def test_few_cycles_have_no_correlation() -> None:
    assert correlation(np.arange(5.0), np.ones((5, 1))) == 0.0


def test_whitened_levels_are_independent() -> None:
    x = np.array([wandering(np.random.default_rng(seed), 6, 0.6) for seed in range(20_000)])
    covariance = np.cov(np.array([whitened(row, 0.6) for row in x]), rowvar=False)
    assert covariance == pytest.approx(0.64 * np.eye(6), abs=0.03)
