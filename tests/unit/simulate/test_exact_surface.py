"""The surface against exact involute helicoids, displaced as rigid bodies and cut numerically.

Common practice, no source: brute force by general solvers (scipy fsolve), in the viewer's frame and
with flank names from looking at the gear, independent of the formulas under test.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from unit.simulate import make
from unit.simulate.exact_gear import (
    Displacement,
    ExactGear,
    ball_radius_mm,
    clockwise,
    deviation_um,
    index_um,
)

from gearqa.evaluation.part_geometry import part_geometry
from gearqa.simulate.checks import runout_ball
from gearqa.simulate.scenario import Measuring

pytestmark = pytest.mark.independent

GEARS = [
    ("external", 25, 2.0, 0.0, 1),
    ("external", 25, 2.0, 22.0, 1),
    ("external", 25, 2.0, 22.0, -1),
    ("internal", 80, 1.5, 0.0, 1),
    ("internal", 80, 1.5, 20.0, 1),
    ("internal", 80, 1.5, 20.0, -1),
]
HANDS = {1: "right", -1: "left"}


def _pair(kind: str, z: int, m_n: float, beta: float, hand: int) -> tuple[object, ExactGear]:
    drawing = make.part(kind=kind, z=z, m_n=m_n, beta=beta, hand=HANDS[hand])
    return drawing, ExactGear(z, m_n, 20.0, beta, 30.0, kind == "internal", hand)


@pytest.mark.parametrize(("kind", "z", "m_n", "beta", "hand"), GEARS)
@pytest.mark.parametrize("motion", ["shift", "tilt", "both"])
def test_traces_of_a_displaced_gear(
    kind: str, z: int, m_n: float, beta: float, hand: int, motion: str
) -> None:
    drawing, exact = _pair(kind, z, m_n, beta, hand)
    # the law is linear: small motions leave no second order (e^2 / 2L) to hide behind
    e_um, e_deg, tilt_mrad, tilt_deg = 0.02, 35.0, 0.001, 200.0
    mounting = {}
    shift = rotation = np.zeros(3)
    if motion != "tilt":
        mounting |= {"eccentricity_um": e_um, "eccentricity_deg": e_deg}
        shift = clockwise(e_um / 1000, e_deg)
    if motion != "shift":
        # the scenario's rotation vector is right-handed about directions seen by the viewer
        mounting |= {"tilt_mrad": tilt_mrad, "tilt_deg": tilt_deg}
        rotation = clockwise(tilt_mrad / 1000, tilt_deg)
    measured = make.gear(
        drawing, mounting=mounting, measuring={"teeth": [1, 8, 19], "profile_points": 5, "helix_points": 5}
    )
    moved = Displacement(shift, rotation)
    middle = sum(t.position_mm.sum() for t in measured.traces[:1]) / 5
    for trace in measured.traces:
        got = trace.deviation_um
        want = [
            deviation_um(
                exact, moved, trace.flank, trace.tooth,
                math.hypot(exact.r_b, p if trace.kind == "profile" else middle),
                exact.b / 2 if trace.kind == "profile" else p,
            )
            for p in trace.position_mm
        ]  # fmt: skip
        assert np.max(np.abs(got - want)) < 3e-7
    assert max(np.max(np.abs(t.deviation_um)) for t in measured.traces) > 0.01


@pytest.mark.parametrize(("kind", "z", "m_n", "beta", "hand"), GEARS)
def test_index_of_a_displaced_gear(kind: str, z: int, m_n: float, beta: float, hand: int) -> None:
    """Index = clockwise arc at the reference circle by which the flank stands ahead."""
    drawing, exact = _pair(kind, z, m_n, beta, hand)
    mounting = {"eccentricity_um": 0.02, "eccentricity_deg": 35.0, "tilt_mrad": 0.001, "tilt_deg": 70.0}
    measured = make.gear(drawing, mounting=mounting)
    moved = Displacement(clockwise(0.02e-3, 35.0), clockwise(1e-6, 70.0))
    for flank, readings in measured.pitch.items():
        want = [index_um(exact, moved, flank, tooth) for tooth in (1, 2, 7, 20)]
        got = [readings.index_um[t - 1] - readings.index_um[0] for t in (1, 2, 7, 20)]
        assert np.max(np.abs(np.array(got) - (np.array(want) - want[0]))) < 3e-7


@pytest.mark.parametrize(("kind", "z", "m_n", "beta", "hand"), GEARS)
def test_runout_of_a_real_ball(kind: str, z: int, m_n: float, beta: float, hand: int) -> None:
    """A ball at mid-face that touches both flanks of an eccentric gear."""
    drawing, exact = _pair(kind, z, m_n, beta, hand)
    measured = make.gear(drawing, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 35.0})
    diameter = runout_ball(Measuring(), part_geometry(drawing))
    still = Displacement(np.zeros(3), np.zeros(3))
    moved = Displacement(clockwise(8e-3, 35.0), np.zeros(3))
    for space in (1, 9):
        nominal = ball_radius_mm(exact, still, space, diameter, exact.r)
        displaced = ball_radius_mm(exact, moved, space, diameter, nominal)
        assert measured.runout is not None
        assert measured.runout.radial_um[space - 1] == pytest.approx((displaced - nominal) * 1000, abs=0.01)


@pytest.mark.parametrize(
    ("kind", "beta", "material"),
    list(itertools.product(["external", "internal"], [0.0, 20.0], [-40.0, 25.0])),
)
def test_size_of_a_uniformly_thicker_gear(kind: str, beta: float, material: float) -> None:
    drawing = make.part(kind=kind, z=30, m_n=2.0, beta=beta)
    exact = ExactGear(30, 2.0, 20.0, beta, 30.0, kind == "internal", 1)
    shape = {"both": {"material_um": material}}
    measured = make.gear(drawing, shape=shape, measuring={"size_pin_mm": 3.5})
    still = Displacement(np.zeros(3), np.zeros(3))
    radius = ball_radius_mm(exact, still, 1, 3.5, exact.r, material / 1000)
    want = 2 * radius + (3.5 if kind == "external" else -3.5)
    assert [s.value_mm for s in measured.sizes] == pytest.approx([want, want], abs=2e-6)
