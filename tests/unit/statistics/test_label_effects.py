"""Effects of labels within and between cycles: against a mixed model's limits and by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from gearqa.statistics.label_effects import indicator_columns, label_effect, pause_column


def effect(cycle: np.ndarray, z: np.ndarray, y: np.ndarray):
    C = int(cycle.max()) + 1
    levels = np.bincount(cycle, y) / np.bincount(cycle)
    return label_effect(cycle, z[:, None], y, np.zeros((len(y), 0)), levels, np.ones((C, 1)), 0.0)


@pytest.mark.independent
def test_within_cycles_it_is_analysis_of_covariance() -> None:
    """Every cycle holds the label equally: statsmodels OLS with one intercept per cycle."""
    import statsmodels.api as sm

    rng = np.random.default_rng(2)
    cycle, z = np.repeat(np.arange(9), 4), np.tile([0.0, 1.0, 1.0, 0.0], 9)
    y = 0.5 * z + rng.normal(0, 1.0, 9)[cycle] + rng.normal(0, 0.3, 36)
    found = effect(cycle, z, y)
    own = (cycle[:, None] == np.arange(9)).astype(float)
    reference = sm.OLS(y, np.column_stack([own, z])).fit()
    assert float(found.theta[0]) == pytest.approx(reference.params[-1], rel=1e-9)
    assert (float(found.low[0]), float(found.high[0])) == pytest.approx(
        tuple(reference.conf_int()[-1]), rel=1e-9
    )
    assert found.p == pytest.approx(reference.pvalues[-1], rel=1e-6)


@pytest.mark.independent
def test_between_cycles_it_is_the_regression_of_the_means() -> None:
    """The label changes from cycle to cycle only: statsmodels OLS of the cycle means."""
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    cycle = np.repeat(np.arange(12), 3)
    z = (np.arange(12) % 2).astype(float)
    y = 0.8 * z[cycle] + rng.normal(0, 0.4, 12)[cycle] + rng.normal(0, 0.3, 36)
    found = effect(cycle, z[cycle], y)
    means = np.bincount(cycle, y) / 3
    reference = sm.OLS(means, sm.add_constant(z)).fit()
    assert float(found.theta[0]) == pytest.approx(reference.params[1], rel=1e-9)
    assert found.p == pytest.approx(reference.pvalues[1], rel=1e-6)


def test_one_change_tells_nothing() -> None:
    cycle = np.repeat(np.arange(12), 3)
    assert effect(cycle, (cycle >= 6).astype(float), np.random.default_rng(1).normal(size=36)) is None


@pytest.mark.independent
def test_false_claims_and_coverage() -> None:
    """Labels at random over the parts, cycle scatter of 0.5 and part scatter of 0.3; 2,000 histories."""
    rng, p, inside = np.random.default_rng(6), [], []
    cycle = np.repeat(np.arange(15), 3)
    for _ in range(2000):
        z = rng.integers(0, 2, 45).astype(float)
        y = 0.4 * z + rng.normal(0, 0.5, 15)[cycle] + rng.normal(0, 0.3, 45)
        found = effect(cycle, z, y)
        inside.append(found.low[0] <= 0.4 <= found.high[0])
        p.append(effect(cycle, z, y - 0.4 * z).p)
    assert 0.93 < np.mean(inside) < 0.97
    assert np.mean(np.array(p) <= 0.01) < 0.01 + 4 * np.sqrt(0.01 / 2000)


def test_columns() -> None:
    assert indicator_columns(np.array([0, 1, 1, 0, 2, 1, 1, 0])).shape == (8, 1)
    at = np.array([0.0, 100.0, 20_000.0, 23_600.0])
    assert pause_column(at).round(4).tolist() == [1.0, 0.9726, 1.0, 0.3679]


def test_chance_alone_is_called_an_effect_no_more_often_than_p_says():
    """Two parts in each of eight cycles, temperatures drawn part by part: parts and cycles tell about as
    much, and which of them tells more is known from their scatter only."""
    rng, runs, C = np.random.default_rng(8), 4000, 8
    cycle, trend = np.repeat(np.arange(C), 2), np.arange(C) - (C - 1) / 2
    X = np.column_stack((np.ones(C), trend))
    found = []
    for _ in range(runs):
        y = np.repeat(rng.normal(0, 0.3, C), 2) + rng.normal(0, 0.3, 2 * C)
        z = rng.normal(20, 0.3, 2 * C)
        levels = np.bincount(cycle, y) / 2
        one = label_effect(cycle, z[:, None], y, np.tile([0.0, 1.0], C)[:, None], levels, X, 0.0)
        found.append((one.p, one.low[0] <= 0 <= one.high[0]))
    p, inside = np.array(found).T
    assert np.mean(p <= 0.01) <= 0.01 + 3 * np.sqrt(0.01 / runs)
    assert np.mean(p <= 0.05) >= 0.05 - 3 * np.sqrt(0.05 / runs)
    assert np.mean(inside) >= 0.95 - 3 * np.sqrt(0.05 / runs)
