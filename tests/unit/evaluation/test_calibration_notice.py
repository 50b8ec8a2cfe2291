"""A gear measured after the calibration of the instrument was due says so, in grade and incoming alike."""

from __future__ import annotations

import shutil
from pathlib import Path

import gearqa

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
LATE = "measured on 2025-03-14, after the calibration of the instrument was due on 2025-03-13"


def test_overdue_calibration_is_named_by_grade_and_incoming(tmp_path):
    folder = tmp_path / "rings"
    shutil.copytree(SAMPLES / "ring_conforming", folder)
    for old in folder.glob("production*.csv"):
        old.unlink()
    rows = [
        "serial,measured_at,calibration_due",
        "OT-0201,2025-03-14,2025-03-13",
        "OT-0202,2025-03-13,2025-03-13",
    ]
    (folder / "production.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    said = {
        gear.serial: [one.message for one in gear.warnings if one.code == "calibration_overdue"]
        for gear in gearqa.grade(folder).gears
    }
    assert (said["OT-0201"], said["OT-0202"]) == ([LATE], [])
    result = gearqa.check_report(SAMPLES / "supplier_report" / "report.csv", folder)
    told = [one.message for one in result.cautions if one.code == "calibration_overdue"]
    assert told == ["we measured after the calibration of the instrument was due: OT-0201"]
