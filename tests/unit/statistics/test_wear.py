"""Wear model against lme4's data set, least squares by hand and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.wear import cycle_sd, fit_wear, hats, place_knots, theil_sen_within


def sleepstudy() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = load("sleepstudy").rows
    cycle = np.unique([row["cycle"] for row in rows], return_inverse=True)[1]
    return cycle, np.array([float(r["s"]) for r in rows]), np.array([float(r["y"]) for r in rows])


@pytest.mark.independent
def test_pooled_slope_equals_the_mixed_model() -> None:
    """R lme4 1.1-31: lmer(Reaction ~ Days + (1 | Subject)), slope, its se, sigma; sd of the intercept."""
    cycle, s, y = sleepstudy()
    fit = fit_wear(cycle, s, y, straight=True)
    assert f"{fit.slope:.6f}" == "10.467286"
    assert f"{fit.sd / math.sqrt(fit.S_ss):.9f}" == "0.804221429"
    assert (f"{fit.sd:.7f}", fit.dof) == ("30.9912339", 161)
    means = np.bincount(cycle, y) / fit.counts
    assert f"{cycle_sd(float(np.var(means, ddof=1)), fit.sd, fit.counts):.5f}" == "37.12383"
    # The pooled interval is 8.87910297 to 12.05546895; subjects differ in slope, so the one given is wider.
    assert fit.low < 8.879
    assert fit.high > 12.055


@pytest.mark.independent
def test_jackknife_and_slope_variance_by_brute_force() -> None:
    cycle, s, y = sleepstudy()
    fit = fit_wear(cycle, s, y, straight=True)
    left_out = []
    for c in range(18):
        keep = cycle != c
        left_out.append(fit_wear(np.unique(cycle[keep], return_inverse=True)[1], s[keep], y[keep]).slope)
    se = math.sqrt(17 / 18 * sum((b - fit.slope) ** 2 for b in left_out))
    assert fit.se == pytest.approx(se, rel=1e-10)
    fits = [np.polyfit(s[cycle == c], y[cycle == c], 1, full=True) for c in range(18)]
    slopes = np.array([f[0][0] for f in fits])
    residual = sum(float(f[1][0]) for f in fits) / (180 - 36)
    # lme4 gives 5.922 (REML, random intercept and slope) for the sd of the slopes.
    assert fit.curve is not None
    assert fit.curve.slope_variance == pytest.approx(np.var(slopes, ddof=1) - residual / 82.5, rel=1e-9)
    assert f"{math.sqrt(fit.curve.slope_variance):.3f}" == "5.922"


@pytest.mark.independent
def test_errors_of_the_levels() -> None:
    """statsmodels OLS, one intercept per cycle at the first knot, cycles of unequal size."""
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    cycle = np.repeat(np.arange(5), [2, 3, 4, 3, 2])
    s = rng.integers(0, 30, 14).astype(float)
    y = 0.05 * s + rng.normal(0, 0.8, 5)[cycle] + rng.normal(0, 0.3, 14)
    fit = fit_wear(cycle, s, y, straight=True)
    design = np.column_stack([(cycle[:, None] == np.arange(5)).astype(float), s - s.min()])
    reference = sm.OLS(y, design).fit()
    assert fit.levels == pytest.approx(reference.params[:5], rel=1e-9)
    assert fit.levels_se == pytest.approx(reference.bse[:5], rel=1e-9)


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
    assert fit.slope_variation_known
    assert fit.curve is not None
    assert fit.curve.slope_variance == pytest.approx(1.0)  # of the slopes 1, 2, 3, with no scatter about them


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
def test_curve_is_least_squares_on_the_positions() -> None:
    """statsmodels OLS, one intercept per cycle and per position; F of the line against it."""
    import statsmodels.api as sm

    rng = np.random.default_rng(12)
    cycle, s = np.repeat(np.arange(8), 4), np.tile([0.0, 9.0, 18.0, 27.0], 8)
    y = 2 * (1 - np.exp(-s / 9)) + rng.normal(0, 0.5, 8)[cycle] + rng.normal(0, 0.2, 32)
    fit = fit_wear(cycle, s, y)
    own = (cycle[:, None] == np.arange(8)).astype(float)
    places = (s[:, None] == np.array([9.0, 18.0, 27.0])).astype(float)
    full = sm.OLS(y, np.column_stack([own, places])).fit()
    line = sm.OLS(y, np.column_stack([own, s])).fit()
    assert fit.curve is not None
    assert fit.curve.rises == pytest.approx(full.params[8:], rel=1e-9)
    assert fit.curve.within == pytest.approx(full.mse_resid, rel=1e-9)
    assert (fit.dof, fit.curve.within_dof) == (21, 21)
    assert np.diag(fit.curve.G) * full.mse_resid == pytest.approx(full.bse[8:] ** 2, rel=1e-9)
    assert fit.levels == pytest.approx(full.params[:8], rel=1e-9)
    assert fit.levels_se == pytest.approx(full.bse[:8], rel=1e-9)
    assert fit.p_curve == pytest.approx(full.compare_f_test(line)[1], rel=1e-6)
    ahead = full.get_prediction(np.concatenate([np.full(8, 1 / 8), [0.0, 0.5, 0.5]])[None, :])
    at = fit.curve.leverage(np.array([22.5]))[0] * full.mse_resid + full.mse_resid / 32
    assert at == pytest.approx(float(ahead.se_mean[0]) ** 2, rel=1e-9)


def test_many_positions_have_four_knots_and_the_last_chord_goes_on() -> None:
    s = np.arange(31.0)
    assert place_knots(s).tolist() == [0.0, 10.0, 20.0, 30.0]
    assert hats(np.array([40.0]), np.array([0.0, 10.0, 20.0, 30.0])).tolist() == [[0.0, -1.0, 2.0]]


def test_without_freedom_for_chords_the_wear_is_straight() -> None:
    """Two cycles of two parts at four positions: one slope, one residual left."""
    fit = fit_wear(np.array([0, 0, 1, 1]), np.array([0.0, 10.0, 5.0, 20.0]), np.array([0.0, 1.0, 0.0, 2.0]))
    assert fit.curve is not None
    assert fit.curve.knots.tolist() == [0.0, 20.0]
    assert fit.p_curve is None


def test_cycles_with_contradicting_positions_say_nothing_about_the_wear() -> None:
    rng = np.random.default_rng(2)
    cycle, s = np.repeat(np.arange(10), 3), np.tile([0.0, 10.0, 20.0], 10)
    y = 0.05 * s + rng.normal(0, 0.1, 30)
    wrong = y.copy()
    wrong[:3] = wrong[:3][::-1]
    sound = np.arange(10) > 0
    left = fit_wear(cycle[3:] - 1, s[3:], y[3:])
    fit = fit_wear(cycle, s, wrong, sound=sound)
    assert (fit.slope, fit.sd, fit.dof, fit.p) == pytest.approx((left.slope, left.sd, left.dof, left.p))
    assert len(fit.levels) == 10


def test_scatter_that_grows_is_seen() -> None:
    rng = np.random.default_rng(3)
    cycle, s = np.repeat(np.arange(40), 4), np.tile([0.0, 10.0, 20.0, 30.0], 40)
    even, growing = rng.normal(0, 0.3, 160), rng.normal(0, 0.1 + 0.02 * s)
    assert (fit_wear(cycle, s, even).p_noise or 0) > 0.01
    assert (fit_wear(cycle, s, growing).p_noise or 1) < 0.001
