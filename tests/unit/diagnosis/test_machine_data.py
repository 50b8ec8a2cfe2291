"""What the part file says of a grinder: threads, jaws, speed, stroke, natural twist."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from unit.diagnosis.made import gears, part, setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.machine import natural_twist
from gearqa.diagnosis.stroke import stroke_check, wheel_reach
from gearqa.model.measurement import PitchReadings
from gearqa.model.part import GrinderData
from gearqa.report.diagnosis.words import stroke_table

LEFT = "left"


def only(found, key):
    (one,) = [one for one in found.components if one.key == key and one.significant]
    return one


def test_ripple_is_named_after_teeth_wheel_or_neither():
    machine = {"grinder": {"G1": {"wheel_threads": 3, "wheel_speed_rpm": 3000.0}}}
    drawing = part(**machine)
    expected = {174: ("mesh", None), 145: ("wheel", 5), 181: ("ghost", None)}
    for order, (origin, turns) in expected.items():
        ripple = [{"order": order, "amplitude_um": 0.6, "phase_deg": 20.0, "flank": LEFT}]
        (found,), _ = diagnose_gears(gears(drawing, ripple=ripple, measuring={"teeth": 29}), setup(drawing))
        one = only(found, "ripple")
        assert (one.order, one.origin, one.wheel_turns) == (order, origin, turns)
        assert one.frequency_hz == pytest.approx(order * 50 * 3 / 87)


def test_lobes_as_many_as_jaws():
    lobes = [{"n": 3, "amplitude_um": 6.0, "phase_deg": 40.0}]
    for jaws, origin in ((3, "jaws"), (4, None), (None, None)):
        drawing = part(grinder={"G1": {} if jaws is None else {"jaws": jaws}})
        (found,), _ = diagnose_gears(gears(drawing, lobes=lobes), setup(drawing))
        assert only(found, "lobes").origin == origin


def test_threads_say_which_patterns_are_looked_for():
    drawing = part("external", 18.0, "left", 60, grinder={"G1": {"wheel_threads": 4}})
    (gear,) = gears(drawing)
    pattern = np.tile([0.0, 3.0, 1.0, -2.0], 15)
    pitch = {flank: PitchReadings(flank, one.index_um + pattern) for flank, one in gear.pitch.items()}
    shifted = replace(gear, pitch=pitch, runout=None)
    (found,), _ = diagnose_gears([shifted], setup(drawing))
    one = only(found, "wheel_thread")
    assert one.order == 15
    assert one.amplitude_um == pytest.approx(2.5, abs=0.3)
    (other,), _ = diagnose_gears([shifted], setup(drawing), threads=7)
    assert not [one for one in other.components if one.key == "wheel_thread"]


def outward_normal(g, f, step=1e-4):
    """Normal of an external involute helicoid by differences of its points; angles clockwise, z away."""
    r_b = g.d_b / 2

    def point(L, z):
        angle = -f * L / r_b + g.H * z * math.tan(g.beta_b) / r_b
        tangent = np.array([-math.sin(angle), math.cos(angle), 0.0])
        return np.array([r_b * math.cos(angle), r_b * math.sin(angle), z]) + f * L * tangent

    along_L, along_z = point(9 + step, 0) - point(9 - step, 0), point(9, step) - point(9, -step)
    normal = np.cross(along_L, along_z)
    tangent = np.array([-math.sin(-f * 9 / r_b), math.cos(-f * 9 / r_b), 0.0])
    return normal * math.copysign(1.0, f * float(normal @ tangent))


@pytest.mark.parametrize("beta", [18.0, 0.0])
@pytest.mark.parametrize("kind", ["external", "internal"])
@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.independent
def test_natural_twist_is_what_a_shifted_parabola_makes(kind, beta, hand):
    """Points at length of roll L are ground when the wheel stands L tan(beta_b) along the normal further:
    slopes of the parabola at both ends of the face, summed without the closed formula."""
    drawing = part(kind, beta, hand if beta else "")
    known = setup(drawing)
    g, C = known.geometry, 5.0
    if kind == "internal" or not beta:
        assert natural_twist(C, 1, known) is None
        return
    spec, face = known.specs["profile"], known.specs["helix"]
    L = np.linspace(spec.start, spec.end, 201)
    for f in (1, -1):
        normal = outward_normal(g, f)
        shift = (L - L.mean()) * normal[2] / math.hypot(normal[0], normal[1])
        middle, length = (face.start + face.end) / 2, face.end - face.start
        slopes = []
        for end in (face.start, face.end):
            made = -C * ((end - middle - shift) / (length / 2)) ** 2
            slopes.append(np.polyfit(np.linspace(0, 1, 201), made, 1)[0])
        assert natural_twist(C, f, known) == pytest.approx(slopes[1] - slopes[0], rel=1e-6)


def lowest_point(width, diameter, crossed):
    """Of a cylinder about its middle, inclined to the z axis, by its points: how far it reaches along z."""
    turn, around = math.radians(crossed), np.linspace(0, 2 * math.pi, 100_001)
    rim = np.stack([diameter / 2 * np.cos(around), diameter / 2 * np.sin(around), width / 2 + 0 * around])
    tilted = np.array([[1, 0, 0], [0, math.cos(turn), -math.sin(turn)], [0, math.sin(turn), math.cos(turn)]])
    return float(max((tilted @ rim)[2].max(), -(tilted @ -rim)[2].min()))


@pytest.mark.independent
@pytest.mark.parametrize(("width", "diameter", "crossed"), [(20, 84, -25), (30, 60, 15), (12, 100, 0)])
def test_reach_of_a_crossed_wheel_is_that_of_a_cylinder_against_a_plane(width, diameter, crossed):
    data = GrinderData(
        active_wheel_width_mm=width, wheel_diameter_mm=diameter, crossed_axis_angle_deg=crossed
    )
    assert wheel_reach(data) == pytest.approx(lowest_point(width, diameter, crossed), abs=1e-6)


def test_stroke_at_crossed_axes():
    """Half the width of 20 mm at 25 degrees: 9.063 mm; half the diameter of 84 mm: 17.750 mm (by hand)."""
    data = {
        "active_wheel_width_mm": 20.0, "crossed_axis_angle_deg": -25.0, "overtravel_datum_mm": 10.0,
        "overtravel_far_mm": 6.0, "clearance_datum_mm": 30.0, "wheel_diameter_mm": 84.0,
    }  # fmt: skip
    drawing = part(grinder={"G1": data})
    measured = gears(drawing)
    found, _ = diagnose_gears(measured, setup(drawing))
    datum, far = stroke_check(measured, found, drawing)
    assert (datum.end, far.end) == ("datum", "far")
    assert round(datum.needed_mm, 2) == 9.06
    assert (round(datum.reach_mm, 2), round(datum.room_mm, 2)) == (26.81, 3.19)
    assert (datum.enough, far.enough) == (False, False)
    assert far.room_mm is None
    # by hand: 9.063 - 10 and 9.063 - (30 - 26.813) at the datum face, 9.063 - 6 at the far one
    assert (round(datum.needed_less_set_mm, 2), round(datum.needed_less_room_mm, 2)) == (-0.94, 5.88)
    assert (round(far.needed_less_set_mm, 2), far.needed_less_room_mm) == (3.06, None)
    (table,) = stroke_table((datum, far))
    assert [row[4].text for row in table.rows] == ["room 5.9 mm too short", "set 3.1 mm too short"]

    def ends(**changed):
        drawing = part(grinder={"G1": {key: v for key, v in (data | changed).items() if v is not None}})
        return stroke_check(measured, found, drawing)

    (table,) = stroke_table(ends(overtravel_datum_mm=9.0, overtravel_far_mm=9.05))
    assert table.rows[0][4].text == "set 0.1 mm too short and room 5.9 mm too short"
    assert table.rows[1][4].text == "set less than 0.1 mm too short"
    assert [one.enough for one in ends(clearance_datum_mm=36.0, overtravel_far_mm=12.0)] == [True, True]
    only = {"active_wheel_width_mm": 20.0, "crossed_axis_angle_deg": 25.0}
    assert [one.enough for one in stroke_check(measured, found, part(grinder={"G1": only}))] == [None, None]
    assert stroke_check(measured, found, part(grinder={"G1": {"active_wheel_width_mm": 20.0}})) == ()
    assert stroke_check(measured, found, part("external", grinder={"G1": data})) == ()


def test_room_at_a_closed_bottom_is_not_known_without_the_diameter_of_the_wheel():
    data = {
        "active_wheel_width_mm": 20.0, "crossed_axis_angle_deg": -25.0, "overtravel_datum_mm": 10.0,
        "overtravel_far_mm": 10.0, "clearance_far_mm": 20.0,
    }  # fmt: skip
    drawing = part(grinder={"G1": data})
    measured = gears(drawing)
    found, _ = diagnose_gears(measured, setup(drawing))
    datum, far = stroke_check(measured, found, drawing)
    assert (datum.enough, far.enough, far.room_mm) == (True, None, None)
    (table,) = stroke_table((datum, far))
    assert [row[4].text for row in table.rows] == ["enough", "room not known"]
    assert any("wheel_diameter_mm" in note for note in table.notes)
