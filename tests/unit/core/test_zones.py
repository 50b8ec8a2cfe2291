"""Width of traces within a zone: by hand, and against general least squares (NumPy)."""

from __future__ import annotations

import numpy as np
import pytest

from gearqa.core.traces import Relief, TraceDesign, TraceSpec, design_trace, evaluate_traces, trace_operator
from gearqa.core.zones import zone_widths

X = np.linspace(0.0, 10.0, 201)
PLAIN = TraceSpec(0.0, 10.0, 0.0, 10.0, None, None)


@pytest.mark.independent
def test_a_straight_rise_is_all_total_and_no_form() -> None:
    # by hand: 6 over 10 mm is 1.5 over a zone of 2.5 mm whose ends lie between samples
    total, form = zone_widths(X, 0.6 * X[None] + 7, 3.01, 5.51, PLAIN)
    assert (float(total.width[0]), float(form.width[0])) == pytest.approx((1.5, 0.0), abs=1e-12)
    assert (float(total.highest_at[0]), float(total.lowest_at[0])) == (5.51, 3.01)


@pytest.mark.independent
def test_what_lies_outside_the_zone_changes_nothing() -> None:
    # by hand: a roof of 3 at 5 mm seen from 4 to 6 mm loses 3/5 a mm to each side; its mean line is level
    roof = 3 - 0.6 * np.abs(X - 5)
    spiked = np.where((X > 3.5) & (X < 6.5), roof, 50.0)
    for trace in (roof, spiked):
        total, form = zone_widths(X, trace[None], 4.0, 6.0, PLAIN)
        assert (float(total.width[0]), float(form.width[0])) == pytest.approx((0.6, 0.6), abs=1e-12)
        assert (float(total.highest_at[0]), float(total.lowest_at[0])) == pytest.approx((5.0, 4.0))


@pytest.mark.independent
def test_the_design_of_the_whole_trace_is_taken_off() -> None:
    # by hand: a flank that is its design has no deviation in any zone, tip relief and crowning included
    spec = TraceSpec(1.0, 9.0, 0.0, 10.0, 10.0, None, TraceDesign(4.0, 1.0, (Relief(6.0, 7.0, 10.0),)))
    trace = design_trace(X, spec) + 11
    for low, high in ((0.0, 2.0), (6.0, 10.0), (1.0, 9.0)):
        for one in zone_widths(X, np.array([trace, trace + 0.25 * X]), low, high, spec):
            assert float(one.width[0]) == pytest.approx(0, abs=1e-12)
        total, form = zone_widths(X, trace[None] + 0.25 * X, low, high, spec)
        assert float(total.width[0]) == pytest.approx(0.25 * (high - low), abs=1e-12)
        assert float(form.width[0]) == pytest.approx(0, abs=1e-12)


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(6))
def test_against_general_least_squares(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 10, 300))
    y = np.cumsum(rng.normal(0, 0.3, (3, 300)), axis=1)
    low, high = 2.3, 7.9
    total, form = zone_widths(x, y, low, high, PLAIN)
    at = np.concatenate(([low], x[(x > low) & (x < high)], [high]))
    weights = np.gradient(at) * np.where((at == low) | (at == high), 0.5, 1.0)
    weights[1:-1] = (at[2:] - at[:-2]) / 2
    for row, trace in enumerate(y):
        u = np.interp(at, x, trace)
        residual = u - np.polyval(np.polyfit(at, u, 1, w=np.sqrt(weights)), at)
        assert float(total.width[row]) == pytest.approx(np.ptp(u), abs=1e-10)
        assert float(form.width[row]) == pytest.approx(np.ptp(residual), abs=1e-9)
        assert float(form.highest_at[row]) == at[residual.argmax()]


@pytest.mark.independent
def test_a_zone_as_long_as_the_range_gives_what_the_whole_trace_has() -> None:
    # the two share design and mean line only: the one interpolates range ends, the other zone ends
    rng = np.random.default_rng(9)
    y = np.cumsum(rng.normal(0, 0.2, (2, X.size)), axis=1)
    spec = TraceSpec(1.03, 9.02, 0.0, 10.0, None, None, TraceDesign(3.0))
    values = evaluate_traces(trace_operator(X, spec), y)
    total, form = zone_widths(X, y, 1.03, 9.02, spec)
    np.testing.assert_allclose(total.width, values.total, atol=1e-10)
    np.testing.assert_allclose(form.width, values.form, atol=1e-10)


@pytest.mark.independent
def test_where_the_last_step_is_missing_the_last_sample_stands_for_the_end() -> None:
    # by hand: 0.6 um/mm over what was measured of the zone, 9.5 to 10 mm; nothing is drawn out beyond it
    total, _ = zone_widths(X, 0.6 * X[None], 9.5, 10.05, PLAIN)
    assert float(total.width[0]) == pytest.approx(0.3, abs=1e-12)
    assert (float(total.highest_at[0]), float(total.at[-1])) == (10.0, 10.0)
