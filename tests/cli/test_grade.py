"""`gearqa grade`: outputs, verdicts, exit status. Values by hand, see made_folders."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from itertools import product
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from made_folders import INDEX_UM, pitch_folder
from old_outputs import OLD

from gearqa.cli import app
from gearqa.evaluation.evaluate import BATCH_GEARS
from gearqa.results.grade_json import result_json_schema

PROFILE_RANGE = """
[evaluation.profile]
start_roll_length_mm = 1.2
end_roll_length_mm = 6.8
"""
CONTRACT_KEYS = [
    "schema", "software", "standard", "part", "inputs", "simulated", "decision_rule", "master_quality",
    "gears", "lot",
]  # fmt: skip


def grade(*words):
    return app.run(["grade", *map(str, words)])


def graded(capsys, *words):
    status = grade(*words, "--json", "-")
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, json.loads(out)


def rows_of(text):
    first, *lines = text.splitlines()
    assert first == "# gearqa result"
    return list(csv.DictReader(lines))


@pytest.mark.independent
def test_json_holds_the_values_of_the_hand_calculation(capsys, tmp_path):
    status, result = graded(capsys, pitch_folder(tmp_path / "lot"))
    assert status == 0
    assert [key for key in result if key in CONTRACT_KEYS] == CONTRACT_KEYS
    (gear,) = result["gears"]
    fp, Fp = gear["parameters"]["single_pitch"], gear["parameters"]["cumulative_pitch"]
    assert (fp["value_um"], fp["flank"], fp["tooth"]) == (2.0, "left", 3)
    assert (Fp["value_um"], Fp["flank"], Fp["tooth"], Fp["tooth_to"]) == (5.0, "left", 3, 7)
    # ISO 1328-1:2013, d 16, mn 2: fpT(5) = 5.816, FpT(5) = 15.632; class 2 rounds to 2.1 and 5.5
    assert (fp["class"], Fp["class"], gear["class"], gear["governing"]) == (
        2, 2, 2, ["single_pitch", "cumulative_pitch"],
    )  # fmt: skip
    assert (fp["tolerance_um"], Fp["tolerance_um"]) == (8.0, 22.0)
    assert "space" not in fp
    assert "tooth_to" not in fp
    assert set(fp["flanks"]) == {"left", "right"}
    assert {"mean_um", "spread_um", "symbol"} <= set(fp["flanks"]["left"])


def test_json_agrees_with_its_schema_in_every_kind_of_result(capsys, tmp_path):
    schema = result_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    folders = [
        pitch_folder(tmp_path / "a", {"good": 1.0, "bad": 9.0, "beyond": 90.0}),
        pitch_folder(tmp_path / "b", without=("left", 3)),
        pitch_folder(tmp_path / "c", extra="[tolerance.limits_um]\nsingle_pitch = 3.0\n"),
        pitch_folder(tmp_path / "d", {"zero": 0.0}),
    ]
    for folder in folders:
        _, result = graded(capsys, folder)
        jsonschema.validate(result, schema, cls=jsonschema.Draft202012Validator)


@pytest.mark.independent
def test_the_verdicts_and_their_exit_status(capsys, tmp_path):
    status, result = graded(capsys, pitch_folder(tmp_path / "a", {"good": 1.0, "edge": 4.0, "bad": 4.01}))
    # fp 8.00 meets class 6 (8.0), 8.02 does not; class 4 is 4.1 and 11
    assert status == 1
    assert [gear["conforms"] for gear in result["gears"]] == [True, True, False]
    assert [gear["master_quality"] for gear in result["gears"]] == [True, False, False]
    assert result["lot"]["conforms"] is False
    assert result["lot"]["reached_master_quality"] is False
    assert (result["lot"]["gears"], result["lot"]["conforming"], result["lot"]["class"]) == (3, 2, 7)


def test_a_missing_tooth_is_not_assessed_and_exits_1(capsys, tmp_path):
    status, result = graded(capsys, pitch_folder(tmp_path / "lot", without=("left", 3)))
    (gear,) = result["gears"]
    assert status == 1
    assert gear["conforms"] is None
    assert gear["master_quality"] is None
    assert gear["class_complete"] is False
    assert {(one["parameter"], one["flank"]) for one in gear["not_assessed"]} >= {("single_pitch", "left")}


def test_csv_rows(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot", {"A": 1.0, "B": 9.0})
    assert grade(folder, "--csv", "-") == 1
    rows = rows_of(capsys.readouterr().out)
    assert list(rows[0]) == [
        "serial", "measurement", "parameter", "value_um", "flank", "tooth", "class", "class_exact", "beyond",
        "required_class", "tolerance_um", "lower_limit_um", "upper_limit_um", "conforms", "master_quality",
        "standard",
    ]  # fmt: skip
    by_place = {(row["serial"], row["parameter"]): row for row in rows}
    assert by_place["A", "single_pitch"]["value_um"] == "2.0"
    assert by_place["A", "single_pitch"]["conforms"] == "true"
    assert by_place["A", "single_pitch"]["lower_limit_um"] == ""
    assert by_place["B", "cumulative_pitch"]["conforms"] == "false"
    assert by_place["A", "sector_pitch"]["class"] == ""


def test_csv_of_flanks_has_a_row_for_each_flank(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--csv", "-", "--csv-rows", "flank") == 0
    rows = rows_of(capsys.readouterr().out)
    assert [row["flank"] for row in rows if row["parameter"] == "single_pitch"] == ["left", "right"]


def test_csv_for_spreadsheets_with_decimal_comma(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--csv", "-", "--csv-style", "semicolon") == 0
    text = capsys.readouterr().out
    assert text.startswith("\ufeff# gearqa result\nserial;measurement;parameter;")
    assert "single_pitch;2,0;left;3;2;" in text


def test_csv_names_what_was_not_assessed(capsys, tmp_path):
    grade(pitch_folder(tmp_path / "lot", without=("left", 3)), "--csv", "-", "--csv-rows", "flank")
    rows = rows_of(capsys.readouterr().out)
    (row,) = (r for r in rows if r["parameter"] == "single_pitch" and r["flank"] == "left")
    assert (row["value_um"], row["conforms"]) == ("", "")


def test_files_are_written_and_the_verdict_is_still_shown(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    assert grade(folder, "--json", tmp_path / "r.json", "--csv", tmp_path / "r.csv") == 0
    assert json.loads((tmp_path / "r.json").read_text())["lot"]["gears"] == 1
    assert (tmp_path / "r.csv").read_text().startswith("# gearqa result\n")
    assert "Conformity to the drawing: conforms" in capsys.readouterr().out


def test_quiet_prints_nothing(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--quiet") == 0
    assert capsys.readouterr() == ("", "")


def test_two_outputs_to_standard_output_are_an_error(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--json", "-", "--csv", "-") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "two outputs" in err


def test_only_the_serials_asked_for(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot", ["A", "B", "C"])
    _, result = graded(capsys, folder, "--serial", "C", "--serial", "A")
    assert [gear["serial"] for gear in result["gears"]] == ["A", "C"]


def test_another_part_file(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    other = pitch_folder(tmp_path / "other", grade=1) / "part.toml"
    status, result = graded(capsys, folder, "--part", other)
    assert status == 1
    assert result["gears"][0]["parameters"]["single_pitch"]["required_class"] == 1


def test_bad_input_leaves_the_old_outputs_alone(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    table = folder / "pitch.csv"
    table.write_text(table.read_text().replace("left,5,0.0", "left,5,n/a"))
    old = tmp_path / "old.json"
    old.write_text(OLD[".json"])
    before = sorted(tmp_path.rglob("*"))
    assert grade(folder, "--json", old, "--csv", tmp_path / "new.csv") == 2
    assert old.read_text() == OLD[".json"]
    assert sorted(tmp_path.rglob("*")) == before
    err = capsys.readouterr().err
    assert "pitch.csv:6" in err
    assert "n/a" in err


def test_an_input_is_never_overwritten(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    before = (folder / "pitch.csv").read_text()
    assert grade(folder, "--csv", folder / "pitch.csv") == 2
    assert "is not overwritten" in capsys.readouterr().err
    assert (folder / "pitch.csv").read_text() == before


def test_outputs_of_an_earlier_run_in_the_folder_change_nothing(capsys, tmp_path, monkeypatch, caplog):
    monkeypatch.chdir(pitch_folder(tmp_path / "lot"))
    names = {"--json": "r.json", "--csv": "r.csv", "--html": "r.html", "--pdf": "r.pdf"}
    made = []
    for _ in range(2):
        assert grade(".", *(word for pair in names.items() for word in pair)) == 0
        made.append([Path(name).read_bytes() for name in names.values()])
    assert made[0] == made[1]
    assert "not read, made by gearqa itself: r.csv, r.html, r.json, r.pdf" in caplog.text
    caplog.clear()
    Path(".r.json.0123456789abcdef.part").write_text("a run was killed here")
    assert grade(".", "--json", "r.json", "--quiet") == 0
    assert Path("r.json").read_bytes() == made[0][0]
    assert not caplog.text


def test_wrong_choice_names_the_choices(capsys, tmp_path):
    assert grade(pitch_folder(tmp_path / "lot"), "--csv-rows", "tooth") == 2
    assert "expected one of gear, flank, trace" in capsys.readouterr().err


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_every_console_can_show_the_result(tmp_path, encoding):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    done = subprocess.run(
        [sys.executable, "-m", "gearqa", "grade", str(folder)],
        capture_output=True, check=True,
        env={"PYTHONIOENCODING": encoding, "PATH": ""},
    )  # fmt: skip
    text = done.stdout.decode(encoding)
    assert "value" in text
    assert "?" not in text
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_hostile_serials_are_shown_harmlessly(capsys, tmp_path):
    serials = ["[bold]x[/bold]", "=1+1", "<script>", "a\x1b[31mred", "\u202egnol", "s" * 300, "../../etc"]
    folder = pitch_folder(tmp_path / "lot", serials)
    assert grade(folder) == 0
    out = capsys.readouterr().out
    assert "[bold]x[/bold]" in out
    assert "\x1b" not in out
    assert "\u202e" not in out
    _, result = graded(capsys, folder)
    assert [gear["serial"] for gear in result["gears"]] == serials


def test_a_long_lot_shows_the_worst_gears_and_the_counts(capsys, tmp_path):
    factors = {f"G-{i:03d}": 0.5 + i * 0.05 for i in range(100)}
    assert grade(pitch_folder(tmp_path / "lot", factors)) == 1
    out = capsys.readouterr().out
    assert "The worst 20 of 100 gears" in out
    shown = [line.split()[0] for line in out.splitlines() if line.startswith("G-")]
    assert shown == [f"G-{i:03d}" for i in range(99, 79, -1)]
    conforming = sum(max(abs(f * 2.0) for f in [factor]) <= 8.0 for factor in factors.values())
    assert f"{conforming} of 100 gears conform" in out


@pytest.mark.skipif(sys.platform != "linux", reason="cores are taken away with sched_setaffinity")
def test_the_last_bit_does_not_depend_on_the_number_of_cores(tmp_path):
    folder = pitch_folder(tmp_path / "lot", extra=PROFILE_RANGE)
    noise = np.random.default_rng(1)
    rows = ["serial,flank,tooth,roll_length_mm,deviation_um"]
    for gear, flank, tooth in product(range(BATCH_GEARS), ("left", "right"), (1, 3, 6)):
        for at, um in zip(np.linspace(1.0, 7.0, 181), noise.normal(size=181), strict=True):
            rows.append(f"G-{gear},{flank},{tooth},{at:.4f},{um:.3f}")
    (folder / "profile.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")

    def written(cores):
        words = [sys.executable, "-m", "gearqa", "grade", str(folder), "--json", "-"]
        code = f"import os; os.sched_setaffinity(0, {cores}); os.execv({words[0]!r}, {words})"
        environment = {name: text for name, text in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
        return subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, check=False)

    cores = os.sched_getaffinity(0)
    assert written({min(cores)}).stdout == written(cores).stdout != b""


@pytest.mark.independent
def test_index_of_the_folder_is_as_the_hand_calculation_says():
    steps = [a - b for a, b in zip(INDEX_UM, (INDEX_UM[-1], *INDEX_UM[:-1]), strict=True)]
    assert max(map(abs, steps)) == 2.0
    assert max(INDEX_UM) - min(INDEX_UM) == 5.0
