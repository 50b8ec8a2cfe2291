"""Involute geometry against computed values of external and internal gears."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.core.flank_frame import involute
from gearqa.core.geometry import diameter_at_roll, gear_geometry, roll_length
from gearqa.core.size import inverse_involute


@pytest.mark.parametrize("row", load("roll_lengths").params())
def test_roll_length_and_angles(row):
    gear = gear_geometry(
        int(row["z"]),
        float(row["m_n"]),
        math.radians(20),
        math.radians(float(row["beta_deg"])),
        20.0,
        s=1,
        H=1,
    )
    d_y = float(row["d_y"])
    L = roll_length(d_y, gear.d_b)
    assert f"{L:.6f}" == row["roll_length"]
    assert f"{math.degrees(2 * L / gear.d_b):.6f}" == row["roll_angle_deg"]
    assert f"{math.degrees(math.acos(gear.d_b / d_y)):.6f}" == row["alpha_y_deg"]
    assert diameter_at_roll(L, gear.d_b) == pytest.approx(d_y, rel=1e-15)


@pytest.mark.parametrize("row", load("involute_artefact").params())
def test_involute_artefact(row):
    d_b = 2 * float(row["r_b"])
    L = roll_length(float(row["d_y"]), d_b)
    assert (f"{L:.6f}", f"{math.degrees(2 * L / d_b):.6f}") == (row["roll_length"], row["roll_angle_deg"])


@pytest.mark.independent
def test_helical_ring():
    """z 97, m_n 3, beta 12.5 degrees: computed values, certain."""
    ring = gear_geometry(97, 3.0, math.radians(20), math.radians(12.5), 40.0, s=-1, H=1)
    assert (f"{ring.d:.9f}", f"{ring.d_b:.9f}") == ("298.065338666", "279.288096465")
    assert f"{math.degrees(ring.beta_b):.10f}" == "11.7350747523"
    assert f"{math.pi * ring.d_b / 97:.9f}" == "9.045458063"
    assert f"{math.pi * ring.d / math.tan(ring.beta):.8f}" == "4223.82689361"


@pytest.mark.published
def test_worked_helical_pair_of_the_standard():
    """ISO 21771, worked helical pair: m_n 3.5, alpha_n 20, beta 21, alpha_t 21.2990642859 degrees."""
    gear = gear_geometry(31, 3.5, math.radians(20), math.radians(21), 30.0, s=1, H=1)
    assert f"{math.degrees(gear.alpha_t):.10f}" == "21.2990642859"


def test_below_the_base_circle_there_is_no_roll():
    assert math.isnan(roll_length(9.999, 10.0))
    assert roll_length(10.0, 10.0) == 0.0
    found = roll_length(np.array([9.0, 10.0, 12.0]), 10.0)
    assert np.isnan(found[0])
    assert found[1:].tolist() == [0.0, math.sqrt(44) / 2]
    assert diameter_at_roll(np.array([0.0, 1.0]), 10.0).tolist() == [10.0, math.sqrt(104)]


def test_a_spur_gear_has_no_hand():
    assert gear_geometry(20, 2.0, 0.35, 0.0, 20.0, s=1, H=1).H == 0


@pytest.mark.independent
@pytest.mark.parametrize(
    ("degrees", "printed"),
    [
        (14.5, "0.00554484281671"),
        (20, "0.0149043838673"),
        (22.5, "0.0215144806744"),
        (25, "0.0299753451564"),
        (30, "0.0537514935913"),
    ],
)
def test_involute_function(degrees, printed):
    """Computed values, as tables of the involute function print them."""
    digits = len(printed) - 2
    assert f"{involute(math.radians(degrees)):.{digits}f}" == printed


@pytest.mark.published
def test_the_operating_pressure_angle_of_a_worked_helical_pair():
    """ISO 21771, worked pair: m_n 3.5, 20 and 21 degrees, 31 and 30 teeth, centre distance 116.5."""
    pair = [gear_geometry(z, 3.5, math.radians(20), math.radians(21), 30.0, s=1, H=1) for z in (31, 30)]
    reference = sum(one.d for one in pair) / 2
    alpha_t = pair[0].alpha_t
    assert f"{reference:.10f}" == "114.3447280708"
    assert f"{math.tan(alpha_t) - alpha_t:.11f}" == "0.01812609488"
    working = math.acos(reference * math.cos(alpha_t) / 116.5)
    assert f"{math.degrees(working):.10f}" == "23.8707609654"
    of_working = math.tan(working) - working
    assert f"{of_working:.10f}" == "0.0259052382"
    assert math.degrees(inverse_involute(of_working)) == pytest.approx(23.8707609654, abs=5e-11)
    shifts = (of_working - (math.tan(alpha_t) - alpha_t)) * (31 + 30) / (2 * math.tan(math.radians(20)))
    assert f"{shifts:.10f}" == "0.6518771312"
