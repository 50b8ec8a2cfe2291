"""Crossing of a limit against a published data set, a closed case and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from printed import numbers

from gearqa.statistics.forecast import CycleState, line_crossing, update_cycle


def line(x: np.ndarray, y: np.ndarray) -> tuple[float, float, np.ndarray, float]:
    design = np.column_stack([np.ones(len(x)), x])
    (level, slope), (rss,) = np.linalg.lstsq(design, y, rcond=None)[:2]
    sigma2 = float(rss) / (len(x) - 2)
    return float(level), float(slope), sigma2 * np.linalg.inv(design.T @ design), sigma2


@pytest.mark.independent
def test_inverse_prediction_of_the_crystal_data() -> None:
    """R package investr 1.4.2: calibrate(weight ~ time, y0 = 8, interval = "inversion", mean response)."""
    time = np.arange(2.0, 29.0, 2.0)
    weight = numbers(".08 1.12 4.43 4.98 4.92 7.18 5.57 8.40 8.81 10.81 11.16 10.12 13.12 15.04")
    level, slope, covariance, _ = line(time, weight)
    found = line_crossing(level, slope, covariance, 8.0, 12)
    assert (f"{found.expected:.7f}", f"{found.low:.7f}", f"{found.high:.7f}") == (
        "15.8881952",
        "14.6589587",
        "17.1596321",
    )


@pytest.mark.independent
def test_small_closed_case() -> None:
    """Computed by hand and by three codes: mean and new value."""
    s = np.arange(0.0, 100.0, 10.0)
    y = np.array([1.0, 1.4, 1.3, 1.8, 1.9, 2.0, 2.4, 2.3, 2.8, 2.7])
    level, slope, covariance, sigma2 = line(s, y)
    assert (f"{slope:.8f}", f"{np.sqrt(covariance[1, 1]):.8f}") == ("0.01939394", "0.00156171")
    mean = line_crossing(level, slope, covariance, 5.0, 8)
    assert [f"{v:.4f}" for v in (mean.expected, mean.low, mean.high)] == ["201.7500", "176.7165", "237.9796"]
    new = line_crossing(level, slope, covariance, 5.0, 8, extra_variance=sigma2)
    assert [f"{v:.4f}" for v in (new.low, new.high)] == ["172.2350", "242.4611"]


def test_a_slope_not_proven_gives_no_number() -> None:
    found = line_crossing(0.0, 0.01, np.diag([0.1, 0.01**2]), 5.0, 10)
    assert found.low is None
    assert found.expected is None
    assert "no crossing can be shown" in str(found.reason)


@pytest.mark.independent
def test_update_equals_generalised_least_squares() -> None:
    """The update in one step equals the posterior by information (inverse covariance) form."""
    state = CycleState(0.5, 0.04, np.array([[0.4, -0.002], [-0.002, 1e-4]]), 0.3, 12)
    s, y = np.array([0.0, 9.0, 20.0]), np.array([1.2, 1.0, 1.9])
    after = update_cycle(state, s, y)
    H = np.column_stack([np.ones(3), s])
    information = np.linalg.inv(state.covariance) + H.T @ H / 0.3
    mean = np.linalg.solve(information, np.linalg.solve(state.covariance, [0.5, 0.04]) + H.T @ y / 0.3)
    assert np.linalg.inv(after.covariance) == pytest.approx(information, rel=1e-9)
    assert (after.level, after.slope) == pytest.approx(tuple(mean), rel=1e-9)
