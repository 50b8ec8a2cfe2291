"""Signs of the correction sheet: its changes are made on the surface of a faulty gear, the rest is graded.

What a change does to the flanks is written down here from plain geometry, beside the program's own.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from foreign_gears import Faults, Maker, World
from unit.diagnosis.made import setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.evaluation.evaluate import evaluate_with
from gearqa.report.diagnosis.words import change_text, components_table

SHAPES = ("pressure_angle", "profile_asymmetry", "lead", "taper", "profile_crowning", "helix_crowning")
BY_FLANK = ("profile_slope", "profile_crowning", "helix_crowning", "centre_0_deg", "centre_90_deg")
ALTERNATIVES = (
    {*BY_FLANK, "helix_angle", "infeed_far_end"},
    {
        "pressure_angle",
        "twist_over_face_width",
        "infeed_far_end",
        "infeed_ends",
        "centre_0_deg",
        "centre_90_deg",
    },
)
"""Changes that do the same are not made twice."""


def corrected(maker, faults, changes):
    """The faults, changed as the sheet says."""
    g, left = maker, replace(faults)
    beta = math.radians(g.w.beta)

    def add(key, value):
        setattr(left, key, getattr(left, key) + value)

    for one in changes:
        c, q = one.change, one.quantity
        f = {None: 0, "left": -1, "right": 1}[one.flank]
        if q == "profile_slope":  # half of it to both flanks, half apart
            add("pressure_angle", c / 2)
            add("profile_asymmetry", f * c / 2)
        elif q == "pressure_angle":  # a larger angle takes material from the tip
            turn = math.radians(c / 60)
            add("pressure_angle", -1000 * turn * abs(g.tip - g.control) * math.tan(g.alpha))
        elif q == "helix_angle":  # r tan(beta) / r turns the far end along the arc
            add("lead", 1000 * g.w.b * math.radians(c / 3600) / math.cos(beta) ** 2 * math.cos(g.alpha))
        elif q == "twist_over_face_width":
            add("lead", 1000 * g.r_b * math.radians(c / 3600))
        elif q == "infeed_far_end":  # deeper takes material from both flanks
            add("taper", -1000 * c * math.sin(g.alpha))
        elif q == "infeed_ends":
            add("helix_crowning", 1000 * c * math.sin(g.alpha))
        elif q in ("profile_crowning", "helix_crowning"):
            add(q, c / 2)
        elif q in ("centre_0_deg", "centre_90_deg"):
            e, phi = left.eccentricity
            z = e * np.exp(1j * math.radians(phi)) + c * (1 if q == "centre_0_deg" else 1j)
            left.eccentricity = abs(z), math.degrees(np.angle(z))
        else:
            raise AssertionError(q)
    return left


def graded_again(maker, faults):
    """Class of a gear with these faults, whole and as a real number."""
    again = maker.gear(faults, np.random.default_rng(5))
    (graded,) = [result for _, result in evaluate_with([again], setup(maker.part))]
    exact = max(one.class_exact for one in graded.parameters.values() if one.class_exact is not None)
    return graded.class_, exact


@pytest.mark.independent
@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(
    ("kind", "beta", "hand"),
    [
        ("internal", 18.0, "right"), ("internal", 18.0, "left"), ("internal", 0.0, ""),
        ("external", 22.0, "right"), ("external", 22.0, "left"), ("external", 0.0, ""),
    ],
)  # fmt: skip
def test_what_a_correction_leaves_has_the_class_of_the_ladder(kind, beta, hand, which):
    maker = Maker(World(kind=kind, beta=beta, hand=hand or "right", z=40, teeth=8, points=121, noise=0.3))
    faults = Faults(
        eccentricity=(15.0, 40.0), pressure_angle=-6.0, lead=9.0, taper=-4.0, helix_crowning=5.0,
        profile_asymmetry=3.0 if not which else 0.0,
    )  # fmt: skip
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(5))], setup(maker.part))
    changes = [one for one in found.corrections if one.quantity in ALTERNATIVES[which]]
    if not which:
        together = [one for one in found.corrections if one.instead_of is None]
        assert {one.quantity for one in together} == set(found.corrected.quantities) <= ALTERNATIVES[0]
        in_part = corrected(
            maker, faults, [replace(one, change=one.fraction * one.change) for one in together]
        )
        class_, exact = graded_again(maker, in_part)
        assert found.corrected.class_ == class_ < found.class_
        assert found.corrected.class_exact == pytest.approx(exact, abs=0.15)
    left = corrected(maker, faults, changes)
    assert abs(left.eccentricity[0]) < 0.5
    assert all(abs(getattr(left, key)) < 0.5 for key in SHAPES), left
    rung = found.ladder[-1]
    assert len(rung.without) > 1
    for key in (*SHAPES, "eccentricity"):
        if key not in rung.without:
            setattr(left, key, getattr(faults, key))
    class_, exact = graded_again(maker, left)
    assert class_ == rung.class_ < found.class_
    assert exact == pytest.approx(rung.class_exact, abs=0.15)


def test_the_workpiece_moves_the_other_way_than_its_toothing():
    """The toothing is ground round the axis of the table: a workpiece that was 8 um off it towards tooth 1
    has its toothing 8 um away from tooth 1. It must be moved away from tooth 1."""
    maker = Maker(World(kind="external", z=40, teeth=8, points=121, noise=0.1))
    workpiece_off_table = 8.0
    faults = Faults(eccentricity=(workpiece_off_table, 180.0))
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(5))], setup(maker.part))
    (one,) = (c for c in found.corrections if c.quantity == "centre_0_deg")
    name, change, _ = change_text(one)
    assert name == "toothing towards tooth 1, that is the workpiece away from it"
    assert workpiece_off_table - float(change.removesuffix(" µm")) == pytest.approx(0.0, abs=0.3)


@pytest.mark.independent
def test_the_words_say_what_plus_is_on_a_spur_ring():
    """A wheel of too small an angle leaves material at the tip; a spur gear has no helix angle to enlarge;
    the far end of a part that leans towards 90 degrees lies there (derived)."""
    maker = Maker(World(kind="internal", beta=0.0, z=40, teeth=8, points=121, noise=0.1))
    faults = Faults(pressure_angle=6.0, lead=5.0, tilt=(6.0, 90.0))
    (found,), _ = diagnose_gears([maker.gear(faults, np.random.default_rng(5))], setup(maker.part))
    notes = " ".join(map(str, components_table(found.components).notes))
    assert "pressure angle: more material at the tip (the angle is too small)" in notes
    assert "spur gear: right-hand" in notes
    assert "clockwise from the centre of tooth 1, seen onto the datum face" in notes
    assert "tilt of the axis: the far end lies farthest from the axis" in notes
    told = {one.quantity: change_text(one)[:2] for one in found.corrections if one.flank != "right"}
    assert told["pressure_angle"][0] == "pressure angle (transverse), + larger"
    assert told["pressure_angle"][1].startswith("+")
    assert told["profile_slope"][0] == "profile slope, left flank, + material at the tip"
    assert told["profile_slope"][1].startswith("-")
    assert told["helix_angle"][0] == "helix angle, + larger (spur gear: + right-hand)"
    assert told["helix_angle"][1].startswith("-")
