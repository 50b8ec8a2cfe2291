"""Noncentral t: against the general library's distribution and against direct integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from gearqa.statistics import noncentral_t

CASES = [
    (4, 5.2),
    (9, 7.4),
    (19, 10.4),
    (49, 25.0),
    (199, 60.0),
    (499, 70.0),
    (9.37, 4.2),
    (9, -3.0),
    (12, 0.0),
]


def by_integration(df: float, nc: float, t: float) -> float:
    """P(T <= t) as the mean of Phi(t s - nc) over the distribution of s = sqrt(chi2/df)."""
    log_c = math.log(2) + df / 2 * math.log(df / 2) - special.gammaln(df / 2)

    def density(s: float) -> float:
        return float(special.ndtr(t * s - nc)) * math.exp(log_c + (df - 1) * math.log(s) - df * s * s / 2)

    width = 12 / math.sqrt(2 * df)
    value, _ = integrate.quad(
        density, max(1e-12, 1 - width), 1 + width, epsabs=1e-14, epsrel=1e-13, limit=400, points=[1.0]
    )
    return float(value)


@pytest.mark.independent
@pytest.mark.parametrize(("df", "nc"), CASES)
@pytest.mark.parametrize("probability", [0.05, 0.5, 0.95, 0.99])
def test_quantile_gives_back_its_probability(df: float, nc: float, probability: float) -> None:
    t = noncentral_t.quantile(probability, df, nc)
    assert by_integration(df, nc, t) == pytest.approx(probability, abs=1e-10)


@pytest.mark.independent
@pytest.mark.parametrize(("df", "nc"), CASES)
def test_quantile_as_the_general_library(df: float, nc: float) -> None:
    assert noncentral_t.quantile(0.95, df, nc) == pytest.approx(
        float(stats.nct.ppf(0.95, df, nc)), rel=1e-9, abs=1e-9
    )


@pytest.mark.independent
@pytest.mark.parametrize("n", [5, 10, 25, 100, 500, 1000])
@pytest.mark.parametrize("index", [-1.0, -0.2, 0.0, 0.4, 1.33, 2.0, 3.0])
def test_noncentrality_is_exact_where_the_library_inverse_is_not(n: int, index: float) -> None:
    t = 3 * math.sqrt(n) * index
    nc = noncentral_t.noncentrality(0.95, n - 1, t)
    assert by_integration(n - 1, nc, t) == pytest.approx(0.95, abs=1e-10)


def test_noncentrality_of_an_array_is_that_of_its_elements() -> None:
    t = np.array([2.0, 12.0, 30.0])
    both = noncentral_t.noncentrality(0.95, 9, t)
    assert both.shape == (3,)
    assert both.tolist() == [noncentral_t.noncentrality(0.95, 9, float(v)) for v in t]
