"""Chance of patterns in figures, against scipy's general distributions and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from gearqa.statistics.figure_patterns import (
    coincidence,
    pile_up_p,
    tail_of_matches,
    trimmed_p,
    uneven_digits_p,
)


@pytest.mark.independent
def test_tail_of_matches_is_the_binomial_for_equal_chances():
    """scipy.stats.binom."""
    for n, p, seen in ((13, 0.1, 5), (40, 0.28, 20), (5, 0.5, 0)):
        assert tail_of_matches(np.full(n, p), seen) == pytest.approx(stats.binom.sf(seen - 1, n, p), rel=1e-9)


@pytest.mark.independent
def test_tail_of_matches_of_unlike_chances_by_counting():
    """All 16 outcomes of four places, by hand."""
    chance = np.array([0.1, 0.4, 0.7, 0.9])
    outcomes = np.array([[(n >> k) & 1 for k in range(4)] for n in range(16)])
    weight = np.prod(np.where(outcomes == 1, chance, 1 - chance), axis=1)
    for seen in range(5):
        assert tail_of_matches(chance, seen) == pytest.approx(weight[outcomes.sum(axis=1) >= seen].sum())


@pytest.mark.independent
def test_uneven_digits():
    """scipy.stats.chisquare."""
    counts = np.array([3, 9, 12, 16, 11, 5, 12, 15, 11, 6.0])
    assert uneven_digits_p(counts) == pytest.approx(stats.chisquare(counts).pvalue, rel=1e-12)


@pytest.mark.independent
def test_coincidence_by_sampling():
    """Two normal values typed in steps of a third of their spread, counted."""
    a, b = np.random.default_rng(3).normal(size=(2, 400_000))
    seen = (np.round(3 * a) == np.round(3 * b)).mean()
    assert coincidence(1 / 3, 1.0) == pytest.approx(seen, abs=4 * np.sqrt(seen / 400_000) + 1e-3)
    assert coincidence(0.1, 0.0) == 1.0


@pytest.mark.independent
def test_pile_up_by_hand():
    """12 right below, 2 in the strip below, 1 above: the binomial against the nearer neighbour."""
    values = np.array([9.9] * 12 + [9.7] * 2 + [10.1])
    assert pile_up_p(values, 10.0, 0.2) == pytest.approx(stats.binom.sf(11, 14, 0.5))
    assert pile_up_p(np.array([5.0, 11.0]), 10.0, 0.2) == 1.0


@pytest.mark.independent
def test_a_cut_normal_is_seen_and_a_whole_one_is_not():
    """scipy.stats.truncnorm and norm, quantiles of each: no luck involved."""
    share = (np.arange(400) + 0.5) / 400
    cut = stats.truncnorm.ppf(share, -5, 0.3, loc=8, scale=1)
    assert trimmed_p(cut, 8.3) < 1e-6
    assert trimmed_p(stats.norm.ppf(share, 8, 1), 12.0) > 0.2
    assert trimmed_p(stats.lognorm.ppf(share, 0.4, scale=3), 10.0) > 0.2
    assert trimmed_p(stats.weibull_min.ppf(share, 3.5, scale=5), 9.0) > 0.2
    assert trimmed_p(np.append(cut, 8.4), 8.3) == 1.0
