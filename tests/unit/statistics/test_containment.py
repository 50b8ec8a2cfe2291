"""Chance of a part that was made and not measured: by Bayes' rule in closed form and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from gearqa.statistics.containment import MadeCycles, chance_beyond, own_level
from gearqa.statistics.wear import WearCurve

LINE = WearCurve(np.array([0.0, 10.0]), np.array([1.0]), np.eye(1) * 1e-9, np.zeros(1), 10**6, 2, 0.09, 10**6)


@pytest.mark.independent
def test_level_of_a_cycle_is_its_posterior_mean() -> None:
    """Normal prior about the model, normal parts: posterior by precision, everything else known exactly."""
    counts = np.full(4, 3)
    line = WearCurve(LINE.knots, LINE.rises, LINE.G, LINE.centre, 10**6, 3, 0.09, 10**6)
    levels, expected = np.array([0.5, -0.2, 0.0, 1.0]), np.array([0.1, 0.1, 0.4, 0.4])
    between = 0.16 + 0.09 / 3
    made = MadeCycles(line, counts, levels, expected, between, 10**6)
    level, variance = own_level(made)
    precision = 1 / 0.16 + 3 / 0.09
    assert level == pytest.approx((expected / 0.16 + levels * 3 / 0.09) / precision)
    assert variance == pytest.approx(1 / precision + between / 4)
    chance = chance_beyond(made, np.array([3]), np.array([10.0]), 2.0, 1)
    assert chance[0] == pytest.approx(
        stats.norm.sf((2.0 - level[3] - 1.0) / np.sqrt(variance[3] + 0.09)), rel=1e-4
    )


def test_the_other_level_counts_where_it_is_worse() -> None:
    made = MadeCycles(LINE, np.array([2, 2]), np.zeros(2), np.zeros(2), 0.2, 20)
    cycle, s = np.array([0, 1]), np.zeros(2)
    own = chance_beyond(made, cycle, s, 1.5, 1)
    both = chance_beyond(made, cycle, s, 1.5, 1, np.array([np.nan, 2.0]))
    assert both[0] == own[0]
    assert both[1] > 0.5
