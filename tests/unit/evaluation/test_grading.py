"""Grading of gears: values and places, classes, conformity, drawing limits, master quality."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from unit.core import plain_evaluation as plain
from unit.evaluation import make
from unit.evaluation.make import graded

from gearqa.errors import EvaluationError, OutOfScopeError
from gearqa.evaluation.evaluate import evaluate
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.symbols import PARAMETERS


def test_a_perfect_gear_conforms_is_class_1_and_master_quality():
    result = graded(make.gear())
    assert (result.class_, result.class_complete, result.beyond) == (1, True, False)
    assert (result.conforms, result.master_quality, result.master_deciding) == (True, True, ())
    assert list(result.parameters) == [key for key in PARAMETERS if "parabola" not in key]
    assert result.governing == (
        "single_pitch", "cumulative_pitch", "runout", "profile_total", "profile_form", "profile_slope",
        "helix_total", "helix_form", "helix_slope",
    )  # fmt: skip
    assert result.not_assessed == ()
    assert result.warnings == ()
    assert result.near_limit is None


# values and places


def test_slope_keeps_its_sign_and_names_flank_and_tooth():
    traces = make.with_trace(make.helix("left", 13, slope=-5.0), make.helix("right", 26, slope=4.0))
    slope = graded(make.gear(traces)).parameters["helix_slope"]
    assert slope.value_um == pytest.approx(-5.0, abs=1e-9)
    assert (slope.flank, slope.tooth, slope.tooth_to, slope.space) == ("left", 13, None, None)
    assert (slope.min_um, slope.max_um) == pytest.approx((-5.0, 4.0), abs=1e-9)
    assert slope.symbol == "fHβ"
    left, right = slope.flanks["left"], slope.flanks["right"]
    assert (left.min_um, left.max_um, left.mean_um, left.spread_um) == pytest.approx(
        (-5.0, 0.0, -1.25, 5.0), abs=1e-9
    )
    assert (right.value_um, right.tooth) == (pytest.approx(4.0, abs=1e-9), 26)


def test_total_form_and_crowning_of_a_known_trace():
    """A wave of 3 um and whole turns: total and form 6 um, on the mean of four traces 1.5."""
    result = graded(make.gear(make.with_trace(make.profile("right", 38, wave=3.0))))
    for key in ("profile_total", "profile_form"):
        value = result.parameters[key]
        assert (value.value_um, value.flank, value.tooth) == (pytest.approx(6.0, abs=1e-3), "right", 38)
        assert value.flanks["right"].mean_um == pytest.approx(1.5, abs=1e-3)
    assert result.parameters["helix_total"].value_um == pytest.approx(0.0, abs=1e-9)
    crowned = Trace("helix", "left", 1, make.FACE, -4.0 * (2 * (make.FACE - 10.0) / 18.0) ** 2)
    result = graded(make.gear(make.with_trace(crowned)))
    assert result.parameters["helix_crowning"].value_um == pytest.approx(4.0, abs=1e-3)
    assert result.parameters["helix_crowning"].class_ is None


def test_equal_values_go_to_the_left_flank_and_the_lower_tooth_in_any_order():
    traces = make.with_trace(
        make.helix("right", 1, slope=5.0),
        make.helix("left", 38, slope=-5.0),
        make.helix("left", 13, slope=5.0),
    )
    for order in (traces, traces[::-1]):
        slope = graded(make.gear(order)).parameters["helix_slope"]
        assert (slope.flank, slope.tooth, slope.value_um) == ("left", 13, pytest.approx(5.0, abs=1e-9))
        assert slope.flanks["right"].tooth == 1


def test_traces_are_listed_profile_first_left_first_lower_tooth_first():
    result = graded(make.gear(make.all_traces()[::-1]))
    assert [(t.kind, t.flank, t.tooth) for t in result.traces] == [
        (kind, flank, tooth)
        for kind in ("profile", "helix")
        for flank in ("left", "right")
        for tooth in make.TEETH
    ]
    trace = result.traces[-1]
    assert (trace.points, trace.start_mm, trace.end_mm) == (361, 1.0, 19.0)


def test_every_trace_of_a_tooth_is_graded():
    """Two traces of one tooth at two diameters: both count, the worse one gives the value."""
    traces = [*make.all_traces(), make.helix("left", 13, slope=7.0, label_mm=102.0)]
    result = graded(make.gear(traces))
    assert result.parameters["helix_slope"].value_um == pytest.approx(7.0, abs=1e-9)
    assert len([t for t in result.traces if (t.kind, t.flank, t.tooth) == ("helix", "left", 13)]) == 2


def test_pitch_values_and_places():
    result = graded(make.gear(right=make.index(t10=4.0, t20=-2.5)))
    fp, Fp = result.parameters["single_pitch"], result.parameters["cumulative_pitch"]
    assert (fp.value_um, fp.flank, fp.tooth, fp.tooth_to) == (4.0, "right", 10, None)
    assert (Fp.value_um, Fp.flank, Fp.tooth, Fp.tooth_to) == (6.5, "right", 10, 20)
    fu, sector = result.parameters["adjacent_pitch"], result.parameters["sector_pitch"]
    assert (fu.value_um, fu.tooth) == (8.0, 11)
    assert (sector.value_um, sector.tooth, sector.tooth_to) == (4.0, 10, 4)
    assert fp.flanks["left"].value_um == 0.0
    assert (fp.flanks["right"].mean_um, fp.flanks["right"].spread_um) == (4.0, 0.0)
    Rs = result.parameters["tooth_thickness_variation"]
    assert (Rs.value_um, Rs.flank, Rs.tooth, Rs.tooth_to, Rs.flanks) == (6.5, None, 10, 20, {})


def test_pitch_result_carries_the_first_harmonic():
    theta = 2 * np.pi * np.arange(50) / 50
    result = graded(make.gear(left=make.index(t7=3.0) + 6 * np.cos(theta - math.radians(40))))
    left, right = result.pitch
    assert (left.flank, right.flank) == ("left", "right")
    assert left.first_harmonic_um == pytest.approx(6.0, abs=0.13)
    assert left.first_harmonic_deg == pytest.approx(40.0, abs=0.5)
    whole = result.parameters["cumulative_pitch"].value_um
    assert left.first_harmonic_share == pytest.approx(2 * left.first_harmonic_um / whole, abs=1e-12)
    assert left.cumulative_pitch_without_first_harmonic_um == pytest.approx(3.0, abs=0.3)
    assert right.first_harmonic_share is None


def test_share_of_the_first_harmonic_below_a_micrometre():
    """A wave of whole turns is its own first harmonic: crest to crest it is the whole of F_p."""
    theta = 2 * np.pi * np.arange(50) / 50
    left, _ = graded(make.gear(left=0.25 * np.cos(theta))).pitch
    assert left.first_harmonic_share == pytest.approx(1.0, abs=1e-12)


def test_runout_from_pitch_and_from_readings():
    """Readings win; from pitch a space wider by 1 um lets the ball 1 um cos 20 / 2 sin 21.8 in."""
    pitch_only = graded(make.gear(left=make.index(t8=1.0)))
    runout = pitch_only.parameters["runout"]
    expected = math.cos(math.radians(20)) / (2 * math.sin(math.radians(21.8)))
    assert (runout.method, runout.flank, runout.tooth) == ("pitch", None, None)
    assert runout.value_um == pytest.approx(expected, abs=1e-12)
    assert (runout.space, runout.space_to) == (1, 7)
    read = graded(make.gear(left=make.index(t8=1.0), runout=make.index(t3=9.0, t30=-4.0)))
    runout = read.parameters["runout"]
    assert (runout.method, runout.value_um, runout.space, runout.space_to) == ("readings", 13.0, 3, 30)
    assert runout.flanks == {}


def test_values_agree_with_the_plain_evaluation_through_a_whole_ring():
    """Filter, 95 % rule, tip zone and full slope of an internal helical part, from diameters."""
    part = make.part(make.RING)
    d_b = (
        87
        * 1.75
        / math.cos(math.radians(18))
        * math.cos(math.atan(math.tan(math.radians(20)) / math.cos(math.radians(18))))
    )
    root, form, tip = (math.sqrt(d**2 - d_b**2) / 2 for d in (163.4, 157.0, 156.7))
    end = root + 0.95 * (form - root)
    rng = np.random.default_rng(8)
    roll = np.linspace(tip - 0.05, root + 0.2, 200)
    face = np.linspace(0.2, 31.9, 180)
    traces, expected = [], {}
    for flank in ("left", "right"):
        for tooth in (5, 40, 70):
            y = np.cumsum(rng.normal(0, 0.3, 200))
            traces.append(Trace("profile", flank, tooth, roll, y))
            case = plain.Case(root, end, root, tip, form, (root - end) / 30)
            expected["profile", flank, tooth] = plain.evaluate(case, roll.tolist(), y.tolist())
            y = np.cumsum(rng.normal(0, 0.3, 180))
            traces.append(Trace("helix", flank, tooth, face, y))
            case = plain.Case(1.6, 30.4, 0.0, 32.0, None, 28.8 / 30)
            expected["helix", flank, tooth] = plain.evaluate(case, face.tolist(), y.tolist())
    result = next(evaluate([GearMeasurement("R", tuple(traces))], part))
    assert len(result.traces) == 12
    for trace in result.traces:
        values = expected[trace.kind, trace.flank, trace.tooth]
        assert (
            trace.total_um,
            trace.form_um,
            trace.slope_um,
            trace.slope_evaluation_um,
            trace.crowning_um,
        ) == (
            pytest.approx(
                [values[k] for k in ("total", "form", "slope_full", "slope", "crowning")], rel=0, abs=1e-9
            )
        )
        assert trace.tip_zone_counted == values["tip_zone_counted"]
        sign = -1 if trace.flank == "right" else 1  # internal, right-hand
        by_angle = None if trace.kind == "profile" else sign * trace.slope_um
        assert (trace.slope_by_helix_angle_um, trace.hand) == (by_angle, None)
    worst = max((abs(v["slope_full"]), key) for key, v in expected.items() if key[0] == "profile")
    slope = result.parameters["profile_slope"]
    assert (abs(slope.value_um), ("profile", slope.flank, slope.tooth)) == (
        pytest.approx(worst[0], abs=1e-9),
        worst[1],
    )


@pytest.mark.parametrize(
    ("flank", "slope", "hand"),
    [("right", 3.0, "right-hand"), ("right", -3.0, "left-hand"), ("left", 3.0, "left-hand")],
)
def test_a_spur_gear_has_a_hand_instead_of_a_sign(flank, slope, hand):
    result = graded(make.gear([make.helix(flank, 1, slope=slope)]))
    (trace,) = result.traces
    assert (trace.hand, trace.slope_by_helix_angle_um) == (hand, None)


@pytest.mark.parametrize("span", ["full", "evaluation"])
def test_both_slopes_are_given(span):
    """Over 20 of 18 mm face width; 5.8 um conforms to class 5 (6 um), 5.8 x 20/18 = 6.44 does not."""
    traces = make.with_trace(make.helix("left", 1, slope=5.8))
    slope = graded(make.gear(traces), evaluation={"slope_span": span}).parameters["helix_slope"]
    full, short = pytest.approx(5.8 * 20 / 18, abs=1e-9), pytest.approx(5.8, abs=1e-9)
    if span == "full":
        assert (slope.value_um, slope.class_, slope.conforms) == (full, 6, False)
        assert (slope.slope_other_span_um, slope.slope_other_span_class) == (short, 5)
    else:
        assert (slope.value_um, slope.class_, slope.conforms) == (short, 5, True)
        assert (slope.slope_other_span_um, slope.slope_other_span_class) == (full, 6)
    assert graded(make.gear()).parameters["helix_total"].slope_other_span_um is None


@pytest.mark.parametrize("worse", ["left", "right"])
def test_the_other_span_is_the_worst_over_both_flanks(worse):
    slopes = {"left": 2.0, "right": 2.0, worse: -5.0}
    traces = make.with_trace(*(make.helix(flank, 13, slope=v) for flank, v in slopes.items()))
    slope = graded(make.gear(traces)).parameters["helix_slope"]
    assert (slope.flank, slope.slope_other_span_um) == (worse, pytest.approx(-5.0 * 20 / 18, abs=1e-9))


# classes and conformity


@pytest.mark.parametrize(
    ("value", "class_", "conforms"),
    [(6.0, 5, True), (6.0 + 4e-10, 5, True), (6.0 + 2e-9, 6, False), (-6.0, 5, True), (-6.001, 6, False)],
)
def test_a_value_at_its_rounded_tolerance_conforms(value, class_, conforms):
    """fpT of class 5 is 5.9 calculated and 6.0 rounded: the rounded one counts, at nine decimals."""
    result = graded(make.gear(left=make.index(t9=value)))
    fp = result.parameters["single_pitch"]
    assert (fp.class_, fp.conforms, fp.required_class, fp.tolerance_um) == (class_, conforms, 5, 6.0)
    assert result.conforms is conforms
    assert fp.class_exact == pytest.approx(5 + 2 * math.log2(abs(value) / 5.9), abs=1e-12)


def test_worst_parameter_governs_and_ties_are_all_named():
    result = graded(make.gear(make.with_trace(make.profile("left", 1, slope=5.5)), left=make.index(t9=8.0)))
    classes = {key: p.class_ for key, p in result.parameters.items() if p.class_ is not None}
    assert (classes["single_pitch"], classes["profile_slope"]) == (6, 6)
    assert (result.class_, result.governing) == (6, ("single_pitch", "profile_slope"))
    assert result.conforms is False


def test_beyond_class_11_is_worse_than_every_class():
    result = graded(make.gear(left=make.index(t9=48.0)))
    fp = result.parameters["single_pitch"]
    assert (fp.class_, fp.beyond, fp.conforms, fp.master_quality) == (None, True, False, False)
    assert fp.class_exact > 11
    assert (result.class_, result.beyond, result.governing) == (None, True, ("single_pitch",))
    assert graded(make.gear(left=make.index(t9=47.0))).class_ == 11


def test_no_class_for_a_value_of_zero():
    assert graded(make.gear()).parameters["single_pitch"].class_exact is None
    assert graded(make.gear()).parameters["single_pitch"].class_ == 1


def test_parameters_that_are_not_graded_have_values_and_no_verdicts():
    parameters = graded(make.gear(left=make.index(t9=3.0))).parameters
    for key in (
        "sector_pitch",
        "adjacent_pitch",
        "tooth_thickness_variation",
        "profile_crowning",
        "helix_crowning",
    ):
        p = parameters[key]
        assert {p.class_, p.class_exact, p.required_class, p.tolerance_um, p.conforms, p.master_quality} == {
            None
        }
        assert p.beyond is False
        assert not any(one.beyond for one in p.flanks.values())
    assert parameters["adjacent_pitch"].value_um == 6.0


def test_required_class_by_parameter_and_by_flank():
    tolerance = {
        "class": 6,
        "classes": {"single_pitch": 4},
        "right": {"class": 7, "classes": {"helix_slope": 3}},
    }
    result = graded(make.gear(left=make.index(t9=5.0), right=make.index(t9=5.0)), tolerance=tolerance)
    required = {
        (key, flank): one.required_class
        for key in ("single_pitch", "helix_slope", "profile_form")
        for flank, one in result.parameters[key].flanks.items()
    }
    assert required == {
        ("single_pitch", "left"): 4, ("single_pitch", "right"): 4,
        ("helix_slope", "left"): 6, ("helix_slope", "right"): 3,
        ("profile_form", "left"): 6, ("profile_form", "right"): 7,
    }  # fmt: skip
    assert result.parameters["runout"].required_class == 6
    assert (result.parameters["single_pitch"].conforms, result.conforms) == (False, False)


def test_one_failing_flank_fails_the_parameter_although_the_other_is_worse():
    """Left 7 um under class 6 (8.5) conforms, right 4.5 under class 4 (4.2) does not."""
    tolerance = {"class": 6, "right": {"class": 4}}
    result = graded(make.gear(left=make.index(t9=7.0), right=make.index(t9=4.5)), tolerance=tolerance)
    fp = result.parameters["single_pitch"]
    assert (fp.value_um, fp.flank, fp.required_class, fp.tolerance_um) == (7.0, "left", 6, 8.5)
    assert (fp.flanks["left"].conforms, fp.flanks["right"].conforms, fp.conforms) == (True, False, False)


def test_only_graded_flanks_count():
    bad_right = make.gear(make.with_trace(make.helix("right", 1, slope=30.0)), right=make.index(t9=30.0))
    result = graded(bad_right, tolerance={"flanks": ["left"]})
    # Runout comes from both flanks: 30 cos 20 / (2 sin 21.8) = 37.96 um, class 8 (34 to 49 um).
    assert (result.conforms, result.class_, result.master_quality) == (False, 8, False)
    assert result.governing == ("runout",)
    for key in ("single_pitch", "helix_slope"):
        p = result.parameters[key]
        assert (p.flank, abs(p.value_um) < 1e-9, p.conforms, p.class_) == ("left", True, True, 1)
        right = p.flanks["right"]
        assert abs(right.value_um) == pytest.approx(30.0, abs=1e-9)
        assert {right.class_, right.conforms, right.required_class, right.master_quality} == {None}


def test_parameters_of_the_drawing_are_all_that_counts():
    bad = make.gear(make.with_trace(make.helix("right", 1, slope=30.0)), left=make.index(t9=5.0))
    result = graded(bad, tolerance={"parameters": ["single_pitch"]})
    assert (result.conforms, result.class_, result.governing) == (True, 5, ("single_pitch",))
    assert result.parameters["helix_slope"].class_ is None
    assert result.parameters["helix_slope"].value_um == pytest.approx(30.0, abs=1e-9)


def test_parameters_on_request():
    """F_pk over k = 6 of z 50: class 5 12 um; f_u class 5 8.3439, rounded 8.5 (computed by hand)."""
    gear = make.gear(left=make.index(t9=4.0))
    result = graded(gear, tolerance={"parameters": ["adjacent_pitch"], "classes": {"sector_pitch": 5}})
    assert {k for k, p in result.parameters.items() if p.class_ is not None} >= {
        "sector_pitch",
        "adjacent_pitch",
    }
    fu, sector = result.parameters["adjacent_pitch"], result.parameters["sector_pitch"]
    assert (fu.value_um, fu.tolerance_um, fu.conforms) == (8.0, 8.5, True)
    assert (sector.value_um, sector.tolerance_um, sector.class_) == (4.0, 12.0, 2)
    assert "runout" not in result.governing


# drawing limits


@pytest.mark.parametrize(
    ("slopes", "conforms"),
    [((-5.9, 3.9), True), ((-6.0, 4.0), True), ((-6.001, 0.0), False), ((-5.5, 4.001), False)],
)
def test_every_trace_must_lie_inside_the_drawing_limits(slopes, conforms):
    """Also the one that is not the largest in magnitude."""
    traces = make.with_trace(
        make.profile("left", 1, slope=slopes[0]), make.profile("left", 13, slope=slopes[1])
    )
    result = graded(make.gear(traces), tolerance={"limits_um": {"profile_slope": [-6.0, 4.0]}})
    slope = result.parameters["profile_slope"]
    assert (slope.required_class, slope.tolerance_um, slope.limits_um) == (None, None, (-6.0, 4.0))
    assert slope.conforms is conforms
    assert slope.flanks["left"].conforms is conforms
    assert slope.class_ is not None
    assert slope.master_quality is (abs(slopes[0]) <= 3.5)


def test_one_limit_stands_for_both_sides_of_a_slope_and_for_the_top_of_the_rest():
    tolerance = {"limits_um": {"helix_slope": 2.0, "single_pitch": 3.0}}
    good = make.gear(make.with_trace(make.helix("left", 1, slope=-2.0)), left=make.index(t9=3.0))
    result = graded(good, tolerance=tolerance)
    assert result.parameters["helix_slope"].limits_um == (-2.0, 2.0)
    assert result.parameters["single_pitch"].limits_um == (0.0, 3.0)
    assert result.conforms is True
    assert graded(make.gear(left=make.index(t9=3.001)), tolerance=tolerance).conforms is False


def test_limits_of_one_flank_leave_the_class_of_the_other():
    result = graded(make.gear(), tolerance={"left": {"limits_um": {"helix_form": 1.0}}})
    flanks = result.parameters["helix_form"].flanks
    assert (flanks["left"].limits_um, flanks["left"].tolerance_um) == ((0.0, 1.0), None)
    assert (flanks["right"].limits_um, flanks["right"].tolerance_um) == (None, 6.5)


# master quality


def test_master_quality_is_class_4_without_a_table():
    """fpT class 4 at m_n 2, d 100: 5.9 / sqrt 2 = 4.172, rounded 4.2."""
    reached = graded(make.gear(left=make.index(t9=4.2)))
    assert (reached.master_quality, reached.parameters["single_pitch"].master_tolerance_um) == (True, 4.2)
    missed = graded(make.gear(left=make.index(t9=4.3)))
    assert (missed.master_quality, missed.master_deciding, missed.conforms) == (
        False,
        ("single_pitch",),
        True,
    )


def test_parameters_only_in_master_quality_have_a_class_and_do_not_count_for_conformity():
    tables = {
        "tolerance": {"parameters": ["single_pitch"]},
        "master_quality": {"class": 3, "parameters": ["helix_slope", "sector_pitch"]},
    }
    result = graded(make.gear(make.with_trace(make.helix("left", 1, slope=8.0))), **tables)
    slope = result.parameters["helix_slope"]
    assert (slope.class_, slope.master_quality, slope.master_tolerance_um) == (6, False, 3.0)
    assert {slope.conforms, slope.required_class, slope.tolerance_um} == {None}
    assert result.parameters["single_pitch"].master_quality is None
    assert result.parameters["sector_pitch"].master_quality is True
    assert (result.conforms, result.class_, result.governing) == (True, 1, ("single_pitch",))
    assert (result.master_quality, result.master_deciding) == (False, ("helix_slope",))


# uncertainty


def test_values_near_a_limit_are_counted_only_where_an_uncertainty_is_stated():
    """f_p 5.6 of 6.0 with U 0.5 is near; 5.4 is not; the left flank's 0 is not."""
    tables = {"uncertainty_um": {"single_pitch": 0.5, "coarse gauge": {"single_pitch": 0.7}}}
    near = graded(make.gear(left=make.index(t9=5.6)), **tables)
    assert (near.near_limit, near.parameters["single_pitch"].uncertainty_um) == (1, 0.5)
    assert graded(make.gear(left=make.index(t9=5.4)), **tables).near_limit == 0
    assert graded(make.gear(left=make.index(t9=5.4), instrument="coarse gauge"), **tables).near_limit == 1
    assert graded(make.gear(left=make.index(t9=6.4)), **tables).near_limit == 1
    assert graded(make.gear(left=make.index(t9=5.9))).near_limit is None


def test_exactly_u_from_a_limit_is_near():
    tables = {"uncertainty_um": {"single_pitch": 0.5}}
    assert graded(make.gear(left=make.index(t9=5.5)), **tables).near_limit == 1
    limits = {"tolerance": {"limits_um": {"single_pitch": [1.0, 8.0]}}}
    flanks = {"left": make.index(t9=7.5), "right": make.index(t9=3.0)}
    assert graded(make.gear(**flanks), **tables, **limits).near_limit == 1
    flanks["right"] = make.index(t9=1.5)
    assert graded(make.gear(**flanks), **tables, **limits).near_limit == 2


@pytest.mark.parametrize(("slope", "near"), [(3.4, 0), (3.6, 1), (4.4, 1), (-5.6, 1), (-5.4, 0), (-4.0, 0)])
def test_near_either_drawing_limit_of_a_slope(slope, near):
    """Limits -6 and 4, U 0.5; the other flank's slopes are 0."""
    tables = {
        "uncertainty_um": {"helix_slope": 0.5},
        "tolerance": {"limits_um": {"helix_slope": [-6.0, 4.0]}},
    }
    gear = make.gear(make.with_trace(make.helix("right", 13, slope=slope)))
    assert graded(gear, **tables).near_limit == near


def test_the_lower_limit_zero_of_a_magnitude_is_no_limit():
    tables = {"uncertainty_um": {"single_pitch": 0.5, "helix_slope": 0.5}}
    limits = {"tolerance": {"limits_um": {"single_pitch": 6.0, "helix_slope": [0.0, 6.0]}}}
    assert graded(make.gear(), **tables, **limits).near_limit == 2  # both flanks' helix slopes lie at 0


STATES = [
    (5.5, "conforms", True, True, True),
    (5.6, "not proven", None, True, True),
    (6.3, "not proven", None, False, True),
    (6.5, "does not conform", False, False, False),
]
"""f_p of a limit of 6.0 with U 0.5: guard 1.645 u = 0.411 (ISO 14253-1, one-sided 95 %; from memory)."""


@pytest.mark.parametrize(("value", "state", "guarded", "simple", "rejection"), STATES)
def test_a_decision_table_in_the_part_file_says_how_a_state_counts(value, state, guarded, simple, rejection):
    for rule, verdict in (
        ("guarded acceptance", guarded), ("simple acceptance", simple), ("guarded rejection", rejection),
    ):  # fmt: skip
        tables = {"uncertainty_um": {"single_pitch": 0.5}, "decision": {"rule": rule}}
        gear = graded(make.gear(left=make.index(t9=value)), **tables)
        left = gear.parameters["single_pitch"].flanks["left"]
        assert (left.state, left.conforms, gear.state, gear.conforms) == (state, verdict, state, verdict)
        assert gear.parameters["helix_form"].state == "conforms"  # no U: by value


@pytest.mark.parametrize(("value", "state", "guarded", "simple", "rejection"), STATES)
def test_without_a_decision_table_a_gear_is_judged_simply_and_its_state_told(
    value, state, guarded, simple, rejection
):
    gear = graded(make.gear(left=make.index(t9=value)), uncertainty_um={"single_pitch": 0.5})
    assert (gear.state, gear.conforms) == (state, simple)


def test_a_gap_comes_before_an_open_value_and_after_a_failure():
    tables = {"uncertainty_um": {"single_pitch": 0.5}, "decision": {"rule": "guarded acceptance"}}
    short = [trace for trace in make.with_trace() if trace.kind == "profile"]
    for value, state, conforms in ((5.8, "not assessed", None), (7.0, "does not conform", False)):
        gear = graded(make.gear(short, left=make.index(t9=value)), **tables)
        assert (gear.state, gear.conforms) == (state, conforms)


def test_master_quality_follows_the_same_rule():
    """Class 4 allows 4.2 for f_p: 4.1 with U 0.5 is open."""
    at = make.gear(left=make.index(t9=4.1))
    simple = graded(at, uncertainty_um={"single_pitch": 0.5})
    assert simple.parameters["single_pitch"].master_tolerance_um == 4.2
    assert (simple.master_quality, simple.master_state) == (True, "not proven")
    tables = {"uncertainty_um": {"single_pitch": 0.5}, "decision": {"rule": "guarded acceptance"}}
    guarded = graded(at, **tables)
    assert (guarded.master_quality, guarded.master_deciding) == (None, ("single_pitch",))
    assert guarded.conforms is True


# the whole


def test_no_field_is_nan():
    result = graded(make.gear(left=make.index(t9=3.0), runout=make.index(t2=1.0)))

    def numbers(thing):
        if dataclasses.is_dataclass(thing):
            thing = [getattr(thing, f.name) for f in dataclasses.fields(thing)]
        if isinstance(thing, dict):
            thing = list(thing.values())
        if isinstance(thing, list | tuple):
            for one in thing:
                yield from numbers(one)
        elif isinstance(thing, float):
            yield thing
        else:
            assert not isinstance(thing, np.generic), f"{thing!r} is not a plain number"

    found = list(numbers(result))
    assert len(found) > 300
    assert all(math.isfinite(v) for v in found)


def test_results_do_not_depend_on_the_batch():
    rng = np.random.default_rng(3)
    gears = []
    for i in range(7):
        traces = [
            dataclasses.replace(t, deviation_um=rng.normal(size=t.deviation_um.size))
            for t in make.all_traces()
        ]
        gears.append(
            make.gear(traces[: 16 - i], left=rng.normal(size=50), right=rng.normal(size=50), serial=f"G{i}",
                      without=("right",) if i == 3 else (), runout=rng.normal(size=50) if i == 5 else None)
        )  # fmt: skip
    part = make.part()
    together = list(evaluate(iter(gears), part, batch_gears=64))
    one_by_one = list(evaluate(iter(gears), part, batch_gears=1))
    assert [r.serial for r in together] == [f"G{i}" for i in range(7)]
    for a, b in zip(together, one_by_one, strict=True):
        assert (a.class_, a.governing, a.conforms, a.not_assessed, a.warnings) == (
            b.class_, b.governing, b.conforms, b.not_assessed, b.warnings
        )  # fmt: skip
        for key, p in a.parameters.items():
            q = b.parameters[key]
            assert p.value_um == pytest.approx(q.value_um, rel=0, abs=1e-12)
            assert (p.flank, p.tooth, p.tooth_to, p.class_) == (q.flank, q.tooth, q.tooth_to, q.class_)


def test_gears_are_taken_batch_by_batch():
    taken = []

    def source():
        for i in range(10):
            taken.append(i)
            yield make.gear(serial=str(i))

    stream = evaluate(source(), make.part(), batch_gears=3)
    assert next(stream).serial == "0"
    assert taken == [0, 1, 2]
    assert [r.serial for r in stream] == [str(i) for i in range(1, 10)]


def test_a_part_outside_the_standard_is_an_error():
    with pytest.raises(OutOfScopeError, match=r"b = 3 is outside 4 to 1200"):
        graded(make.gear(), gear={"face_width_mm": 3.0})


def test_profiles_without_limits_are_an_error_that_tells_the_measured_range():
    tables = dict(make.PINION)
    tables["evaluation"] = {"filter": {"enabled": False}}
    with pytest.raises(
        EvaluationError, match=r"12\.0000 to 24\.0000 mm length of roll, diameter 96\.98"
    ) as caught:
        list(evaluate([make.gear()], make.part(tables)))
    assert "control_diameter_mm" in caught.value.hint
    helix_only = make.gear([make.helix("left", 1)])
    assert len(next(evaluate([helix_only], make.part(tables))).traces) == 1


def test_a_diameter_below_the_base_circle_is_an_error():
    with pytest.raises(EvaluationError, match=r"below the base circle, d_b = 93\.9693 mm"):
        graded(make.gear(), gear={"tip_diameter_mm": 93.0})
