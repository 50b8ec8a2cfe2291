"""Agreement against Bland and Altman's example and standard formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.agreement import correlation, en_number, limits_of_agreement, order_trend


def peak_flow() -> tuple[np.ndarray, np.ndarray]:
    rows = load("peak_flow").rows
    return np.array([float(r["large"]) for r in rows]), np.array([float(r["mini"]) for r in rows])


@pytest.mark.published
def test_peak_flow_of_the_paper() -> None:
    """Bland and Altman (1986): mean -2.1, sd 38.8 l/min; bias interval -22.0 to 17.8 (from memory)."""
    large, mini = peak_flow()
    found = limits_of_agreement(large - mini)
    assert (f"{found.bias:.1f}", f"{found.sd:.1f}") == ("-2.1", "38.8")
    assert [f"{v:.1f}" for v in found.bias_interval] == ["-22.0", "17.8"]
    # The paper takes two sd from the rounded mean and sd: -79.7 and 75.5.
    by_paper = [round(found.bias, 1) + k * round(found.sd, 1) for k in (-2, 2)]
    assert [f"{v:.1f}" for v in by_paper] == ["-79.7", "75.5"]
    two_sd = limits_of_agreement(large - mini, factor=2.0)
    assert [f"{v:.3f}" for v in two_sd.limits] == ["-79.648", "75.413"]


@pytest.mark.independent
def test_intervals_of_the_limits() -> None:
    large, mini = peak_flow()
    rounded = limits_of_agreement(large - mini, factor=1.96)
    assert [f"{v:.4f}" for v in rounded.limits] == ["-78.0973", "73.8620"]
    exact = limits_of_agreement(large - mini)
    # Exact interval of the upper limit by the noncentral t (scipy.stats.nct, quadrature).
    assert [f"{v:.4f}" for v in exact.upper_interval] == ["48.8596", "119.9255"]
    mirrored = limits_of_agreement(mini - large)
    assert exact.lower_interval == pytest.approx([-v for v in reversed(mirrored.upper_interval)], rel=1e-12)


@pytest.mark.independent
def test_exact_interval_covers_in_simulation() -> None:
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(2000):
        low, high = limits_of_agreement(rng.normal(0.3, 2.0, 10)).upper_interval
        hits += low <= 0.3 + 1.959964 * 2.0 <= high
    assert abs(hits / 2000 - 0.95) < 4 * math.sqrt(0.95 * 0.05 / 2000)


def test_en_number() -> None:
    # 10.2 +- 0.3 against 10.0 +- 0.1, by hand: 0.2/sqrt(0.1).
    assert f"{en_number(0.2, 0.3, 0.1):.8f}" == "0.63245553"


@pytest.mark.independent
def test_correlation_and_order_by_scipy() -> None:
    from scipy import stats

    large, mini = peak_flow()
    assert f"{correlation(large, mini):.6f}" == "0.943279"
    assert correlation(large[:4], mini[:4]) == pytest.approx(stats.pearsonr(large[:4], mini[:4]).statistic)
    trend = order_trend(large - mini)
    reference = stats.linregress(np.arange(17), large - mini)
    assert trend is not None
    assert (trend.slope, trend.p) == pytest.approx((reference.slope, reference.pvalue), rel=1e-9)


def test_too_little_to_say() -> None:
    assert correlation(np.ones(9), np.arange(9.0)) is None
    assert correlation(np.array([1.0, 2.0, 4.0]), np.array([1.0, 3.0, 2.0])) is None
    assert order_trend(np.zeros(5)) is None
    with pytest.raises(ValueError, match="at least two"):
        limits_of_agreement(np.array([1.0]))
