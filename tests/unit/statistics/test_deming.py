"""Errors in both variables: MethComp on the peak flow data, jackknife by brute force, simulation."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from scipy import stats

from gearqa.statistics.deming import deming


@pytest.mark.independent
def test_deming_of_the_peak_flow_data() -> None:
    """R package MethComp 1.30.2, Deming(), variance ratio 1."""
    rows = load("peak_flow").rows
    line = deming(np.array([float(r["large"]) for r in rows]), np.array([float(r["mini"]) for r in rows]))
    assert line is not None
    assert (f"{line.intercept:.7f}", f"{line.slope:.7f}") == ("15.2315555", "0.9708808")


@pytest.mark.independent
def test_deming_errors_and_intervals_by_leaving_out_each_pair() -> None:
    """Jackknife by brute force, lines by the first principal axis, t of scipy.stats with n - 2."""
    rows = load("peak_flow").rows
    points = np.array([[float(r["large"]), float(r["mini"])] for r in rows])

    def principal_axis(p: np.ndarray) -> tuple[float, float]:
        dx, dy = np.linalg.svd(p - p.mean(axis=0))[2][0]
        return dy / dx, p[:, 1].mean() - dy / dx * p[:, 0].mean()

    lines = np.array([principal_axis(np.delete(points, i, axis=0)) for i in range(17)])
    se = np.sqrt(16 / 17 * np.sum((lines - lines.mean(axis=0)) ** 2, axis=0))
    line = deming(points[:, 0], points[:, 1])
    assert line is not None
    half = float(stats.t.ppf(0.975, 15)) * se
    slope, intercept = principal_axis(points)
    assert line.slope_interval == pytest.approx((slope - half[0], slope + half[0]), rel=1e-9)
    assert line.intercept_interval == pytest.approx((intercept - half[1], intercept + half[1]), rel=1e-9)


def test_three_pairs_are_enough_for_a_line() -> None:
    line = deming(np.array([0.0, 1.0, 2.0]), np.array([0.0, 2.0, 4.0]))
    assert line is not None
    assert (line.slope, *line.slope_interval) == pytest.approx((2.0, 2.0, 2.0), abs=1e-12)


@pytest.mark.independent
def test_deming_interval_covers_in_simulation() -> None:
    rng = np.random.default_rng(13)
    truth = np.linspace(-4, 4, 20)
    hits = 0
    for _ in range(2000):
        line = deming(truth + rng.normal(0, 0.5, 20), 1.2 * truth + rng.normal(0, 0.5, 20))
        assert line is not None
        low, high = line.slope_interval
        hits += low <= 1.2 <= high
    assert 0.92 < hits / 2000 < 0.97


def test_no_line() -> None:
    assert deming(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None
    assert deming(np.array([1.0, -1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])) is None
