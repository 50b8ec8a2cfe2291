"""Zones of the drawing, from part file to gear, lot, stored results, tables and words."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from scipy import stats
from unit.evaluation import make
from unit.evaluation.make import graded_traces as graded

from gearqa.evaluation.curves import trace_curves
from gearqa.evaluation.evaluate import evaluate
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.rejudge import judged_anew, why_raw_data
from gearqa.frames import parameters_frame, traces_frame
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import Trace
from gearqa.model.part import Part
from gearqa.report.grading.values import worst_of
from gearqa.results.csvio import COLUMNS, flank_rows, gear_rows, trace_rows
from gearqa.signoff.gear_states import judge_gear
from gearqa.symbols import Flank, TraceKind

ZONE = {"kind": "profile", "from": 14.0, "to": 18.0, "total_um": 2.0, "required": True}
"""Left flanks rise by `rise` over 10 mm of roll, so by 0.4 times that over the zone."""


def drawn(*zones: dict[str, Any], **more: Any) -> Part:
    tolerance = {"class": 11, "zone": list(zones or (ZONE,))} | more.pop("tolerance", {})
    return make.part(tolerance=tolerance, **more)


def traced(rise: float, kind: TraceKind = "profile", flank: Flank = "left", tooth: int = 13) -> Trace:
    x = make.ROLL if kind == "profile" else make.FACE
    return Trace(kind, flank, tooth, x, 40 + rise * (x - x[0]) / 10)


@pytest.mark.independent
@pytest.mark.parametrize(("rise", "conforms"), [(4.0, True), (5.0, True), (5.01, False), (-5.01, False)])
def test_a_zone_beyond_its_tolerance_makes_the_gear_not_conform(rise: float, conforms: bool) -> None:
    result = graded(drawn(), traced(rise))
    left, right = result.zones
    assert (left.key, left.flank, left.tooth, left.required) == ("profile_total_zone_1", "left", 13, True)
    assert left.value_um == pytest.approx(0.4 * abs(rise), abs=1e-9)
    assert (left.highest_at_mm, left.lowest_at_mm) == ((18.0, 14.0) if rise > 0 else (14.0, 18.0))
    assert left.conforms is result.conforms is conforms
    assert (right.value_um, right.conforms, len(right.traces)) == (0.0, True, len(make.TEETH))
    assert result.state == ("conforms" if conforms else "does not conform")


@pytest.mark.independent
def test_a_zone_for_information_decides_nothing() -> None:
    result = graded(drawn(ZONE | {"required": False}), traced(9.0))
    left = result.zones[0]
    assert (left.conforms, left.required, result.conforms, result.state) == (False, False, True, "conforms")
    part = drawn(ZONE | {"required": False})
    lot = judge_gear(result, part, setup_of(part).criteria, DecisionTable())
    assert (lot.zones, lot.state) == ((), "conforms")


@pytest.mark.independent
def test_form_within_a_zone_is_about_its_own_line_and_each_has_its_tolerance() -> None:
    # by hand: a rise has no form; a bump of one wave of 1.5 over the zone of 4 mm has at most 3 of width
    part = drawn(ZONE | {"form_um": 1.0, "total_um": None}, ZONE | {"total_um": 9.0, "flank": "right"})
    x = make.ROLL
    wave = Trace("profile", "left", 1, x, 1.5 * np.sin(np.pi * (x - 14) / 2))
    result = graded(part, traced(9.0), wave)
    form, _, total = result.zones
    assert [one.key for one in result.zones] == [
        "profile_form_zone_1", "profile_form_zone_1", "profile_total_zone_2"
    ]  # fmt: skip
    assert (form.tooth, form.conforms) == (1, False)
    # by integration: the least squares line of A sin over one period rises by -6 A / pi
    u = np.linspace(0, 1, 20001)
    residual = 1.5 * np.sin(2 * np.pi * u) + 1.5 * 6 / np.pi * (u - 0.5)
    assert form.value_um == pytest.approx(np.ptp(residual), abs=0.02)  # the filter takes a little off
    assert (total.flank, total.conforms) == ("right", True)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("rise", "state", "guarded", "simple"),
    [
        # U 0.4 of F-alpha, so u 0.2 and the guard 0.329: 0.4 x rise against 2
        (4.0, "conforms", "conforms", "conforms"),
        (4.5, "not proven", "not proven", "conforms"),
        (5.5, "not proven", "not proven", "does not conform"),
        (6.2, "does not conform", "does not conform", "does not conform"),
    ],
)
def test_under_the_uncertainty_of_the_same_deviation(
    rise: float, state: str, guarded: str, simple: str
) -> None:
    part = drawn(uncertainty_um={"profile_total": 0.4})
    result, lot = make.judged(part, traced(rise), state, guarded, simple)
    assert result.zones[0].state == state
    p = stats.norm.cdf((2 - 0.4 * rise) / 0.2)
    assert lot.zones[0].probability_of_conformity == pytest.approx(p, abs=1e-9)
    assert lot.probability_of_conformity == pytest.approx(p, abs=1e-9)
    assert lot.probability_parameter == "profile_total_zone_1"
    assert result.near_limit == (abs(2 - 0.4 * rise) <= 0.4)


def test_a_zone_that_is_not_covered_is_open_and_one_for_information_only_told() -> None:
    beyond = ZONE | {"from": 10.0}
    result = graded(drawn(beyond))
    assert {(one.parameter, one.flank, one.code) for one in result.not_assessed} == {
        ("profile_total_zone_1", flank, "not_evaluable") for flank in ("left", "right")
    }
    assert (result.conforms, result.state, result.zones) == (None, "not assessed", ())
    assert "zone 1" in result.not_assessed[0].reason
    part = drawn(beyond)
    lot = judge_gear(result, part, setup_of(part).criteria, DecisionTable())
    assert lot.missing == ("profile_total_zone_1 left", "profile_total_zone_1 right")
    told = graded(drawn(beyond | {"required": False}))
    assert (told.conforms, told.not_assessed) == (True, ())
    assert [one.code for one in told.warnings if "zone 1" in one.message] == ["zone_not_assessed"] * 2


def test_of_two_gears_each_zone_that_is_not_covered_is_open() -> None:
    gears = [make.gear(serial=serial) for serial in ("OT-0001", "OT-0002")]
    results = evaluate(gears, drawn(ZONE | {"from": 10.0}))
    assert [(one.conforms, len(one.not_assessed)) for one in results] == [(None, 2), (None, 2)]


def test_what_lacks_on_the_other_flank_leaves_a_zone_of_one_flank_alone() -> None:
    part = drawn(ZONE | {"flank": "left"})
    lacking = [one for one in make.all_traces() if (one.kind, one.flank) != ("profile", "right")]
    result = next(evaluate([make.gear(lacking)], part))
    assert [(one.flank, one.conforms) for one in result.zones] == [("left", True)]
    assert {(one.parameter, one.flank) for one in result.not_assessed} == {
        ("profile_total", "right"), ("profile_form", "right"), ("profile_slope", "right")
    }  # fmt: skip


@pytest.mark.published
def test_the_trace_is_filtered_before_the_zone_is_taken() -> None:
    # ISO 16610-21 (from memory): half of a wave as long as the cutoff passes, 3 of 6 um from crest to root
    filtered = {"filter": {"enabled": True, "profile_cutoff_mm": 1.0}}
    wave = Trace("profile", "left", 13, make.ROLL, 3 * np.sin(2 * np.pi * make.ROLL))
    zone = ZONE | {"total_um": 4.0}
    assert graded(drawn(zone, evaluation=filtered), wave).zones[0].value_um == pytest.approx(3, rel=0.002)
    assert graded(drawn(zone), wave).zones[0].value_um == pytest.approx(6, rel=0.002)


@pytest.mark.independent
def test_a_zone_is_drawn_as_high_as_its_tolerance_about_the_middle_of_the_trace() -> None:
    # by hand: 40 + 0.4 (x - 12) is 40.8 at 14 mm and 42.4 at 18 mm; level design, sloping mean line
    part = drawn(ZONE | {"form_um": 1.0})
    (curves,) = (c for c in trace_curves(make.gear([traced(4.0)]), part) if c.kind == "profile")
    total, form = curves.zones
    x, y = total.outline
    assert ({float(v) for v in y.round(9)}, float(x.min()), float(x.max())) == ({40.6, 42.6}, 14.0, 18.0)
    x, y = form.outline
    np.testing.assert_allclose(np.abs(y - (40 + 0.4 * (x - 12))), 0.5, atol=1e-9)
    for one, value, tolerance in ((total, 1.6, 2.0), (form, 0.0, 1.0)):
        assert (one.value_um, one.tolerance_um) == pytest.approx((value, tolerance), abs=1e-9)
        n = len(one.outline[0]) // 2
        assert (one.outline[1][:n] < one.outline[1][n]).sum() >= n - 1  # once round, not across


@pytest.mark.independent
def test_form_is_judged_under_the_uncertainty_of_the_form() -> None:
    part = drawn(ZONE | {"form_um": 1.0}, uncertainty_um={"profile_total": 0.4, "profile_form": 0.2})
    lot = judge_gear(graded(part), part, setup_of(part).criteria, DecisionTable())
    assert {(one.parameter, one.u_um) for one in lot.zones} == {
        ("profile_total_zone_1", 0.4), ("profile_form_zone_1", 0.2)
    }  # fmt: skip


def test_no_traces_at_all_leave_a_required_zone_open() -> None:
    part = drawn(tolerance={"parameters": ["single_pitch"]})
    result = next(evaluate([replace(make.gear(), traces=())], part))
    assert [(one.parameter, one.flank) for one in result.not_assessed] == [("profile_total_zone_1", None)]
    assert result.conforms is None


def test_no_evaluation_range_and_no_traces_leave_a_required_zone_open() -> None:
    base = make.PINION | {"evaluation": {}}
    part = drawn(tolerance={"parameters": ["single_pitch"]}, base=base)
    result = next(evaluate([replace(make.gear(), traces=())], part))
    assert [(one.parameter, one.flank) for one in result.not_assessed] == [("profile_total_zone_1", None)]
    assert (result.conforms, result.state) == (None, "not assessed")


def test_a_zone_of_a_flank_that_is_not_graded_is_refused() -> None:
    for required in (True, False):
        with pytest.raises(ValidationError, match=r"zone\.0\.flank.*a graded flank"):
            drawn(ZONE | {"flank": "left", "required": required}, tolerance={"flanks": ["right"]})


def test_zones_alone_may_be_all_that_is_asked_for() -> None:
    part = drawn(tolerance={"class": None, "parameters": []})
    assert [graded(part, traced(rise)).conforms for rise in (4.0, 6.0)] == [True, False]
    worst = worst_of(graded(part, traced(6.0)))
    assert worst is not None
    assert (worst.key, worst.value, worst.allowed, worst.place) == (
        "profile_total_zone_1", "2.40", "2", "left, tooth 13"
    )  # fmt: skip
    with pytest.raises(ValidationError, match="parameters"):
        drawn(ZONE | {"required": False}, tolerance={"class": None, "parameters": []})


def test_helix_zones_go_by_face_position_and_flanks_not_graded_have_none() -> None:
    zone = {"kind": "helix", "from": 15.0, "to": 5.0, "total_um": 3.0, "required": True}
    result = graded(drawn(zone, tolerance={"flanks": ["left"]}), traced(4.0, "helix"))
    (one,) = result.zones
    assert (one.kind, one.start_mm, one.end_mm, one.conforms) == ("helix", 5.0, 15.0, False)
    assert one.value_um == pytest.approx(4.0)


def test_zones_stay_judged_where_a_gear_is_judged_by_another_class() -> None:
    part, other = drawn(), drawn(tolerance={"class": 10})
    result = graded(part, traced(6.0))
    asked, wanted = setup_of(part), setup_of(other)
    assert why_raw_data(part, asked.criteria, other, wanted.criteria) is None
    again = judged_anew(result, wanted)
    assert (again.zones, again.conforms) == (result.zones, False)
    two = drawn(ZONE, ZONE | {"from": 13.0, "to": 23.0, "total_um": 9.0})
    both = graded(two, traced(6.0))
    assert judged_anew(both, setup_of(two)) == both
    without, tighter = make.part(tolerance={"class": 10}), drawn(ZONE | {"total_um": 1.0})
    assert why_raw_data(part, asked.criteria, without, setup_of(without).criteria) is None
    assert judged_anew(result, setup_of(without)).zones == ()
    for old in (without, part):
        why = why_raw_data(old, setup_of(old).criteria, tighter, setup_of(tighter).criteria)
        assert why is not None
        assert "zones" in why


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"total_um": None}, "total_um, form_um or both"),
        ({"to": 14.0}, "another position"),
        ({"kind": "helix", "over": "diameter_mm"}, "face position"),
        ({"total_um": -1.0}, "greater than 0"),
    ],
)
def test_faults_of_zones_name_their_key(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        drawn(ZONE | change)


def test_whether_a_zone_counts_has_to_be_said() -> None:
    with pytest.raises(ValidationError, match="required"):
        drawn({key: value for key, value in ZONE.items() if key != "required"})


def test_rows_of_tables_hold_zones_and_the_traces_their_worst() -> None:
    curve = {"upper_um": [[13.0, 9.0], [23.0, 9.0]], "lower_um": [[13.0, -1.0], [23.0, -1.0]]}
    part = drawn(ZONE | {"form_um": 0.5}, ZONE | {"required": False},
                 tolerance={"curve": {"profile": curve}})  # fmt: skip
    result = graded(part, traced(6.0))
    zones = {row[2]: row for row in gear_rows(result) if "zone" in row[2]}
    assert list(zones) == ["profile_total_zone_1", "profile_form_zone_1", "profile_total_zone_2"]
    at = {name: place for place, name in enumerate(COLUMNS["gear"])}
    first = zones["profile_total_zone_1"]
    assert first[at["value_um"]] == pytest.approx(2.4)
    assert [first[at[name]] for name in ("flank", "tooth", "upper_limit_um", "conforms")] == [
        "left", 13, 2.0, False
    ]  # fmt: skip
    assert zones["profile_total_zone_2"][at["conforms"]] is None
    assert sum("zone" in row[2] for row in flank_rows(result)) == 6
    at = {name: place for place, name in enumerate(COLUMNS["trace"])}
    rows = {(row[at["kind"]], row[at["flank"]], row[at["tooth"]]): row for row in trace_rows(result)}
    bad = rows["profile", "left", 13]
    # by hand: level curves 10 apart leave (10 - 6)/2; the zone of 2 um is used most
    assert [bad[at[name]] for name in ("margin_um", "zone_value_um")] == pytest.approx([2.0, 2.4])
    assert [bad[at[name]] for name in ("zone", "zone_tolerance_um")] == ["profile_total_zone_1", 2.0]
    assert rows["helix", "left", 1][at["margin_um"] :] == [None] * 7
    frame = traces_frame([result])
    assert tuple(frame.columns)[-7:] == COLUMNS["trace"][-7:]
    (of_bad,) = frame.loc[(frame.kind == "profile") & (frame.flank == "left") & (frame.tooth == 13)].zone
    assert of_bad == "profile_total_zone_1"
    parameters = parameters_frame([result])
    assert {"profile_curve", *zones} <= {*parameters.parameter}
    assert {"profile curve", "Fα zone 1"} <= {*parameters.symbol}
    assert io.StringIO(parameters.to_csv()).readline().count(",") == len(parameters.columns)
