"""Measuring plans: positions, delay and escaped parts verified by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from gearqa.statistics.detection import parts_per_measurement, plan_positions, plan_power


def test_gauge_against_grinder() -> None:
    # Common practice, no source: 100 s and 5 min, 110 s and 6 min, 90 s and 10 min.
    assert [parts_per_measurement(m * 60, p) for p, m in ((100, 5), (110, 6), (90, 10))] == [3, 4, 7]
    assert parts_per_measurement(300, 100) == 3  # exactly three, not four


def test_positions() -> None:
    assert plan_positions(40, 1) == (1,)
    assert plan_positions(40, 2) == (1, 40)
    assert plan_positions(3, 9) == (1, 2, 3)


@pytest.mark.independent
@pytest.mark.parametrize("reference", [12, 25])
def test_plan_power_by_simulation(reference: int) -> None:
    """Limits from a reference of few cycles, a lasting change behind it, chart of the cycle levels."""
    rng, n, each = np.random.default_rng(7), 20_000, 0.01 / 3
    power = plan_power(30, 3, 2.0, sd_part=0.6, sd_cycle=0.4, rate=each, reference=reference)
    sd = math.sqrt(0.4**2 + 0.6**2 / 3)
    past = rng.normal(0, sd, (n, reference))
    # t limits for one new value, scipy.stats in place of the package's own factor
    half = stats.t.ppf(1 - each / 2, reference - 1) * math.sqrt(1 + 1 / reference) * past.std(axis=1, ddof=1)
    signal = stats.norm.sf((half - 2.0 + past.mean(axis=1)) / sd) + stats.norm.cdf(
        (-half - 2.0 + past.mean(axis=1)) / sd
    )
    made = rng.geometric(signal) * 30
    assert np.mean(made <= power.bound_parts) >= 0.95 - 0.007
    assert np.mean(made <= power.bound_parts - 30) < 0.95 + 0.007
    assert np.mean(made <= power.half_parts) >= 0.49


def test_more_measured_parts_and_more_reference_cycles_show_a_change_sooner() -> None:
    def bound(m: int, reference: int) -> int:
        return plan_power(30, m, 1.5, sd_part=0.6, sd_cycle=0.2, reference=reference).bound_parts

    assert bound(4, 25) < bound(2, 25) < bound(2, 12)
