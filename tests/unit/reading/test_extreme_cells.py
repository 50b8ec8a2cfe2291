"""Every column of every table, one cell at a time beyond all sense; columns are found in the formats.

Warnings are errors here, so that no number runs over on its way to the message.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from inspection_folder import GOOD_PITCH, TEETH, write

from gearqa.errors import GearqaError, InputError
from gearqa.jobs.grade import grade
from gearqa.reading.folder import passes
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.folder.table_kinds import (
    GRADED_KINDS,
    NUMBER_COLUMNS,
    QUANTITIES,
    TABLES,
    canonical_quantity,
)
from gearqa.reading.values.reported import read_reported
from gearqa.reading.values.sheet_formats import MEASURED_STUDY, REPORTED, STUDY
from gearqa.reading.values.study import read_measured_study, read_study

BEYOND = ["1e308", "-1e308", "1e400", "nan", "inf", "-inf", str(10**30), "-" + "9" * 400, "9" * 5000]
TINY = ["1e-320", "-1e-308", "0." + "0" * 5000 + "1"]
OTHERS = ["\ud800".encode("utf-8", "surrogatepass"), b"\0", b"\xe9" * 300, b"2025-02-30", b"(" * 300]
CELLS = {
    "serial": "A", "flank": "left", "method": "balls", "finished_at": "2025-03-01T08:00", "at": "2025-03-01",
    "measured_at": "2025-03-01", "calibration_due": "2025-03-01", "event": "correction",
    "parameter": "helix_slope", "correction": "1.5", "unit": "um", "pin_diameter_mm": "7", "value_mm": "30.5",
    "diameter_mm": "26.5", "diameter_um": "26500", "measurement": "1", "position": "a",
    "standard": "ISO 1328-1:2013", "basis": "class", "trial": "1",
}  # fmt: skip
"""What stands in a column of a good table; a number otherwise."""


def _tables() -> list[tuple[str, str, str]]:
    """Kind, column, the column's name in one of its units."""
    found = []
    for kind, table in TABLES.items():
        for column in table.columns:
            quantity = next((q for q in QUANTITIES.values() if q.column == column), None)
            found += [(kind, column, name) for name in (quantity.columns if quantity else (column,))]
    return found


def _folder(folder: Path, kind: str, column: str, name: str, cell: str | bytes) -> Path:
    """A good folder with one table of a kind, in which one cell is `cell`."""
    table = TABLES[kind]
    names = [next((c for c in choices if c == column), choices[0]) for choices in table.required]
    names = [name if one == column else one for one in dict.fromkeys([*names, *table.optional])]
    if column == "diameter_mm" and kind == "profile":  # beside a face position it is a label of helix traces
        names.remove("face_position_mm")
    if kind == "events":
        names = [*dict.fromkeys([*names, "parameter", "unit"])]
    counted = {"tooth": range(1, TEETH + 1), "space": range(1, TEETH + 1), "teeth_spanned": [2]}
    lines = []
    for number in range(1, 2 if kind in ("size", "production", "events") else TEETH + 1):
        row = [
            cell
            if one == name and number == 2 - (kind not in GRADED_KINDS)
            else _cell(one, kind, number, counted)
            for one in names
        ]
        lines.append(b",".join(c.encode() if isinstance(c, str) else c for c in row) + b"\n")
    files = {"table.csv": ",".join(names).encode() + b"\n" + b"".join(lines)}
    if kind not in GRADED_KINDS:
        files["pitch.csv"] = GOOD_PITCH.encode()
    return write(folder, files)


def _cell(column: str, kind: str, number: int, counted: dict) -> str:
    if column in ("tooth", "space"):
        return str(number if kind in ("pitch", "runout") else 1)
    if column == "diameter_mm" and kind == "profile":
        return str(22.5 + number)
    if column == "diameter_um" and kind == "profile":
        return str(22500 + 1000 * number)
    if column in ("face_position_mm", "face_position_um") and kind == "profile":
        return "10000" if column.endswith("_um") else "10"
    if column in ("roll_length_um", "face_position_um"):
        return str(1000 * number)
    return CELLS.get(column, f"{number}.5" if column.endswith(("_um", "_mm")) else str(number))


@pytest.mark.parametrize(("kind", "column", "name"), _tables())
@pytest.mark.parametrize("fast_from", [0, 1 << 60], ids=["fast", "careful"])
def test_a_cell_beyond_all_sense_is_told_or_has_a_result(
    tmp_path, monkeypatch, recwarn, kind, column, name, fast_from
):
    if fast_from == 0 and kind not in GRADED_KINDS:
        return
    monkeypatch.setattr(passes, "FAST_FROM_BYTES", fast_from)
    good = CELLS.get(name, "2")
    read_folder(_folder(tmp_path / "good", kind, column, name, _cell(name, kind, 2, {}) or good)).close()
    number = canonical_quantity(name)[0] in NUMBER_COLUMNS
    for at, cell in enumerate([*BEYOND, *TINY, *OTHERS]):
        folder = _folder(tmp_path / str(at), kind, column, name, cell)
        try:
            grade(folder)
            told = ""
        except GearqaError as error:
            told = str(error)
        assert len(told) < 3000
        if number and cell in BEYOND:
            assert name in told or column in told, (cell, told)
            assert re.search("found", told), told
    assert not [str(one.message) for one in recwarn]


SHEETS = [(sheet, column) for sheet in (REPORTED, STUDY, MEASURED_STUDY) for column in sheet.columns]


@pytest.mark.parametrize(("sheet", "column"), SHEETS, ids=lambda one: getattr(one, "kind", one))
def test_a_cell_of_a_sheet_beyond_all_sense(tmp_path, recwarn, sheet, column):
    read = {
        "reported": read_reported,
        "study": read_study,
        "measured_study": lambda path: read_measured_study(path, ["A", "B"]),
    }[sheet.kind]
    for name in dict.fromkeys([column, column.replace("_um", "_mm")]):
        for at, cell in enumerate([*BEYOND, *TINY, *OTHERS]):
            names = [name if one == column else one for one in sheet.columns]
            row = [cell if one == name else CELLS.get(one, "2") for one in names]
            path = tmp_path / f"{name}{at}.csv"
            line = b",".join(c.encode() if isinstance(c, str) else c for c in row)
            path.write_bytes(",".join(names).encode() + b"\n" + line + b"\n")
            told = ""
            try:
                read(path)
            except InputError as error:
                told = str(error)
            if cell in BEYOND and column.endswith(("_um", "tooth")):
                assert name in told or column in told, (cell, told)
            assert len(told) < 3000
    assert not [str(one.message) for one in recwarn]
