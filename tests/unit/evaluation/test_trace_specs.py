"""From the drawing to ranges, spans, filter and design of traces."""

from __future__ import annotations

import math

import pytest
from unit.evaluation import make

from gearqa.core.traces import Relief, TraceDesign
from gearqa.evaluation.trace_specs import helix_spec, profile_spec, trace_spec

D_B = 87 * 1.75 / math.cos(math.radians(18)) * math.cos(
    math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18)))
)  # fmt: skip


def roll(d: float) -> float:
    return math.sqrt(d * d - D_B * D_B) / 2


def test_ring_from_diameters():
    """Range: 95 % from control to tip form diameter; zone to the latter; full slope to the tip diameter."""
    spec = profile_spec(make.part(make.RING))
    root, form = roll(163.4), roll(157.0)
    assert (spec.start, spec.zone_end, spec.full_start) == pytest.approx((root, form, root), abs=1e-9)
    assert spec.end == pytest.approx(root + 0.95 * (form - root), abs=1e-9)
    assert spec.full_end == pytest.approx(roll(156.7), abs=1e-9)
    assert spec.cutoff == pytest.approx(0.95 * (root - form) / 30, abs=1e-9)
    assert spec.design == TraceDesign()
    helix = helix_spec(make.part(make.RING))
    assert (helix.start, helix.end, helix.full_start, helix.full_end, helix.zone_end) == (
        1.6,
        30.4,
        0,
        32,
        None,
    )
    assert helix.cutoff == pytest.approx(0.96)


def test_without_tip_diameter_the_full_slope_ends_at_the_tip_form_diameter():
    ring = make.merged(make.RING, {})
    ring["gear"] = {k: v for k, v in ring["gear"].items() if k != "tip_diameter_mm"}
    spec = profile_spec(make.part(ring))
    assert spec.full_end == spec.zone_end == pytest.approx(roll(157.0), abs=1e-9)


def test_explicit_limits_win_are_the_range_ends_and_leave_no_zone():
    limits = {"start_roll_length_mm": 32.0, "end_roll_length_mm": 25.0}
    spec = profile_spec(make.part(make.RING, evaluation={"profile": limits}))
    assert (spec.start, spec.end, spec.zone_end) == (32.0, 25.0, None)
    assert (spec.full_start, spec.full_end) == pytest.approx((roll(163.4), roll(156.7)), abs=1e-9)
    bare = make.part()
    spec = profile_spec(bare)
    assert (spec.full_start, spec.full_end) == (make.START, make.END)
    assert spec.length == 10.0


def test_no_limits_no_spec():
    tables = make.merged(make.PINION, {})
    tables["evaluation"] = {}
    part = make.part(tables)
    assert trace_spec(part, "profile") is None
    assert trace_spec(part, "helix") == helix_spec(part)


@pytest.mark.parametrize("diameter", ["control_diameter_mm", "tip_form_diameter_mm"])
def test_one_diameter_makes_no_range(diameter):
    tables = make.merged(make.PINION, {})
    tables["evaluation"] = {"profile": {diameter: 98.0}}
    assert profile_spec(make.part(tables)) is None


def test_reliefs_end_at_form_and_control_diameter():
    design = {
        "crowning_um": 3.0, "slope_um": -2.0, "tip_relief_um": 5.0, "tip_relief_start_roll_length_mm": 26.0,
        "root_relief_um": 4.0, "root_relief_start_roll_length_mm": 31.0,
    }  # fmt: skip
    helix = {"crowning_um": 6.0, "slope_um": 1.0}
    part = make.part(make.RING, design={"profile": design, "helix": helix})
    found = profile_spec(part).design
    assert (found.crowning, found.slope) == (3.0, -2.0)
    tip, root = found.reliefs
    assert (tip.amount, tip.start, tip.end) == (5.0, 26.0, pytest.approx(roll(157.0), abs=1e-9))
    assert (root.amount, root.start, root.end) == (4.0, 31.0, pytest.approx(roll(163.4), abs=1e-9))
    assert helix_spec(part).design == TraceDesign(6.0, 1.0)
    only_tip = make.part(design={"profile": {"tip_relief_um": 5.0, "tip_relief_start_roll_length_mm": 20.0}})
    assert profile_spec(only_tip).design.reliefs == (Relief(5.0, 20.0, make.END),)


def test_filter_settings():
    on = {"filter": {"enabled": True, "profile_cutoff_mm": 0.02}}
    part = make.part(evaluation=on)
    assert profile_spec(part).cutoff == 0.02
    assert helix_spec(part).cutoff == pytest.approx(18.0 / 30)
    assert profile_spec(make.part()).cutoff is helix_spec(make.part()).cutoff is None


def test_helix_limits_of_the_drawing():
    limits = {"helix": {"start_face_position_mm": 4.0, "end_face_position_mm": 15.0}}
    spec = helix_spec(make.part(evaluation=limits))
    assert (spec.start, spec.end, spec.full_start, spec.full_end) == (4.0, 15.0, 0.0, 20.0)
