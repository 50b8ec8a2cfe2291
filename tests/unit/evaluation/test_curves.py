"""Curves for drawing: filtered trace, design, mean line, tip zone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from unit.core import plain_evaluation as plain
from unit.evaluation import make

from gearqa.core.geometry import roll_length
from gearqa.evaluation.curves import trace_curves
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.measurement import GearMeasurement, Trace


def ring_gear() -> tuple[GearMeasurement, object]:
    part = make.part(make.RING, design={"profile": {"crowning_um": 4.0}})
    rng = np.random.default_rng(1)
    roll = np.linspace(23.3, 33.2, 300)
    face = np.linspace(0.0, 32.0, 250)
    traces = [Trace("helix", "right", 30, face, np.cumsum(rng.normal(0, 0.2, 250)))]
    traces += [Trace("profile", f, 5, roll, np.cumsum(rng.normal(0, 0.2, 300))) for f in ("right", "left")]
    return GearMeasurement("R", tuple(traces)), part


def test_curves_come_in_the_order_of_the_results_with_them():
    gear, part = ring_gear()
    curves = trace_curves(gear, part)
    results = next(evaluate([gear], part)).traces
    assert [(c.kind, c.flank, c.tooth) for c in curves] == [(r.kind, r.flank, r.tooth) for r in results]
    for curve, result in zip(curves, results, strict=True):
        assert curve.result is not None
        assert curve.result.total_um == pytest.approx(result.total_um, abs=1e-12)


def test_filtered_curve_is_the_filtered_trace():
    gear, part = ring_gear()
    curve = next(c for c in trace_curves(gear, part) if c.kind == "helix")
    expected = plain.filtered(curve.position_mm.tolist(), curve.measured_um.tolist(), 28.8 / 30)
    assert np.abs(curve.filtered_um - expected).max() < 1e-9


def test_design_and_mean_line_of_an_internal_profile():
    """Range from the larger roll length (root) to the smaller; start < end; zone at the low end."""
    gear, part = ring_gear()
    curve = trace_curves(gear, part)[0]
    d_b = part_geometry(part).d_b
    root, form = roll_length(163.4, d_b), roll_length(157.0, d_b)
    tip = root + 0.95 * (form - root)
    assert (curve.start_mm, curve.end_mm) == pytest.approx((tip, root))
    assert curve.tip_zone_mm == pytest.approx((form, tip))
    inside = (curve.position_mm >= form) & (curve.position_mm <= root)
    assert np.isnan(curve.design_um[~inside]).all()
    assert np.isfinite(curve.design_um[inside]).all()
    case = plain.Case(root, tip, root, roll_length(156.7, d_b), form, (root - tip) / 30, crowning=4.0)
    values = plain.evaluate(case, curve.position_mm.tolist(), curve.measured_um.tolist())
    at_low, at_high = curve.mean_line_um
    # towards the tip, which is the low end here, the mean line rises by the slope
    assert at_low - at_high == pytest.approx(values["slope"], abs=1e-9)
    assert (at_low + at_high) / 2 == pytest.approx(values["level"], abs=1e-9)
    middle = np.argmin(np.abs(curve.position_mm - (root + tip) / 2))
    t = plain.fraction(case, curve.position_mm[middle])
    assert curve.design_um[middle] == pytest.approx(values["level"] - 4.0 * (2 * t) ** 2, abs=1e-9)


def test_the_design_reaches_both_ends_of_the_range():
    """Samples lie on both ends, and on the next ones outside."""
    curve = next(c for c in trace_curves(make.gear(), make.part()) if c.kind == "profile")
    at = curve.position_mm[np.isfinite(curve.design_um)]
    assert (at[0], at[-1]) == (make.START, make.END)


def test_a_trace_that_cannot_be_evaluated_is_still_drawn_and_stands_last():
    cut = Trace("profile", "left", 1, make.ROLL[200:], np.full(401, 3.0))
    gear = make.gear([cut, make.helix("left", 1), make.helix("right", 1)])
    curves = trace_curves(gear, make.part())
    assert [c.kind for c in curves] == ["helix", "helix", "profile"]
    curve = curves[-1]
    assert curve.result is None
    assert all(math.isnan(v) for v in curve.mean_line_um)
    assert curve.filtered_um.tolist() == [3.0] * 401
    assert np.nanmax(curve.design_um) == 3.0
    assert (curve.start_mm, curve.end_mm, curve.tip_zone_mm) == (make.START, make.END, None)


def test_a_trace_of_one_point_is_no_error():
    curve = trace_curves(
        make.gear([Trace("helix", "left", 1, np.array([5.0]), np.array([1.0]))]), make.part()
    )[0]
    assert curve.result is None
    assert curve.filtered_um.tolist() == [1.0]
