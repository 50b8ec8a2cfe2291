"""Invariants of the statistics behind a lot decision."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearqa.statistics import binomial, conformity, noncentral_t, outliers, performance, sampling
from gearqa.statistics import tolerance_intervals as ti
from gearqa.statistics.dress_cycles import grouped_spread

value = st.floats(-20, 20, allow_nan=False)
uncertainty = st.floats(0.01, 5)


@given(value, uncertainty, st.floats(0.1, 15))
def test_probability_of_conformity_is_symmetric_and_a_probability(y: float, u: float, t: float) -> None:
    pc = conformity.probability_of_conformity(y, u, -t, t)
    assert 0 <= pc <= 1
    assert conformity.probability_of_conformity(-y, u, -t, t) == pytest.approx(pc, abs=1e-15)
    assert pc <= conformity.probability_of_conformity(y, u, None, t) + 1e-15


@given(value, uncertainty, st.floats(0.1, 15))
def test_a_proven_state_agrees_with_the_plain_comparison(y: float, u: float, t: float) -> None:
    u = min(u, t)  # wider than that, hardly any true value lies within the limits, whatever is measured
    state = conformity.state(y, u, -t, t)
    if state == "conforms":
        assert conformity.within(y, -t, t)
    if state == "does not conform":
        assert not conformity.within(y, -t, t)


@given(value, uncertainty, st.floats(0.1, 15))
def test_what_cannot_be_proven_is_never_proven(y: float, u: float, t: float) -> None:
    if not conformity.provable(u, -t, t):
        assert conformity.state(y, u, -t, t) != "conforms"


@given(st.integers(1, 60), st.integers(0, 60), st.integers(0, 400))
def test_lot_bounds_lie_between_sample_and_lot(n: int, count: int, more: int) -> None:
    count, lot = min(n, count), n + more
    low, high = binomial.lot_lower_bound(count, n, lot), binomial.lot_upper_bound(count, n, lot)
    assert count <= low <= high <= lot - n + count
    # knowing the lot never gives a weaker bound than not knowing it, but for the rounding to whole gears
    assert low / lot >= binomial.lower_bound(count, n) - 1e-9


@given(st.integers(2, 3000), st.sampled_from([0.05, 0.1]))
def test_isolated_lot_keeps_the_consumers_risk(lot: int, lq: float) -> None:
    n = sampling.isolated_lot_plan(lot, lq).n
    bad = math.ceil(round(lq * lot, 9))
    assert sampling.passes_lot(n, 0, lot, bad) <= 0.10 + 1e-12
    assert n == 1 or sampling.passes_lot(n - 1, 0, lot, bad) > 0.10


@given(st.integers(2, 400), st.integers(0, 6), st.floats(0.001, 0.6))
def test_operating_characteristic_falls_and_turns_round(n: int, ac: int, p: float) -> None:
    ac = min(ac, n - 1)
    assert sampling.passes(n, ac, p) >= sampling.passes(n, ac, min(1.0, p + 0.05))
    assert sampling.passes(n, ac, sampling.quality_at(n, ac, 0.10)) == pytest.approx(0.10, abs=1e-9)


@settings(max_examples=40)
@given(st.integers(3, 200), st.sampled_from([0.9, 0.95, 0.99]), st.sampled_from([0.9, 0.95]))
def test_tolerance_factors_are_ordered(n: int, coverage: float, confidence: float) -> None:
    k1 = ti.one_sided_factor(n, coverage, confidence)
    assert ti.one_sided_factor(n + 1, coverage, confidence) < k1
    assert ti.one_sided_factor(n, coverage + 0.005, confidence) > k1


@settings(max_examples=60)
@given(st.floats(-1, 4), st.integers(3, 300))
def test_bound_stays_below_the_index_and_turns_round(index: float, n: int) -> None:
    bound = performance.index_lower_bound(index, n)
    assert bound < index
    scale = 3 * math.sqrt(n)
    assert noncentral_t.quantile(0.95, n - 1, scale * bound) / scale == pytest.approx(index, abs=1e-8)


@given(
    st.lists(st.floats(-5, 5), min_size=7, max_size=40).filter(lambda v: np.ptp(v) > 1e-3),
    value,
    st.floats(0.1, 9),
)
def test_grubbs_ignores_place_and_scale(values: list[float], shift: float, scale: float) -> None:
    g, _ = outliers.grubbs_statistic(values)
    moved, _ = outliers.grubbs_statistic(shift + scale * np.asarray(values))
    assert moved == pytest.approx(g, rel=1e-6)
    assert g <= (len(values) - 1) / math.sqrt(len(values)) + 1e-9


@given(st.lists(st.tuples(st.integers(0, 4), st.floats(-5, 5)), min_size=8, max_size=30))
def test_grouped_spread_ignores_order_and_labels(rows: list[tuple[int, float]]) -> None:
    groups, values = [g for g, _ in rows], [v for _, v in rows]
    if len(set(groups)) < 2:
        return
    a = grouped_spread(values, groups)
    b = grouped_spread(values[::-1], [f"cycle {9 - g}" for g in groups[::-1]])
    assert b.sd_within == pytest.approx(a.sd_within, abs=1e-9)
    assert b.sd_between == pytest.approx(a.sd_between, abs=1e-9)
    assert b.mean == pytest.approx(a.mean, abs=1e-9)
