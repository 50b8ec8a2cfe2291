"""Runout and tooth thickness: exact pins, eccentric gears, which flanks bound a space."""

from __future__ import annotations

import math

import numpy as np
import pytest
from unit.core.exact_involute import Gear, pin_radius_and_centre, touching_at_reference_circle

from gearqa.core.geometry import gear_geometry
from gearqa.core.runout import F_r, R_s, half_space_angle, radial_positions, space_widening, tooth_thickness

GEARS = [
    pytest.param(z, beta, s, x, id=f"z {z} beta {beta} {'external' if s > 0 else 'internal'} x {x}")
    for z, beta, s, x in [
        (20, 0.0, 1, 0.0),
        (20, 0.0, 1, 0.4),
        (31, 21.0, 1, -0.2),
        (87, 18.0, -1, 0.0),
        (87, 18.0, -1, -0.4),
        (60, 0.0, -1, 0.3),
    ]
]


def geometry(z, beta, s, x):
    return gear_geometry(z, 1.75, math.radians(20), math.radians(beta), 32.0, s=s, H=1, x=x)


def with_space_widened(z: int, s: int, space: int, cw: float, ccw: float) -> tuple[np.ndarray, np.ndarray]:
    """Index deviations that move the clockwise-side flank of a space by cw, the other by ccw."""
    left, right = np.zeros(z), np.zeros(z)
    tooth, following = space - 1, space % z
    if s > 0:
        right[tooth], left[following] = ccw, cw
    else:
        left[tooth], right[following] = ccw, cw
    return left, right


@pytest.mark.independent
@pytest.mark.parametrize(("z", "beta", "s", "x"), GEARS)
@pytest.mark.parametrize("moved", [(6.0, 0.0), (-6.0, 0.0), (3.0, -3.0), (5.0, 5.0)])
def test_radial_position_against_an_exact_pin(z, beta, s, x, moved):
    """Contact of a pin with two involutes solved by scipy.optimize.fsolve: within 0.01 um."""
    cw, ccw = moved
    gear = geometry(z, beta, s, x)
    half_tooth = (math.pi / 2 + 2 * x * math.tan(gear.alpha_n)) / z
    exact = Gear(z, gear.d / 2, gear.alpha_t, gear.beta, internal=s < 0, half_tooth=half_tooth)
    pin = touching_at_reference_circle(exact)
    nominal = pin_radius_and_centre(exact, 0.0, 0.0, pin)
    displaced = pin_radius_and_centre(exact, ccw / 1000, cw / 1000, pin)
    left, right = with_space_widened(z, s, 5, cw, ccw)
    found = radial_positions(left, right, gear)
    assert found[4] == pytest.approx((displaced - nominal) * 1000, rel=0, abs=0.01)
    assert np.count_nonzero(np.abs(found) > 1e-9) <= 1
    short_form = -s * (cw - ccw) / (2 * math.tan(gear.alpha_t))
    assert abs(short_form - found[4]) > 0.03 * abs(short_form) or cw == ccw


@pytest.mark.parametrize(("z", "beta", "s", "x"), GEARS)
def test_eccentric_gear_runs_out_by_twice_its_eccentricity(z, beta, s, x):
    """Index of an eccentric gear at the true angles of its flanks (derived): dr = e cos(theta - phi)."""
    gear, e, phi = geometry(z, beta, s, x), 8.0, 0.7
    half_tooth = (math.pi / 2 + 2 * x * math.tan(gear.alpha_n)) / z
    teeth = 2 * np.pi * np.arange(z) / z
    theta_right, theta_left = teeth + s * half_tooth, teeth - s * half_tooth
    right = e * np.sin(phi - theta_right + gear.alpha_t) / math.cos(gear.alpha_t)
    left = e * np.sin(phi - theta_left - gear.alpha_t) / math.cos(gear.alpha_t)
    spaces = teeth + math.pi / z
    found = radial_positions(left, right, gear)
    assert found == pytest.approx(e * np.cos(spaces - phi), rel=0, abs=1e-9)
    worst = F_r(found)
    assert worst.value == pytest.approx(np.ptp(e * np.cos(spaces - phi)), rel=0, abs=1e-9)
    # The crest lies at the space nearest to phi, the trough opposite.
    assert int(worst.tooth) == int(np.argmax(np.cos(spaces - phi))) + 1
    assert int(worst.tooth_to) == int(np.argmin(np.cos(spaces - phi))) + 1


@pytest.mark.parametrize("s", [1, -1])
@pytest.mark.parametrize("space", [1, 7, 12])
def test_space_i_lies_clockwise_of_tooth_i(s, space):
    left, right = with_space_widened(12, s, space, 2.0, -1.0)
    widening = space_widening(left, right, s)
    assert widening[space - 1] == 3.0
    assert np.count_nonzero(widening) == 1


def test_half_space_angle_by_hand():
    """z 20, x 0: 90 / 20 = 4.5 degrees; x 0.5 takes tan(20 deg) / 20 rad off."""
    assert math.degrees(half_space_angle(geometry(20, 0.0, 1, 0.0))) == pytest.approx(4.5, abs=1e-12)
    with_shift = half_space_angle(geometry(20, 0.0, 1, 0.5))
    assert with_shift == pytest.approx(math.radians(4.5) - math.tan(math.radians(20)) / 20, abs=1e-15)


def test_an_unknown_constant_between_the_flanks_cancels():
    rng = np.random.default_rng(2)
    left, right = rng.normal(size=(2, 87))
    gear = geometry(87, 18.0, -1, 0.0)
    for other in (right + 40.0, right):
        assert F_r(radial_positions(left, other, gear)).value == pytest.approx(
            F_r(radial_positions(left, right, gear)).value, abs=1e-10
        )
        assert R_s(left, other, -1).value == pytest.approx(R_s(left, right, -1).value, abs=1e-12)


def test_thickness_is_clockwise_side_less_other_side():
    """An external tooth has its right flank on the clockwise side, an internal one its left flank."""
    left, right = np.array([0.0, 1.0, 0.0]), np.array([5.0, 0.0, 0.0])
    assert tooth_thickness(left, right, 1).tolist() == [5.0, -1.0, 0.0]
    assert tooth_thickness(left, right, -1).tolist() == [-5.0, 1.0, 0.0]
    worst = R_s(left, right, 1)
    assert (float(worst.value), int(worst.tooth), int(worst.tooth_to)) == (6.0, 1, 2)


def test_many_gears_at_once():
    rng = np.random.default_rng(4)
    left, right = rng.normal(size=(2, 5, 20))
    gear = geometry(20, 0.0, 1, 0.0)
    together = F_r(radial_positions(left, right, gear))
    for i in range(5):
        one = F_r(radial_positions(left[i], right[i], gear))
        assert (together.value[i], together.tooth[i], together.tooth_to[i]) == (
            one.value,
            one.tooth,
            one.tooth_to,
        )
