"""An error of the work table while flanks are generated: cut by brute force with a rack, then told by fit.

In the plane of a transverse section a flank of a rack is a straight line at the pressure angle; the rack
goes straight on while the gear turns, and where the table lags or leads the line cuts elsewhere. What is
left along the base tangent of a point is the smallest distance over all turns (textbook kinematics). A ring
has the flanks of the external gear that fills its spaces, with the material on the other side.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from foreign_gears import Faults, Maker, World
from unit.diagnosis.made import gears, part, setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.effects import tangential_order
from gearqa.diagnosis.points import flank_points

SHAPES = [("internal", 18.0, "right"), ("external", 22.0, "left"), ("external", 0.0, "right")]


def left_by_a_rack(maker, f, tooth, L, z, order, T, psi_deg):
    """Material that a rack leaves at a point beyond the true flank, along the base tangent. [um]"""
    w, s = maker.w, maker.s
    twist = maker.H * maker.tan_b / maker.r_b * (z - w.b / 2)
    at_r = 2 * math.pi * (tooth - 1) / w.z + s * f * math.pi / 2 / w.z + twist
    tangent = at_r - f * maker.alpha + f * math.tan(maker.alpha) - f * L / maker.r_b
    out = np.array([-math.sin(tangent), math.cos(tangent)]) * f
    point = maker.r_b * np.array([math.cos(tangent), math.sin(tangent)]) + out * L
    # the gear turns by -turn, and at_r crosses the centre line at the pitch point (r, 0)
    turn = at_r + np.linspace(-0.3, 0.3, 60_001)
    lag = T / 1000 / maker.r * np.cos(order * (turn - math.radians(psi_deg)))
    seen = -turn - lag
    x, y = (
        np.cos(seen) * point[0] - np.sin(seen) * point[1],
        np.sin(seen) * point[0] + np.cos(seen) * point[1],
    )
    beyond = (x - maker.r) * math.sin(maker.alpha) + (y + maker.r * (turn - at_r)) * f * math.cos(maker.alpha)
    return -s * 1000 * float(beyond.max())


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "hand"), SHAPES)
@pytest.mark.parametrize("order", [1])
def test_what_a_rack_leaves_turns_with_roll_and_face(kind, beta, hand, order):
    maker = Maker(World(kind=kind, beta=beta, hand=hand, z=60))
    known, T, psi = setup(maker.part), 8.0, 70.0
    amplitudes = T * np.array([math.cos(order * math.radians(psi)), math.sin(order * math.radians(psi))])
    effect = tangential_order(order)
    for f in (-1, 1):
        for tooth in (1, 19):
            for L in (maker.control, maker.end):
                for z in (0.0, maker.w.b / 2, maker.w.b):
                    at = flank_points(known, float(f), tooth, np.array([L]), z)
                    mine = float(amplitudes @ effect.columns(at)[:, 0])
                    cut = left_by_a_rack(maker, f, tooth, L, z, order, T, psi)
                    second_order = (order * T) ** 2 / (2000 * L)
                    assert mine == pytest.approx(cut, abs=second_order + 0.001), (f, tooth, L, z)


@pytest.mark.parametrize("fault", ["table", "tangential"])
@pytest.mark.parametrize(("kind", "beta", "hand"), SHAPES)
def test_neither_a_table_error_nor_whole_teeth_make_a_tilt(kind, beta, hand, fault):
    """Of helical gears both look like an inclined axis where the other is expected."""
    maker = Maker(World(kind=kind, beta=beta, hand=hand, teeth=8, z=40, points=121))
    faults = Faults(**{fault: (1, 10.0, 130.0) if fault == "table" else (10.0, 130.0)})
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(3))], setup(maker.part))
    assert [one.key for one in found.components if one.significant] == ["tangential"]
    one = found.components[0]
    assert one.amplitude_um == pytest.approx(10, abs=2 * one.u_um)
    tilt = next(one for one in found.components if one.key == "tilt")
    assert tilt.amplitude_um < 2 * tilt.u_um
    left = {rung.without: rung.class_exact for rung in found.ladder}
    assert left["tangential",] < left[()] - 1


def test_a_tilt_beside_a_table_error_keeps_its_size():
    maker = Maker(World(teeth=8, z=40, points=121))
    faults = Faults(table=(1, 10.0, 130.0), tilt=(4.0, 20.0))
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(4))], setup(maker.part))
    told = {one.key: one for one in found.components if one.significant}
    assert set(told) == {"tangential", "tilt"}
    assert told["tilt"].amplitude_um == pytest.approx(4, abs=told["tilt"].u_um)
    assert told["tilt"].phase_deg == pytest.approx(20, abs=10)


@pytest.mark.parametrize(("kind", "beta", "hand"), SHAPES[:2])
def test_a_simulated_table_error_shows_on_traces_as_on_the_rack(kind, beta, hand):
    drawing = part(kind, beta, hand, 40)
    made = gears(drawing, noise=0.0, pitch={"table_um": 6.0, "table_deg": 50.0, "table_order": 1})[0]
    known = setup(drawing)
    effect = tangential_order(1)
    amplitudes = 6 * np.array([math.cos(math.radians(50)), math.sin(math.radians(50))])
    for trace in made.traces:
        if trace.kind == "profile":
            at = flank_points(
                known, 1.0 if trace.flank == "right" else -1.0, trace.tooth, trace.position_mm, 16.0
            )
            assert np.abs(trace.deviation_um - amplitudes @ effect.columns(at)).max() < 1e-9
    helices = [trace for trace in made.traces if trace.kind == "helix"]
    assert min(np.ptp(trace.deviation_um) for trace in helices) > 0.5
