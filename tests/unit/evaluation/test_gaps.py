"""What cannot be assessed, why, and what it does to the verdicts; warnings about how a gear was measured."""

from __future__ import annotations

import math

import numpy as np
import pytest
from unit.evaluation import make
from unit.evaluation.make import graded

from gearqa.errors import Notice
from gearqa.evaluation.gaps import evenly_spaced
from gearqa.evaluation.part_setup import setup_of
from gearqa.evaluation.rejudge import judged_anew
from gearqa.model.measurement import GearMeasurement, SizeReading, Trace
from gearqa.model.results import GearResult

PITCH = ("single_pitch", "cumulative_pitch")
PROFILE = ("profile_total", "profile_form", "profile_slope")
HELIX = ("helix_total", "helix_form", "helix_slope")


def gaps(result: GearResult) -> set[tuple[str, str | None]]:
    return {(gap.parameter, gap.flank) for gap in result.not_assessed}


def codes(result: GearResult) -> list[str]:
    return [w.code for w in result.warnings]


def short(trace: Trace, keep: slice | np.ndarray) -> Trace:
    return Trace(trace.kind, trace.flank, trace.tooth, trace.position_mm[keep], trace.deviation_um[keep])


# pitch and runout


def test_a_tooth_missing_in_pitch_leaves_that_flank_open():
    result = graded(make.gear(left=make.index(t5=math.nan, t9=2.0), runout=np.zeros(50)))
    assert gaps(result) == {(key, "left") for key in PITCH}
    assert {gap.reason for gap in result.not_assessed} == {"the pitch of the left flank lacks tooth 5"}
    for key in PITCH:
        p = result.parameters[key]
        assert {*p.flanks} == {"right"}
        assert (p.conforms, p.master_quality, p.flanks["right"].conforms) == (None, None, True)
    assert (result.conforms, result.master_quality, result.class_complete, result.class_) == (
        None,
        None,
        False,
        1,
    )
    assert result.master_deciding == PITCH
    assert codes(result) == ["not_assessed"]


def test_a_flank_that_fails_decides_although_the_other_is_missing():
    result = graded(make.gear(left=make.index(t5=math.nan), right=make.index(t9=7.0), runout=np.zeros(50)))
    fp = result.parameters["single_pitch"]
    assert (fp.conforms, fp.master_quality) == (False, False)
    assert (result.conforms, result.master_quality) == (False, False)
    assert "single_pitch" in result.master_deciding
    assert "cumulative_pitch" not in result.master_deciding


def test_without_a_pitch_table_pitch_and_runout_are_open_and_the_way_out_is_told():
    result = graded(make.gear(without=("left", "right")))
    assert gaps(result) == {(key, None) for key in (*PITCH, "runout")}
    assert {*PITCH, "runout", "tooth_thickness_variation", "sector_pitch"} & {*result.parameters} == set()
    reasons = {gap.parameter: gap.reason for gap in result.not_assessed}
    assert "add its rows to a pitch table" in reasons["single_pitch"]
    assert "`parameters` under [tolerance]" in reasons["single_pitch"]
    assert "add a runout table" in reasons["runout"]
    assert codes(result) == ["not_assessed", "not_assessed"]
    assert result.pitch == ()


def test_pitch_of_one_flank_gives_no_runout():
    result = graded(make.gear(without=("right",)))
    assert gaps(result) == {("runout", None), *((key, "right") for key in PITCH)}
    reason = next(gap.reason for gap in result.not_assessed if gap.parameter == "runout")
    assert "the pitch of the right flank is missing or not complete" in reason


def test_a_space_missing_in_the_runout_table_is_not_replaced_by_pitch():
    result = graded(make.gear(runout=make.index(t3=math.nan, t8=math.nan)))
    assert gaps(result) == {("runout", None)}
    assert "runout" not in result.parameters
    assert "the runout readings lack spaces 3, 8" in result.not_assessed[0].reason
    assert "tooth_thickness_variation" in result.parameters


def test_six_missing_teeth_are_all_listed():
    missing = {f"t{i}": math.nan for i in range(1, 7)}
    result = graded(make.gear(left=make.index(**missing), runout=np.zeros(50)))
    assert result.not_assessed[0].reason.endswith("lacks teeth 1, 2, 3, 4, 5, 6")


def test_many_missing_teeth_are_not_all_listed():
    missing = {f"t{i}": math.nan for i in range(1, 11)}
    result = graded(make.gear(left=make.index(**missing), runout=np.zeros(50)))
    assert result.not_assessed[0].reason.endswith("lacks teeth 1, 2, 3, 4, 5, 6 and 4 more")


# traces


def test_without_helix_traces_the_helix_is_open():
    traces = [t for t in make.all_traces() if t.kind == "profile"]
    result = graded(make.gear(traces))
    assert gaps(result) == {(key, None) for key in HELIX}
    assert "helix_total" not in result.parameters
    assert (result.conforms, result.class_complete) == (None, False)
    assert graded(make.gear(traces), tolerance={"parameters": [*PITCH, *PROFILE]}).conforms is True


def test_a_flank_without_traces_is_open_unless_it_is_not_graded():
    traces = [t for t in make.all_traces() if (t.kind, t.flank) != ("helix", "right")]
    result = graded(make.gear(traces))
    assert gaps(result) == {(key, "right") for key in HELIX}
    assert result.parameters["helix_slope"].conforms is None
    assert "one_flank_only" in codes(result)
    left_only = graded(make.gear(traces), tolerance={"flanks": ["left"]})
    assert (left_only.not_assessed, left_only.conforms, codes(left_only)) == ((), True, [])


def test_a_gear_measured_only_on_the_flank_that_is_not_graded_has_no_class():
    traces = make.all_traces(flanks=("right",))
    result = graded(make.gear(traces, without=("left",)), tolerance={"flanks": ["left"]})
    assert result.parameters["single_pitch"].flank == "right"
    assert (result.class_, result.governing, result.beyond) == (None, (), False)
    assert (result.conforms, result.master_quality, result.class_complete) == (None, None, False)


def test_a_trace_that_does_not_cover_its_range_opens_its_flank():
    """The three traces left are valued and classed; the flank and the gear are open."""
    cut = short(make.helix("left", 13), slice(30, None))
    result = graded(make.gear(make.with_trace(cut, make.helix("left", 1, slope=3.0))))
    assert gaps(result) == {(key, "left") for key in HELIX}
    reason = result.not_assessed[0].reason
    assert "helix trace of tooth 13, left flank does not cover" in reason
    assert "range wanted 1.0000 to 19.0000 mm, measured 1.5000 to 20.0000 mm" in reason
    slope = result.parameters["helix_slope"]
    assert (slope.value_um, slope.class_, slope.conforms) == (pytest.approx(3.0, abs=1e-9), 3, None)
    assert (slope.flanks["left"].conforms, slope.flanks["right"].conforms) == (None, True)
    assert (slope.master_quality, result.master_quality) == (None, None)
    assert len(result.traces) == 15


def test_a_trace_with_a_hole_proves_nothing():
    whole = make.helix("left", 13)
    keep = (whole.position_mm < 5.0) | (whole.position_mm > 11.0)
    result = graded(make.gear(make.with_trace(short(whole, keep))))
    assert gaps(result) == {(key, "left") for key in HELIX}
    assert result.conforms is None
    assert "does not cover its evaluation range: no points from 4.9" in result.not_assessed[0].reason


def test_what_was_evaluated_can_fail_although_a_trace_is_missing():
    cut = short(make.helix("left", 13), slice(30, None))
    result = graded(make.gear(make.with_trace(cut, make.helix("left", 1, slope=7.0))))
    slope = result.parameters["helix_slope"]
    assert (slope.conforms, slope.flanks["left"].conforms, slope.master_quality) == (False, False, False)
    assert (result.conforms, result.class_complete) == (False, False)


def test_several_bad_traces_are_one_reason():
    cut = [short(make.helix("left", tooth), slice(30, None)) for tooth in (38, 13)]
    reason = graded(make.gear(make.with_trace(*cut))).not_assessed[0].reason
    assert reason.startswith("helix trace of tooth 13")
    assert reason.endswith("; 1 more trace is at fault too")
    cut = [short(make.helix("left", tooth), slice(30, None)) for tooth in (38, 13, 26)]
    reason = graded(make.gear(make.with_trace(*cut))).not_assessed[0].reason
    assert reason.endswith("; 2 more traces are at fault too")


def test_too_few_points_are_told():
    few = short(make.profile("right", 1), slice(None, None, 40))
    reason = graded(make.gear(make.with_trace(few))).not_assessed[0].reason
    assert "profile trace of tooth 1, right flank has 12 points in its evaluation range" in reason
    assert "at least 20 are needed" in reason


def test_a_trace_with_a_label_is_named_with_it():
    traces = [*make.all_traces(), Trace("helix", "left", 1, make.FACE[50:], np.zeros(351), label_mm=101.5)]
    assert "tooth 1, left flank at 101.5 mm" in graded(make.gear(traces)).not_assessed[0].reason


def test_gaps_of_master_quality_do_not_open_conformity():
    tables = {"tolerance": {"parameters": [*PITCH]}, "master_quality": {"parameters": [*HELIX]}}
    result = graded(make.gear([]), **tables)
    assert gaps(result) == {(key, None) for key in HELIX}
    assert (result.conforms, result.class_complete, result.master_quality) == (True, True, None)
    assert result.master_deciding == HELIX


def test_a_gear_with_nothing_measured_is_open_in_everything():
    result = graded(GearMeasurement("empty"))
    assert (result.class_, result.beyond, result.class_complete, result.governing) == (None, False, False, ())
    assert (result.conforms, result.master_quality, result.parameters) == (None, None, {})
    assert len(result.not_assessed) == 9


# size

BALLS = {"method": "balls", "pin_diameter_mm": 3.5, "lower_mm": 105.10, "upper_mm": 105.16}


def reading(value: float, **more: object) -> SizeReading:
    return SizeReading("balls", value, **{"pin_diameter_mm": 3.5, **more})


@pytest.mark.parametrize(
    ("value", "conforms"), [(105.10, True), (105.16, True), (105.0999, False), (105.1601, False)]
)
def test_size_counts_for_conformity_and_not_for_class(value, conforms):
    result = graded(make.gear(sizes=(reading(105.12), reading(value))), tolerance={"size": BALLS})
    assert (result.conforms, result.class_, result.master_quality) == (conforms, 1, True)
    assert [s.conforms for s in result.size] == [True, conforms]
    assert (result.size[1].lower_mm, result.size[1].upper_mm, result.size[1].value_mm) == (
        105.10,
        105.16,
        value,
    )


def test_a_size_that_the_drawing_asks_for_and_nobody_measured():
    result = graded(make.gear(), tolerance={"size": BALLS})
    assert gaps(result) == {("size", None)}
    assert (result.conforms, result.class_complete) == (None, True)
    assert "limits the size by balls of 3.5 mm" in result.not_assessed[0].reason
    failing = graded(make.gear(left=make.index(t9=9.0)), tolerance={"size": BALLS})
    assert failing.conforms is False


@pytest.mark.parametrize(
    "other", [SizeReading("span", 34.0, teeth_spanned=6), SizeReading("balls", 105.5, pin_diameter_mm=4.0)]
)
def test_another_size_than_the_drawing_limits_is_shown_and_not_judged(other):
    result = graded(make.gear(sizes=(other,)), tolerance={"size": BALLS})
    (size,) = result.size
    assert (size.conforms, size.lower_mm, size.upper_mm) == (None, None, None)
    assert "what was measured is another size" in result.not_assessed[0].reason
    both = graded(make.gear(sizes=(other, reading(105.12))), tolerance={"size": BALLS})
    assert (both.conforms, both.not_assessed) == (True, ())


def test_span_over_the_teeth_of_the_drawing():
    asked = {"method": "span", "teeth_spanned": 6, "lower_mm": 33.9, "upper_mm": 34.1}
    good, other = SizeReading("span", 34.0, teeth_spanned=6), SizeReading("span", 40.0, teeth_spanned=7)
    result = graded(make.gear(sizes=(good, other)), tolerance={"size": asked})
    assert [s.conforms for s in result.size] == [True, None]
    assert result.conforms is True
    missing = graded(make.gear(sizes=(other,)), tolerance={"size": asked})
    assert "limits the size by span over 6 teeth, and there is none" in missing.not_assessed[0].reason
    del asked["teeth_spanned"]
    missing = graded(make.gear(), tolerance={"size": asked})
    assert "limits the size by span, and there is none; add" in missing.not_assessed[0].reason
    assert graded(make.gear(sizes=(other,)), tolerance={"size": asked}).conforms is False


def test_without_size_limits_a_size_is_only_shown():
    result = graded(make.gear(sizes=(reading(200.0),)))
    assert (result.conforms, result.size[0].conforms) == (True, None)


# warnings


def test_notices_of_the_reader_come_first():
    notice = Notice("reader", "something about this gear")
    gear = make.gear(make.all_traces(teeth=(1, 13)))
    gear = GearMeasurement(gear.serial, gear.traces, gear.pitch, notices=(notice,))
    result = graded(gear)
    assert result.warnings[0] == notice
    assert codes(result)[1:] == ["too_few_teeth"] * 4
    assert "teeth 1, 13 traced" in result.warnings[1].message


def test_notices_stay_in_their_order_when_a_gear_is_judged_anew():
    """By another class, from its own values: what evaluating it with that class gives."""
    gear = make.gear(make.all_traces(teeth=(1, 13)), without=("right",))
    gear = GearMeasurement(gear.serial, gear.traces, gear.pitch, notices=(Notice("reader", "of this gear"),))
    fresh = graded(gear, tolerance={"class": 7})
    anew = judged_anew(graded(gear), setup_of(make.part(tolerance={"class": 7})))
    assert codes(fresh) == ["reader", *["not_assessed"] * 2, *["too_few_teeth"] * 4]
    assert anew == fresh
    whole = graded(GearMeasurement("whole", gear.traces, make.gear().pitch, notices=gear.notices))
    assert codes(judged_anew(whole, setup_of(make.part()))) == ["reader", *["too_few_teeth"] * 4]


@pytest.mark.parametrize(
    ("teeth", "z", "even"),
    [
        ((1, 18, 35), 50, True),
        ((1, 13, 26, 38), 50, True),
        ((1, 2, 3), 50, False),
        ((1, 10, 20), 50, False),
        ((1, 3, 5, 8, 10), 12, True),
        (tuple(range(1, 51)), 50, True),
        ((1, 26, 27), 50, False),
        ((3, 45, 66), 87, True),
        ((1, 7, 25), 36, True),  # gaps 6, 18, 12: just half and one and a half of 12
        ((1, 6, 24), 36, False),
    ],
)
def test_about_evenly_spaced(teeth, z, even):
    assert evenly_spaced(teeth, z) is even


def test_teeth_are_counted_for_each_kind_of_trace():
    profiles = [t for t in make.all_traces(teeth=(1, 26)) if t.kind == "profile"]
    helices = [t for t in make.all_traces() if t.kind == "helix"]
    result = graded(make.gear([*profiles, *helices]))
    assert codes(result) == ["too_few_teeth"] * 2
    assert all(w.message.startswith("profile, ") for w in result.warnings)


def test_unevenly_spaced_teeth_are_told():
    result = graded(make.gear(make.all_traces(teeth=(1, 2, 3))))
    assert codes(result) == ["teeth_not_evenly_spaced"] * 4
    assert result.conforms is True


def test_traces_with_few_points_are_warned_of_once_for_each_kind():
    traces = [
        short(t, slice(None, None, 4)) if t.kind == "profile" and t.tooth == 13 else t
        for t in make.all_traces()
    ]
    result = graded(make.gear(traces))
    assert codes(result) == ["few_points"]
    message = result.warnings[0].message
    assert "2 profile traces with fewer than the 150 points wanted" in message
    assert "125 at the fewest" in message
    assert "first tooth 13, left flank" in message


def test_a_filter_without_points_to_filter_is_warned_of():
    filtering = {"filter": {"enabled": True, "helix_cutoff_mm": 0.1}}
    result = graded(make.gear(), evaluation=filtering)
    assert codes(result) == ["few_points_per_cutoff"]
    assert "8 helix traces with fewer than 3 points within a cutoff" in result.warnings[0].message


def test_a_steep_departure_is_warned_of():
    trace = make.helix("right", 26)
    y = np.where(make.FACE < 0.9, -60 * (0.9 - make.FACE), 0.0)
    chamfered = Trace("helix", "right", 26, trace.position_mm, y)
    result = graded(make.gear(make.with_trace(chamfered)), evaluation={"filter": {"enabled": True}})
    assert codes(result) == ["steep_departure"]
    assert "it is tooth 26, right flank" in result.warnings[0].message
