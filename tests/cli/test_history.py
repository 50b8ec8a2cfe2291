"""`gearqa history`: what it prints, writes and returns."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from history_folders import made_folder

from gearqa.cli import app
from gearqa.results.history_json import history_json_schema
from gearqa.wording.safety import WHO_DECIDES

SAMPLES = Path(__file__).parents[2] / "sample_measurements"


@pytest.fixture
def where(tmp_path, monkeypatch):
    """The store of a test, named by the environment."""
    path = tmp_path / "history.sqlite"
    monkeypatch.setenv("GEARQA_STORE", str(path))
    return path


def history(capsys, *words):
    status = app.run(["history", *map(str, words)])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


def document(capsys, *words):
    status, out, _ = history(capsys, *words, "--json", "-")
    found = json.loads(out)
    schema = history_json_schema()
    (report,) = [one for one in schema["oneOf"] if one["properties"]["report"]["const"] == found["report"]]
    jsonschema.validate(found, {**report, "$defs": schema["$defs"]}, cls=jsonschema.Draft202012Validator)
    return status, found


def test_the_store_and_its_gears_are_printed_at_each_use(capsys, where, tmp_path):
    folder = made_folder(tmp_path / "lot", {"A": 1.0, "B": 9.0})
    status, out, err = history(capsys, "list")
    assert (status, out) == (0, "no gears\n")
    assert err == f"history store: {where}, 0 gears (not there yet)\n"
    assert not where.exists()
    status, out, err = history(capsys, "add", folder)
    assert status == 0
    assert out == (f"{folder}: part T-8 A, 2 gears: 2 added; 1 does not conform; 0 new events\n")
    assert err == f"history store: {where}, 0 gears (new)\nnow 2 gears\n"
    status, out, err = history(capsys, "add", folder, "--quiet")
    assert (status, out) == (0, "")
    assert err == f"history store: {where}, 2 gears\nnow 2 gears\n"


def test_the_option_wins_over_the_environment(capsys, where, tmp_path):
    other = tmp_path / "other.sqlite"
    history(capsys, "add", made_folder(tmp_path / "lot"), "--store", f"sqlite:///{other}")
    assert other.exists()
    assert not where.exists()


def test_a_conflict_is_an_error_with_the_way_out(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 1.0}))
    corrected = made_folder(tmp_path / "b", {"A": 1.5})
    status, out, err = history(capsys, "add", corrected)
    assert (status, out) == (2, "")
    assert "A, measured 2025-06-01T05:00:00+00:00: another pitch" in err
    assert "--replace" in err
    status, out, _ = history(capsys, "add", corrected, "--replace")
    assert status == 0
    assert "0 added, 1 superseding the stored ones" in out


def test_bad_input_adds_nothing(capsys, where, tmp_path):
    good, bad = made_folder(tmp_path / "a"), made_folder(tmp_path / "b")
    (bad / "pitch.csv").write_text("serial,flank,tooth,index_um\nA,left,1,many\n")
    status, out, err = history(capsys, "add", good, bad)
    assert (status, out) == (2, "")
    assert "found 'many'" in err
    assert document(capsys, "list")[1]["gears"] == []
    status, _, err = history(capsys, "add", tmp_path / "none")
    assert status == 2
    assert "does not exist" in err


def test_list_as_a_table_and_as_json(capsys, where, tmp_path):
    for day in (1, 2):
        events, names = [f"2025-06-{day:02d}T05:59:00+02:00,GR-1,dress,W-1"], [f"A{day}", f"B{day}"]
        history(capsys, "add", made_folder(tmp_path / str(day), names, day=day, events=events))
    _, out, _ = history(capsys, "list", "--events")
    rows = [line.split() for line in out.splitlines() if line.startswith(("A", "B"))]
    assert [row[0] for row in rows] == ["A1", "B1", "A2", "B2"]
    assert rows[0][1:] == ["2025-06-01", "06:00", "+02:00", "2", "conforms", "reached"]
    assert out.count(" dress ") == 2
    status, found = document(capsys, "list", "--since", "2025-06-02", "--grinder", "GR-1")
    assert status == 0
    assert [gear["serial"] for gear in found["gears"]] == ["A2", "B2"]
    assert [event["event"] for event in found["events"]] == ["dress"]
    assert {Path(one["folder"]).name for one in found["inputs"]} == {"2"}
    assert all(len(one["sha256"]) == 64 for one in found["inputs"])
    assert [g["serial"] for g in document(capsys, "list", "--until", "2025-06-01")[1]["gears"]] == [
        "A1",
        "B1",
    ]
    assert document(capsys, "list", "--serial", "A1", "--serial", "B2")[1]["gears"][1]["serial"] == "B2"
    assert document(capsys, "list", "--part-number", "X")[1]["gears"] == []
    status, _, err = history(capsys, "list", "--since", "yesterday")
    assert status == 2
    assert "found 'yesterday', expected a time" in err


def test_drift_from_a_store_whose_drawing_names_no_system(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "lot", [f"G{n:02d}" for n in range(12)]))
    app.run(["drift"])
    out, err = capsys.readouterr()
    assert "Classes and their limits: ISO 1328-1:2013." in out, err


def test_a_list_of_several_systems_names_that_of_each_gear(capsys, where):
    history(capsys, "add", SAMPLES / "ring_master")
    assert "ISO 1328" not in history(capsys, "list")[1]
    assert {gear["standard"] for gear in document(capsys, "list")[1]["gears"]} == {"ISO 1328-1:2013"}
    older = SAMPLES / "drawings/iso_1328_1_1995.toml"
    history(capsys, "add", SAMPLES / "ring_conforming", "--part", older)
    _, out, _ = history(capsys, "list")
    assert out.count("ISO 1328-1:2013") == out.count("ISO 1328-1:1995") == 12
    systems = [gear["standard"] for gear in document(capsys, "list")[1]["gears"]]
    assert systems.count("ISO 1328-1:2013") == systems.count("ISO 1328-1:1995") == 12


def test_a_long_list_shows_the_last_gears(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "lot", [f"G{n:02d}" for n in range(60)]))
    _, out, _ = history(capsys, "list")
    assert "G19" not in out
    assert "G20" in out
    assert "The last 40 of 60 gears" in out
    _, out, _ = history(capsys, "list", "--all")
    assert "G00" in out


def test_show_gives_the_result_in_full_with_its_former_ones(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 1.0, "B": 1.0}))
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 9.0, "B": 1.0}), "--replace")
    status, out, _ = history(capsys, "show", "A")
    assert status == 0
    assert "grinder GR-1, wheel W-1, dress D01, part 1" in " ".join(out.split())
    assert "superseded result" in out
    status, found = document(capsys, "show", "A")
    assert [(gear["state"], gear["conforms"]) for gear in found["gears"]] == [
        ("superseded", True), ("current", False),
    ]  # fmt: skip
    assert found["gears"][1]["result"]["parameters"]["single_pitch"]["value_um"] == 18.0
    assert [entry["action"] for entry in found["audit"]] == ["supersede"]
    status, _, err = history(capsys, "show", "AA")
    assert status == 2
    assert "has no gear 'AA'" in err
    assert "nearest: A" in err


def test_remove_asks_which_measurement_is_meant(capsys, where, tmp_path):
    for day in (1, 2):
        history(capsys, "add", made_folder(tmp_path / str(day), ["A", f"B{day}"], day=day))
    status, _, err = history(capsys, "remove", "A")
    assert status == 2
    assert "was measured several times: 2025-06-01 07:00 +02:00, 2025-06-02 07:00 +02:00" in err
    status, out, _ = history(
        capsys, "remove", "A", "--measured-at", "2025-06-02T07:00+02:00", "--remark", "x"
    )
    assert (status, out) == (0, "removed: A of part T-8, kept in the log\n")
    assert [g["serial"] for g in document(capsys, "list")[1]["gears"]] == ["A", "B1", "B2"]
    assert history(capsys, "remove", "A", "--measured-at", "2025-07-01")[0] == 2
    assert history(capsys, "remove")[0] == 2


def test_events_are_recorded_listed_and_removed(capsys, where):
    status, out, _ = history(
        capsys, "event", "correction", "--grinder", "GR-1", "--at", "2025-06-01T06:00+02:00", "--parameter",
        "profile_slope", "--flank", "left", "--correction", "-1.5", "--remark", "after 40 parts",
    )  # fmt: skip
    assert (status, out) == (0, "recorded: correction on GR-1, 2025-06-01 06:00 +02:00\n")
    assert history(capsys, "event", "wheel-change", "--grinder", "GR-1", "--wheel", "W-2")[0] == 0
    events = document(capsys, "list")[1]["events"]
    assert [(one["event"], one["wheel"], one["correction"], one["unit"]) for one in events] == [
        ("correction", None, -1.5, "um"), ("wheel change", "W-2", None, None),
    ]  # fmt: skip
    assert history(capsys, "remove", "--event", events[0]["id"])[0] == 0
    assert len(document(capsys, "list")[1]["events"]) == 1
    for words, message in (
        (["correction"], "a correction needs its amount"),
        (["other"], "say what was done"),
        (["dress", "--parameter", "profile_slop"], "nearest: profile_slope"),
        (["polish"], "expected one of dress"),
    ):
        status, _, err = history(capsys, "event", *words, "--grinder", "GR-1")
        assert status == 2
        assert message in err


def test_freeze_by_times_or_dresses(capsys, where, tmp_path):
    for day in (1, 2, 3):
        history(capsys, "add", made_folder(tmp_path / str(day), [f"A{day}"], day=day))
    place = ["--part-number", "T-8", "--grinder", "GR-1"]
    status, out, _ = history(capsys, "freeze", *place, "--from", "D01", "--to", "D02")
    assert status == 0
    assert "2 gears" in out
    status, out, _ = history(capsys, "freeze", *place, "--from", "2025-06-01", "--to", "2025-06-03")
    assert "3 gears" in out
    (reference,) = document(capsys, "list")[1]["references"]
    assert reference["grinder"] == "GR-1"
    assert "Frozen references" in history(capsys, "list")[1]
    assert history(capsys, "freeze", *place, "--from", "2025-06-01", "--to", "D02")[0] == 2
    assert history(capsys, "freeze", *place)[0] == 2
    assert history(capsys, "freeze", *place, "--release")[0] == 0
    assert document(capsys, "list")[1]["references"] == []


def test_regrading_simulated_gears_says_so(capsys, where):
    history(capsys, "add", SAMPLES / "pinion")
    _, out, _ = history(capsys, "regrade", "--class", "5", "--dry-run")
    assert out.startswith("SIMULATED DATA: simulated or made up, not measured on a gear\n")
    assert out.endswith(f"\n{WHO_DECIDES}\n")
    assert document(capsys, "regrade", "--class", "5", "--dry-run")[1]["simulated"] is True


def test_regrade_returns_the_verdict(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 1.0, "B": 5.0}))
    status, out, _ = history(capsys, "regrade", "--class", "9", "--dry-run")
    assert status == 0
    assert "Nothing was written (dry run)." in out
    assert "1: does not conform → conforms" in out
    status, found = document(capsys, "regrade", "--class", "9")
    assert status == 0
    assert [(gear["conforms_before"], gear["conforms_after"]) for gear in found["gears"]] == [
        (True, True), (False, True),
    ]  # fmt: skip
    status, out, _ = history(capsys, "regrade", "--class", "1")
    assert status == 1
    status, _, err = history(capsys, "regrade", "--standard", "ISO 1328-1:1995")
    assert status == 2
    assert "are not converted" in err
    grade = ("regrade", "--standard", "ISO 1328-1:1995", "--class", "9", "--set", "master_quality.class=3")
    status, out, _ = history(capsys, *grade, "--dry-run")
    assert status == 0
    assert "were by ISO 1328-1:2013, are by ISO 1328-1:1995; not converted" in " ".join(out.split())
    status, _, err = history(capsys, "regrade", "--set", "tolerance.clas=3")
    assert status == 2
    assert "tolerance.clas" in err
    assert history(capsys, "regrade", "--set", "tolerance.class")[0] == 2
    assert history(capsys, "regrade", "--set", "tolerance.class=2025-01-01")[0] == 2
    shutil.rmtree(tmp_path / "a")
    status, _, err = history(capsys, "regrade", "--set", "evaluation.slope_span=evaluation")
    assert status == 2
    assert "the folder is gone" in err


def test_a_part_file_for_regrading(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 5.0}))
    revised = made_folder(tmp_path / "b", grade=9) / "part.toml"
    assert history(capsys, "regrade", "--part", revised)[0] == 0


def test_check_and_its_exit_status(capsys, where, tmp_path):
    folder = made_folder(tmp_path / "a", ["A"])
    history(capsys, "add", folder)
    status, out, _ = history(capsys, "check", "--files")
    assert status == 0
    assert out.startswith("nothing wrong: 1 gear,")
    (folder / "pitch.csv").unlink()
    status, found = document(capsys, "check", "--files")
    assert (status, found["sound"]) == (1, False)
    assert [one["code"] for one in found["findings"]] == ["raw_file"]
    where.write_bytes(b"x" * 5000)
    status, out, err = history(capsys, "check")
    assert (status, out) == (2, "")
    assert "is not a history store" in err


def test_export_as_json_and_csv(capsys, where, tmp_path):
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 1.0, "B": 1.0}))
    history(capsys, "add", made_folder(tmp_path / "a", {"A": 2.0, "B": 1.0}), "--replace")
    _, found = document(capsys, "export")
    assert [gear["serial"] for gear in found["gears"]] == ["A", "B"]
    assert len(found["parts"]) == 1
    assert found["parts"][0]["content"]["part"]["number"] == "T-8"
    assert [entry["action"] for entry in found["audit"]] == ["add", "add", "supersede"]
    assert len(document(capsys, "export", "--every-state")[1]["gears"]) == 3
    status, out, _ = history(capsys, "export", "--csv", "-", "--serial", "A")
    first, *lines = out.splitlines()
    assert (status, first) == (0, "# gearqa result")
    rows = {(row["parameter"], row["flank"]): row for row in csv.DictReader(lines)}
    assert rows["single_pitch", "left"]["value_um"] == "4.0"
    assert rows["single_pitch", "left"]["upper_limit_um"] == "8.0"
    assert rows["single_pitch", "left"]["standard"] == "ISO 1328-1:2013"
    assert history(capsys, "export")[0] == 2
    status, _, err = history(capsys, "export", "--json", where)
    assert status == 2
    assert "is not overwritten" in err


def test_the_store_of_a_server_without_driver(capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    status, out, err = history(capsys, "list", "--store", "postgresql://anna:pepper@db/gears")
    assert (status, out) == (2, "")
    assert "gearqa[postgres]" in err
    assert "pepper" not in err
    assert "postgresql://anna:***@db/gears" in err


def test_help_starts_without_the_database_library():
    code = (
        "import sys\nfrom gearqa.cli import app\n"
        "app.run(['history', '--help']); app.run(['history', 'add', '--help'])\n"
        "assert 'sqlalchemy' not in sys.modules and 'alembic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, env=os.environ)


def test_a_command_at_fault_makes_no_store(capsys, where, tmp_path):
    for words in (
        ["add", tmp_path / "none"],
        ["event", "correction", "--grinder", "GR-1"],
        ["regrade", "--since", "yesterday"],
    ):
        status, _, err = history(capsys, *words)
        assert status == 2
        assert "Invalid value for" in err
        assert not where.exists()
