"""What a scenario puts in comes out of the evaluation: exactly without noise, within it with noise."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from unit.simulate import make
from unit.simulate.exact_gear import ExactGear

from gearqa.core.geometry import diameter_at_roll
from gearqa.core.runout import radial_positions
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.evaluation.trace_specs import profile_spec
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.simulate import simulate_gears

pytestmark = pytest.mark.usefixtures("ideal_readings")

GEARS = [
    ("external", 0.0, "right"),
    ("external", 18.0, "left"),
    ("internal", 0.0, "right"),
    ("internal", 18.0, "right"),
]
HANDS = {"right": 1, "left": -1}
LIMITS = {"external": (62.4, 67.6), "internal": (68.0, 62.2)}
"""Control and tip form diameter. mm"""
MANY = {"profile_points": 481, "helix_points": 481, "profile_overrun_mm": 0.1}


def _part(kind: str, beta: float, hand: str, **more: Any) -> Part:
    control, form = LIMITS[kind]
    profile = {"control_diameter_mm": control, "tip_form_diameter_mm": form}
    return make.part(
        kind=kind,
        z=32,
        m_n=2.0 * math.cos(math.radians(beta)),
        beta=beta,
        hand=hand,
        evaluation={"profile": profile},
        **more,
    )


def _graded(drawing: Part, **more: Any) -> GearResult:
    scenario = make.scenario(**{"measuring": MANY, **more})
    return next(iter(evaluate(simulate_gears(scenario, drawing), drawing)))


def _over_evaluation_length(drawing: Part) -> Part:
    evaluation = drawing.evaluation.model_copy(update={"slope_span": "evaluation"})
    return drawing.model_copy(update={"evaluation": evaluation})


def _of(result: GearResult, key: str) -> dict[str, tuple[float, float]]:
    return {flank: (r.min_um, r.max_um) for flank, r in result.parameters[key].flanks.items()}


@pytest.mark.independent
@pytest.mark.parametrize("span", ["full", "evaluation"])
@pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)
def test_slopes_and_crowning_come_back(kind: str, beta: float, hand: str, span: str) -> None:
    drawing = _part(kind, beta, hand)
    if span == "evaluation":
        drawing = _over_evaluation_length(drawing)
    slopes = {"left": {"profile_slope_um": 7.0, "helix_slope_um": -4.0}}
    slopes["right"] = {"profile_slope_um": -3.0, "helix_slope_um": 5.0}
    crowns = {"left": {"profile_crowning_um": 3.0, "helix_crowning_um": -2.0}}
    crowns["right"] = {"profile_crowning_um": -1.0, "helix_crowning_um": 6.0}
    shape = {flank: slopes[flank] | crowns[flank] for flank in slopes}
    result = _graded(drawing, shape=shape)
    for key in ("profile_slope", "helix_slope", "profile_crowning", "helix_crowning"):
        for flank, found in _of(result, key).items():
            # the filter hardly touches a parabola: 0.2 % of it
            assert found == pytest.approx([shape[flank][f"{key}_um"]] * 2, abs=0.02)
    # a straight line passes the filter unchanged: slopes are met to rounding
    result = _graded(drawing, shape=slopes)
    for key in ("profile_slope", "helix_slope"):
        for flank, found in _of(result, key).items():
            assert found == pytest.approx([slopes[flank][f"{key}_um"]] * 2, abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("flank", ["left", "right"])
@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("kind", ["external", "internal"])
def test_raw_helix_slope_of_a_larger_helix_angle(kind: str, hand: str, flank: str) -> None:
    """All eight cases: a flank cut with a larger helix angle is measured and given to a scenario."""
    drawing = _over_evaluation_length(_part(kind, 18.0, hand))
    beta, more = 18.0, 0.005
    exact = ExactGear(
        32, 2.0 * math.cos(math.radians(beta)), 20.0, beta, 30.0, kind == "internal", HANDS[hand]
    )
    cut = replace(exact, more_helix_deg=more)
    z = np.array([1.5, 28.5])
    levels = []
    for face in z:
        # the cut flank's angle in a section, less the nominal one, as length along the base tangent
        turn = cut.phi(flank, 1, exact.r, 15.0 - face) - exact.phi(flank, 1, exact.r, 15.0 - face)
        levels.append(exact.side(flank) * turn * exact.r_b * 1000)
    raw = levels[1] - levels[0]
    result = _graded(drawing, shape={flank: {"helix_slope_um": raw}})
    for trace in result.traces:
        if trace.kind == "helix" and trace.flank == flank:
            assert trace.slope_um == pytest.approx(raw, abs=1e-9)
            assert trace.slope_by_helix_angle_um is not None
            assert trace.slope_by_helix_angle_um == pytest.approx(abs(raw), abs=1e-9)
            # d beta = slope cos^2(beta) / (L cos(alpha_t)), first order in d beta
            found = trace.slope_by_helix_angle_um * math.cos(math.radians(beta)) ** 2
            found /= 1000 * 27 * math.cos(exact.alpha_t)
            assert math.degrees(found) == pytest.approx(more, rel=1e-4)


@pytest.mark.independent
def test_s_shape_is_form_without_slope() -> None:
    """Third Legendre polynomial: orthogonal to the straight line, width 1 between its ends."""
    drawing = make.part()  # explicit limits: no tip zone, where the curve goes on rising
    result = _graded(drawing, shape={"both": {"profile_s_shape_um": 4.0, "helix_s_shape_um": 3.0}})
    for kind, width in (("profile", 4.0), ("helix", 3.0)):
        for flank in ("left", "right"):
            assert _of(result, f"{kind}_slope")[flank] == pytest.approx((0.0, 0.0), abs=0.02)
            assert _of(result, f"{kind}_form")[flank] == pytest.approx((width, width), abs=0.05)
    measured = make.gear(drawing, shape={"both": {"profile_s_shape_um": 4.0, "helix_s_shape_um": 3.0}})
    _, profile = make.traces(measured, "profile", "left")
    assert profile[0, [0, -1]] == pytest.approx([2.0, -2.0], abs=1e-9)  # internal: the tip comes first
    face, helix = make.traces(measured, "helix", "right")
    assert np.interp([1.5, 28.5], face, helix[0]) == pytest.approx([-1.5, 1.5], abs=0.01)


@pytest.mark.independent
def test_design_is_in_the_trace_and_not_in_the_result() -> None:
    design = {
        "profile": {"crowning_um": 4.0, "tip_relief_um": 12.0, "tip_relief_start_roll_length_mm": 12.0},
        "helix": {"crowning_um": 6.0, "slope_um": 5.0},
    }
    drawing = _part("external", 18.0, "left", design=design)
    result = _graded(drawing)
    for key in ("profile_total", "helix_total"):
        for _, high in _of(result, key).values():
            assert high < 0.25  # what the filter rounds off at the start of the relief
    assert _of(result, "helix_slope")["left"] == pytest.approx((0.0, 0.0), abs=1e-6)
    assert _of(result, "helix_crowning")["right"] == pytest.approx((6.0, 6.0), abs=0.02)
    deviation = np.concatenate(
        [t.deviation_um for t in make.gear(drawing, measuring=MANY).traces if t.kind == "profile"]
    )
    assert deviation.min() < -12


@pytest.mark.independent
def test_twist_is_the_change_of_profile_slope_along_the_face() -> None:
    """S = profile slope at the far end less at the datum end = helix slope at the tip less at the root."""
    drawing = _over_evaluation_length(_part("external", 18.0, "left"))
    measuring = {**MANY, "profile_face_positions_mm": [1.5, 15.0, 28.5], "tables": ["profile"]}
    result = _graded(drawing, shape={"right": {"twist_um": 6.0}}, measuring=measuring)
    slopes = {(t.flank, t.label_mm): t.slope_um for t in result.traces}
    assert [slopes["right", z] for z in (1.5, 15.0, 28.5)] == pytest.approx([-3.0, 0.0, 3.0], abs=1e-9)
    assert [slopes["left", z] for z in (1.5, 15.0, 28.5)] == pytest.approx([0.0] * 3, abs=1e-12)
    spec = profile_spec(drawing)
    assert spec is not None
    d_b = part_geometry(drawing).d_b
    diameters = [diameter_at_roll(L, d_b) for L in (spec.start, spec.end)]
    measuring = {**MANY, "helix_diameters_mm": diameters, "tables": ["helix"]}
    result = _graded(drawing, shape={"right": {"twist_um": 6.0}}, measuring=measuring)
    slopes = {t.label_mm: t.slope_um for t in result.traces if t.flank == "right"}
    assert (slopes[diameters[0]], slopes[diameters[1]]) == pytest.approx((-3.0, 3.0), abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)
def test_eccentricity_comes_back(kind: str, beta: float, hand: str) -> None:
    """Fr = 2e, Fp = 2e / cos alpha_t (closed form of an otherwise perfect gear), over 32 teeth."""
    drawing = _part(kind, beta, hand)
    geometry = part_geometry(drawing)
    result = _graded(drawing, mounting={"eccentricity_um": 8.0, "eccentricity_deg": 360 / 64})
    assert result.parameters["runout"].method == "readings"
    assert result.parameters["runout"].value_um == pytest.approx(16.0, abs=1e-9)
    for pitch in result.pitch:
        assert pitch.first_harmonic_um == pytest.approx(8 / math.cos(geometry.alpha_t), abs=1e-9)
    single = 2 * 8 / math.cos(geometry.alpha_t) * math.sin(math.pi / 32)
    assert result.parameters["single_pitch"].value_um == pytest.approx(single, rel=0.005)


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)
def test_balls_agree_with_pitch(kind: str, beta: float, hand: str) -> None:
    """A ball on the base tangents of the reference circle reads what the pitch of both flanks says."""
    drawing = _part(kind, beta, hand)
    more = {
        "mounting": {"eccentricity_um": 6.0, "eccentricity_deg": 77.0},
        "pitch": {"tangential_um": 5.0, "scatter_um": 1.5},
        "lobes": [{"n": 3, "amplitude_um": 4.0}],
        "ripple": [{"order": 33, "amplitude_um": 0.5}],
    }
    measured = make.gear(drawing, **more)
    assert measured.runout is not None
    left, right = (measured.pitch[flank].index_um for flank in ("left", "right"))
    from_pitch = radial_positions(left, right, part_geometry(drawing))
    difference = measured.runout.radial_um - from_pitch
    # spur: the same points of the flanks, only the mean material of the scatter opens the angle;
    # helical: the ball touches beside the middle section
    assert np.ptp(difference) < (0.004 if beta == 0 else 0.05)
    assert np.ptp(from_pitch) > 10


@pytest.mark.independent
@pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)
def test_traces_agree_with_pitch(kind: str, beta: float, hand: str) -> None:
    """A profile and a helix cross the pitch point: their level there is the index, tooth by tooth."""
    drawing = _part(kind, beta, hand)
    geometry = part_geometry(drawing)
    more = {
        "mounting": {"eccentricity_um": 6.0, "tilt_mrad": 0.1, "tilt_deg": 50.0},
        "pitch": {"tangential_um": 5.0, "scatter_um": 1.5},
        "lobes": [{"n": 2, "amplitude_um": 4.0}],
        "ripple": [{"order": 40.5, "amplitude_um": 0.5}],
        "shape": {"left": {"profile_slope_um": 4.0, "helix_slope_um": -3.0, "twist_um": 2.0}},
    }
    teeth = [1, 5, 14, 32]
    measuring = {**MANY, "teeth": teeth, "helix_diameters_mm": [geometry.d]}
    measured = make.gear(drawing, measuring=measuring, **more)
    pitch_point = geometry.d_b / 2 * math.tan(geometry.alpha_t)
    for flank, f in (("left", -1), ("right", 1)):
        for kind_of_trace, at in (("profile", pitch_point), ("helix", 15.0)):
            x, y = make.traces(measured, kind_of_trace, flank)
            level = np.array([np.interp(at, x, one) for one in y])
            index = geometry.s * f * level / math.cos(geometry.alpha_t)
            want = measured.pitch[flank].index_um[np.array(teeth) - 1]
            assert np.max(np.abs((index - index[0]) - (want - want[0]))) < 1e-4


@pytest.mark.independent
def test_noise_stays_noise() -> None:
    """Mean slope over 8 traces with 0.2 um noise: sd of one slope is about 0.2 sqrt(12 / 481)."""
    shape = {"both": {"profile_slope_um": 5.0}}
    result = _graded(_part("external", 18.0, "left"), shape=shape, measuring={**MANY, "trace_noise_um": 0.2})
    scale = (
        (result.traces[0].slope_full_um / result.traces[0].slope_evaluation_um) * 0.2 * math.sqrt(12 / 450)
    )
    found = [t.slope_um for t in result.traces if t.kind == "profile"]
    assert len(found) == 8
    assert max(abs(v - 5.0) for v in found) < 4 * scale
    assert max(abs(v - 5.0) for v in found) > 0.01 * scale
