"""Wear model against lme4's data set, least squares by hand and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.wear import cycle_sd, fit_trend, fit_wear, theil_sen_within


def sleepstudy() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = load("sleepstudy").rows
    cycle = np.unique([row["cycle"] for row in rows], return_inverse=True)[1]
    return cycle, np.array([float(r["s"]) for r in rows]), np.array([float(r["y"]) for r in rows])


@pytest.mark.independent
def test_pooled_slope_equals_the_mixed_model() -> None:
    """R lme4 1.1-31: lmer(Reaction ~ Days + (1 | Subject)), slope, its se, sigma; sd of the intercept."""
    fit = fit_wear(*sleepstudy())
    assert (f"{fit.slope:.6f}", f"{fit.se_pooled:.9f}") == ("10.467286", "0.804221429")
    assert (f"{fit.sd:.7f}", fit.dof) == ("30.9912339", 161)
    sd = float(np.std(fit.cycle_means, ddof=1))
    assert f"{cycle_sd(sd, fit.sd, fit.counts):.5f}" == "37.12383"
    # The pooled interval is 8.87910297 to 12.05546895; subjects differ in slope, so the one given is wider.
    assert fit.interval_kind == "jackknife"
    assert fit.low < 8.879
    assert fit.high > 12.055


@pytest.mark.independent
def test_jackknife_and_slope_variance_by_brute_force() -> None:
    cycle, s, y = sleepstudy()
    fit = fit_wear(cycle, s, y)
    left_out = []
    for c in range(18):
        keep = cycle != c
        left_out.append(fit_wear(np.unique(cycle[keep], return_inverse=True)[1], s[keep], y[keep]).slope)
    se = math.sqrt(17 / 18 * sum((b - fit.slope) ** 2 for b in left_out))
    assert fit.se_jackknife == pytest.approx(se, rel=1e-10)
    fits = [np.polyfit(s[cycle == c], y[cycle == c], 1, full=True) for c in range(18)]
    slopes = np.array([f[0][0] for f in fits])
    assert fit.cycle_slopes == pytest.approx(slopes, rel=1e-9)
    residual = sum(float(f[1][0]) for f in fits) / (180 - 36)
    # lme4 gives 5.922 (REML, random intercept and slope) for the sd of the slopes.
    assert fit.slope_variance == pytest.approx(np.var(slopes, ddof=1) - residual / 82.5, rel=1e-9)
    assert f"{math.sqrt(fit.slope_variance):.3f}" == "5.922"


@pytest.mark.independent
@pytest.mark.parametrize(("seed", "kind"), [(3, "pooled"), (1, "jackknife")])
def test_errors_of_the_levels(seed: int, kind: str) -> None:
    """statsmodels OLS, one intercept per cycle; a wider jackknife error of the wear stands for its own."""
    import statsmodels.api as sm

    rng = np.random.default_rng(seed)
    cycle = np.repeat(np.arange(5), [2, 3, 4, 3, 2])
    s = rng.integers(0, 30, 14).astype(float)
    y = 0.05 * s + rng.normal(0, 0.8, 5)[cycle] + rng.normal(0, 0.3, 14)
    fit = fit_wear(cycle, s, y)
    assert (fit.se_jackknife > fit.se_pooled) is (kind == "jackknife")
    design = np.column_stack([(cycle[:, None] == np.arange(5)).astype(float), s])
    reference = sm.OLS(y, design).fit()
    assert fit.levels == pytest.approx(reference.params[:5], rel=1e-9)
    mean_s = np.array([s[cycle == c].mean() for c in range(5)])
    wider = max(fit.se_jackknife**2 - reference.bse[5] ** 2, 0.0)
    assert fit.levels_se == pytest.approx(np.sqrt(reference.bse[:5] ** 2 + wider * mean_s**2), rel=1e-9)


def test_errors_of_the_levels_without_wear() -> None:
    """All at one position: the standard error of a mean, from the pooled deviation within cycles."""
    y = np.array([1.0, 3.0, 2.0, 2.0, 5.0, 5.0])
    fit = fit_wear(np.array([0, 0, 1, 1, 1, 1]), np.full(6, 4.0), y)
    # (1 + 1) + (2.25 + 2.25 + 2.25 + 2.25) over 4 degrees of freedom
    assert fit.sd**2 == pytest.approx(2.75)
    assert fit.levels_se**2 == pytest.approx([2.75 / 2, 2.75 / 4])


def test_slopes_of_three_cycles_have_a_variance_however_short_the_cycles() -> None:
    s = np.tile([0.0, 1.0, 1.0], 3)
    y = np.array([0.0, 1.0, 1.0, 0.0, 2.0, 2.0, 0.0, 3.0, 3.0])
    fit = fit_wear(np.repeat(np.arange(3), 3), s, y)
    assert fit.slope_variance_identifiable
    assert fit.slope_variance == pytest.approx(1.0)  # of the slopes 1, 2, 3, with no scatter about them


def test_wear_needs_two_positions_in_a_cycle() -> None:
    fit = fit_wear(np.arange(5), np.array([0.0, 3, 5, 7, 9]), np.arange(5.0))
    assert not fit.identifiable
    assert math.isnan(fit.slope)
    assert not fit.significant
    same_place = fit_wear(np.repeat(np.arange(3), 2), np.full(6, 4.0), np.arange(6.0))
    assert not same_place.identifiable
    assert f"{same_place.sd:.4f}" == f"{math.sqrt(0.5):.4f}"


@pytest.mark.independent
def test_theil_sen_over_all_pairs() -> None:
    rng = np.random.default_rng(5)
    cycle = np.repeat(np.arange(6), [1, 4, 3, 5, 2, 4])
    s, y = rng.integers(0, 40, 19).astype(float), rng.standard_normal(19)
    pairs = [
        (y[j] - y[i]) / (s[j] - s[i])
        for i in range(19)
        for j in range(i + 1, 19)
        if cycle[i] == cycle[j] and s[i] != s[j]
    ]
    assert theil_sen_within(cycle, s, y) == pytest.approx(float(np.median(pairs)), rel=1e-12)


@pytest.mark.independent
@pytest.mark.parametrize("slope_sd", [0.0, 0.02])
def test_interval_covers_the_true_wear(slope_sd: float) -> None:
    """2000 histories of 15 cycles, three parts each; also where the wear differs from cycle to cycle."""
    rng = np.random.default_rng(8)
    cycle, s = np.repeat(np.arange(15), 3), np.tile([0.0, 12.0, 25.0], 15)
    hits = 0
    for _ in range(2000):
        slopes = 0.05 + slope_sd * rng.standard_normal(15)
        y = rng.normal(0, 0.8, 15)[cycle] + slopes[cycle] * s + rng.normal(0, 0.5, 45)
        fit = fit_wear(cycle, s, y)
        hits += fit.low <= 0.05 <= fit.high
    assert 0.94 < hits / 2000 < 0.975  # the wider of two intervals: a little above 95 %


@pytest.mark.independent
def test_trend_with_steps_is_least_squares() -> None:
    """statsmodels OLS with constant, one step and a trend."""
    import statsmodels.api as sm

    rng = np.random.default_rng(2)
    x = 0.2 * np.arange(30) + 2.0 * (np.arange(30) >= 12) + rng.normal(0, 0.4, 30)
    trend = fit_trend(x, (12,))
    design = np.column_stack([np.ones(30), np.arange(30) >= 12, np.arange(30)]).astype(float)
    reference = sm.OLS(x, design).fit()
    assert trend.slope == pytest.approx(reference.params[2], rel=1e-9)
    assert (trend.low, trend.high) == pytest.approx(tuple(reference.conf_int()[2]), rel=1e-9)
    assert trend.p == pytest.approx(reference.pvalues[2], rel=1e-6)
    assert trend.step_sizes[0] == pytest.approx(reference.params[1], rel=1e-9)
    assert trend.significant


def test_no_trend_leaves_it_out_of_the_step_size() -> None:
    x = np.concatenate([np.tile([0.1, -0.1], 5), 3 + np.tile([-0.1, 0.1], 5)])
    trend = fit_trend(x, (10,))
    assert not trend.significant
    assert trend.step_sizes[0] == pytest.approx(3.0)


@pytest.mark.parametrize(("p", "significant"), [(0.00998, True), (0.01002, False)])
def test_a_trend_counts_up_to_one_percent(p: float, significant: bool) -> None:
    """A trend in a given scatter, steepened until its p is the one wanted."""
    from scipy.optimize import brentq

    scatter = np.random.default_rng(3).normal(0, 0.4, 16)
    at = brentq(lambda slope: fit_trend(scatter + slope * np.arange(16), ()).p - p, 0.03, 0.5, xtol=1e-14)
    trend = fit_trend(scatter + at * np.arange(16), ())
    assert trend.p == pytest.approx(p, rel=1e-6)
    assert trend.significant is significant


def test_two_levels_have_no_trend() -> None:
    trend = fit_trend(np.array([1.0, 4.0]), ())
    assert math.isnan(trend.slope)
    assert (trend.p, trend.significant, trend.dof) == (1.0, False, 1)
    assert trend.sd == pytest.approx(math.sqrt(4.5))
