"""Measuring plans: positions, delay and escaped parts verified by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gearqa.statistics.detection import escaped_parts, parts_per_measurement, plan_positions, plan_power
from gearqa.statistics.run_lengths import ewma_run_length_quantile, shewhart_run_length


def test_gauge_against_grinder() -> None:
    # Common practice, no source: 100 s and 5 min, 110 s and 6 min, 90 s and 10 min.
    assert [parts_per_measurement(m * 60, p) for p, m in ((100, 5), (110, 6), (90, 10))] == [3, 4, 7]
    assert parts_per_measurement(300, 100) == 3  # exactly three, not four


def test_positions() -> None:
    assert plan_positions(40, 1) == (1,)
    assert plan_positions(40, 2) == (1, 40)
    assert plan_positions(3, 9) == (1, 2, 3)


@pytest.mark.independent
def test_escaped_parts_by_simulation() -> None:
    """A lasting change anywhere between two charted parts, one measured in ten, individuals chart."""
    rng = np.random.default_rng(6)
    h, shift, n = 10, 2.0, 4_000_000
    start = rng.integers(0, h, n)  # parts already made since the last charted one
    signal = rng.geometric(1 / 6.30296, n)  # mean run length at 2 sd
    made = signal * h - start
    assert abs(made.mean() - escaped_parts(shewhart_run_length(shift), h)) < 4 * made.std() / math.sqrt(n)
    bound = ewma_run_length_quantile(1.0, 3.0, shift) * h
    assert np.mean(made > bound) < 0.05


@pytest.mark.independent
def test_plan_power_by_simulation() -> None:
    rng = np.random.default_rng(7)
    power = plan_power(30, 3, 1.5, sd_part=0.6, sd_cycle=0.4, rate=0.01)
    factor = 2.5758293035489004
    levels = rng.normal(0, 0.4, (20_000, 60)) + rng.normal(0, 0.6, (3, 20_000, 60)).mean(axis=0)
    limit = factor * math.sqrt(0.4**2 + 0.6**2 / 3)
    cycles = np.argmax(np.abs(levels + 1.5) > limit, axis=1) + 1
    made = cycles * 30
    assert np.mean(made <= power.bound_parts) >= 0.945
    assert np.mean(made <= power.bound_parts - 30) < 0.95
