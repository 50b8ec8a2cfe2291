"""No CSV that is written holds a text that a spreadsheet runs, and none loses what it held.

Which characters start a formula: OWASP, CSV Injection (from memory).
"""

from __future__ import annotations

import csv
import io
import shutil
from unittest.mock import patch

import pytest
from lot_samples import SAMPLES
from made_folders import pitch_folder

from gearqa.cli import app
from gearqa.reading.folder import passes
from gearqa.reading.folder.passes import read_folder
from gearqa.wording.formulas import with_formula, without_formula

HOSTILE = ["=1+1", "+A1", "-7", "@SUM(A1)", "'=x", "plain", "'quoted"]
STARTS = ("=", "+", "-", "@", "\t", "\r")


def rows_of(path, style):
    text = path.read_bytes().decode("utf-8-sig")
    assert text.startswith("# gearqa")
    body = text.split("\n", 1)[1]
    return list(csv.DictReader(io.StringIO(body, newline=""), delimiter=";" if style == "semicolon" else ","))


def check(rows, wanted, column="serial"):
    for row in rows:
        for name, cell in row.items():
            if cell.startswith(STARTS):
                assert name not in ("serial", "parameter", "flank", "grinder", "wheel", "dress"), (name, cell)
                float(cell.replace(",", "."))
    assert {with_formula(row[column]) for row in rows} == set(wanted)


@pytest.mark.parametrize("style", ["comma", "semicolon"])
@pytest.mark.parametrize("words", [["grade"], ["grade", "--csv-rows", "flank"], ["lot"]])
def test_results(tmp_path, words, style):
    folder = pitch_folder(tmp_path / "lot", HOSTILE)
    out = tmp_path / "r.csv"
    assert app.run([*words, str(folder), "-q", "--csv", str(out), "--csv-style", style]) in (0, 1)
    rows = rows_of(out, style)
    if words[0] == "grade":
        check(rows, HOSTILE)


def test_incoming_and_history(tmp_path):
    folder = pitch_folder(tmp_path / "lot", HOSTILE)
    stamps = "".join(f'"{serial}",2025-03-03T06:30:00Z,=G()\n' for serial in HOSTILE)
    (folder / "production.csv").write_text(f"serial,measured_at,grinder\n{stamps}", newline="")
    report = tmp_path / "reported.csv"
    values = "".join(f'"{serial}",single_pitch,1.0\n' for serial in HOSTILE)
    report.write_text(f"serial,parameter,value_um\n{values}", newline="")
    out = tmp_path / "r.csv"
    assert app.run(["incoming", str(report), str(folder), "-q", "--csv", str(out)]) in (0, 1)
    check(rows_of(out, "comma"), HOSTILE)
    store = str(tmp_path / "st.db")
    assert app.run(["history", "add", str(folder), "--store", store, "-q"]) == 0
    assert app.run(["history", "export", "--store", store, "--csv", str(out)]) == 0
    rows = rows_of(out, "comma")
    check(rows, HOSTILE)
    assert {row["grinder"] for row in rows} == {"'=G()"}


@pytest.mark.parametrize("fast_from", [0, 1 << 60])
def test_simulated_tables_are_read_as_they_were_meant(tmp_path, fast_from):
    scenario = (SAMPLES / "scenarios" / "pinion.toml").read_text()
    start = scenario.index("serial_prefix")
    line = scenario[start : scenario.index("\n", start)]
    (tmp_path / "s.toml").write_text(scenario.replace(line, 'serial_prefix = "=A"'))
    shutil.copy(SAMPLES / "scenarios" / "pinion_part.toml", tmp_path)
    out = tmp_path / "made"
    assert app.run(["simulate", str(out), "--scenario", str(tmp_path / "s.toml")]) == 0
    assert "\n'=A" in (out / "profile.csv").read_text()
    with patch.object(passes, "FAST_FROM_BYTES", fast_from), read_folder(out) as inspection:
        assert all(serial.startswith("=A") for serial in inspection.serials)
        assert all(gear.production is not None for gear in inspection)


@pytest.mark.parametrize("text", [*HOSTILE, "\rX", "\tX", "", "'", "''=", "-1.5", "a=b"])
def test_the_text_comes_back(text):
    written = without_formula(text)
    assert not written.startswith(STARTS)
    assert with_formula(written) == text
