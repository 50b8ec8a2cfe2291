"""Tables are recognised by their header, in the published order of the rules."""

from __future__ import annotations

from pathlib import Path

import pytest

from gearqa.errors import Reason
from gearqa.reading.folder.recognition import recognise

ID = "serial,flank,tooth,"
LABEL = "face_position_mm"


@pytest.mark.parametrize(
    ("header", "kind", "columns"),
    [
        ("serial,space,radial_um", "runout", {"radial_um"}),
        (ID + "index_um", "pitch", {"index_um"}),
        (ID + "pitch_mm", "pitch", {"pitch_um"}),
        (ID + "roll_length_mm,deviation_um", "profile", {"roll_length_mm"}),
        (ID + "roll_angle_deg,deviation_um", "profile", {"roll_angle_deg"}),
        (ID + "roll_angle_deg,diameter_mm,deviation_um", "profile", {"roll_angle_deg"}),
        (ID + "roll_length_mm,face_position_mm,deviation_um", "profile", {"roll_length_mm", LABEL}),
        (ID + "face_position_mm,deviation_um", "helix", {"face_position_mm"}),
        (ID + "face_position_mm,diameter_mm,deviation_um", "helix", {"face_position_mm", "diameter_mm"}),
        (ID + "diameter_mm,deviation_um", "profile", {"diameter_mm"}),
        ("serial,method,pin_diameter_mm,teeth_spanned,value_mm", "size", {"value_mm"}),
        ("at,grinder,event,parameter", "events", {"at", "parameter"}),
        ("serial,grinder", "production", {"grinder"}),
        ("serial,Temperature_degC,extra", "production", {"temperature_degC", "extra"}),
        ("serial;operator;index", "production", {"operator", "index"}),
    ],
)  # fmt: skip
def test_kinds(tmp_path: Path, header: str, kind: str, columns: set[str]) -> None:
    path = tmp_path / "x.csv"
    path.write_text(header + "\n")
    seen = recognise(path, "x.csv")
    assert seen.problems == ()
    assert seen.source is not None
    assert seen.source.kind == kind
    assert columns <= set(seen.source.columns)
    left = {"roll_length_mm", "roll_angle_deg", "diameter_mm", "face_position_mm"} & set(seen.source.columns)
    assert left == {c for c in columns if c in left}


@pytest.mark.parametrize(
    "header",
    [
        "serial,parameter,flank,tooth,value_um",
        "part,operator,trial,parameter,value_um",
        "parameter,value",
        "parameter;value_mm",
    ],
)
def test_reported_values_and_gauge_studies_are_left_out(tmp_path: Path, header: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text(header + "\n1,2\n")
    assert recognise(path, "x.csv").left_out == "a table of reported values or a gauge study"


@pytest.mark.parametrize(
    ("header", "nearest"),
    [
        ("Part,Side,z,fHb", "lacks"),
        ("serial,flank,tooth", "nearest is a pitch table, which lacks index_um|pitch_um"),
        ("serial,space,radius", "nearest is a runout table, which lacks radial_um"),
        ("serial,flank,tooth,rol_length_mm,deviaton_um", "'deviaton_um' may be 'deviation_um'"),
        ("event,wheel no", "nearest is an events table, which lacks at, grinder"),
        ("serial", "nearest is"),
    ],
)
def test_nothing_fits(tmp_path: Path, header: str, nearest: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text(header + "\n1,2\n")
    (problem,) = recognise(path, "x.csv").problems
    assert problem.reason is Reason.UNRECOGNISED_TABLE
    assert nearest in problem.hint
    assert 'ignore = ["x.csv"] at the top of part.toml' in problem.hint


def test_the_result_of_gearqa_is_left_out_whatever_follows(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes("\ufeff# gearqa result\nserial,space,radial_um\nA,1,2\n".encode())
    assert recognise(path, "x.csv").left_out == "a result written by gearqa"
    path.write_text("# other\n# gearqa result\nserial,space,radial_um\nA,1,2\n")
    assert recognise(path, "x.csv").left_out is None


def test_units_give_their_factor(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("serial,flank,tooth,roll_length_mm,DEVIATION_MM\n")
    source = recognise(path, "x.csv").source
    assert source is not None
    assert source.columns["deviation_um"].column == "DEVIATION_MM"
    assert source.columns["deviation_um"].factor == 1000.0
    assert source.columns["roll_length_mm"].factor == 1.0
