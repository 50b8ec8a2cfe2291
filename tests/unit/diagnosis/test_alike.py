"""Waves that all traced teeth see at the same place are not called slopes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from unit.diagnosis.made import gears, part, setup

from gearqa.diagnosis.alike import TracedPart, alike_orders, first_order_alike, more_teeth, shape_of_wave
from gearqa.diagnosis.analysis import diagnose_gears

SLOPES = {"pressure_angle", "profile_asymmetry", "lead", "taper"}
WAVES = {
    "lobes, fibre at the reference circle": {"lobes": [{"n": 4, "amplitude_um": 6.0, "phase_deg": 40.0}]},
    "lobes, fibre outside": {
        "lobes": [{"n": 4, "amplitude_um": 6.0, "phase_deg": 40.0, "neutral_diameter_mm": 190.0}]
    },
    "wave of the rotation": {"ripple": [{"order": 4, "amplitude_um": 3.0, "phase_deg": 10.0}]},
}


def diagnosed(drawing, seed, teeth=4, **tables):
    made = gears(
        drawing, seed, 5, measuring={"teeth": teeth, "profile_points": 81, "helix_points": 81}, **tables
    )
    return diagnose_gears(made, setup(drawing))[1]


def claimed(lot):
    return {one.key for one in lot.components if one.significant} & SLOPES


@pytest.mark.parametrize("wave", WAVES)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_wave_of_as_many_periods_as_teeth_traced_is_no_slope(wave, seed):
    lot = diagnosed(part(), seed, **WAVES[wave])
    assert not claimed(lot)
    assert not {one.quantity for one in lot.corrections} & {"pressure_angle", "helix_angle", "infeed_far_end"}


def test_what_would_tell_is_said_and_does():
    """The wave of the rotation is a slope of 1.4 um on each of four teeth, and none in the mean of five."""
    four = diagnosed(part(), 1, **WAVES["wave of the rotation"])
    told = next(one for one in four.not_identifiable if one.key == "pressure_angle")
    assert told.reason == "the pitch wave of order 4 stands alike on all 4 traced teeth and can make as much"
    assert told.measure == "traces of 5 teeth evenly round the gear, both flanks"
    five = diagnosed(part(), 1, teeth=5, **WAVES["wave of the rotation"])
    assert not claimed(five)
    assert "pressure_angle" not in {one.key for one in five.not_identifiable}


def test_a_slope_beyond_what_the_wave_can_make_is_still_named():
    lot = diagnosed(
        part(), 1, shape={"both": {"profile_slope_um": 9.0}}, **WAVES["lobes, fibre at the reference circle"]
    )
    assert claimed(lot) == {"pressure_angle"}


def test_without_pitch_and_balls_the_wave_is_named_as_what_cannot_be_told():
    made = gears(part(), 1, 3, measuring={"tables": ["profile", "helix"]})
    lot = diagnose_gears(made, setup(part()))[1]
    (told,) = (one for one in lot.not_identifiable if one.key == "lobes")
    assert "on the 4 traced teeth a wave of order 4 looks like pressure angle, lead or taper" in told.reason


@pytest.mark.independent
def test_size_of_the_slope_against_the_wave_itself():
    """cos(4 theta) along the generating rotation, geometry by hand from the drawing, mean line by numpy."""
    alpha_t = math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18)))
    d = 87 * 1.75 / math.cos(math.radians(18))
    r_b = d / 2 * math.cos(alpha_t)
    control, tip = (math.sqrt((one / 2) ** 2 - r_b**2) for one in (d + 2.6, d - 3.0))
    turned = {
        "profile": (control - tip) / r_b,
        "helix": 32.0 * math.tan(math.radians(18)) * math.cos(alpha_t) / r_b,
    }
    along = np.linspace(-0.5, 0.5, 201)
    for kind, angle in turned.items():
        steepest = np.polyfit(along, np.sin(4 * angle * along), 1)[0]
        largest = shape_of_wave(f"{kind}_slope", 4, setup(part()))
        assert 0.95 < steepest / largest <= 1.0
        assert largest == pytest.approx(4 * angle, rel=1e-6)
        bent = 1 - np.cos(4 * angle * along[0])
        assert shape_of_wave(f"{kind}_crowning", 4, setup(part())) == pytest.approx(bent, rel=1e-5)
        assert shape_of_wave(f"{kind}_crowning", 80, setup(part())) == pytest.approx(2.0)


def test_orders_and_teeth():
    """Two teeth 72 degrees apart: the share left of order n is |cos(36 n degrees)| (by hand)."""
    assert alike_orders([1, 9], 40) == (4, 5, 6, 9, 10, 11)
    for teeth, alike in (
        ([1], True),
        ([1, 9], True),
        ([1, 21], False),
        ([1, 11, 21, 31], False),
        ([], False),
    ):
        traced = TracedPart(setup(part(z=40)), {"profile": teeth})
        assert first_order_alike(traced, "profile") == alike
        assert not first_order_alike(traced, "helix")
    assert alike_orders([1, 23, 45, 66], 87) == (4, 8, 12)
    assert alike_orders([1, 30, 59], 87) == (3, 6, 9, 12)
    assert alike_orders([5], 87) == tuple(range(2, 13))
    assert alike_orders([], 87) == ()
    assert more_teeth(3, 3).startswith("traces of 4 teeth")
    assert more_teeth(8, 4).startswith("traces of 5 teeth")
    assert more_teeth(6, 2).startswith("traces of 4 teeth")
