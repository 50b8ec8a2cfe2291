"""Readings that grading does not assess are not taken apart, and two mountings are told."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from unit.diagnosis.made import gears, part, setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.model.measurement import PitchReadings, RunoutReadings


def diagnosed(gear, drawing):
    (found,), lot = diagnose_gears([gear], setup(drawing))
    return found, lot


def significant(found):
    return {one.key for one in found.components if one.significant}


def codes(found):
    return {one.code for one in found.warnings}


def test_a_stuck_trace_makes_no_component():
    drawing = part()
    (gear,) = gears(drawing)
    flat = [
        replace(one, deviation_um=np.full_like(one.deviation_um, 7.5))
        if (one.kind, one.flank, one.tooth) == ("helix", "left", 1)
        else one
        for one in gear.traces
    ]
    found, _ = diagnosed(replace(gear, traces=tuple(flat)), drawing)
    assert codes(found) == {"stuck"}
    assert "left out of the diagnosis" in found.warnings[0].message
    assert significant(found) == set()
    assert found.class_ == found.ladder[0].class_


def test_pitch_in_another_unit_is_left_out():
    drawing = part()
    (gear,) = gears(drawing, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 30.0})
    wrong = {
        flank: PitchReadings(flank, np.round(one.index_um / 1000, 5)) for flank, one in gear.pitch.items()
    }
    found, _ = diagnosed(replace(gear, pitch=wrong), drawing)
    assert "unit_doubt" in codes(found)
    assert found.orders == ()
    (one,) = [one for one in found.components if one.key == "eccentricity"]
    assert one.amplitude_um == pytest.approx(8, abs=1)


def test_ball_readings_in_doubt_are_not_replaced_by_pitch():
    drawing = part()
    (gear,) = gears(drawing)
    found, _ = diagnosed(replace(gear, runout=RunoutReadings(np.zeros(87))), drawing)
    assert codes(found) == {"stuck"}
    assert all("runout" not in one.explains for one in found.components)
    assert found.ladder[0].master_quality is None


def test_ball_readings_of_another_mounting_are_told():
    drawing = part()
    first = gears(drawing, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 30.0})[0]
    second = gears(drawing, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 210.0})[0]
    found, _ = diagnosed(replace(first, runout=second.runout), drawing)
    assert codes(found) == {"mountings_differ"}
    size, angle, other_size, other_angle = map(
        float,
        re.findall(r"([\d.]+) µm off centre at (\d+)°", found.warnings[0].message)[0]
        + re.findall(r"([\d.]+) µm off centre at (\d+)°", found.warnings[0].message)[1],
    )
    assert (size, other_size) == pytest.approx((8, 8), abs=0.4)
    assert (angle, other_angle) == pytest.approx((210, 30), abs=3)
    for seed in range(8):
        same = gears(drawing, seed=seed, mounting={"eccentricity_um": 30.0, "eccentricity_deg": 30.0})[0]
        assert codes(diagnosed(same, drawing)[0]) == set()


def test_a_gear_of_nothing_but_one_error_has_none_left():
    drawing = part()
    (gear,) = gears(drawing, noise=0.0, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 30.0})
    found, _ = diagnosed(gear, drawing)
    last = found.ladder[-1]
    assert last.without == ("eccentricity",)
    assert last.class_ == 1
    assert last.master_quality is True


def test_a_lot_explains_its_worst_values():
    drawing = part()
    fixed = {"mounting": {"eccentricity_um": 6.0, "eccentricity_deg": 200.0, "eccentricity_scatter_um": 0.5}}
    _, lot = diagnose_gears(gears(drawing, parts=5, **fixed), setup(drawing))
    (one,) = [one for one in lot.components if one.significant]
    assert one.explains["runout"] > 0.5
    assert one.explains["cumulative_pitch"] > 0.5
