"""`gearqa gauge`: outputs, exit status, usage, studies from folders."""

from __future__ import annotations

import json
import shutil
from inspect import signature
from pathlib import Path

import jsonschema
import pytest

from gearqa.cli import app
from gearqa.cli.commands import gauge
from gearqa.jobs.gauge import study_gauge
from gearqa.results.gauge_json import GAUGE

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
CROSSED, REFERENCE = (SAMPLES / "gauge_study" / name for name in ("crossed.csv", "reference_gear.csv"))
FOLDER = SAMPLES / "ring_conforming"
PART = FOLDER / "part.toml"


def test_the_command_line_pools_as_the_job_does():
    assert signature(study_gauge).parameters["pool_above"].default == gauge.POOL_ABOVE


def run(capsys, *words):
    status = app.run(["gauge", *map(str, words)])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


@pytest.mark.parametrize("table", [CROSSED, REFERENCE])
@pytest.mark.parametrize("drawing", [(), ("--part", PART)])
def test_json_agrees_with_its_schema(capsys, table, drawing):
    status, out, _ = run(capsys, table, *drawing, "--json", "-")
    result = json.loads(out)
    jsonschema.validate(result, GAUGE.json_schema())
    assert status == 0
    assert result["suitable"] is (True if drawing else None)


def test_words_on_a_narrow_terminal(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    status, out, _ = run(capsys, CROSSED, "--part", PART, "--factor", "set-ups")
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    for text in ("SIMULATED", "Good enough for the tolerance: yes", "3 set-ups", "p = ", "[uncertainty_um]"):
        assert text in words
    assert out.index("How far the instrument spreads") < out.index("[uncertainty_um]")


def test_the_uncertainty_block_of_a_reference_study(capsys):
    _, out, _ = run(capsys, REFERENCE)
    assert "profile_slope = 0.72" in out
    assert "helix_slope = 1.13" in out
    row = next(line for line in out.splitlines() if line.startswith("fHβ"))
    assert row.split()[-3:] == ["1.13", "–", "–"]  # 1.12 rounded as usual: less than the study found


def test_the_indices_that_the_verdict_goes_by_are_shown_on_a_narrow_terminal(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    _, out, _ = run(capsys, REFERENCE, "--part", PART)
    assert max(map(len, out.splitlines())) <= 80
    row = next(line for line in out.splitlines() if line.startswith("fHα"))
    found = json.loads(run(capsys, REFERENCE, "--part", PART, "--json", "-")[1])["parameters"][
        "profile_slope"
    ]
    assert row.split()[-2:] == [f"{found['cg']:.2f}", f"{found['cgk']:.2f}"]


@pytest.mark.parametrize(
    ("keep", "told", "silent"),
    [
        (lambda row: row[1] == "A", "1 operator, 3 trials", "Interaction"),
        (lambda row: row[2] == "1", "interaction and repeats cannot be told apart", "Interaction pooled"),
    ],
)
def test_a_study_without_interaction_does_not_speak_of_its_test(capsys, tmp_path, keep, told, silent):
    rows = [line.split(",") for line in CROSSED.read_text(encoding="utf-8").splitlines()[1:]]
    table = tmp_path / "study.csv"
    table.write_text(
        "\n".join(",".join(row) for row in rows if row[0] == "item" or keep(row)) + "\n", encoding="utf-8"
    )
    status, out, _ = run(capsys, table)
    words = " ".join(out.split())
    assert status == 0
    assert told in words
    assert silent not in words
    assert "p = –" not in words


def test_page_and_pdf(capsys, tmp_path):
    status, out, _ = run(capsys, CROSSED, "-q", "--html", tmp_path / "g.html", "--pdf", tmp_path / "g.pdf")
    assert (status, out) == (0, "")
    assert (tmp_path / "g.html").read_text(encoding="utf-8").count("<svg") == 1
    assert (tmp_path / "g.pdf").read_bytes().startswith(b"%PDF")


def test_a_study_from_measured_gears(capsys, tmp_path):
    table = tmp_path / "which.csv"
    rows = [f"OT-02{k + 1:02d},{k // 4},{'AB'[k // 2 % 2]},{k % 2}" for k in range(12)]
    table.write_text("serial,item,operator,trial\n" + "\n".join(rows) + "\n", encoding="utf-8")
    status, out, _ = run(
        capsys, FOLDER, "--study", table, "--parameter", "fHα", "--parameter", "runout", "--json", "-"
    )
    result = json.loads(out)
    jsonschema.validate(result, GAUGE.json_schema())
    assert status in {0, 1}
    assert set(result["parameters"]) == {"profile_slope", "runout"}
    assert result["simulated"] is True
    assert {"which.csv", "profile.csv", "part.toml"} <= {file["file"] for file in result["inputs"]}


def test_nothing_is_written_over_an_input(capsys, tmp_path):
    folder = tmp_path / "lot"
    shutil.copytree(FOLDER, folder)
    table = tmp_path / "which.csv"
    rows = [f"OT-02{k + 1:02d},{k // 4},{'AB'[k // 2 % 2]},{k % 2}" for k in range(12)]
    table.write_text("serial,item,operator,trial\n" + "\n".join(rows) + "\n", encoding="utf-8")
    before = (folder / "profile.csv").read_bytes()
    status, _, err = run(capsys, folder, "--study", table, "--json", folder / "profile.csv")
    assert status == 2
    assert "is not overwritten" in err
    assert (folder / "profile.csv").read_bytes() == before


def test_exit_1_where_the_gauge_is_not_good_enough(capsys, tmp_path):
    drawing = tmp_path / "part.toml"
    text = PART.read_text(encoding="utf-8").replace("class = 6", "class = 1", 1)
    drawing.write_text(text, encoding="utf-8")
    status, out, _ = run(capsys, CROSSED, "--part", drawing)
    assert status == 1
    assert "Not for" in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("nowhere.csv",), "no such file"),
        ((FOLDER,), "--study: a folder needs the table of its trials"),
        ((CROSSED, "--study", CROSSED), "is no folder"),
        ((CROSSED, "--pool-above", "2"), "expected 0 to 1"),
        ((CROSSED, "--parameter", "width"), "is no parameter"),
        ((CROSSED, "--parameter", "Fα"), "none of these is in the study"),
        ((CROSSED, "--part", CROSSED), "crossed.csv"),
        ((FOLDER, "--study", CROSSED), "without column 'serial'"),
    ],
)
def test_usage_and_inputs_at_fault(capsys, words, told):
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert told in err
