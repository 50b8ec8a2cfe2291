"""`gearqa incoming`: order of arguments, outputs, exit status, usage, hostile inputs."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

from gearqa.cli import app
from gearqa.results.incoming_json import INCOMING

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
REPORT, FOLDER = SAMPLES / "supplier_report/report.csv", SAMPLES / "ring_conforming"
PART = FOLDER / "part.toml"


def run(capsys, *words):
    status = app.run(["incoming", *map(str, words)])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


def report(tmp_path, *rows, header="serial,parameter,value_um,flank,class,standard"):
    path = tmp_path / "report.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_file_and_folder_in_either_order(capsys):
    results = []
    for words in ((REPORT, FOLDER), (FOLDER, REPORT)):
        status, out, _ = run(capsys, *words, "--lot-size", 200, "--json", "-")
        assert status == 1
        results.append(json.loads(out))
    assert results[0] == results[1]
    jsonschema.validate(results[0], INCOMING.json_schema())
    assert results[0]["explained"] is True
    assert results[0]["decision"] == "hold"
    assert results[0]["simulated"] is True


def test_plain_words_on_the_terminal(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    status, out, err = run(capsys, REPORT, FOLDER, "--supplier", "Hollow Elm Gears (invented)")
    assert status == 1
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    for text in (
        "SIMULATED", "report of Hollow Elm Gears", "203 of 204 confirmed, 1 not confirmed",
        "slopes are taken over the evaluation range, as ISO 1328-1:1995 does",
        "left and right flank change places", "Geometry only", "OT-0206",
    ):  # fmt: skip
        assert text in words
    assert "[simulated]" in err


def test_all_outputs_at_once(capsys, tmp_path):
    names = {"--json": "a.json", "--csv": "a.csv", "--html": "a.html", "--pdf": "a.pdf", "--text": "a.txt"}
    words = [word for option, name in names.items() for word in (option, tmp_path / name)]
    status, out, _ = run(capsys, REPORT, FOLDER, "--quiet", "--csv-style", "semicolon", *words)
    assert (status, out) == (1, "")
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    html = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "SIMULATED" in html
    assert "<svg" in html
    assert (tmp_path / "a.csv").read_bytes().startswith(b"\xef\xbb\xbf# gearqa result")
    assert "We ask you:" in (tmp_path / "a.txt").read_text(encoding="utf-8")


def test_reported_values_alone(capsys, tmp_path):
    status, out, _ = run(capsys, REPORT, "--part", PART, "--html", tmp_path / "a.html")
    assert status == 1
    assert "not measured by us" in out
    assert "not judged" in out
    assert "not measured by us" in (tmp_path / "a.html").read_text(encoding="utf-8")


def test_the_suppliers_raw_traces(capsys):
    status, out, _ = run(capsys, REPORT, FOLDER, "--their-folder", FOLDER, "--json", "-")
    result = json.loads(out)
    assert status == 1
    assert (result["same_gears"], result["comparison"]) == (True, "same data")
    assert result["explained_from"] == "theirs"
    status, out, _ = run(capsys, REPORT, "--part", PART, "--their-folder", FOLDER, "--json", "-")
    alone = json.loads(out)
    assert alone["explained"] is True
    assert alone["measured"] is False


def test_a_plan_decides(capsys, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[sampling]\nn = 12\nac = 0\n", encoding="utf-8")
    _, out, _ = run(capsys, REPORT, FOLDER, "--plan", plan, "--lot-size", 200, "--json", "-")
    result = json.loads(out)
    assert result["lots"]["ours"]["required_n"] == 12
    assert "plan.toml" in {file["file"] for file in result["inputs"]}
    assert all(file["sha256"] for file in result["inputs"] if "left_out" not in file)


def test_exit_0_where_everything_agrees(capsys, tmp_path):
    rows = []
    done = app.run(["grade", str(SAMPLES / "ring_master"), "--csv", str(tmp_path / "graded.csv"), "-q"])
    assert done == 0
    for line in (tmp_path / "graded.csv").read_text(encoding="utf-8").splitlines()[2:]:
        serial, _, parameter, value, flank, _, grade, *_ = line.split(",")
        if not grade:
            continue  # not graded: no class to claim
        rows.append(f"{serial},{parameter},{float(value):.2f},{flank},6,ISO 1328-1:2013")
    path = report(tmp_path, *rows)
    status, out, _ = run(capsys, path, SAMPLES / "ring_master", "--lot-size", 12, "--json", "-")
    result = json.loads(out)
    assert result["explained_reason"] == "no_difference"
    assert (status, result["agrees"], result["decision"]) == (0, True, "release")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "Missing argument"),
        ((FOLDER,), "the table of reported values is missing"),
        ((REPORT,), "the drawing is missing"),
        ((REPORT, "nowhere"), "does not exist"),
        ((REPORT, FOLDER, FOLDER), "3 paths"),
        ((FOLDER, SAMPLES / "pinion"), "two folders"),
        ((REPORT, PART), "two files"),
        ((REPORT, "--part", PART, "--decide-on", "ours"), "nothing was measured by us"),
        ((REPORT, FOLDER, "--their-part", PART), "--their-part: needs the folder of their raw traces"),
        ((REPORT, FOLDER, "--their-folder", "nowhere"), "no folder"),
        ((REPORT, FOLDER, "--lot-size", 0), "expected 1 to 1000000000"),
        ((REPORT, FOLDER, "--lot-size", 5), "lot"),
        ((REPORT, FOLDER, "--decide-on", "mine"), "one of ours, theirs, both"),
        ((REPORT, FOLDER, "--json", "-", "--text", "-"), "two outputs to standard output"),
        ((PART, FOLDER), "part.toml"),
    ],
)
def test_usage_and_inputs_at_fault(capsys, words, told):
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert told in err


def test_nothing_is_written_over_an_input(capsys, tmp_path):
    path = report(tmp_path, "OT-0201,fp,3,left,,")
    before = path.read_bytes()
    status, _, err = run(capsys, path, FOLDER, "--csv", path)
    assert status == 2
    assert "is not overwritten" in err
    assert path.read_bytes() == before


def test_nothing_is_written_over_the_suppliers_raw_data(capsys, tmp_path):
    folder = tmp_path / "theirs"
    shutil.copytree(FOLDER, folder)
    before = (folder / "helix.csv").read_bytes()
    status, _, err = run(
        capsys, REPORT, FOLDER, "--their-folder", folder, "--csv", folder / "helix.csv", "--quiet"
    )
    assert status == 2
    assert "is not overwritten" in err
    assert (folder / "helix.csv").read_bytes() == before


@pytest.mark.parametrize(
    "rows",
    [
        ["<script>alert(1)</script>,Fp,3,left,,"],
        ["=cmd|' /C calc'!A0,Fp,3,left,5,ISO 1328-1:2013"],
        ["\u202eOT-0201,fHα,-3,left,5,\u202eDIN 3962"],
        ["OT-0201,fHα,99999,left,5,ISO 1328-1:2013", "OT-0201,fHα,-1e-300,right,5,"],
        ["OT-0201,Fp,0,left,0,ISO 1328-1:1995"],
        [f"{'9' * 5000},Fr,3,,5,"],
        ["OT-0201,Rs,3,,5,ISO 1328-1:2013", "OT-0201,Cα,3,left,5,"],
        ["OT-0201,fp,3,,4,", "OT-0201,Fα,3,,4,"],
    ],
)
def test_hostile_reports(capsys, tmp_path, rows):
    path = report(tmp_path, *rows)
    names = {option: tmp_path / option for option in ("html", "pdf", "json", "text", "csv")}
    words = [word for option, name in names.items() for word in (f"--{option}", name)]
    status, out, _ = run(capsys, path, FOLDER, *words)
    assert status in (0, 1)  # the last one agrees and claims what our values confirm
    assert out
    html = names["html"].read_text(encoding="utf-8")
    assert "<script>alert" not in html
    jsonschema.validate(json.loads(names["json"].read_text(encoding="utf-8")), INCOMING.json_schema())
    assert max(map(len, names["text"].read_text(encoding="utf-8").splitlines())) <= 72


@pytest.mark.parametrize("content", [b"", b"\x00" * 500, b"PK\x03\x04", b"serial,parameter,value_um\n"])
def test_files_that_are_no_report(capsys, tmp_path, content):
    path = tmp_path / "report.csv"
    path.write_bytes(content)
    status, out, err = run(capsys, path, FOLDER)
    assert (status, out) == (2, "")
    assert "report.csv" in err


@pytest.mark.parametrize("value", ["1e300", "-1e9", "1e999", "nan", "1_0", "0x10", "١"])
def test_numbers_that_no_deviation_has(capsys, tmp_path, value):
    status, out, err = run(capsys, report(tmp_path, f"OT-0201,fHα,{value},left,,"), FOLDER)
    assert (status, out) == (2, "")
    assert "report.csv:2" in err


def test_unmatched_serials_are_told(capsys, tmp_path):
    path = report(tmp_path, "OT-201,Fp,12,left,6,ISO 1328-1:2013", "ot-0202,Fp,12,left,6,ISO 1328-1:2013")
    status, out, _ = run(capsys, path, FOLDER)
    assert status == 1
    assert "OT-201 is not among ours; nearest is OT-0201" in out
    assert "nearest is OT-0202 (differs by leading zeros or case)" in " ".join(out.split())


def test_an_empty_sheet_for_a_supplier(capsys, tmp_path):
    folder = tmp_path / "lot"
    folder.mkdir()
    (folder / "part.toml").write_bytes(PART.read_bytes())
    assert app.run(["new", str(folder), "--reported"]) == 0
    capsys.readouterr()
    sheet = folder / "reported.csv"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text + "OT-0201,Fr,20.0,,,,6,ISO 1328-1:2013,1.5,\n", encoding="utf-8")
    status, out, _ = run(capsys, sheet, FOLDER, "--json", "-")
    assert status == 1
    assert [row["claim"] for row in json.loads(out)["rows"]] == ["confirmed"]
