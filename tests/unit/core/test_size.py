"""Sizes of teeth against printed values, a ball against the helicoid by brute force, and back again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from oracle_file import load
from scipy.optimize import brentq, minimize

from gearqa.core import size
from gearqa.core.geometry import GearGeometry, gear_geometry


def made(row: dict[str, str], s: int = 1) -> GearGeometry:
    return gear_geometry(
        int(row["z"]), float(row["m_n"]), math.radians(float(row.get("alpha_n", "20"))),
        math.radians(float(row["beta"])), 30.0, s=s, H=1, x=float(row["x"]),
    )  # fmt: skip


@pytest.mark.parametrize("row", [*load("sizes_printed").params(), *load("sizes_recalled").params()])
def test_printed_sizes(row):
    gear = made(row, s=-1 if row.get("kind") == "internal" else 1)
    found = {
        "balls": lambda: size.ball_dimension(gear, float(row["ball"])),
        "span": lambda: size.nominal_span(gear, int(row["teeth"])),
        "thickness": lambda: size.thickness_of_shift(gear, gear.x),
    }[row["what"]]()
    assert f"{found:.{row['decimals']}f}" == row["value"]


@pytest.mark.parametrize("row", load("simulate_balls_between").params())
def test_internal_dimensions_to_the_last_digit(row):
    found = size.ball_dimension(made(row, s=-1), float(row["ball"]))
    assert round(found, int(row["decimals"])) == round(float(row["M"]), int(row["decimals"]))


def closest(gear: GearGeometry, radius: float, f: int) -> float:
    """Distance of a point in the middle of a space, in the plane z = 0, from one flank: by brute force.

    The helicoid itself, r(L) = sqrt(r_b^2 + L^2) at the polar angle of the involute, turned along z.
    """
    r_b = gear.d_b / 2
    inv_t = math.tan(gear.alpha_t) - gear.alpha_t
    half = (math.pi / 2 - 2 * gear.x * math.tan(gear.alpha_n)) / gear.z

    def flank(roll: float, z: float) -> np.ndarray:
        alpha = math.atan(roll / r_b)
        r = r_b / math.cos(alpha)
        widening = (math.tan(alpha) - alpha - inv_t) * gear.s
        angle = f * (half + widening) + z * math.tan(gear.beta) / (gear.d / 2)
        return np.array([r * math.cos(angle), r * math.sin(angle), z])

    ball = np.array([radius, 0.0, 0.0])
    start = [gear.d_b / 2 * math.tan(gear.alpha_t), 0.0]
    found = minimize(
        lambda at: float(np.sum((flank(*at) - ball) ** 2)), start, method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-15, "maxiter": 4000},
    )  # fmt: skip
    return math.sqrt(found.fun)


@pytest.mark.independent
@pytest.mark.parametrize("s", [1, -1])
@pytest.mark.parametrize(
    ("z", "m_n", "beta", "x", "ball"),
    [
        (30, 2.0, 0.0, 0.0, 3.5),
        (61, 2.0, 15.0, 0.25, 3.5),
        (81, 1.5, 20.0, -0.2, 2.75),
        (40, 3.0, 30.0, 0, 5.5),
    ],
)
def test_a_ball_of_that_size_touches_both_flanks(s, z, m_n, beta, x, ball):
    """Brute force: the centre of the ball lies half its diameter from either helicoid, to 0.1 µm."""
    gear = gear_geometry(z, m_n, math.radians(20), math.radians(beta), 30.0, s=s, H=1, x=x)
    opposite = 1.0 if z % 2 == 0 else math.cos(math.pi / (2 * z))
    radius = (size.ball_dimension(gear, ball) - s * ball) / opposite / 2
    for f in (1, -1):
        assert closest(gear, radius, f) == pytest.approx(ball / 2, abs=1e-4)


@pytest.mark.parametrize("s", [1, -1])
@pytest.mark.parametrize("z", [44, 45])
@pytest.mark.parametrize("beta", [0.0, 22.0])
def test_every_size_leads_back_to_its_thickness(s, z, beta):
    for x in (-0.3, 0.0, 0.4):
        gear = gear_geometry(z, 2.0, math.radians(20), math.radians(beta), 30.0, s=s, H=1, x=x)
        other = replace(gear, x=9.0)
        M = size.ball_dimension(gear, 3.5)
        assert size.shift_of_balls(other, 3.5, M) == pytest.approx(x, abs=1e-10)
        s_n = size.thickness_of_shift(other, x)
        assert size.shift_of_thickness(other, s_n) == pytest.approx(x, abs=1e-12)
        if s > 0:
            assert size.shift_of_span(other, 4, size.nominal_span(gear, 4)) == pytest.approx(x, abs=1e-12)
        thicker = size.ball_dimension(replace(gear, x=x + 0.01), 3.5)
        assert s * (thicker - M) > 0


def test_what_cannot_be_has_no_size():
    ring = gear_geometry(60, 2.0, math.radians(20), 0.0, 20.0, s=-1, H=0)
    assert size.ball_dimension(ring, 40.0) is None
    assert size.shift_of_balls(ring, 3.5, 90.0) is None


@pytest.mark.independent
def test_a_span_touches_where_half_of_it_is_rolled_off():
    """Spur gear: half the span is the length of roll at the contact, so r^2 = r_b^2 + (W/2)^2, by hand:
    m 3, z 24, W 32.8266: r_b 33.8289, r = 37.6004."""
    gear = gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0, x=0.4)
    assert round(size.span_contact_diameter(gear, 32.8266) / 2, 4) == 37.6004


@pytest.mark.published
def test_the_chord_of_a_printed_tooth():
    """Elements of Metric Gear Technology, table 10-1: m 10, z 12, x 0.3, addendum 13."""
    gear = gear_geometry(12, 10.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    thickness = size.thickness_of_shift(gear, 0.3)
    chord = size.chord_of_thickness(gear, thickness)
    assert f"{math.degrees(thickness / gear.d):.5f}" == "8.54270"
    assert f"{chord.thickness:.4f}" == "17.8256"
    assert f"{13 + chord.sagitta:.4f}" == "13.6657"


@pytest.mark.independent
@pytest.mark.parametrize("s", [1, -1])
def test_a_chord_joins_both_ends_of_the_arc(s):
    """Points of the reference circle: their distance, and the distance of its middle from the tip."""
    gear = gear_geometry(40, 3.0, math.radians(20), 0.0, 30.0, s=s, H=0)
    thickness, tip = 4.5, gear.d + s * 6.0
    ends = [gear.d / 2 * np.exp(1j * side * thickness / gear.d) for side in (1, -1)]
    chord = size.chord_of_thickness(gear, thickness)
    assert chord.thickness == pytest.approx(abs(ends[0] - ends[1]), abs=1e-12)
    height = s * (tip / 2 - (ends[0] + ends[1]).real / 2)
    assert s * (tip - gear.d) / 2 + chord.sagitta == pytest.approx(height, abs=1e-12)


@pytest.mark.published
def test_the_operating_pressure_angle_of_a_worked_internal_pair():
    """Handbook table (from memory): m 3, z 16 and 24, x 0 and 0.5 with the sign of catalogues.

    Printed: inv 0.060401, angle 31.0937, centre distance 13.1683 mm.
    """
    pinion = gear_geometry(16, 3.0, math.radians(20), 0.0, 30.0, s=1, H=0)
    ring = gear_geometry(24, 3.0, math.radians(20), 0.0, 30.0, s=-1, H=0, x=-0.5)
    difference = size.thickness_of_shift(pinion, 0.0) + size.thickness_of_shift(ring, ring.x) - math.pi * 3.0
    alpha = math.radians(20)
    inv = math.tan(alpha) - alpha - difference / (ring.m_n * (ring.z - pinion.z))
    working = float(size.inverse_involute(inv))
    assert f"{inv:.6f}" == "0.060401"
    assert math.degrees(working) == pytest.approx(31.0937, abs=1e-4)
    centres = (ring.d - pinion.d) / 2 * math.cos(alpha) / math.cos(working)
    assert f"{centres:.4f}" == "13.1683"


@pytest.mark.published
def test_the_constant_chord_of_handbooks():
    """Factors of handbooks (from memory), module 1, 20 degrees, no shift, addendum 1: 1.3870, 0.7476."""
    for teeth in (12, 30, 100):
        gear = gear_geometry(teeth, 1.0, math.radians(20), 0.0, 10.0, s=1, H=0)
        found = size.constant_chord(gear, math.pi / 2)
        assert (f"{found.thickness:.4f}", f"{1 + found.sagitta:.4f}") == ("1.3870", "0.7476")


@pytest.mark.independent
def test_the_constant_chord_of_a_helical_gear_is_that_of_its_rack_in_the_normal_section():
    """The rack of the tooth has alpha_n there, whatever the helix angle: the factors of spur gears hold."""
    gear = gear_geometry(30, 1.0, math.radians(20), math.radians(25), 30.0, s=1, H=1)
    found = size.constant_chord(gear, math.pi / 2)
    assert (f"{found.thickness:.4f}", f"{1 + found.sagitta:.4f}") == ("1.3870", "0.7476")


@pytest.mark.independent
@pytest.mark.parametrize(("teeth", "x"), [(12, 0.3), (24, 0.0), (45, -0.4), (80, 0.8)])
def test_a_rack_touches_both_flanks_in_the_constant_chord(teeth, x):
    """On the involute itself: the place where the flank leans from the middle of the tooth by 20 degrees."""
    gear = gear_geometry(teeth, 2.5, math.radians(20), 0.0, 10.0, s=1, H=0, x=x)
    s_n = size.thickness_of_shift(gear, x)

    def half_angle(alpha):
        here, reference = (math.tan(a) - a for a in (alpha, gear.alpha_t))
        return s_n / gear.d + reference - here

    alpha = brentq(lambda a: a - half_angle(a) - gear.alpha_n, 1e-6, 1.2)
    radius = gear.d_b / 2 / math.cos(alpha)
    found = size.constant_chord(gear, s_n)
    assert found.thickness == pytest.approx(2 * radius * math.sin(half_angle(alpha)), abs=1e-9)
    assert gear.d / 2 - found.sagitta == pytest.approx(radius * math.cos(half_angle(alpha)), abs=1e-9)
