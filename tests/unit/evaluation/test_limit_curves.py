"""Limit curves of the drawing, from part file to gear, lot and stored results."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from scipy import stats
from unit.evaluation import make
from unit.evaluation.make import graded_traces as graded

from gearqa.arrays import Array
from gearqa.core.geometry import roll_length
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.rejudge import judged_anew, why_raw_data
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import Trace
from gearqa.model.part import Part
from gearqa.model.results import NotAssessed
from gearqa.report.grading.values import worst_of
from gearqa.signoff.gear_states import judge_gear
from gearqa.symbols import Flank, TraceKind

TUBE = {"upper_um": [[13.0, 3.0], [23.0, 3.0]], "lower_um": [[13.0, -1.0], [23.0, -1.0]]}
"""Level, 4 apart."""


def drawn(profile: dict[str, Any] | None = None, **more: Any) -> Part:
    tolerance = {"class": 11, "curve": {"profile": profile or TUBE}} | more.pop("tolerance", {})
    return make.part(tolerance=tolerance, **more)


def traced(rise: float, kind: TraceKind = "profile", flank: Flank = "left", tooth: int = 13) -> Trace:
    """A straight rise over the range of curves or evaluation, at a height that no curve knows."""
    x = make.ROLL if kind == "profile" else make.FACE
    start, length = (13.0, 10.0) if kind == "profile" else (0.0, 20.0)
    return Trace(kind, flank, tooth, x, 40 + rise * (x - start) / length)


@pytest.mark.independent
@pytest.mark.parametrize(("rise", "margin"), [(2.0, 1.0), (4.0, 0.0), (4.2, -0.1), (-6.0, -1.0)])
def test_a_trace_outside_its_curves_makes_the_gear_not_conform(rise: float, margin: float) -> None:
    # by hand: level curves 4 apart leave (4 - |rise|)/2 on each side
    result = graded(drawn(), traced(rise))
    left, right = result.limit_curves
    assert (left.kind, left.flank, left.tooth) == ("profile", "left", 13 if rise else 1)
    assert left.margin_um == pytest.approx(margin, abs=1e-9)
    assert left.shift_um == pytest.approx(1 - 40 - rise / 2, abs=1e-9)
    ends = (23.0, 13.0) if rise > 0 else (13.0, 23.0)
    assert (left.upper_at_mm, left.lower_at_mm) == ends
    assert left.conforms is (margin >= 0) is result.conforms
    assert (right.conforms, [one.tooth for one in left.traces]) == (True, list(make.TEETH))
    assert result.state == ("conforms" if margin >= 0 else "does not conform")


@pytest.mark.independent
def test_a_class_beside_the_curves_is_asked_for_too() -> None:
    # inside its curves, yet the slope of 3 um is beyond class 2: both count
    result = graded(drawn(tolerance={"classes": {"profile_slope": 2}}), traced(3.0))
    assert [one.conforms for one in result.limit_curves] == [True, True]
    assert result.parameters["profile_slope"].conforms is result.conforms is False


def test_curves_alone_need_no_class_and_no_parameter() -> None:
    with pytest.raises(ValidationError, match="parameters"):
        make.part(tolerance={"class": 5, "parameters": []})
    part = drawn(tolerance={"class": None, "parameters": []})
    passes, fails = graded(part, traced(3.0)), graded(part, traced(5.0))
    assert (passes.conforms, passes.state, passes.class_) == (True, "conforms", None)
    assert (fails.conforms, fails.state) == (False, "does not conform")
    judged = judge_gear(passes, part, setup_of(part).criteria, DecisionTable())
    assert (judged.state, judged.master_quality) == ("conforms", "not assessed")


@pytest.mark.independent
def test_diameter_and_roll_angle_name_the_same_places_as_roll_length() -> None:
    d_b = setup_of(make.part()).geometry.d_b

    def diameter(roll: float) -> float:
        return math.sqrt(d_b**2 + 4 * roll**2)

    assert roll_length(diameter(15.0), d_b) == pytest.approx(15.0)
    roof: list[tuple[float, float]] = [(14.0, 3.0), (18.0, 5.0), (22.0, 2.0)]
    results = []
    for over, at in (
        ("roll_length_mm", float), ("diameter_mm", diameter),
        ("roll_angle_deg", lambda roll: math.degrees(2 * roll / d_b)),
    ):  # fmt: skip
        points = [[at(x), h] for x, h in roof]
        curve = {"over": over, "upper_um": points, "lower_um": [[x, h - 6] for x, h in points]}
        left, _ = graded(drawn(curve), traced(2.5)).limit_curves
        results.append((left.margin_um, left.shift_um, left.upper_at_mm, left.lower_at_mm))
    np.testing.assert_allclose(results[1:], [results[0]] * 2, atol=1e-9)


def test_each_flank_may_have_its_own_and_what_is_not_graded_is_not_judged() -> None:
    narrow = {"upper_um": [[13.0, 1.0], [23.0, 1.0]], "lower_um": [[13.0, -1.0], [23.0, -1.0]]}
    traces = (traced(3.0), traced(3.0, flank="right"))
    left, right = graded(drawn(TUBE | {"right": narrow}), *traces).limit_curves
    assert (left.margin_um, right.margin_um) == pytest.approx((0.5, -0.5))
    only = graded(drawn({"right": narrow}), *traces).limit_curves
    assert [(one.flank, one.conforms) for one in only] == [("right", False)]
    none = graded(drawn({"right": narrow}, tolerance={"flanks": ["left"]}), *traces)
    assert (none.limit_curves, none.conforms) == ((), True)


@pytest.mark.independent
def test_helix_curves_over_face_position_by_falling_positions_too() -> None:
    curve = {"upper_um": [[20.0, 2.0], [0.0, 2.0]], "lower_um": [[20.0, -2.0], [0.0, -2.0]]}
    result = graded(make.part(tolerance={"class": 11, "curve": {"helix": curve}}), traced(3.0, "helix"))
    left, _ = result.limit_curves
    assert (left.kind, left.margin_um) == ("helix", pytest.approx(0.5))


def test_what_does_not_reach_the_ends_of_the_curves_is_not_assessed() -> None:
    wide = {key: [[11.0, h], [23.0, h]] for key, h in (("upper_um", 3.0), ("lower_um", -1.0))}
    result = graded(drawn(wide))
    assert {(one.parameter, one.flank, one.code) for one in result.not_assessed} == {
        ("profile_curve", flank, "not_evaluable") for flank in ("left", "right")
    }
    assert (result.conforms, result.state, result.limit_curves) == (None, "not assessed", ())
    assert "limit curves" in result.not_assessed[0].reason
    # one trace that cannot be compared leaves the flank open, unless another one fails
    short = Trace("profile", "left", 1, make.ROLL[60:], np.zeros(541))
    long = {key: [[12.5, h], [23.0, h]] for key, h in (("upper_um", 3.0), ("lower_um", -1.0))}
    assert graded(drawn(long), short).limit_curves[0].conforms is None
    assert graded(drawn(long), short, traced(9.0)).limit_curves[0].conforms is False


def test_no_traces_at_all_leave_the_curves_open() -> None:
    part = drawn(tolerance={"parameters": ["single_pitch"]})
    gear = make.gear()
    result = next(evaluate([replace(gear, traces=())], part))
    assert [(one.parameter, one.flank) for one in result.not_assessed] == [("profile_curve", None)]
    assert result.conforms is None
    judged = judge_gear(result, part, setup_of(part).criteria, DecisionTable())
    assert (judged.state, judged.missing) == ("not assessed", ("profile_curve",))


@pytest.mark.independent
@pytest.mark.parametrize(
    ("rise", "state", "guarded", "simple"),
    [
        # U 0.4, so u 0.2 and the guard of the total 1.645 x 0.2 = 0.329: room 4 - rise against 0
        (3.6, "conforms", "conforms", "conforms"),
        (3.8, "not proven", "not proven", "conforms"),
        (4.2, "not proven", "not proven", "does not conform"),
        (4.4, "does not conform", "does not conform", "does not conform"),
    ],
)
def test_under_the_uncertainty_of_the_total(rise: float, state: str, guarded: str, simple: str) -> None:
    part = drawn(uncertainty_um={"profile_total": 0.4})
    result, lot = make.judged(part, traced(rise), state, guarded, simple)
    assert result.limit_curves[0].state == state
    assert (lot.limit_curves[0].kind, lot.limit_curves[0].u_um) == ("profile", 0.4)


@pytest.mark.independent
def test_curves_alone_count_as_values_near_a_limit_and_stand_in_the_table() -> None:
    # by hand: U 0.4 of the total is U 0.2 of the margin; rises of 3.8, 3.4 and 3.0 leave 0.1, 0.3 and 0.5
    tolerance = {"class": None, "parameters": []}
    part = drawn(tolerance=tolerance, uncertainty_um={"profile_total": 0.4})
    for rise, margin, near in ((3.8, 0.1, 1), (3.4, 0.3, 0), (3.0, 0.5, 0)):
        result = graded(part, traced(rise))
        assert result.near_limit == near
        worst = worst_of(result)
        assert worst is not None
        assert (worst.key, worst.flank, worst.allowed, worst.use) == ("profile_curve", "left", "≥ 0", None)
        assert float(worst.value) == pytest.approx(margin, abs=0.005)
    assert graded(drawn(tolerance=tolerance), traced(3.0)).near_limit is None
    fails = worst_of(graded(drawn(), traced(4.4)))
    assert fails is not None
    assert (fails.key, float(fails.value)) == ("profile_curve", pytest.approx(-0.2, abs=0.005))
    passes = worst_of(graded(drawn(), traced(3.0)))
    assert passes is not None
    assert passes.key == "profile_slope"


def test_curves_stay_judged_where_a_gear_is_judged_by_another_class() -> None:
    part, other = drawn(), drawn(tolerance={"class": 10})
    result = graded(part, traced(5.0))
    asked, wanted = setup_of(part), setup_of(other)
    assert why_raw_data(part, asked.criteria, other, wanted.criteria) is None
    again = judged_anew(result, wanted)
    assert again.limit_curves == result.limit_curves
    assert again.conforms is False
    without = make.part(tolerance={"class": 10})
    assert why_raw_data(part, asked.criteria, without, setup_of(without).criteria) is None
    assert judged_anew(result, setup_of(without)).limit_curves == ()
    why = why_raw_data(without, setup_of(without).criteria, part, asked.criteria)
    assert why is not None
    assert "limit curves" in why


def line(*points: tuple[float, float]) -> list[list[float]]:
    return [list(point) for point in points]


@pytest.mark.parametrize(
    ("curve", "words"),
    [
        ({"upper_um": line((13, 1), (23, 1))}, "lower_um"),
        ({"upper_um": line((13, 1), (23, 1)), "lower_um": line((13, -1), (23, 1.5))}, "more than lower_um"),
        ({"upper_um": line((13, 1), (15, 1), (14, 1)), "lower_um": line((13, 0), (14, 0))}, "all rise"),
        ({"upper_um": line((13, 1), (15, 1)), "lower_um": line((16, 0), (17, 0))}, "same positions"),
        ({"over": "diameter_mm"}, "points of a curve"),
        ({"upper_um": line((13, 1)), "lower_um": line((13, 0), (14, 0))}, "at least 2"),
    ],
)
def test_faults_of_curves_name_their_key(curve: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        drawn(curve)


@pytest.mark.independent
def test_the_filter_is_that_of_the_evaluation() -> None:
    x = make.ROLL

    def rough(filtered: bool) -> float:
        ripple: Array = 1.5 * np.sin(2 * np.pi * x / 0.08)
        part = drawn(evaluation={"filter": {"enabled": filtered, "profile_cutoff_mm": 1.0}})
        return graded(part, Trace("profile", "left", 1, x, ripple)).limit_curves[0].margin_um

    # by hand: an amplitude of 1.5 takes 1.5 off the 2 at the middle; a long filter leaves nothing of it
    assert rough(False) == pytest.approx(0.5, abs=0.02)
    assert rough(True) == pytest.approx(2.0, abs=0.01)


@pytest.mark.independent
@pytest.mark.parametrize("rise", [3.7, 4.0, 4.2])
def test_curves_count_in_the_probability_and_in_what_is_near_a_limit(rise: float) -> None:
    # level curves 4 apart are limits of the total deviation: (4 - rise) is left, judged with u = 0.2
    part = drawn(uncertainty_um={"profile_total": 0.4})
    result = graded(part, traced(rise))
    lot = judge_gear(result, part, setup_of(part).criteria, DecisionTable())
    p = stats.norm.cdf((4 - rise) / 0.2)
    assert lot.limit_curves[0].probability_of_conformity == pytest.approx(p, abs=1e-9)
    assert lot.probability_of_conformity == pytest.approx(p, abs=1e-9)
    assert (lot.probability_parameter, lot.probability_flank) == ("profile_curve", "left")
    inside = graded(part, traced(2.0))
    assert result.near_limit == (inside.near_limit or 0) + 1


def test_what_is_missing_leaves_the_probability_open() -> None:
    """A gear without a reading that is asked for is no gear of more than 99.99 %."""
    part = drawn(uncertainty_um={"profile_total": 0.4})
    whole = graded(part)
    gone = replace(whole, not_assessed=(NotAssessed("runout", None, "not measured", "not_measured"),))
    lots = [judge_gear(one, part, setup_of(part).criteria, DecisionTable()) for one in (whole, gone)]
    assert lots[0].probability_of_conformity is not None
    assert (lots[1].state, lots[1].probability_of_conformity) == ("not assessed", None)
