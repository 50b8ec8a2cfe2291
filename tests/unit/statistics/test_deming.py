"""Errors in both variables: MethComp on the peak flow data, York on Pearson's data."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.deming import deming, york


@pytest.mark.independent
def test_deming_of_the_peak_flow_data() -> None:
    """R package MethComp 1.30.2, Deming(), variance ratio 1."""
    rows = load("peak_flow").rows
    line = deming(np.array([float(r["large"]) for r in rows]), np.array([float(r["mini"]) for r in rows]))
    assert line is not None
    assert (f"{line.intercept:.7f}", f"{line.slope:.7f}") == ("15.2315555", "0.9708808")


@pytest.mark.published
def test_york_on_pearsons_data() -> None:
    """Pearson's data with York's weights; York et al. (2004), table II (from memory)."""
    x = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    w_x = np.array([1000.0, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
    w_y = np.array([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
    line = york(x, y, w_x**-0.5, w_y**-0.5)
    assert (f"{line.intercept:.5f}", f"{line.slope:.5f}") == ("5.47991", "-0.48053")
    assert (f"{line.intercept_se:.3f}", f"{line.slope_se:.3f}") == ("0.295", "0.058")


@pytest.mark.independent
def test_york_with_equal_uncertainties_is_deming() -> None:
    rng = np.random.default_rng(3)
    x = rng.uniform(0, 10, 12)
    y = 1.1 * x + rng.normal(0, 0.3, 12)
    line, by_york = deming(x, y, 4.0), york(x, y, np.full(12, 0.1), np.full(12, 0.2))
    assert line is not None
    assert (line.slope, line.intercept) == pytest.approx((by_york.slope, by_york.intercept), rel=1e-9)


@pytest.mark.independent
def test_deming_interval_covers_in_simulation() -> None:
    rng = np.random.default_rng(13)
    truth = np.linspace(-4, 4, 20)
    hits = 0
    for _ in range(2000):
        line = deming(truth + rng.normal(0, 0.5, 20), 1.2 * truth + rng.normal(0, 0.5, 20))
        assert line is not None
        low, high = line.slope_interval or (0.0, 0.0)
        hits += low <= 1.2 <= high
    assert 0.92 < hits / 2000 < 0.97


def test_no_line() -> None:
    assert deming(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None
    assert deming(np.array([1.0, -1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])) is None
