"""From tables to measured gears: what arrives in the model, in which unit, order and convention."""

from __future__ import annotations

import hashlib
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from inspection_folder import (
    GOOD_PITCH,
    HELIX,
    PART_TOML,
    PITCH,
    PROFILE,
    RUNOUT,
    TEETH,
    gears,
    part,
    problems,
    read,
    rows,
    write,
)

from gearqa.errors import Reason
from gearqa.reading.folder.passes import read_folder

TRACE = ["A,left,1,1.0,0.5", "A,left,1,2.0,-0.25", "A,left,1,3.0,1.5"]

# base diameter and base helix angle of the gear of these tests, from the defining equations
# tan(alpha_t) = tan(20)/cos(15), d = 5*4/cos(15), sin(beta_b) = sin(15) cos(20), computed by hand
ALPHA_T = math.atan(math.tan(math.radians(20)) / math.cos(math.radians(15)))
BASE = 5 * 4 / math.cos(math.radians(15)) * math.cos(ALPHA_T)
COS_BETA_B = math.cos(math.asin(math.sin(math.radians(15)) * math.cos(math.radians(20))))


def test_one_gear_in_full(tmp_path: Path) -> None:
    gear = gears(
        read(
            tmp_path,
            {
                "profile.csv": rows(PROFILE, TRACE),
                "helix.csv": rows(HELIX, ["A,right,3,0.5,1", "A,right,3,1.5,2"]),
                "pitch.csv": GOOD_PITCH,
                "runout.csv": rows(RUNOUT, [f"A,{space},{space * 0.5}" for space in range(1, TEETH + 1)]),
            },
        )
    )["A"]
    profile, helix = gear.traces
    assert (profile.kind, profile.flank, profile.tooth, profile.label_mm) == ("profile", "left", 1, None)
    assert profile.position_mm.tolist() == [1.0, 2.0, 3.0]
    assert profile.deviation_um.tolist() == [0.5, -0.25, 1.5]
    assert (helix.kind, helix.flank, helix.tooth) == ("helix", "right", 3)
    assert helix.position_mm.tolist() == [0.5, 1.5]
    assert gear.pitch["left"].index_um.tolist() == [0.125, 0.25, 0.375, 0.5, 0.625]
    assert list(gear.pitch) == ["left"]
    assert gear.runout is not None
    assert gear.runout.radial_um.tolist() == [0.5, 1.0, 1.5, 2.0, 2.5]
    assert not profile.position_mm.flags.writeable
    assert not profile.deviation_um.flags.writeable


def test_gears_come_in_the_order_first_met_and_again(tmp_path: Path) -> None:
    files = {
        "a_helix.csv": rows(HELIX, ["Z,left,1,1,0", "Z,left,1,2,0", "M,left,1,1,0"]),
        "b_profile.csv": rows(PROFILE, ["B,left,1,1,0", "Z,left,1,1,0", "A,left,1,1,0", "B,left,1,2,0"]),
    }
    with read(tmp_path, files) as inspection:
        assert inspection.serials == ("Z", "M", "B", "A")
        assert len(inspection) == 4
        assert [gear.serial for gear in inspection] == ["Z", "M", "B", "A"]
        assert [gear.serial for gear in inspection] == ["Z", "M", "B", "A"]
    with pytest.raises(ValueError, match="closed"):
        list(inspection)


def test_points_are_sorted_by_position(tmp_path: Path) -> None:
    gear = gears(read(tmp_path, {"p.csv": rows(PROFILE, TRACE[::-1])}))["A"]
    assert gear.traces[0].position_mm.tolist() == [1.0, 2.0, 3.0]
    assert gear.traces[0].deviation_um.tolist() == [0.5, -0.25, 1.5]


def test_interleaved_rows_and_split_tables_give_the_same_traces(tmp_path: Path) -> None:
    lines = [
        f"{serial},{flank},{tooth},{position},{position * 10 + tooth}"
        for serial in ("A", "B")
        for flank in ("left", "right")
        for tooth in (1, 4)
        for position in range(1, 30)
    ]
    whole = gears(read(tmp_path / "whole", {"p.csv": rows(PROFILE, lines)}))
    order = np.random.default_rng(7).permutation(len(lines))
    shuffled = rows(PROFILE, [lines[i] for i in order])
    split = {f"{n}.csv": rows(PROFILE, lines[n * 80 : n * 80 + 80]) for n in range(3)}
    for name, files in {"shuffled": {"p.csv": shuffled}, "split": split}.items():
        with read(tmp_path / name, files, chunk_rows=37) as inspection:
            other = {gear.serial: gear for gear in inspection}
        assert set(other) == set(whole)
        for serial, gear in whole.items():
            assert len(gear.traces) == len(other[serial].traces) == 4
            for mine, theirs in zip(gear.traces, other[serial].traces, strict=True):
                assert (mine.flank, mine.tooth) == (theirs.flank, theirs.tooth)
                assert mine.position_mm.tolist() == theirs.position_mm.tolist()
                assert mine.deviation_um.tolist() == theirs.deviation_um.tolist()


def test_traces_sampled_alike_share_one_position_array(tmp_path: Path) -> None:
    lines = [f"{s},left,{t},{p / 4},0" for s in "AB" for t in (1, 2) for p in range(4, 20)]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}, chunk_rows=23) as inspection:
        arrays = [trace.position_mm for gear in inspection for trace in gear.traces]
    assert len(arrays) == 4
    assert all(array is arrays[0] for array in arrays)


# --- units and conventions ---------------------------------------------------------------------------


def test_deviation_in_millimetres(tmp_path: Path) -> None:
    header = PROFILE.replace("deviation_um", "Deviation_MM")
    gear = gears(read(tmp_path, {"p.csv": rows(header, ["A,left,1,1.0,-0.0025"])}))["A"]
    assert gear.traces[0].deviation_um.tolist() == [-0.0025 * 1000]


def test_diameter_becomes_roll_length(tmp_path: Path) -> None:
    """L = sqrt(d^2 - d_b^2)/2 (ISO 21771:2007, clause 5, from memory)."""
    header = "serial,flank,tooth,diameter_mm,deviation_um\n"
    gear = gears(read(tmp_path, {"p.csv": rows(header, ["A,left,1,21,1", "A,left,1,22,2"])}))["A"]
    expected = [math.sqrt(d * d - BASE * BASE) / 2 for d in (21, 22)]
    assert gear.traces[0].kind == "profile"
    np.testing.assert_allclose(gear.traces[0].position_mm, expected, rtol=1e-14)


def test_roll_angle_becomes_roll_length(tmp_path: Path) -> None:
    """L = r_b xi (definition of the involute)."""
    header = "serial,flank,tooth,roll_angle_deg,deviation_um\n"
    gear = gears(read(tmp_path, {"p.csv": rows(header, ["A,left,1,10,1", "A,left,1,25.5,2"])}))["A"]
    expected = [BASE / 2 * math.radians(a) for a in (10, 25.5)]
    np.testing.assert_allclose(gear.traces[0].position_mm, expected, rtol=1e-14)


def test_normal_plane_is_divided_by_cos_beta_b_and_pitch_is_not(tmp_path: Path) -> None:
    sheet = part(
        evaluation={
            "deviation_plane": "normal",
            "profile": {"start_roll_length_mm": 1.0, "end_roll_length_mm": 5.0},
        }
    )
    files = {"p.csv": rows(PROFILE, TRACE), "i.csv": GOOD_PITCH, "h.csv": rows(HELIX, ["A,left,1,1,2.0"])}
    gear = gears(read(tmp_path, files, part=sheet))["A"]
    np.testing.assert_allclose(
        gear.traces[0].deviation_um, np.array([0.5, -0.25, 1.5]) / COS_BETA_B, rtol=1e-14
    )
    np.testing.assert_allclose(gear.traces[1].deviation_um, [2.0 / COS_BETA_B], rtol=1e-14)
    assert gear.pitch["left"].index_um.tolist() == [0.125, 0.25, 0.375, 0.5, 0.625]


def test_pitch_is_taken_from_the_measuring_circle_to_the_reference_circle(tmp_path: Path) -> None:
    sheet = part(evaluation={"pitch": {"measuring_diameter_mm": 24.0}})
    gear = gears(read(tmp_path, {"i.csv": GOOD_PITCH}, part=sheet))["A"]
    factor = 20 / math.cos(math.radians(15)) / 24.0
    np.testing.assert_allclose(
        gear.pitch["left"].index_um, np.array([0.125, 0.25, 0.375, 0.5, 0.625]) * factor, rtol=1e-14
    )


def test_single_pitches_are_summed_from_tooth_1_and_their_closure_is_spread(tmp_path: Path) -> None:
    """By hand: 2, -1, 3, -2, 3 sum to 5; less 1 each: 1, -2, 2, -3, 2; summed: 1, -1, 1, -2, 0."""
    lines = [f"A,right,{tooth},{value}" for tooth, value in enumerate([2, -1, 3, -2, 3], 1)]
    pitch = gears(read(tmp_path, {"i.csv": rows("serial,flank,tooth,pitch_um\n", lines)}))["A"].pitch["right"]
    assert pitch.closure_um == 5.0
    assert pitch.index_um.tolist() == [1.0, -1.0, 1.0, -2.0, 0.0]


def test_a_missing_single_pitch_leaves_its_tooth_open(tmp_path: Path) -> None:
    """By hand, tooth 3 missing: 2, 2-1 forwards; tooth 5 is 0, tooth 4 is 0 - 3 backwards."""
    lines = ["A,right,1,2", "A,right,2,-1", "A,right,4,-2", "A,right,5,3"]
    pitch = gears(read(tmp_path, {"i.csv": rows("serial,flank,tooth,pitch_um\n", lines)}))["A"].pitch["right"]
    assert pitch.missing_teeth == (3,)
    assert pitch.index_um[[0, 1, 3, 4]].tolist() == [2.0, 1.0, -3.0, 0.0]
    assert pitch.closure_um == 0.0


def test_missing_teeth_and_spaces_stay_open(tmp_path: Path) -> None:
    files = {
        "i.csv": rows(PITCH, ["A,left,1,1", "A,left,5,2"]),
        "r.csv": rows(RUNOUT, ["A,2,1.5"]),
    }
    gear = gears(read(tmp_path, files))["A"]
    assert gear.pitch["left"].missing_teeth == (2, 3, 4)
    assert gear.runout is not None
    assert gear.runout.missing_spaces == (1, 3, 4, 5)


def test_roll_length_wins_over_other_positions_with_a_notice(tmp_path: Path) -> None:
    header = "serial,flank,tooth,diameter_mm,roll_length_mm,deviation_um\n"
    with read(tmp_path, {"p.csv": rows(header, ["A,left,1,21,1.5,1"])}) as inspection:
        (gear,) = inspection
        assert gear.traces[0].position_mm.tolist() == [1.5]
        assert gear.traces[0].label_mm is None
        (notice,) = inspection.notices
    assert notice.code == "position_column_not_read"
    assert "'diameter_mm' is not read" in notice.message


# --- labels --------------------------------------------------------------------------------------------

LABELLED = "serial,flank,tooth,face_position_mm,roll_length_mm,deviation_um\n"


def test_face_positions_make_several_traces_of_one_tooth(tmp_path: Path) -> None:
    lines = [f"A,left,1,{label},{p},{p}" for label in (16, 4, 10) for p in (1, 2, 3)]
    gear = gears(read(tmp_path, {"p.csv": rows(LABELLED, lines)}))["A"]
    assert [trace.label_mm for trace in gear.traces] == [4.0, 10.0, 16.0]
    assert all(trace.position_mm.tolist() == [1.0, 2.0, 3.0] for trace in gear.traces)


def test_labels_within_a_tenth_of_a_millimetre_belong_together(tmp_path: Path) -> None:
    lines = [
        "A,left,1,10.00,1,1",
        "A,left,1,4.03,1,1",
        "A,left,1,10.09,2,2",
        "A,left,1,10.05,3,3",
        "A,left,1,4.0,2,2",
        "A,left,1,4.0,3,2",
    ]
    for chunk in (1000, 2):
        gear = gears(read(tmp_path / str(chunk), {"p.csv": rows(LABELLED, lines)}, chunk_rows=chunk))["A"]
        assert [len(trace.position_mm) for trace in gear.traces] == [3, 3]
        assert [trace.label_mm for trace in gear.traces] == pytest.approx([4.015, 10.045])


@pytest.mark.parametrize(("other", "traces"), [("10.099", 1), ("10.101", 2), ("9.901", 1), ("9.899", 2)])
def test_where_a_label_becomes_another(tmp_path: Path, other: str, traces: int) -> None:
    lines = [f"A,left,1,{label},{p},0" for p, label in enumerate(["10.0", other] * 4, 1)]
    gear = gears(read(tmp_path, {"p.csv": rows(LABELLED, lines)}))["A"]
    assert len(gear.traces) == traces


def test_a_label_may_be_left_empty(tmp_path: Path) -> None:
    header = "serial,flank,tooth,roll_length_mm,deviation_um,face_position_mm\n"
    lines = [
        f"A,left,{tooth},{p},{p / 8},{face}" for tooth in (1, 2) for p in (1, 2, 3) for face in ("", 5.0)
    ]
    lines += [f"A,right,1,{p},0, " for p in (3, 1, 2)]
    gear = gears(read(tmp_path, {"p.csv": rows(header, lines)}))["A"]
    traces = [(t.flank, t.tooth, t.label_mm, len(t.position_mm)) for t in gear.traces]
    assert sorted(traces, key=str) == sorted(
        [(flank, tooth, label, 3) for flank, tooth, label in (
            ("left", 1, 5.0), ("left", 1, None), ("left", 2, 5.0), ("left", 2, None), ("right", 1, None),
        )],
        key=str,
    )  # fmt: skip


def test_diameters_make_several_helix_traces(tmp_path: Path) -> None:
    header = "serial,flank,tooth,face_position_mm,diameter_mm,deviation_um\n"
    lines = [f"A,left,1,{p},{d},{p}" for p in (1, 2, 3) for d in (22, 23)]
    gear = gears(read(tmp_path, {"h.csv": rows(header, lines)}))["A"]
    assert [(trace.kind, trace.label_mm) for trace in gear.traces] == [("helix", 22.0), ("helix", 23.0)]


# --- serials -------------------------------------------------------------------------------------------


def test_serials_are_trimmed_texts(tmp_path: Path) -> None:
    lines = [
        "007,left,1,1,0",
        " 7 ,left,1,1,0",
        "7.0,left,1,1,0",
        "a,left,1,1,0",
        "A,left,1,1,0",
        "007,left,1,2,0",
    ]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}) as inspection:
        assert inspection.serials == ("007", "7", "7.0", "a", "A")


def test_only_the_serials_asked_for(tmp_path: Path) -> None:
    lines = [f"{s},left,1,1,0" for s in "CAB"]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}, serials=("B", "C")) as inspection:
        assert [gear.serial for gear in inspection] == ["C", "B"]


def test_one_serial_may_be_given_as_a_text(tmp_path: Path) -> None:
    lines = [f"{s},left,1,1,0" for s in ("AB", "A", "B")]
    with read(tmp_path, {"p.csv": rows(PROFILE, lines)}, serials="AB") as inspection:
        assert inspection.serials == ("AB",)


def test_a_serial_in_one_table_only_gets_a_notice_with_the_leading_zeros(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, ["007,left,1,1,0"]), "h.csv": rows(HELIX, ["7,left,1,1,0"])}
    found = gears(read(tmp_path, files))
    (notice,) = found["007"].notices
    assert notice.code == "serial_without_table"
    assert "no rows in the helix table, other serials have" in notice.message
    assert "'7' (differs by leading zeros)" in notice.message
    assert "no rows in the profile table" in found["7"].notices[0].message


def test_several_tables_that_a_serial_lacks_are_listed(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, ["A,left,1,1,0"]), "h.csv": rows(HELIX, ["A,left,1,1,0"])}
    files |= {"i.csv": rows(PITCH, ["A,left,1,0", "B,left,1,0"])}
    (notice,) = gears(read(tmp_path, files))["B"].notices
    assert notice.message == "serial 'B' has no rows in the profile and helix tables, other serials have"


def test_a_serial_known_only_from_production_is_no_gear(tmp_path: Path) -> None:
    files = {
        "p.csv": rows(PROFILE, ["07,left,1,1,0"]),
        "production.csv": "serial,grinder\n07,GR-1\n7,GR-1\nX,GR-1\n",
        "size.csv": "serial,method,pin_diameter_mm,teeth_spanned,value_mm\nX,balls,3,,40.1\n",
    }
    with read(tmp_path, files) as inspection:
        assert inspection.serials == ("07",)
        messages = [n.message for n in inspection.notices if n.code == "serial_without_measurement"]
    assert messages == [
        "serial '7' (there is '07' (differs by leading zeros)) known only from production: "
        "nothing to grade, no gear",
        "serial 'X' known only from size and production: nothing to grade, no gear",
    ]


# --- size, production, events --------------------------------------------------------------------------


def test_size_production_and_events(tmp_path: Path) -> None:
    files = {
        "p.csv": rows(PROFILE, TRACE),
        "size.csv": "serial,method,pin_diameter_mm,teeth_spanned,value_mm,position\n"
        "A,Balls,3,,40.125,space 1\nA,span,,2,18.5,\n",
        "production.csv": "serial,finished_at,grinder,wheel,dress,parts_since_dress,temperature_degC,Pallet\n"
        "A,2025-03-04T06:05:35+01:00,GR-1,W-17,D001,3,20.5,P 9\n",
        "events.csv": "at,grinder,event,flank,correction,unit,remark\n"
        '2025-03-04T05:00:00Z,GR-1,correction,LEFT,-1.5,um,"a, b"\n',
    }
    with read(tmp_path, files) as inspection:
        (gear,) = inspection
        (event,) = inspection.events
    balls, span = gear.sizes
    assert (balls.method, balls.value_mm, balls.pin_diameter_mm, balls.position) == (
        "balls",
        40.125,
        3.0,
        "space 1",
    )
    assert (span.method, span.value_mm, span.teeth_spanned, span.pin_diameter_mm) == ("span", 18.5, 2, None)
    made = gear.production
    assert made is not None
    assert made.finished_at == datetime(2025, 3, 4, 5, 5, 35, tzinfo=UTC)
    assert (made.grinder, made.wheel, made.dress, made.parts_since_dress) == ("GR-1", "W-17", "D001", 3)
    assert made.temperature_degC == 20.5
    assert made.labels == {"Pallet": "P 9"}
    assert made.operator is None
    assert event.at.utcoffset() == timedelta(0)
    assert (event.event, event.flank, event.correction, event.remark) == ("correction", "left", -1.5, "a, b")


def test_production_may_be_split_by_column(tmp_path: Path) -> None:
    files = {
        "p.csv": rows(PROFILE, TRACE),
        "made.csv": "serial,grinder,shift\nA,GR-1,2\n",
        "measured.csv": "serial,instrument,grinder\nA,GM-1,GR-1\n",
    }
    made = gears(read(tmp_path, files))["A"].production
    assert made is not None
    assert (made.grinder, made.instrument, made.labels) == ("GR-1", "GM-1", {"shift": "2"})


def test_times_without_a_zone_stay_local_and_it_is_said(tmp_path: Path) -> None:
    files = {"p.csv": rows(PROFILE, TRACE), "m.csv": "serial,finished_at\nA,2025-03-04 06:05\n"}
    with read(tmp_path, files) as inspection:
        (gear,) = inspection
        assert [n.code for n in inspection.notices] == ["times_without_zone"]
    assert gear.production is not None
    assert gear.production.finished_at == datetime(2025, 3, 4, 6, 5)


@pytest.mark.parametrize("measured", ["2025-03-04 06:05", "2025-03-04T06:05Z"])
def test_the_day_on_which_a_calibration_is_due_needs_no_zone(tmp_path: Path, measured: str) -> None:
    table = f"serial,measured_at,calibration_due\nA,{measured},2026-01-31\n"
    with read(tmp_path, {"p.csv": rows(PROFILE, TRACE), "m.csv": table}) as inspection:
        (gear,) = inspection
        naive = [] if measured.endswith("Z") else ["times_without_zone"]
        assert [n.code for n in inspection.notices] == naive
    assert gear.production is not None
    assert gear.production.calibration_due is not None
    assert gear.production.measured_at is not None
    assert gear.production.calibration_due > gear.production.measured_at


def test_times_with_and_without_zone_can_be_compared(tmp_path: Path) -> None:
    files = {
        "p.csv": rows(PROFILE, TRACE),
        "m.csv": "serial,finished_at\nA,2025-03-04 06:05\n",
        "e.csv": "at,grinder,event\n2025-03-04T06:05Z,GR-1,dress\n",
    }
    with read(tmp_path, files) as inspection:
        (gear,) = inspection
        assert gear.production is not None
        assert gear.production.finished_at is not None
        assert abs(gear.production.finished_at - inspection.events[0].at) < timedelta(days=1)


# --- files ---------------------------------------------------------------------------------------------


def test_inputs_name_every_file_with_its_digest_or_reason(tmp_path: Path) -> None:
    table = rows(PROFILE, TRACE)
    files = {
        "P.CSV": table,
        "notes.txt": "hello",
        "other.toml": "x = 1",
        "notes-1.csv": "scribble",
        "result.csv": "# gearqa result\nserial,parameter,value_um\nA,runout,1\n",
        "reported.csv": "serial,parameter,flank,tooth,value_um\nA,runout,,,3\n",
        "study.csv": "part,operator,trial,parameter,value_um\n1,A,1,runout,3\n",
        ".hidden.csv": "x",
    }
    toml = 'ignore = ["notes*.csv"]\n' + PART_TOML
    with read(tmp_path, files, toml=toml) as inspection:
        inputs = {file.file: file for file in inspection.inputs}
        notices = inspection.notices
    assert inputs["part.toml"].sha256 == hashlib.sha256(toml.encode()).hexdigest()
    assert inputs["P.CSV"].sha256 == hashlib.sha256(table.encode()).hexdigest()
    assert inputs["P.CSV"].left_out is None
    reasons = {name: file.left_out for name, file in inputs.items() if file.left_out}
    assert reasons == {
        "notes.txt": "no .csv file",
        "other.toml": "another TOML file than the part file",
        "notes-1.csv": "named by ignore",
        "reported.csv": "a table of reported values or a gauge study",
        "study.csv": "a table of reported values or a gauge study",
        ".hidden.csv": "a hidden file",
    }
    assert {n.code for n in notices} == {"files_ignored", "files_not_read", "table_left_out"}


def test_the_part_may_be_another_file(tmp_path: Path) -> None:
    write(tmp_path / "f", {"p.csv": rows(PROFILE, TRACE)}, toml=None)
    other = tmp_path / "drawing.toml"
    other.write_text(PART_TOML)
    with read_folder(tmp_path / "f", part=other) as inspection:
        assert inspection.part.part.number == "OT-4471"
        assert inspection.inputs[0].file == str(other)


def test_simulated_tables_mark_the_inspection(tmp_path: Path) -> None:
    with read(tmp_path, {"p.csv": "# gearqa simulated\n" + rows(PROFILE, TRACE)}) as inspection:
        assert inspection.simulated
        assert [n.code for n in inspection.notices] == ["simulated"]
    with read(tmp_path / "real", {"p.csv": rows(PROFILE, TRACE)}) as inspection:
        assert not inspection.simulated
        assert inspection.notices == ()


def test_unknown_columns_are_ignored_with_a_notice(tmp_path: Path) -> None:
    header = "serial,flank,tooth,roll_length_mm,deviation_um,fase_position_mm\n"
    with read(tmp_path, {"p.csv": rows(header, ["A,left,1,1,0.5,9"])}) as inspection:
        (notice,) = inspection.notices
    assert notice.code == "unknown_column"
    assert "'fase_position_mm' is not known" in notice.message
    assert "did you mean 'face_position_mm'?" in notice.message


def test_a_column_map_reads_its_files_alone(tmp_path: Path) -> None:
    mapped = "Part;Side;Zahn;Weg;Abw\nA;L;0;1,5;0,002\nA;L;0;2,5;0,003\n"
    columns = """\
[profile]
file = "PROF_*.txt"
[profile.columns]
serial = "Part"
flank = { column = "Side", values = { L = "left", R = "right" } }
tooth = { column = "Zahn", offset = 1 }
roll_length_mm = "Weg"
deviation_um = { column = "Abw", factor = 1000.0 }
"""
    files = {"PROF_1.txt": mapped, "map.toml": columns, "pitch.csv": GOOD_PITCH}
    with read(tmp_path, files, columns=tmp_path / "map.toml") as inspection:
        (gear,) = inspection
        assert {f.file for f in inspection.inputs if f.sha256} == {
            "part.toml", "map.toml", "PROF_1.txt", "pitch.csv"
        }  # fmt: skip
        assert inspection.notices == ()
    assert gear.traces[0].tooth == 1
    assert gear.traces[0].position_mm.tolist() == [1.5, 2.5]
    assert gear.traces[0].deviation_um.tolist() == [2.0, 3.0]


def test_unmapped_files_turn_with_the_convention_of_a_map_without_tables(tmp_path: Path) -> None:
    files = {
        "map.toml": '[convention]\nseen_from = "opposite_face"\n',
        "h.csv": rows(HELIX, ["A,left,2,1,0.5", "A,left,2,4,1.5"]),
    }
    inspection = read(tmp_path, files, columns=tmp_path / "map.toml")
    (told,) = [one.message for one in inspection.notices if one.code == "tables_turned"]
    assert f"tooth 2 here is tooth {TEETH} of theirs, the left flank here their right flank" in told
    (trace,) = gears(inspection)["A"].traces
    assert (trace.flank, trace.tooth) == ("right", TEETH)
    assert trace.position_mm.tolist() == [16.0, 19.0]
    assert trace.deviation_um.tolist() == [1.5, 0.5]


def test_a_wide_table_gives_one_trace_per_column(tmp_path: Path) -> None:
    columns = r"""
[helix]
file = "wide.csv"
[helix.columns]
serial = { constant = "A" }
face_position_mm = "z"
[[helix.wide]]
header = 'T(?P<tooth>\d+)(?P<flank>[LR])'
values = { L = "left", R = "right" }
"""
    files = {"wide.csv": "z,T01L,T02R,other\n1,0.5,1,9\n2,0.25,2,9\n", "map.toml": columns}
    traces = gears(read(tmp_path, files, columns=tmp_path / "map.toml"))["A"].traces
    assert [(t.flank, t.tooth, t.deviation_um.tolist()) for t in traces] == [
        ("left", 1, [0.5, 0.25]),
        ("right", 2, [1.0, 2.0]),
    ]


def test_a_wide_runout_table_counted_from_zero(tmp_path: Path) -> None:
    columns = r"""
[runout]
file = "wide.csv"
[runout.columns]
serial = "S"
[[runout.wide]]
header = 'gap (?P<space>\d+)'
value = "radial_mm"
tooth_offset = 1
"""
    files = {"wide.csv": "S;gap 0;gap 1\nA;0,001;0,002\nB;0,003;-0,004\n", "map.toml": columns}
    found = gears(read(tmp_path, files, columns=tmp_path / "map.toml"))
    readings = {serial: gear.runout for serial, gear in found.items()}
    assert {s: None if r is None else r.radial_um[:2].tolist() for s, r in readings.items()} == {
        "A": [1.0, 2.0],
        "B": [3.0, -4.0],
    }


def test_a_where_that_picks_nothing(tmp_path: Path) -> None:
    columns = """
[runout]
file = "r.csv"
where = { No = "2" }
columns = { serial = "S", space = "gap", radial_um = "r" }
"""
    files = {"r.csv": "S,gap,r,No\nA,1,0,1\n", "map.toml": columns, "i.csv": GOOD_PITCH}
    (problem,) = problems(tmp_path, files, columns=tmp_path / "map.toml")
    assert (problem.reason, problem.file) == (Reason.EMPTY_TABLE, "r.csv")
    assert problem.found == "no row that fits `where`"


def test_rows_picked_by_where_units_row_and_footer(tmp_path: Path) -> None:
    columns = """
[helix]
file = "h.csv"
skip_rows = 1
skip_after_header = 1
skip_last_rows = 1
blank = "drop"
where = { "Part no" = "OT-4471" }
[helix.columns]
serial = "S"
flank = { constant = "left" }
tooth = { constant = 2 }
face_position_mm = "z"
deviation_um = "d"
"""
    body = ["OT-4471,A,1,0.5", "OT-1,A,1,9", "OT-4471,A,2,", "OT-4471,A,3,0.75", "end,,,"]
    table = rows("Report 7\nPart no,S,z,d\n,,mm,um\n", body)
    with read(tmp_path, {"h.csv": table, "map.toml": columns}, columns=tmp_path / "map.toml") as inspection:
        (gear,) = inspection
        assert [n.code for n in inspection.notices] == ["blank_rows_dropped"]
    assert gear.traces[0].position_mm.tolist() == [1.0, 3.0]


def test_times_of_a_map_have_format_and_zone(tmp_path: Path) -> None:
    columns = """
[production]
file = "m.csv"
[production.columns]
serial = "S"
finished_at = { columns = ["Date", "Time"], format = "%d.%m.%Y %H:%M", timezone = "Europe/Vienna" }
"""
    files = {
        "m.csv": "S;Date;Time\nA;04.07.2025;06:30\n",
        "map.toml": columns,
        "p.csv": rows(PROFILE, TRACE),
    }
    made = gears(read(tmp_path, files, columns=tmp_path / "map.toml"))["A"].production
    assert made is not None
    assert made.finished_at == datetime(2025, 7, 4, 4, 30, tzinfo=UTC)


def test_the_part_file_may_name_the_column_map(tmp_path: Path) -> None:
    toml = 'columns = "map.toml"\n' + PART_TOML
    files = {"map.toml": 'ignore = ["x.csv"]\n[convention]\n', "x.csv": "nonsense", "i.csv": GOOD_PITCH}
    with read(tmp_path, files, toml=toml) as inspection:
        left_out = {f.file: f.left_out for f in inspection.inputs if f.left_out}
    assert left_out == {"x.csv": "named by ignore"}


def test_a_faulty_map_is_told_with_the_tables(tmp_path: Path) -> None:
    files = {"map.toml": "[profil]\n", "x.csv": "nonsense", "i.csv": rows(PITCH, ["A,left,99,1"])}
    found = problems(tmp_path, files, columns=tmp_path / "map.toml")
    assert [(p.file, p.reason) for p in found] == [
        ("map.toml", Reason.UNKNOWN_KEY),
        ("i.csv", Reason.OUT_OF_RANGE),
    ]
