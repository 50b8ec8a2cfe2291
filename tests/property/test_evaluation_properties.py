"""Invariants of the evaluation of traces, pitch and runout."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from filtered_traces import gaussian_filter
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from unit.evaluation import make

from gearqa.core import pitch
from gearqa.core.geometry import gear_geometry
from gearqa.core.runout import F_r, R_s, radial_positions
from gearqa.core.traces import TraceSpec, TraceValues, evaluate_traces, trace_operator
from gearqa.evaluation.evaluate import evaluate
from gearqa.model.measurement import Trace

pytestmark = pytest.mark.usefixtures("ideal_readings")

CLOSE = 1e-8
"""Deviations below reach some 100 um: binary noise of a few operations stays far below."""

deviations = st.floats(-100, 100, allow_subnormal=False)
lines = st.floats(-50, 50, allow_subnormal=False)


@st.composite
def measured_traces(draw, zone: bool = True) -> tuple[TraceSpec, np.ndarray, np.ndarray]:
    n = draw(st.integers(40, 90))
    steps = draw(arrays(float, n - 1, elements=st.floats(0.2, 1.0)))
    x = 3.0 + np.concatenate(([0.0], np.cumsum(steps) * 12 / steps.sum()))
    y = draw(arrays(float, n, elements=deviations))
    start, end = draw(st.floats(3.0, 5.0)), draw(st.floats(11.0, 14.0))
    cutoff = draw(st.sampled_from([None, 0.3, 1.0]))
    tip = draw(st.floats(14.0, 15.0)) if zone and draw(st.booleans()) else None
    return TraceSpec(start, end, start - 0.5, end + 0.7, tip, cutoff), x, y


def evaluated(spec: TraceSpec, x: np.ndarray, y: np.ndarray) -> TraceValues:
    return evaluate_traces(trace_operator(x, spec), y[None])


def close(a: np.ndarray, b: np.ndarray | float) -> bool:
    return bool(np.all(np.abs(a - b) < CLOSE))


@given(measured_traces(), st.floats(-1000, 1000))
def test_a_constant_changes_nothing_but_the_level(trace, constant):
    spec, x, y = trace
    a, b = evaluated(spec, x, y), evaluated(spec, x, y + constant)
    for key in ("total", "form", "slope", "slope_full", "crowning"):
        assert close(getattr(a, key), getattr(b, key)), key
    assert close(a.level + constant, b.level)


@given(measured_traces(), lines)
def test_a_straight_line_changes_the_slope_by_itself_and_the_form_not_at_all(trace, rise):
    spec, x, y = trace
    line = rise * (x - spec.start) / (spec.end - spec.start)
    a, b = evaluated(spec, x, y), evaluated(spec, x, y + line)
    assert close(a.slope + rise, b.slope)
    assert close(a.form, b.form)
    assert close(a.crowning, b.crowning)


@given(measured_traces(), st.floats(-20, 20))
def test_values_scale_with_the_trace(trace, factor):
    spec, x, y = trace
    a, b = evaluated(spec, x, y), evaluated(spec, x, y * factor)
    assert close(a.slope * factor, b.slope)
    assert close(a.crowning * factor, b.crowning)
    if factor > 0:
        assert close(a.total * factor, b.total)
        assert close(a.form * factor, b.form)


@given(measured_traces(zone=False))
def test_total_is_at_most_slope_and_form_together_without_a_tip_zone(trace):
    spec, x, y = trace
    values = evaluated(spec, x, y)
    assert values.total[0] <= abs(values.slope[0]) + values.form[0] + CLOSE
    assert values.total[0] >= -CLOSE
    assert not values.tip_zone_counted[0]


@given(measured_traces())
def test_the_tip_zone_only_adds(trace):
    spec, x, y = trace
    without = evaluated(dataclasses.replace(spec, zone_end=None), x, y)
    values = evaluated(spec, x, y)
    assert values.total[0] >= without.total[0] - CLOSE
    assert values.form[0] >= without.form[0] - CLOSE
    assert close(values.slope, without.slope)
    changed = values.total[0] > without.total[0] + CLOSE or values.form[0] > without.form[0] + CLOSE
    assert values.tip_zone_counted[0] or not changed


@given(measured_traces(zone=False))
def test_reversing_a_trace_flips_the_slope_and_nothing_else(trace):
    spec, x, y = trace
    turned = dataclasses.replace(
        spec, start=-spec.end, end=-spec.start, full_start=-spec.full_end, full_end=-spec.full_start
    )
    a, b = evaluated(spec, x, y), evaluated(turned, -x[::-1], y[::-1])
    assert close(a.slope, -b.slope)
    assert close(a.slope_full, -b.slope_full)
    for key in ("total", "form", "crowning", "level"):
        assert close(getattr(a, key), getattr(b, key)), key


@given(measured_traces())
def test_an_internal_gear_is_the_mirror_image_towards_the_tip(trace):
    """Roll length falls towards the tip: mirrored positions, the same values."""
    spec, x, y = trace
    mirror = {
        name: None if getattr(spec, name) is None else 30.0 - getattr(spec, name)
        for name in ("start", "end", "full_start", "full_end", "zone_end")
    }
    a = evaluated(spec, x, y)
    b = evaluated(dataclasses.replace(spec, **mirror), 30.0 - x[::-1], y[::-1])
    for key in ("total", "form", "slope", "slope_full", "crowning"):
        assert close(getattr(a, key), getattr(b, key)), key


@given(measured_traces(), lines, lines)
def test_the_filter_is_linear_and_keeps_straight_lines(trace, a, b):
    spec, x, y = trace
    cutoff = spec.cutoff or 0.7
    line = a + b * x
    filtered = gaussian_filter(x, np.array([y, y + line, line]), cutoff)
    assert close(filtered[1], filtered[0] + line)
    assert close(filtered[2], line)


@given(st.floats(-30, 30), st.floats(0.5, 20), st.integers(1, 6))
def test_known_slope_and_form_come_back(slope, amplitude, waves):
    """A line and a wave of whole turns that is even about the middle: noise-free to 1e-9."""
    spec = TraceSpec(1.0, 11.0, 1.0, 11.0, None, None)
    x = np.linspace(0.0, 12.0, 1201)
    t = (x - 1.0) / 10 - 0.5
    values = evaluated(spec, x, slope * t + amplitude * np.cos(2 * np.pi * waves * t))
    assert abs(values.slope[0] - slope) < 1e-9
    sampled = amplitude * np.cos(2 * np.pi * waves * t[100:1101])
    assert abs(values.form[0] - np.ptp(sampled)) < 1e-9


indexes = arrays(float, st.integers(8, 60), elements=deviations)


@given(indexes, st.integers(0, 59), st.floats(-200, 200))
def test_renumbering_the_teeth_or_shifting_the_zero_changes_no_extreme(index, turn, constant):
    moved = np.roll(index, turn) + constant
    for function in (pitch.f_p, pitch.F_p, pitch.f_u, lambda i: pitch.F_pk(i, 3)):
        assert close(function(index).value, function(moved).value)
    assert close(pitch.first_harmonic(index)[0], pitch.first_harmonic(moved)[0])


@given(indexes)
def test_order_of_the_pitch_deviations(index):
    f_p, F_p, f_u = (f(index).value for f in (pitch.f_p, pitch.F_p, pitch.f_u))
    F_p2 = pitch.F_pk(index, 2).value
    assert f_p <= F_p + CLOSE
    assert f_u <= 2 * f_p + CLOSE
    assert F_p2 <= min(2 * f_p, F_p) + CLOSE
    assert close(pitch.F_pk(index, 1).value, f_p)


@given(indexes)
def test_index_to_pitches_and_back(index):
    again, closure = pitch.index_from_single_pitches(pitch.single_pitches(index))
    assert close(closure, 0.0)
    assert close(again - again[0], index - index[0])


@given(indexes)
def test_turning_the_view_keeps_the_magnitudes(index):
    """Counted the other way round with the sign turned: the same gear, the same values."""
    seen = -index[::-1]
    for function in (pitch.f_p, pitch.F_p, pitch.f_u, lambda i: pitch.F_pk(i, 3)):
        assert close(function(index).value, function(seen).value)


@given(st.data(), st.integers(8, 60), st.sampled_from([1, -1]), st.floats(-0.4, 0.4))
def test_runout_and_thickness_do_not_feel_how_far_the_gear_is_turned(data, z, s, x):
    left = data.draw(arrays(float, z, elements=deviations))
    right = data.draw(arrays(float, z, elements=deviations))
    gear = gear_geometry(z, 2.0, math.radians(20), 0.0, 20.0, s=s, H=0, x=x)
    for turned_left, turned_right in ((left + 30, right + 30), (np.roll(left, 3), np.roll(right, 3))):
        a, b = (
            F_r(radial_positions(*both, gear)).value for both in ((left, right), (turned_left, turned_right))
        )
        assert abs(a - b) < CLOSE
        assert abs(R_s(left, right, s).value - R_s(turned_left, turned_right, s).value) < CLOSE


@given(st.lists(st.integers(-9, 9), min_size=16, max_size=16), st.permutations(range(16)))
def test_a_grade_does_not_depend_on_the_order_of_traces(slopes, order):
    """Whole-numbered slopes, so that many values are equal and places must be decided."""
    traces = [
        Trace(t.kind, t.flank, t.tooth, t.position_mm, slope * (t.position_mm - 5) / 10)
        for t, slope in zip(make.all_traces(), slopes, strict=True)
    ]
    a, b = evaluate([make.gear(traces), make.gear([traces[i] for i in order])], make.part())
    assert (a.class_, a.governing, a.conforms, a.master_quality) == (
        b.class_, b.governing, b.conforms, b.master_quality
    )  # fmt: skip
    for key, p in a.parameters.items():
        q = b.parameters[key]
        assert (p.flank, p.tooth, p.class_) == (q.flank, q.tooth, q.class_)
        assert abs(p.value_um - q.value_um) < 1e-9


@given(st.floats(-20, 20), st.floats(-20, 20))
def test_conformity_is_that_of_the_class(left, right):
    """A gear conforms to class 5 exactly when its class is 5 or better; likewise master quality and 4."""
    traces = make.with_trace(make.helix("left", 13, slope=left), make.profile("right", 1, slope=right))
    small = {"code": "unit_doubt", "serials": "all", "reason": "nearly ideal", "by": "N.N."}
    taken = [{**small, "parameter": family} for family in ("profile", "helix")]
    (result,) = evaluate([make.gear(traces)], make.part(evaluation={"confirmed": taken}))
    assert result.conforms is (result.class_ is not None and result.class_ <= 5)
    assert result.master_quality is (result.class_ is not None and result.class_ <= 4)
