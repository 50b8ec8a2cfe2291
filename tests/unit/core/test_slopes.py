"""Slopes as angles, against exact involute helicoids of gears with another angle."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from unit.core.exact_involute import Gear

from gearqa.core.slopes import (
    base_radius_deviation,
    helix_angle_deviation,
    helix_slope_by_angle,
    pressure_angle_deviation,
)

BETA = math.radians(20)
ALPHA_T = math.atan(math.tan(math.radians(20)) / math.cos(BETA))
R = 80 * 1.5 / math.cos(BETA) / 2
CASES = list(itertools.product([False, True], [1, -1], ["left", "right"]))
NAMES = [f"{'internal' if i else 'external'} {'right' if h > 0 else 'left'}-hand {f}" for i, h, f in CASES]


def gear(internal: bool, hand: int) -> Gear:
    return Gear(80, R, ALPHA_T, BETA, internal=internal, hand=hand)


@pytest.mark.independent
@pytest.mark.parametrize(("internal", "hand", "flank"), CASES, ids=NAMES)
@pytest.mark.parametrize("d_beta_deg", [0.05, -0.02, 0.0005])
def test_helix_slope_by_angle_and_helix_angle(internal, hand, flank, d_beta_deg):
    """All eight helical cases; the formula leaves out terms of the order of the deviation squared."""
    nominal, d_beta = gear(internal, hand), math.radians(d_beta_deg)
    made = replace(nominal, beta=BETA + d_beta)
    roll = R * math.sin(ALPHA_T)
    first, last = (made.material(nominal, flank, roll, y) for y in (1.5, 28.5))
    raw = (last - first) * 1000
    s, f = -1 if internal else 1, 1 if flank == "right" else -1
    by_angle = helix_slope_by_angle(raw, s, f, hand)
    assert math.copysign(1, by_angle) == math.copysign(1, d_beta)
    assert helix_angle_deviation(by_angle, 27.0, BETA, ALPHA_T) == pytest.approx(d_beta, rel=2 * abs(d_beta))


@pytest.mark.independent
@pytest.mark.parametrize(("internal", "hand", "flank"), CASES, ids=NAMES)
@pytest.mark.parametrize("d_alpha", [2e-5, -2e-5])
def test_profile_slope_as_pressure_angle_and_base_radius(internal, hand, flank, d_alpha):
    """Profiles of a gear with another pressure angle; plus is material towards the tip."""
    nominal = gear(internal, hand)
    made = replace(nominal, alpha_t=ALPHA_T + d_alpha)
    rolls = [math.sqrt(r**2 - nominal.r_b**2) for r in (R - 1.2, R + 1.3)]
    root, tip = rolls[::-1] if internal else rolls
    rise = (made.material(nominal, flank, tip) - made.material(nominal, flank, root)) * 1000
    length = abs(tip - root)
    assert pressure_angle_deviation(rise, length, ALPHA_T) == pytest.approx(d_alpha, rel=1e-3)
    d_r_b = made.r_b - nominal.r_b
    assert base_radius_deviation(rise, length, nominal.r_b) == pytest.approx(d_r_b, rel=1e-3)


@pytest.mark.independent
def test_reference_ring():
    """m_n 1.5, z 80, beta 20: 5 um are 6.38' of alpha_t, 42.8 um of r_b, 36.2'' of beta (computed)."""
    r_b = R * math.cos(ALPHA_T)
    L = abs(np.diff([math.sqrt(r**2 - r_b**2) for r in (R - 1.2, R + 1.3)]).item())
    assert f"{math.degrees(pressure_angle_deviation(5.0, L, ALPHA_T)) * 60:.2f}" == "-6.38"
    assert f"{base_radius_deviation(5.0, L, r_b) * 1000:.1f}" == "42.8"
    assert f"{math.degrees(helix_angle_deviation(5.0, 27.0, BETA, ALPHA_T)) * 3600:.1f}" == "36.2"
    slope = -math.radians(0.1) * 1000 * L * math.tan(ALPHA_T)
    assert f"{slope:.2f}" == "-4.70"
