"""Measuring plans: closed forms of designs, delay and escaped parts verified by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gearqa.statistics.detection import (
    escaped_parts,
    parts_per_measurement,
    plan_positions,
    plan_power,
    slope_standard_error,
)
from gearqa.statistics.run_lengths import ewma_run_length_quantile, shewhart_run_length


def test_gauge_against_grinder() -> None:
    # Common practice, no source: 100 s and 5 min, 110 s and 6 min, 90 s and 10 min.
    assert [parts_per_measurement(m * 60, p) for p, m in ((100, 5), (110, 6), (90, 10))] == [3, 4, 7]
    assert parts_per_measurement(300, 100) == 3  # exactly three, not four


@pytest.mark.independent
@pytest.mark.parametrize(
    ("positions", "se"),
    [
        ((0, 1, 98, 99), "0.0102036"),
        ((0, 50, 99), "0.0142847"),
        (tuple(range(90, 100)), "0.1100964"),
        (tuple(range(0, 100, 10)), "0.0110096"),
    ],
)
def test_slope_error_of_a_design(positions: tuple[int, ...], se: str) -> None:
    """Closed form sigma/sqrt(S_ss), positions 0 to 99."""
    assert f"{slope_standard_error(positions, 1, 1.0):.7f}" == se


def test_positions() -> None:
    assert plan_positions(40, 1) == (1,)
    assert plan_positions(40, 2) == (1, 40)
    assert plan_positions(3, 9) == (1, 2, 3)
    assert math.isnan(slope_standard_error((1,), 10, 1.0))


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
    assert abs(levels.std() - power.level_sd) < 0.005
    cycles = np.argmax(np.abs(levels + 1.5) > factor * power.level_sd, axis=1) + 1
    made = cycles * 30
    assert np.mean(made <= power.bound_parts) >= 0.945
    assert np.mean(made <= power.bound_parts - 30) < 0.95
    seen = np.mean(np.abs(levels[:, 0] + power.seen_in_one_cycle) > factor * power.level_sd)
    assert abs(seen - 0.95) < 4 * math.sqrt(0.95 * 0.05 / 20_000)
