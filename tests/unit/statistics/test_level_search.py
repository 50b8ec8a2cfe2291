"""Movement of the levels: published break, brute force by statsmodels, rates by simulation."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.level_search import (
    LevelMovement,
    allowed_places,
    find_movement,
    scan_steps,
    weigh_levels,
)


def search(x: np.ndarray, bound: float | None = 0.03) -> LevelMovement:
    """Movement of levels without recorded corrections, accepted at a bound if their p is below."""
    base = np.ones((len(x), 1))
    evidence = weigh_levels(x, base)
    accepted = bound if evidence is not None and bound is not None and evidence.p <= bound else None
    return find_movement(x, base, (), evidence, accepted)


@pytest.mark.published
def test_break_of_the_nile_series() -> None:
    """One break behind observation 28 (1898), RSS 2835156.75 and 1597457.194: R strucchange 1.5-3."""
    flow = np.array([float(row["flow"]) for row in load("nile").rows])
    scan = scan_steps(flow, np.ones((100, 1)), allowed_places(100, ()), 0.0)
    assert scan.best == 28
    assert f"{scan.rss_without:.2f}" == "2835156.75"
    assert f"{float(scan.rss.min()):.3f}" == "1597457.194"
    # F of the best place, as printed by strucchange (supF).
    F = (scan.rss_without - scan.rss.min()) / (scan.rss.min() / 98)
    assert f"{float(F):.5f}" == "75.92977"
    found = search(flow)
    assert [step.index for step in found.steps] == [28]
    # 95 % interval of the place printed by strucchange: 1895 to 1902, last year at the old level.
    assert found.steps[0].low <= 28 <= found.steps[0].high
    assert found.steps[0].high - found.steps[0].low <= 8
    assert not found.trend_claimed


@pytest.mark.independent
@pytest.mark.parametrize("rho", [0.0, 0.4])
def test_scan_by_generalised_least_squares(rho: float) -> None:
    """statsmodels GLS of every place; scipy.stats.f times the number of places."""
    import statsmodels.api as sm
    from scipy import stats

    rng = np.random.default_rng(4)
    x, c = rng.normal(size=14).cumsum(), np.arange(14.0)
    base = np.column_stack([np.ones(14), c])
    sigma = rho ** np.abs(np.subtract.outer(c, c))
    scan = scan_steps(x, base, np.arange(3, 14), rho)
    without = sm.GLS(x, base, sigma=sigma).fit()
    F = []
    for k, rss in zip(scan.places, scan.rss, strict=True):
        model = sm.GLS(x, np.column_stack([base, c >= k]).astype(float), sigma=sigma).fit()
        # rows are whitened to the variance 1 - rho^2
        assert rss == pytest.approx(model.ssr * (1 - rho**2), rel=1e-8)
        F.append((without.ssr - model.ssr) / model.ssr * 11)
    assert scan.p == pytest.approx(min(1.0, 11 * stats.f.sf(max(F), 1, 11)), rel=1e-8)


def test_differences_in_the_eleventh_digit_are_no_movement() -> None:
    assert search(10_000 + np.repeat([0.0, 1e-7], 10)) == LevelMovement()
    assert [step.index for step in search(10_000 + np.repeat([0.0, 1e-3], 10)).steps] == [10]


def test_no_search_below_eight_cycles() -> None:
    assert weigh_levels(np.array([0, 0, 0.01, 9, 9, 9.01, 9]), np.ones((7, 1))) is None


def test_steps_are_found_one_after_the_other() -> None:
    rng = np.random.default_rng(9)
    x = np.concatenate([rng.normal(0, 0.3, 14), rng.normal(3, 0.3, 12), rng.normal(1, 0.3, 14)])
    assert [step.index for step in search(x).steps] == [14, 26]


def test_a_trend_is_no_step() -> None:
    rng = np.random.default_rng(3)
    found = search(0.1 * np.arange(30) + rng.normal(0, 0.3, 30))
    assert (found.steps, found.trend, found.trend_claimed) == ((), True, True)


def test_a_recorded_correction_is_no_change() -> None:
    """Its column takes it out; no change is looked for within a cycle of it."""
    rng = np.random.default_rng(3)
    recorded = (np.arange(30) >= 12).astype(float)
    x = 1.5 * recorded + rng.normal(0, 0.2, 30)
    base = np.column_stack([np.ones(30), recorded])
    evidence = weigh_levels(x, base, (12,))
    assert evidence is not None
    assert evidence.p > 0.05
    assert not {11, 12, 13} & set(allowed_places(30, (12,)).tolist())


@pytest.mark.independent
@pytest.mark.parametrize("cycles", [12, 20, 40])
def test_false_claims_of_one_series(cycles: int) -> None:
    """p of independent normal levels is no smaller than stated; 4,000 series each."""
    rng, base = np.random.default_rng(cycles), np.ones((cycles, 1))
    p = np.array([weigh_levels(x, base).p for x in rng.normal(0, 0.5, (4000, cycles))])  # type: ignore[union-attr]
    for stated in (0.05, 0.03, 0.01):
        assert np.mean(p <= stated) < stated + 4 * np.sqrt(stated / 4000)
    assert np.mean(p <= 0.03) > 0.003


@pytest.mark.independent
@pytest.mark.parametrize(
    ("cycles", "size", "least_power"),
    # Measured with these rules (0.58, 0.54, 0.93), no published source: power for a step in the middle of
    # this size in standard deviations of the levels.
    [(20, 3.0, 0.48), (40, 2.0, 0.45), (40, 3.0, 0.88)],
)
def test_power_and_place_of_a_step(cycles: int, size: float, least_power: float) -> None:
    rng = np.random.default_rng(17)
    x = rng.standard_normal((300, cycles))
    x[:, cycles // 2 :] += size
    found = [search(row) for row in x]
    named = [one for one in found if one.steps]
    assert len(named) / 300 > least_power
    covered = np.mean([any(s.low <= cycles // 2 <= s.high for s in one.steps) for one in named])
    assert covered > 0.93


def test_memory_of_a_scan_grows_with_the_cycles_not_with_their_square() -> None:
    rng = np.random.default_rng(4)
    x = rng.normal(0, 1, 5000)
    tracemalloc.start()
    scan_steps(x, np.ones((5000, 1)), allowed_places(5000, ()), 0.3)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 40 * x.nbytes  # a column for every place takes 5000 times
