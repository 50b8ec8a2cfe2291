"""`gearqa drift`: the sample history against its truth, outputs, exit status, and what cannot be told."""

from __future__ import annotations

import csv
import hashlib
import json
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import jsonschema
import pytest
from made_folders import pitch_folder
from outside import pdf_text

from gearqa.cli import app
from gearqa.results.drift_json import COLUMNS, DRIFT

SAMPLE = Path(__file__).parents[2] / "sample_measurements" / "drift_history"
SERIES_KEYS = {
    "part", "grinder", "parameter", "flank", "gears", "cycles", "in_control", "wear_um_per_part",
    "wear_interval_um_per_part", "wear_confidence", "sd_um", "level_trend_um_per_cycle", "cycle_levels_um",
    "steps", "signals", "limit_um", "parts_to_limit", "parts_to_limit_reason", "dress_interval_parts",
    "dress_interval_reason", "risk", "centring_offset_um", "sd_part_um", "sd_cycle_um", "limit_kind",
    "reference", "segment_from_cycle", "trend_interval", "false_alarm", "identifiable", "reasons",
    "level_moved", "corrections", "labels", "curved", "if_straight_parts", "gap", "suspected", "rho",
    "quarantine", "current_dress_interval_parts",
}  # fmt: skip
START = datetime(2026, 3, 2, 6, tzinfo=UTC)
PARTS = 20
"""Parts per dress of the made folders."""
WOBBLE = (0.013, -0.021, 0.008, -0.004, 0.017, -0.011, 0.002)
"""Scatter of the factors, so that no two cycles are alike."""


def no_constant(word: str):
    raise AssertionError(f"{word} in JSON")


def loads(text: str) -> dict:
    return json.loads(text, parse_constant=no_constant)


def drift(*words: object) -> int:
    return app.run(["drift", *map(str, words)])


def drifted(capsys, *words: object) -> tuple[int, dict]:
    status = drift(*words, "--json", "-")
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, loads(out)


def refused(capsys, *words: object) -> str:
    assert drift(*words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    return err


def series_of(result: dict, parameter: str = "single_pitch", flank: str | None = "left") -> dict:
    return next(s for s in result["series"] if (s["parameter"], s["flank"]) == (parameter, flank))


def made_history(
    folder: Path,
    *,
    cycles: int = 14,
    places: tuple[int, ...] = (1, 10, 20),
    wear: float = 0.02,
    shift: tuple[int, int, float] = (0, 0, 0.0),
    columns: tuple[str, ...] = ("finished_at", "grinder", "wheel", "dress", "parts_since_dress"),
    zone: bool = True,
) -> Path:
    """Gears whose single pitch is 2 um times a factor that grows by `wear` a part.

    `shift`: first and last cycle, and by how much the factor is larger there.
    """
    factors, rows = {}, [",".join(("serial", *columns))]
    for c in range(1, cycles + 1):
        for place in places:
            serial, k = f"P{(c - 1) * PARTS + place:04d}", len(factors)
            scatter = WOBBLE[(3 * k + c) % 7] + 2 * WOBBLE[(c * c + 2) % 7]
            moved = shift[2] if shift[0] <= c <= shift[1] else 0.0
            factors[serial] = round(1.0 + wear * (place - 1) + scatter + moved, 6)
            at = START + timedelta(minutes=2 * ((c - 1) * PARTS + place))
            values = {
                "finished_at": at.isoformat() if zone else at.replace(tzinfo=None).isoformat(),
                "grinder": "GR-9", "wheel": "W-1", "dress": f"A{c}", "parts_since_dress": str(place),
            }  # fmt: skip
            rows.append(",".join((serial, *(values[column] for column in columns))))
    pitch_folder(folder, factors)
    (folder / "production.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.fixture
def folder(tmp_path) -> Path:
    return made_history(tmp_path / "lot")


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, Path]:
    out = tmp_path_factory.mktemp("drift")
    files = [word for kind in ("json", "csv", "html", "pdf") for word in (f"--{kind}", out / f"d.{kind}")]
    return drift(SAMPLE, *files, "--quiet"), out


# --- the sample history -------------------------------------------------------------------------


# The injected truth stands in the comments of sample_measurements/scenarios/drift_history.toml.
def test_sample_history_tells_the_injected_truth(sample):
    status, out = sample
    result = loads((out / "d.json").read_text())
    assert status == 1
    assert result["alarm"] is True
    assert result["simulated"] is True
    wears = {
        ("profile_slope", "left"): -0.100, ("profile_slope", "right"): -0.060,
        ("profile_crowning", "left"): -0.010, ("profile_crowning", "right"): -0.010,
    }  # fmt: skip
    for place, wear in wears.items():
        low, high = series_of(result, *place)["wear_interval_um_per_part"]
        assert low <= wear <= high, place
    (correction,) = series_of(result, "profile_slope", "left")["corrections"]
    assert (correction["cycle"], correction["intended"], correction["verdict"]) == (25, 1.5, "as intended")
    assert correction["low"] < 1.5 < correction["high"]
    for flank in ("left", "right"):
        (step,) = series_of(result, "helix_slope", flank)["steps"]
        assert (step["cycle"], step["event"]) == (31, None)
    assert series_of(result, "profile_slope", "right")["level_moved"] is True
    assert result["family"] == {"wear": 0.01, "level": 0.03, "labels": 0.01}


def test_the_tolerance_system_of_the_limits_is_named(sample, capsys):
    folder = str(SAMPLE)
    app.run(["drift", folder, "--json", "-", "--parameter", "runout"])
    assert json.loads(capsys.readouterr().out)["standards"] == ["ISO 1328-1:2013"]
    app.run(["drift", folder, "--parameter", "runout"])
    assert "Classes and their limits: ISO 1328-1:2013." in " ".join(capsys.readouterr().out.split())


def test_json_agrees_with_its_schema_and_holds_every_promised_key(sample):
    result = loads((sample[1] / "d.json").read_text())
    schema = DRIFT.json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(result, schema, cls=jsonschema.Draft202012Validator)
    assert result["schema"] == "gearqa.drift/1"
    assert {"software", "inputs", "simulated", "reasons", "series", "advice", "family", "hold"} <= set(result)
    for series in result["series"]:
        assert set(series) >= SERIES_KEYS
        assert (series["parts_to_limit"] is None) == (series["parts_to_limit_reason"] is not None)
        assert (series["dress_interval_parts"] is None) == (series["dress_interval_reason"] is not None)
    digests = {one["file"]: one["sha256"] for one in result["inputs"]}
    for name in ("part.toml", "profile.csv", "events.csv"):
        assert digests[name] == hashlib.sha256((SAMPLE / name).read_bytes()).hexdigest()
    assert [one["code"] for one in result["reasons"]] == ["signal"]


def test_csv_has_a_row_for_every_series(sample):
    result = loads((sample[1] / "d.json").read_text())
    mark, *lines = (sample[1] / "d.csv").read_text().splitlines()
    assert mark.startswith("# gearqa result, SIMULATED")
    rows = list(csv.DictReader(lines))
    assert list(rows[0]) == [column.partition("=")[0] for column in COLUMNS]
    assert [(r["parameter"], r["flank"] or None) for r in rows] == [
        (s["parameter"], s["flank"]) for s in result["series"]
    ]
    row, series = next((row, one) for row, one in zip(rows, result["series"], strict=True) if one["steps"])
    assert float(row["wear_low_um_per_part"]) == series["wear_interval_um_per_part"][0]
    assert int(row["last_step_cycle"]) == series["steps"][-1]["cycle"]


def test_page_and_paper_begin_with_the_answers(sample):
    result = loads((sample[1] / "d.json").read_text())
    page = (sample[1] / "d.html").read_text()
    sentence = result["headline"]
    assert sentence in page
    order = (
        "SIMULATED DATA", "Wrong now", "At the grinder", "What is wrong now", "What to do to the grinder",
        "When to dress", "What to measure", "<h3>Series</h3>", sentence, "<figure class=newest>",
    )  # fmt: skip
    places = [page.index(words) for words in order]
    assert places == sorted(places)
    assert "A qualified setter checks every correction" in page
    text = " ".join(pdf_text(sample[1] / "d.pdf").split())
    assert sentence in text
    for words in (
        "SIMULATED DATA",
        "A qualified setter checks",
        "Input files",
        "No unmeasured part needs to be held",
    ):
        assert words in text


def test_who_has_seen_a_signal_stands_in_chart_and_list(capsys, tmp_path):
    store = tmp_path / "h.sqlite"
    folder = made_history(tmp_path / "lot", cycles=16, shift=(14, 16, 0.5))
    assert app.run(["history", "add", str(folder), "--store", str(store), "--quiet"]) == 0
    capsys.readouterr()
    part = drifted(capsys, "--store", store)[1]["series"][0]["part"]
    ack = ["history", "acknowledge", "--store", str(store), "--part-number", part, "--grinder", "GR-9"]
    said = ["--by", "N. Setter", "--cause", "clamping ring worn", "--action", "ring replaced."]
    assert app.run([*ack, *said, "--at", "2026-03-03"]) == 0
    capsys.readouterr()
    status, result = drifted(capsys, "--store", store, "--html", tmp_path / "d.html")
    assert status == 1
    (seen,) = series_of(result)["seen"]
    assert (seen["cycle"], seen["dress"], seen["by"]) == (16, "A16", "N. Setter")
    line = (
        "seen in cycle 16 (A16) by N. Setter on 2026-03-03; cause: clamping ring worn; action: ring replaced."
    )
    page = (tmp_path / "d.html").read_text()
    assert f"S1: {line}" in page
    assert page.index(f"left flank: {line}") < page.index("What to do to the grinder")
    drift("--store", store)
    assert "seen in cycle 16 (A16) by N. Setter" in " ".join(capsys.readouterr().out.split())


def test_store_and_folder_tell_the_same(sample, capsys, tmp_path):
    store = tmp_path / "h.sqlite"
    assert app.run(["history", "add", str(SAMPLE), "--store", str(store), "--quiet"]) == 0
    capsys.readouterr()
    _, stored = drifted(capsys, "--store", store)
    of_folder = loads((sample[1] / "d.json").read_text())
    assert stored["series"] == of_folder["series"]
    assert stored["advice"] == of_folder["advice"]
    assert {one["file"]: one["sha256"] for one in stored["inputs"]} == {
        f"drift_history/{one['file']}": one["sha256"] for one in of_folder["inputs"]
    }


# --- exit status --------------------------------------------------------------------------------


@pytest.mark.independent
def test_a_calm_grinder_exits_0_and_its_wear_is_found(capsys, folder):
    status, result = drifted(capsys, folder)
    assert status == 0
    series = series_of(result)
    low, high = series["wear_interval_um_per_part"]
    assert low <= 2 * 0.02 <= high  # fp is 2 um times the factor, which grows by 0.02 a part
    assert (series["gears"], series["cycles"], series["in_control"]) == (42, 14, True)
    assert series["limit_um"] == [None, 8.0]  # ISO 1328-1:2013, class 6: fpT rounds to 8.0
    assert result["reasons"][0]["code"] == "no_alarm"
    assert result["simulated"] is False


def test_a_limit_within_the_dress_interval_exits_1(capsys, tmp_path):
    status, result = drifted(capsys, made_history(tmp_path / "lot", wear=0.2))
    # 2 um x (1 + 0.2 s) reaches 8 um at s = 15 parts after the first, before the 20 of a cycle
    assert status == 1
    assert series_of(result)["parts_to_limit"]["expected"] in (15, 16, 17)
    assert "limit_ahead" in [one["code"] for one in result["reasons"]]


def test_old_signals_count_only_since_a_time(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", cycles=26, shift=(13, 14, 0.3))
    status, result = drifted(capsys, folder, "--reference", "1..12")
    signals = series_of(result)["signals"]
    assert {13, 14} <= {one["cycle"] for one in signals}
    assert not any(one["current"] for one in signals)
    assert status == 0
    status, result = drifted(capsys, folder, "--reference", "1..12", "--since", "2026-03-02")
    assert status == 1
    assert series_of(result)["quarantine"]["ranges"] == []
    assert series_of(result)["quarantine"]["largest_p"] < 0.01


# --- what cannot be told ------------------------------------------------------------------------


def test_without_parts_since_dress_no_wear_is_claimed(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", columns=("finished_at", "grinder", "dress"))
    _, result = drifted(capsys, folder)
    series = series_of(result)
    assert series["wear_um_per_part"] is None
    assert series["wear_interval_um_per_part"] is None
    assert series["dress_interval_parts"] is None
    assert series["identifiable"]["wear"] is False
    assert series["in_control"] is not None
    _, result = drifted(capsys, folder, "--cycle-time", 120)
    series = series_of(result)
    assert series["wear_estimated"] is True
    assert series["wear_um_per_part"] == pytest.approx(0.04, abs=0.002)
    assert "parts_estimated" in [one["code"] for one in series["warnings"]]
    drift(folder, "--cycle-time", 120)
    assert "est.: parts since dress were estimated from times." in capsys.readouterr().out


def test_one_cycle_gives_no_statement_about_control(capsys, tmp_path):
    status, result = drifted(capsys, made_history(tmp_path / "lot", cycles=1))
    assert status == 0
    assert {series["in_control"] for series in result["series"]} == {None}
    assert result["series"][0]["reasons"][0]["code"] == "few_cycles"
    assert "control_unknown" in [one["code"] for one in result["reasons"]]
    jsonschema.validate(result, DRIFT.json_schema(), cls=jsonschema.Draft202012Validator)


def test_every_cycle_measured_at_the_same_part(capsys, tmp_path):
    _, result = drifted(capsys, made_history(tmp_path / "lot", places=(7,)))
    series = series_of(result)
    assert series["wear_um_per_part"] is None
    assert "wear_not_identifiable" in [one["code"] for one in series["warnings"]]
    assert "cannot be told apart" in series["parts_to_limit_reason"]
    jsonschema.validate(result, DRIFT.json_schema(), cls=jsonschema.Draft202012Validator)


def test_without_a_production_table(capsys, tmp_path):
    message = refused(capsys, pitch_folder(tmp_path / "lot"))
    assert "no gear has production data (1 graded)" in message
    assert "add a production table" in message


def test_gears_without_a_production_row_are_named(capsys, folder):
    table = folder / "production.csv"
    lines = table.read_text().splitlines()
    table.write_text("\n".join(line for line in lines if not line.startswith("P0021")) + "\n")
    _, result = drifted(capsys, folder)
    (told,) = [one for one in result["warnings"] if one["code"] == "no_production_row"]
    assert "1 of 42 gears without a row in a production table are left out: P0021" in told["message"]
    store = str(folder.parent / "h.sqlite")
    app.run(["history", "add", str(folder), "--store", store])
    capsys.readouterr()
    _, result = drifted(capsys, "--store", store)
    assert told in result["warnings"]


def test_parts_that_were_not_measured_give_interval_and_serials(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", places=(1, 10, 18))
    table = folder / "production.csv"
    rows = table.read_text()
    for c in range(1, 15):
        at = START + timedelta(minutes=2 * ((c - 1) * PARTS + 20))
        rows += f"P{(c - 1) * PARTS + 20:04d},{at.isoformat()},GR-9,W-1,A{c},20\n"
    table.write_text(rows)
    _, result = drifted(capsys, folder)
    assert series_of(result)["current_dress_interval_parts"] == 20
    assert "usual_interval_unknown" not in [one["code"] for one in series_of(result)["warnings"]]


def test_the_part_file_states_the_usual_interval(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", places=(1, 10, 18))
    _, result = drifted(capsys, folder)
    assert series_of(result)["current_dress_interval_parts"] == 18
    part = folder / "part.toml"
    part.write_text(part.read_text() + "\n[grinder.GR-9]\nparts_per_dress = 20\n")
    _, result = drifted(capsys, folder)
    assert series_of(result)["current_dress_interval_parts"] == 20
    store = str(tmp_path / "h.sqlite")
    app.run(["history", "add", str(folder), "--store", store])
    capsys.readouterr()
    _, result = drifted(capsys, "--store", store)
    assert series_of(result)["current_dress_interval_parts"] == 20


def test_times_without_zone_are_local(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", zone=False)
    _, whole = drifted(capsys, folder)
    _, part = drifted(capsys, folder, "--until", "2026-03-02T10:00")
    # 2 min a part: until 10:00 the parts up to 120, 6 cycles of 20
    assert series_of(part)["cycles"] == 6
    assert series_of(whole)["cycles"] == 14


# --- reference ----------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["2..12", "A2..A12", "2026-03-02T06:41Z..2026-03-02T14:00Z"])
def test_reference_by_number_label_or_time(capsys, folder, words):
    # cycle 2 begins with part 21 at 06:42, cycle 12 with part 221 at 13:22, cycle 13 at 14:02
    _, result = drifted(capsys, folder, "--reference", words)
    assert series_of(result)["reference"] == {"from": 2, "to": 12, "frozen": True}


def test_frozen_reference_of_the_store_is_used(capsys, tmp_path, folder):
    store = str(tmp_path / "h.sqlite")
    app.run(["history", "add", str(folder), "--store", store])
    where = ["--part-number", "T-8", "--grinder", "GR-9"]
    assert app.run(["history", "freeze", *where, "--from", "A1", "--to", "A11", "--store", store]) == 0
    capsys.readouterr()
    _, result = drifted(capsys, "--store", store)
    assert series_of(result)["reference"] == {"from": 1, "to": 11, "frozen": True}
    _, result = drifted(capsys, "--store", store, "--reference", "3..14")
    assert series_of(result)["reference"] == {"from": 3, "to": 14, "frozen": True}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("1..5", "holds 5 dress cycles, at least 10 are needed"),
        ("12..1", "holds 0 dress cycles"),
        ("1..99", "no dress cycle '99': there are cycles 1 to 14, labelled A1 to A14"),
        ("B1..A12", "no dress cycle 'B1'"),
        ("1-12", "expected FROM..TO"),
        ("..12", "expected FROM..TO"),
        ("2030-01-01..2030-02-01", "holds 0 dress cycles"),
    ],
)
def test_bad_references(capsys, folder, words, told):
    message = refused(capsys, folder, "--reference", words)
    assert told in message
    assert "--reference" in message


def test_a_reference_without_known_cycles(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", columns=("finished_at", "grinder"))
    assert "the dress cycles are not known" in refused(capsys, folder, "--reference", "1..12")


# --- usage --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--parameter", "single_pich"), "nearest: single_pitch"),
        (("--risk", "0"), "expected at least 0.0001 and less than 0.5"),
        (("--risk", "0.5"), "expected at least 0.0001 and less than 0.5"),
        (("--last-cycles", "0"), "expected 1 to 1000000000"),
        (("--escaped-parts", "0"), "expected 1 to 1000000000"),
        (("--cycle-time", "0"), "expected 0.001 to 1000000000"),
        (("--measuring-time", "-1"), "expected 0.001 to 1000000000"),
        (("--since", "monday"), "expected a time such as"),
        (("--store", "h.sqlite"), "give folders, or a store"),
        (("--grinder", "GR-8"), "there are gears of T-8 on GR-9"),
        (("--part-number", "T-9"), "there are gears of T-8 on GR-9"),
        (("--parameter", "helix_slope"), "nothing to analyse for helix_slope"),
    ],
)  # fmt: skip
def test_what_is_refused(capsys, tmp_path, folder, words, told):
    target = tmp_path / "d.json"
    target.write_text("before")
    assert told in refused(capsys, folder, *words, "--json", target)
    assert target.read_text() == "before"


def test_a_folder_that_is_not_there(capsys):
    assert "Invalid value for FOLDER: 'nowhere' does not exist" in refused(capsys, "nowhere")


def test_reading_options_need_a_folder(capsys, tmp_path):
    assert "name the folder" in refused(capsys, "--store", tmp_path / "h.sqlite", "--serial", "A")


def test_an_empty_store(capsys, tmp_path):
    message = refused(capsys, "--store", tmp_path / "h.sqlite")
    assert "there are no gears" in message
    assert "gearqa history add FOLDER" in message
    assert not (tmp_path / "h.sqlite").exists()


def test_an_input_is_not_overwritten(capsys, folder):
    before = (folder / "pitch.csv").read_bytes()
    assert "is not overwritten" in refused(capsys, folder, "--csv", folder / "pitch.csv")
    assert (folder / "pitch.csv").read_bytes() == before


def test_filters_and_several_folders(capsys, tmp_path):
    folder = made_history(tmp_path / "lot", cycles=12)
    again = made_history(tmp_path / "again", cycles=14)
    _, result = drifted(capsys, folder, again, "--parameter", "single_pitch", "--last-cycles", 5)
    assert [one["parameter"] for one in result["series"]] == ["single_pitch", "single_pitch"]
    series = series_of(result)
    assert (series["gears"], series["cycles"], series["current_cycle"]) == (15, 5, 14)
    assert {one["file"].split("/")[0] for one in result["inputs"]} == {"lot", "again"}
    assert "repeated_serials" in [one["code"] for one in series["warnings"]]


def test_csv_for_spreadsheets_with_decimal_comma(capsys, folder):
    assert drift(folder, "--csv", "-", "--csv-style", "semicolon") == 0
    text = capsys.readouterr().out
    rows = list(csv.DictReader(text.lstrip("\ufeff").splitlines()[1:], delimiter=";"))
    assert float(rows[0]["wear_um_per_part"].replace(",", ".")) == pytest.approx(0.04, abs=0.002)
    assert "." not in rows[0]["wear_um_per_part"]


# --- terminal -----------------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [80, 120])
def test_terminal_gives_the_answers_first_within_its_width(capsys, folder, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    _, result = drifted(capsys, folder)
    assert drift(folder) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= columns
    (dress,) = result["dress_intervals"]
    first = " ".join(" ".join(out.splitlines()[:12]).split())
    assert first.startswith("Wrong now: nothing")
    assert "Gears to hold: none" in first
    assert f"Dress, for a risk of 1 %: every ≥ {dress['parts']} parts" in first
    assert ("Wear with its 95 % interval." in out) == (columns == 80)
    assert ("sd: standard deviation of a part" in out) == (columns == 120)
    assert "A qualified setter checks every correction" in out


def test_ascii_terminal(tmp_path, folder, capsysbinary):
    import sys

    done = subprocess.run(
        [sys.executable, "-m", "gearqa", "drift", str(folder)], capture_output=True, check=False,
        env={"PYTHONIOENCODING": "ascii", "COLUMNS": "80", "PATH": "", "HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    text = done.stdout.decode("ascii")
    assert "um/part" in text
    assert ">= " in text
    assert "\\x" not in text
    assert "\\u" not in text


def test_quiet_says_nothing(capsys, folder):
    assert drift(folder, "--quiet") == 0
    assert capsys.readouterr() == ("", "")


def test_schema_and_explanation(capsys):
    assert app.run(["schema", "drift"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(DRIFT.json_schema()))
    assert app.run(["explain", "drift"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for words in ("level after the dress", "Level change:", "Dress interval:", "no tolerance limits"):
        assert words in out
