"""Normality, outliers, means and order: handbook data and other libraries."""

from __future__ import annotations

import math
from itertools import pairwise, permutations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.diagnostic import normal_ad

from gearqa.statistics import families, location, normality, outliers

GRUBBS = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


@pytest.mark.published
def test_grubbs_example_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.17.1 (from memory), last eight values of the uranium isotope data:
    # G = 2.4687, critical value 2.032 for an upper outlier at 5 %
    g, index = outliers.grubbs_statistic(GRUBBS)
    assert math.floor(g * 1e4) / 1e4 == 2.4687  # printed cut, not rounded (2.46876)
    assert index == 7
    assert f"{outliers.grubbs_critical(8, 0.05, two_sided=False):.3f}" == "2.032"


@pytest.mark.independent
def test_grubbs_two_sided() -> None:
    # computed, not published
    assert f"{outliers.grubbs_critical(8, 0.05):.5f}" == "2.12665"


@pytest.mark.independent
def test_false_flags_of_grubbs_by_simulation() -> None:
    rng = np.random.default_rng(71)
    x = rng.normal(size=(40_000, 12))
    g = np.abs(x - x.mean(axis=1, keepdims=True)).max(axis=1) / x.std(axis=1, ddof=1)
    rate = np.mean(g > outliers.grubbs_critical(12, 0.05))
    assert rate == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 40_000))


def test_sidak_keeps_the_family_rate() -> None:
    each = families.sidak(0.01, 17)
    assert 1 - (1 - each) ** 17 == pytest.approx(0.01, rel=1e-12)
    assert families.sidak(0.01, 1) == pytest.approx(0.01)


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shape", ["normal", "exponential", "uniform", "lognormal"])
def test_anderson_darling_as_another_library(seed: int, shape: str) -> None:
    rng = np.random.default_rng(seed)
    x = getattr(rng, shape)(size=20 + 13 * seed)
    # the other library takes log(1 - Phi), which loses digits far out in the tail
    assert normality.anderson_darling(x) == pytest.approx(normal_ad(x), rel=1e-6, abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("n", [20, 50])
def test_anderson_darling_false_alarms_by_simulation(n: int) -> None:
    rng = np.random.default_rng(n)
    p = np.array([normality.anderson_darling(x)[1] for x in rng.normal(size=(8_000, n))])
    assert np.mean(p < 0.05) == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / 8_000))


@pytest.mark.independent
def test_upper_tail_by_skewness_as_the_general_library() -> None:
    x = np.random.default_rng(8).exponential(size=40) + 1.0
    skewed = float(stats.skewtest(x, alternative="greater").pvalue)
    assert normality.upper_tail_p(x) == pytest.approx(skewed, rel=1e-9)


@pytest.mark.independent
def test_upper_tail_by_the_largest_value() -> None:
    # the p-value of the largest value is where Grubbs' one-sided critical value meets it
    x = np.array([*np.linspace(-1, 1, 20), 1.6])
    p = normality.upper_tail_p(x)
    g = (x.max() - x.mean()) / x.std(ddof=1)
    assert outliers.grubbs_critical(21, p, two_sided=False) == pytest.approx(g, rel=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("n", [20, 90])
def test_upper_tail_is_suspected_as_often_as_two_tests_may(n: int) -> None:
    rng = np.random.default_rng(9)
    p = np.array([normality.upper_tail_p(x) for x in rng.normal(size=(4_000, n))])
    assert 0.05 < np.mean(p < 0.05) < 0.10
    assert 0.30 < np.mean(p < 0.30) < 0.60


@pytest.mark.independent
def test_probability_plot_as_the_general_library() -> None:
    x = np.array([3.2, 1.1, 4.8, 2.9, 2.2, 5.0, 0.4])
    (want, ordered), _ = stats.probplot(x)
    quantiles, got = normality.probability_plot(x)
    assert quantiles == pytest.approx(want, abs=1e-12)
    assert got.tolist() == ordered.tolist()


@pytest.mark.independent
def test_mean_and_sd_interval_as_the_general_library() -> None:
    x = np.array([3.2, 1.1, 4.8, 2.9, 2.2, 5.0, 0.4])
    mean, sd = float(x.mean()), float(x.std(ddof=1))
    want = stats.t.interval(0.95, 6, loc=mean, scale=sd / math.sqrt(7))
    assert location.mean_interval(mean, sd, 7) == pytest.approx(want, rel=1e-10)
    low, high = location.sd_interval(sd, 6)
    assert low == pytest.approx(sd * math.sqrt(6 / stats.chi2.ppf(0.975, 6)), rel=1e-10)
    assert high == pytest.approx(sd * math.sqrt(6 / stats.chi2.ppf(0.025, 6)), rel=1e-10)


@pytest.mark.published
def test_prepackage_factor() -> None:
    # Packaged goods regulations (reference test, 99.5 %): t/sqrt(n) = 0.640, 0.503, 0.379 for n = 20, 30, 50
    factors = [location.mean_interval(0.0, 1.0, n, confidence=0.99)[1] for n in (20, 30, 50)]
    assert [f"{f:.3f}" for f in factors] == ["0.640", "0.503", "0.379"]


@pytest.mark.independent
@pytest.mark.parametrize(
    "values",
    [
        [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0],
        [1.0, 7.0, 2.0, 4.0, 6.0, 3.0, 5.0],
        [7.0, 1.0, 6.0, 5.0, 2.0, 4.0, 3.0],
        [1.0, 5.0, 2.0, 6.0, 3.0, 7.0, 4.0],
    ],
)
def test_runs_by_enumeration(values: list[float]) -> None:
    def runs(order: tuple[float, ...]) -> int:
        above = [v > 4 for v in order if v != 4]
        return 1 + sum(a != b for a, b in pairwise(above))

    counts = [runs(order) for order in permutations(values)]
    seen = runs(tuple(values))
    few = sum(c <= seen for c in counts) / len(counts)
    many = sum(c >= seen for c in counts) / len(counts)
    assert location.runs_test(values) == pytest.approx(min(1.0, 2 * min(few, many)))


def test_runs_without_two_kinds() -> None:
    assert location.runs_test([2.0, 2.0, 2.0]) == 1.0


@pytest.mark.independent
def test_trend_as_the_general_library() -> None:
    rng = np.random.default_rng(5)
    x = np.round(rng.normal(size=30) + 0.05 * np.arange(30), 1)
    n = x.size
    tau = stats.kendalltau(np.arange(n), x)
    # Kendall's S and its tie-corrected variance; the library has no continuity correction
    ties = np.unique(x, return_counts=True)[1]
    s = np.sum(np.sign(np.subtract.outer(x, x))[np.tril_indices(n, -1)])
    var = (n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18
    assert 2 * stats.norm.sf(abs(s) / math.sqrt(var)) == pytest.approx(tau.pvalue, rel=0.02)
    assert location.trend_test(x) == pytest.approx(2 * stats.norm.sf((abs(s) - 1) / math.sqrt(var)), rel=1e-9)


def test_trend_of_a_constant() -> None:
    assert location.trend_test([1.0] * 5) == 1.0
