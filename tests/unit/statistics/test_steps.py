"""Level changes: published break, sums of squares by brute force, false alarms and power by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from scipy import stats

from gearqa.statistics.steps import find_steps, scan_steps


@pytest.mark.published
def test_break_of_the_nile_series() -> None:
    """One break behind observation 28 (1898), RSS 2835156.75 and 1597457.194: R strucchange 1.5-3."""
    flow = np.array([float(row["flow"]) for row in load("nile").rows])
    scan = scan_steps(flow)
    assert int(scan.places[np.argmin(scan.rss_step)]) == 28
    assert f"{float(scan.rss_constant):.2f}" == "2835156.75"
    assert f"{float(scan.rss_step.min()):.3f}" == "1597457.194"
    # F of the best place, as printed by strucchange (supF).
    F = (scan.rss_constant - scan.rss_step.min()) / (scan.rss_step.min() / 98)
    assert f"{float(F):.5f}" == "75.92977"
    (step,) = find_steps(flow)
    # 95 % interval of the place printed by strucchange: 1895 to 1902, last year at the old level.
    assert 1871 + step.index - 1 == 1898
    assert step.low <= 28 <= step.high
    assert step.high - step.low <= 7
    assert not step.with_trend


@pytest.mark.independent
def test_sums_of_squares_by_least_squares() -> None:
    rng = np.random.default_rng(4)
    x = rng.normal(size=(3, 14)).cumsum(axis=1)
    scan = scan_steps(x)
    c = np.arange(14.0)
    for i in range(3):
        for j, k in enumerate(scan.places):
            step = (c >= k).astype(float)
            for columns, rss in (([c * 0 + 1, step], scan.rss_step), ([c * 0 + 1, c, step], scan.rss_both)):
                design = np.column_stack(columns)
                residual = x[i] - design @ np.linalg.lstsq(design, x[i], rcond=None)[0]
                assert rss[i, j] == pytest.approx(residual @ residual, rel=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("trend", [0.0, 0.15])
def test_p_values_and_rule_with_another_distribution_function(trend: float) -> None:
    """scipy.stats.f: largest F over the places times their number; 9 is C ln(RSS_trend/RSS_step)."""
    rng = np.random.default_rng(6)
    x = rng.standard_normal((8000, 14)) + trend * np.arange(14)
    x[:, 7:] += rng.uniform(0, 4, (8000, 1))
    scan = scan_steps(x)
    best_step, best_both = scan.rss_step.min(axis=1), scan.rss_both.min(axis=1)
    p_a = 9 * stats.f.sf((scan.rss_constant / best_step - 1) * 12, 1, 12)
    p_b = 9 * stats.f.sf((scan.rss_trend / best_both - 1) * 11, 1, 11)
    assert scan.p_a == pytest.approx(np.minimum(1, p_a), rel=1e-9)
    assert scan.p_b == pytest.approx(np.minimum(1, p_b), rel=1e-9)
    gained = 14 * np.log(scan.rss_trend / best_step)
    assert ((p_b > 0.01) & (p_a <= 0.01) & (abs(gained - 9) < 0.04)).any()
    assert scan.found.tolist() == ((p_b <= 0.01) | (p_a <= 0.01) & (gained >= 9)).tolist()


def test_differences_in_the_eleventh_digit_are_no_step() -> None:
    assert find_steps(10_000 + np.repeat([0.0, 1e-7], 10)) == ()
    assert [step.index for step in find_steps(10_000 + np.repeat([0.0, 1e-3], 10))] == [10]


def test_places_keep_three_cycles_on_either_side() -> None:
    assert scan_steps(np.arange(10.0) ** 2).places.tolist() == [3, 4, 5, 6, 7]


def test_no_search_below_eight_cycles() -> None:
    x = np.array([0, 0, 0.01, 9, 9, 9.01, 9])
    assert find_steps(x) == ()


def test_two_steps_are_found_one_after_the_other() -> None:
    rng = np.random.default_rng(9)
    x = np.concatenate([rng.normal(0, 0.3, 14), rng.normal(3, 0.3, 12), rng.normal(1, 0.3, 14)])
    assert [step.index for step in find_steps(x)] == [14, 26]


@pytest.mark.independent
@pytest.mark.parametrize("cycles", [12, 20, 40])
@pytest.mark.parametrize("trend", [0.0, 0.05, 0.1, 0.28])
def test_false_alarms_without_a_step(cycles: int, trend: float) -> None:
    """Computed rate of the rule: 0.010 to 0.034 with trends up to 0.28 um per cycle, sd 0.5 um."""
    rng = np.random.default_rng(cycles)
    x = rng.normal(0, 0.5, (20_000, cycles)) + trend * np.arange(cycles)
    rate = float(scan_steps(x).found.mean())
    assert 0.005 < rate < 0.034 + 4 * np.sqrt(0.034 * 0.966 / 20_000)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("cycles", "size", "least_power"),
    # Measured with this rule, no published source: power for a step in the middle, in sd of the levels.
    [(20, 3.0, 0.55), (40, 2.0, 0.55), (40, 3.0, 0.90), (40, 5.0, 0.999)],
)
def test_power_and_place_of_a_step(cycles: int, size: float, least_power: float) -> None:
    rng = np.random.default_rng(17)
    x = rng.standard_normal((4000, cycles))
    x[:, cycles // 2 :] += size
    assert scan_steps(x).found.mean() > least_power
    found = [find_steps(row) for row in x[:300]]
    first = [steps for steps in found if steps]
    covered = np.mean([any(s.low <= cycles // 2 <= s.high for s in steps) for steps in first])
    assert covered > 0.95
