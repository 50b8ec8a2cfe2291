"""Signs, amplitudes and phases against gears built as exact surfaces with the error in them, and what is
left of them when a correction of the stated sign is made."""

from __future__ import annotations

import math

import numpy as np
import pytest
from exact_flanks import Errors, gear, nominal
from unit.diagnosis.made import GEARS, part, setup

from gearqa.diagnosis.analysis import diagnose_gears

pytestmark = [pytest.mark.independent, pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)]


def diagnosed(drawing, errors, **more):
    (found,), _ = diagnose_gears([gear(drawing, errors, noise=0.5, **more)], setup(drawing))
    return found, {one.key: one for one in found.components if one.significant}


def test_eccentricity(kind, beta, hand):
    _, by_key = diagnosed(part(kind, beta, hand), Errors(eccentricity=(9.0, 250.0)))
    assert set(by_key) == {"eccentricity"}
    assert by_key["eccentricity"].amplitude_um == pytest.approx(9, abs=0.3)
    assert by_key["eccentricity"].phase_deg == pytest.approx(250, abs=2)


def test_tilt(kind, beta, hand):
    _, by_key = diagnosed(part(kind, beta, hand), Errors(tilt=(6.0, 120.0)))
    assert set(by_key) == {"tilt"}
    assert by_key["tilt"].amplitude_um == pytest.approx(6, abs=0.4)
    assert by_key["tilt"].phase_deg == pytest.approx(120, abs=5)


@pytest.mark.parametrize("n", [2, 3, 5])
def test_lobes(kind, beta, hand, n):
    _, by_key = diagnosed(part(kind, beta, hand), Errors(lobes=(n, 7.0, 25.0)))
    assert set(by_key) == {"lobes"}
    one = by_key["lobes"]
    assert one.order == n
    assert one.amplitude_um == pytest.approx(7, abs=0.5)
    assert one.phase_deg == pytest.approx(25, abs=2)


def test_tangential(kind, beta, hand):
    _, by_key = diagnosed(part(kind, beta, hand), Errors(tangential=(6.0, 300.0)))
    assert set(by_key) == {"tangential"}
    assert by_key["tangential"].amplitude_um == pytest.approx(6, abs=0.3)
    assert by_key["tangential"].phase_deg == pytest.approx(300, abs=3)


def test_a_pressure_angle_corrected_as_stated_is_gone(kind, beta, hand):
    """A base circle 25 um too large is a pressure angle too small; the change, as a new base circle, nulls
    the profile slope."""
    drawing = part(kind, beta, hand)
    wrong = Errors(base_radius_um={"left": 25.0, "right": 25.0})
    found, by_key = diagnosed(drawing, wrong)
    assert set(by_key) == {"pressure_angle"}
    (change,) = [one for one in found.corrections if one.quantity == "pressure_angle"]
    g = nominal(drawing)
    alpha = math.acos((g.r_b + 0.025) / g.r) + math.radians(change.change / 60)
    left = (g.r * math.cos(alpha) - g.r_b) * 1000
    assert abs(left) < 2.5
    _, by_key = diagnosed(drawing, Errors(base_radius_um={"left": left, "right": left}))
    assert set(by_key) <= {"pressure_angle"}
    assert all(abs(one.amplitude_um) < 0.5 for one in by_key.values())


def test_a_lead_corrected_as_stated_is_gone(kind, beta, hand):
    if not beta:
        pytest.skip("a spur gear has no lead to be wrong by hand")
    drawing = part(kind, beta, hand)
    found, by_key = diagnosed(drawing, Errors(helix_angle_arcsec=60.0))
    assert set(by_key) == {"lead"}
    assert by_key["lead"].amplitude_um > 0
    (change,) = [one for one in found.corrections if one.quantity == "helix_angle"]
    assert change.change == pytest.approx(-60, abs=2)


def test_a_taper_corrected_as_stated_is_gone(kind, beta, hand):
    """Infeed: a wheel that stands deeper by dX takes dX sin(alpha_t) off along the base tangent."""
    drawing = part(kind, beta, hand)
    found, by_key = diagnosed(drawing, Errors(taper_um=6.0))
    assert set(by_key) == {"taper"}
    (change,) = [one for one in found.corrections if one.quantity == "infeed_far_end"]
    removed = change.change * 1000 * math.sin(nominal(drawing).alpha)
    assert removed == pytest.approx(6, abs=0.3)
    assert removed == pytest.approx(by_key["taper"].amplitude_um, rel=1e-9)


def test_crowning_corrected_as_stated_is_gone(kind, beta, hand):
    drawing = part(kind, beta, hand)
    found, by_key = diagnosed(drawing, Errors(helix_crowning_um=5.0))
    assert set(by_key) == {"helix_crowning"}
    assert by_key["helix_crowning"].amplitude_um > 0
    ends = [one for one in found.corrections if one.quantity == "infeed_ends"]
    # a crowned flank lacks material at its ends: less infeed there, by as much
    left_on = -ends[0].change * 1000 * math.sin(nominal(drawing).alpha)
    assert left_on == pytest.approx(by_key["helix_crowning"].amplitude_um, rel=1e-9)


def test_centre_moved_as_stated_is_in_the_middle(kind, beta, hand):
    drawing = part(kind, beta, hand)
    found, _ = diagnosed(drawing, Errors(eccentricity=(9.0, 250.0)))
    by_name = {one.quantity: one.change for one in found.corrections}
    turned = math.radians(250)
    left = np.hypot(
        9 * math.cos(turned) + by_name["centre_0_deg"], 9 * math.sin(turned) + by_name["centre_90_deg"]
    )
    assert left < 0.4


def test_ripple(kind, beta, hand):
    _, by_key = diagnosed(part(kind, beta, hand), Errors(ripple=("right", 199, 0.6, 0.7)), teeth=29)
    one = by_key["ripple"]
    assert one.order == 199
    assert one.flank == "right"
    assert one.amplitude_um == pytest.approx(0.6, abs=0.05)
    assert math.remainder(one.phase_deg - 0.7, 360 / 199) == pytest.approx(0, abs=0.06)
