"""One-step forecast errors: independent, standard, and their EWMA limits for few reference cycles."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, stdtrit

from gearqa.statistics.control_charts import ewma
from gearqa.statistics.innovations import CycleHistory, residual_limits, standard_innovations


def history(slope_sd: float = 0.0) -> CycleHistory:
    """Positions 0, 15, 29; sd of the level at s = 0: 0.4; within: 0.3; known from endless cycles."""
    s = np.array([0.0, 15.0, 29.0])
    q = slope_sd**2
    between = 0.4**2 + q * s.mean() ** 2 + 0.3**2 / 3
    C = 10**9
    return CycleHistory(
        C, 3, s.mean(), C * float(np.sum((s - s.mean()) ** 2)), 1.0, 0.05, between, 0.09, C, q
    )


@pytest.mark.independent
@pytest.mark.parametrize("slope_sd", [0.0, 0.03])
def test_whitening_of_the_cycle_covariance(slope_sd: float) -> None:
    """Equals the Cholesky whitening of the joint covariance of a cycle's parts."""
    s = np.array([0.0, 15.0, 29.0])
    y = np.array([1.4, 1.2, 3.0])
    covariance = 0.4**2 + slope_sd**2 * np.outer(s, s) + 0.09 * np.eye(3)
    expected = np.linalg.solve(np.linalg.cholesky(covariance), y - 1.0 - 0.05 * s)
    z = standard_innovations(np.zeros(3, int), s, y, history(slope_sd))
    assert z == pytest.approx(expected, rel=1e-6)


def test_cycles_do_not_know_of_each_other() -> None:
    s, y = np.array([0.0, 15.0, 29.0]), np.array([1.4, 1.2, 3.0])
    alone = standard_innovations(np.zeros(3, int), s, y, history())
    cycle = np.repeat([0, 1, 2], [3, 1, 3])
    together = standard_innovations(
        cycle, np.concatenate([s, [7.0], s]), np.concatenate([y, [9.0], y]), history()
    )
    assert together[:3].tolist() == alone.tolist()
    assert together[4:].tolist() == alone.tolist()


def test_limits_of_endless_history_are_the_textbook_ones() -> None:
    cycle, s = np.repeat(np.arange(30), 3), np.tile([0.0, 15.0, 29.0], 30)
    limits = residual_limits(cycle, s, history(), 0.2, 2.8593)
    # L sqrt(lambda/(2 - lambda)), reached after many points.
    assert limits[-1] == pytest.approx(2.8593 / 3, rel=1e-5)
    few = CycleHistory(12, 3, s.mean(), 12 * 421.0, 1.0, 0.05, 0.19, 0.09, 23)
    assert residual_limits(cycle, s, few, 0.2, 2.8593)[-1] > 1.15 * limits[-1]


@pytest.mark.independent
def test_limits_hold_the_error_of_the_reference() -> None:
    """Spread of the average over invented references of 12 cycles, against what the limit assumes."""
    rng = np.random.default_rng(4)
    s3 = np.array([0.0, 15.0, 29.0])
    cycle, s = np.repeat(np.arange(20), 3), np.tile(s3, 20)
    C, between = 12, 0.4**2 + 0.3**2 / 3
    S_ss = C * float(np.sum((s3 - s3.mean()) ** 2))
    last = []
    for _ in range(4000):
        slope = 0.05 + rng.normal(0, 0.3 / S_ss**0.5)
        middle = 1.0 + 0.05 * s3.mean() + rng.normal(0, (between / C) ** 0.5)
        reference = CycleHistory(C, 3, s3.mean(), S_ss, middle - slope * s3.mean(), slope, between, 0.09, 23)
        y = 1.0 + 0.05 * s + rng.normal(0, 0.4, 20)[cycle] + rng.normal(0, 0.3, 60)
        last.append(float(ewma(standard_innovations(cycle, s, y, reference), 0.2, 0.0)[-1]))
    assumed = residual_limits(cycle, s, reference, 0.2, 3.0)[-1]
    dof = (0.16 + 0.09) ** 2 / (0.16**2 / 11 + 0.09**2 / 23)
    spread = assumed / -float(stdtrit(dof, float(ndtr(-3.0))))
    assert np.std(last) == pytest.approx(spread, rel=4 / np.sqrt(2 * 4000))
