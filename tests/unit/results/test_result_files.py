"""Results as JSON and CSV: exact numbers, keys that apply, one gear at a time."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

import gearqa
from gearqa.results.csvio import COLUMNS, GradeCsvWriter
from gearqa.results.grade_json import GRADE, GradeJsonWriter, result_json_schema

SAMPLES = Path(__file__).parents[3] / "sample_measurements"


ANGLES = {
    "profile_slope": {"pressure_angle_deviation_arcmin", "base_radius_deviation_um"},
    "helix_slope": {"helix_angle_deviation_arcmin"},
}


@pytest.fixture(scope="module")
def faults():
    with gearqa.read_folder(SAMPLES / "ring_faults") as inspection:
        return gearqa.grade(inspection)


def json_text(result):
    stream = io.BytesIO()
    writer = GradeJsonWriter(stream)
    writer.begin(result.header)
    for gear in result.gears:
        writer.take(writer.made(gear))
    writer.end(result.lot)
    return stream.getvalue().decode("utf-8")


def csv_rows(result, **options):
    stream = io.BytesIO()
    writer = GradeCsvWriter(stream, **options)
    writer.begin(result.header)
    for gear in result.gears:
        writer.take(writer.made(gear))
    writer.end(result.lot)
    return list(csv.DictReader(stream.getvalue().decode("utf-8").splitlines()[1:]))


def refuse(word):
    raise AssertionError(f"{word} in JSON")


def test_numbers_are_exact_and_never_nan(faults):
    document = json.loads(json_text(faults), parse_constant=refuse)
    for gear, written in zip(faults.gears, document["gears"], strict=True):
        for key, parameter in gear.parameters.items():
            assert written["parameters"][key]["value_um"] == parameter.value_um
            for flank, one in parameter.flanks.items():
                assert written["parameters"][key]["flanks"][flank]["value_um"] == one.value_um
                assert written["parameters"][key]["flanks"][flank]["mean_um"] == one.mean_um


def test_the_samples_agree_with_the_schema(faults):
    validator = jsonschema.Draft202012Validator(result_json_schema())
    for folder in ("ring_faults", "pinion", "ring_master"):
        with gearqa.read_folder(SAMPLES / folder) as inspection:
            result = gearqa.grade(inspection)
        errors = list(validator.iter_errors(json.loads(json_text(result))))
        assert errors == []


def test_the_schema_refuses_what_is_wrong(faults):
    validator = jsonschema.Draft202012Validator(result_json_schema())
    document = json.loads(json_text(faults))
    document["gears"][0]["extra"] = 1
    assert not validator.is_valid(document)
    del document["gears"][0]["extra"]
    assert validator.is_valid(document)
    document["gears"][0]["parameters"]["single_pitch"]["value_um"] = None
    assert not validator.is_valid(document)


def test_angles_of_slopes_stand_only_with_their_slope(faults):
    gear = GRADE.plain(faults.gears[0])
    for key, table in gear["parameters"].items():
        for one in table["flanks"].values():
            angles = {name for name in one if "_deviation_" in name}
            assert angles == ANGLES.get(key, set())
            assert all(math.isfinite(one[name]) for name in angles)


def test_one_gear_a_line(faults):
    lines = json_text(faults).splitlines()
    assert len(lines) == len(faults.gears) + 2
    for line, gear in zip(lines[1:-1], faults.gears, strict=True):
        assert json.loads(line.removesuffix(","))["serial"] == gear.serial


def test_a_value_that_is_no_number_is_a_fault_of_the_program(faults):
    gear = faults.gears[0]
    parameters = {**gear.parameters}
    parameters["runout"] = replace(parameters["runout"], value_um=math.nan)
    with pytest.raises(ArithmeticError, match="value_um of Fr is nan"):
        GRADE.dumps(replace(gear, parameters=parameters))


def test_places_stand_only_where_they_apply(faults):
    gear = GRADE.plain(faults.gears[0])
    place = {"tooth", "tooth_to", "space", "space_to", "method"}
    kept = {key: place & set(table) for key, table in gear["parameters"].items()}
    assert kept["runout"] == {"space", "space_to", "method"}
    assert kept["single_pitch"] == kept["helix_slope"] == kept["adjacent_pitch"] == {"tooth"}
    for key in ("cumulative_pitch", "sector_pitch", "tooth_thickness_variation"):
        assert kept[key] == {"tooth", "tooth_to"}
    traces = {trace["kind"]: trace for trace in gear["traces"]}
    assert "slope_by_helix_angle_um" in traces["helix"]
    assert "slope_by_helix_angle_um" not in traces["profile"]
    assert "hand" not in traces["helix"]
    spur = replace(faults.gears[0].traces[-1], hand="left-hand", slope_by_helix_angle_um=None)
    table = GRADE.plain(spur)
    assert (table["slope_by_helix_angle_um"], table["hand"]) == (None, "left-hand")
    assert {"first_harmonic_um", "closure_um"} <= set(traces["pitch"])


def test_csv_agrees_with_json(faults):
    document = json.loads(json_text(faults))
    rows = {(row["serial"], row["parameter"]): row for row in csv_rows(faults)}
    for gear in document["gears"]:
        for key, parameter in gear["parameters"].items():
            row = rows[gear["serial"], key]
            assert float(row["value_um"]) == parameter["value_um"]
            for name in ("flank", "class", "required_class"):
                assert row[name] == ("" if parameter[name] is None else str(parameter[name]))
            for name in ("beyond", "conforms", "master_quality"):
                assert row[name] == {True: "true", False: "false", None: ""}[parameter[name]]
    missing = [row for row in rows.values() if row["value_um"] == ""]
    assert ("OT-0306", "runout") in {(row["serial"], row["parameter"]) for row in missing}


def test_every_kind_of_csv_rows_fills_its_columns(faults):
    for kind, columns in COLUMNS.items():
        rows = csv_rows(faults, rows=kind)
        assert all(None not in row and None not in row.values() for row in rows)
        assert list(rows[0]) == list(columns)
    assert len(csv_rows(faults, rows="trace")) == sum(len(gear.traces) for gear in faults.gears)


def test_frames(faults):
    gears = gearqa.frames.gears_frame(faults)
    parameters = gearqa.frames.parameters_frame(faults)
    traces = gearqa.frames.traces_frame(faults)
    assert list(gears["serial"]) == [gear.serial for gear in faults.gears]
    assert int(gears["conforms"].sum()) == faults.lot.conforming
    assert int(gears["conforms"].isna().sum()) == faults.lot.undecided
    one = parameters[(parameters["serial"] == "OT-0304") & (parameters["parameter"] == "profile_slope")]
    expected = faults.gears[3].parameters["profile_slope"].flanks["left"].value_um
    assert one[one["flank"] == "left"]["value_um"].item() == expected
    assert len(traces) == sum(len(gear.traces) for gear in faults.gears)
    assert len(gearqa.frames.gears_frame(iter(faults.gears[:2]))) == 2


def test_classes_stand_with_their_system():
    drawing = SAMPLES / "drawings/din_3962_1978.toml"
    with gearqa.read_folder(SAMPLES / "ring_conforming", part=drawing) as inspection:
        result = gearqa.grade(inspection)
    frames = gearqa.frames.gears_frame(result), gearqa.frames.parameters_frame(result)
    assert {system for frame in frames for system in frame["standard"]} == {"DIN 3962:1978"}
    assert set(gearqa.frames.gears_frame(result.gears)["standard"]) == {None}
    for rows in ("gear", "flank"):
        assert {row["standard"] for row in csv_rows(result, rows=rows)} == {"DIN 3962:1978"}


def test_frames_of_nothing():
    assert len(gearqa.frames.traces_frame([])) == 0
