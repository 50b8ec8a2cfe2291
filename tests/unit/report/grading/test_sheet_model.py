"""What the sheet says: head, verdict, values, cautions; lots: order, choice of sheets, names of files."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TypeVar

import pytest
from sheet_factory import document_of, header_of, made, measured, part_of

from gearqa.evaluation.evaluate import evaluate
from gearqa.model.measurement import GearMeasurement
from gearqa.report.blocks.document import (
    Bullets,
    Cautions,
    Cell,
    Facts,
    Figure,
    Sheet,
    Signature,
    Table,
    Text,
    Verdict,
    plain,
)
from gearqa.report.grading import page
from gearqa.report.grading.page import FileNames, file_name
from gearqa.report.grading.values import shown_value
from gearqa.report.grading.words import gear_verdict, parameter_table
from gearqa.symbols import PARAMETERS
from gearqa.wording.verdicts import CONFORMITY, MASTER_QUALITY

Kind = TypeVar("Kind")


def blocks(sheet: Sheet, kind: type[Kind]) -> list[Kind]:
    return [block for section in sheet.sections for block in section.blocks if isinstance(block, kind)]


def words(cell: Cell | Text) -> str:
    return plain(cell.text if isinstance(cell, Cell) else cell)


def rows(table: Table) -> list[dict[str, str]]:
    """Rows by column head; a cell that spans columns stands in each of them."""
    heads = [f"{c.group} {plain(c.title)}".strip().replace("\n", " ") for c in table.columns]
    found = []
    for row in table.rows:
        spread = [cell for cell in row for _ in range(cell.span if isinstance(cell, Cell) else 1)]
        found.append(dict(zip(heads, map(words, spread), strict=True)))
    return found


def only(serial: str = "S-1", **options: float) -> Sheet:
    return document_of([measured(serial, **options)]).sheets[0]  # type: ignore[arg-type]


def test_the_head_says_what_was_measured_where_and_how() -> None:
    production = made(
        finished_at=datetime(2025, 3, 4, 6, 5, tzinfo=UTC), measured_at=datetime(2025, 3, 4, 7, 30, 5),
        temperature_degC=20.16, calibration_ref="CAL-7", remark="first part", labels={"shift": "early"},
    )  # fmt: skip
    (sheet,) = document_of([measured("S-1", production=production)]).sheets
    facts = {plain(name): plain(value) for name, value in blocks(sheet, Facts)[0].items}
    assert facts == {
        "Part": "OT-9 revision B", "Name": "Planet ring", "Serial": "S-1",
        "Finished": "2025-03-04 06:05+00:00", "Grinder": "GR-1", "Wheel": "W-17", "Dress": "D001",
        "Parts since dress": "3", "Measured": "2025-03-04 07:30 (local time)", "Instrument": "GM-1",
        "Operator": "Inspector B", "Temperature": "20.2 °C", "Calibration": "CAL-7", "shift": "early",
        "Remark": "first part", "Standard": "ISO 1328-1:2013",
        "Gear": "internal, z_31, mn_2_mm, αn_20°, β_15°_right, b_20_mm".replace("_", "\u00a0"),
        "Teeth traced": "4 a flank",
    }  # fmt: skip
    facts = {plain(name): plain(value) for name, value in blocks(sheet, Facts)[1].items}
    # Ranges by hand: d_b = 62 / cos 15 * cos(atan(tan 20 / cos 15)) = 60.0738; L = sqrt(d^2 - d_b^2) / 2;
    # 67.0 mm: 14.834; 60.8 mm: 4.685; end = 14.834 - 0.95 * 10.149.
    for needed in ("profile 14.8", "(diameter 67.00 mm to ", "helix 1.00 mm to 19.00 mm from the datum face",
                   "Gaussian filter", "slopes over control to tip diameter",
                   "helix crowning 2 µm"):  # fmt: skip
        assert needed in facts["Evaluation"]


def test_verdict_and_table_say_what_the_result_says() -> None:
    part, gear = part_of(), measured(size=3.0)
    result = next(iter(evaluate([gear], part)))
    (sheet,) = document_of([gear], part).sheets
    conformity, grade, master = blocks(sheet, Verdict)[0].answers
    assert (conformity.answer, conformity.status) == (CONFORMITY[result.conforms], "bad")
    assert grade.answer == str(result.class_)
    assert master.answer == MASTER_QUALITY[result.master_quality]
    found = {row[""]: row for row in rows(blocks(sheet, Table)[0])}
    checked = 0
    for key, parameter in result.parameters.items():
        for flank, one in parameter.flanks.items():
            if one.class_ is None:
                continue
            row = found[PARAMETERS[key].symbol]
            assert row[f"value µm {flank}"] == shown_value(key, one, parameter.master_tolerance_um)
            assert row[f"class {flank}"] == str(one.class_)
            assert row[f"drawing {flank}"] == CONFORMITY[one.conforms]
            checked += 1
    assert checked == 16
    assert len(found) == len(blocks(sheet, Table)[0].rows), "no parameter twice"


def test_a_value_just_beyond_its_limit_is_printed_beyond_it() -> None:
    tolerance = part_of().tolerance
    limit = (
        next(iter(evaluate([measured()], part_of()))).parameters["helix_total"].flanks["left"].value_um - 1e-5
    )
    part = part_of(
        tolerance={"standard": tolerance.standard, "class": 6, "limits_um": {"helix_total": limit}}
    )
    (sheet,) = document_of([measured()], part).sheets
    row = next(row for row in rows(blocks(sheet, Table)[0]) if row[""] == "Fβ")
    assert float(row["value µm left"]) > limit
    assert row["class required"] == "limits"
    assert row["drawing left"] == "does not conform"


def test_required_class_moves_into_the_head_where_it_is_one_for_all() -> None:
    assert "class 6 allows µm" in rows(blocks(only(), Table)[0])[0]
    part = part_of(tolerance={"standard": "ISO 1328-1:2013", "class": 6, "left": {"class": 7}})
    row = rows(blocks(document_of([measured()], part).sheets[0], Table)[0])[0]
    assert row["class required"] == "7; 6"
    assert row["allowed µm"].count(";") == 1


def test_what_was_not_assessed_is_said_once_with_its_reason() -> None:
    gear = replace(measured(), runout=None, pitch={"left": measured().pitch["left"]})
    (sheet,) = document_of([gear]).sheets
    answer = blocks(sheet, Verdict)[0].answers[0]
    assert (answer.answer, answer.status) == ("not assessed", "open")
    assert "fp, Fp, Fr" in plain(answer.detail)
    reasons = [plain(item) for block in blocks(sheet, Bullets) for item in block.items]
    assert len(reasons) == len(set(reasons))
    assert any(text.startswith("fp, Fp right: ") for text in reasons)
    found = {row[""]: row for row in rows(blocks(sheet, Table)[0])}
    for symbol, side in (("fp", "right"), ("Fp", "right"), ("Fr", "left"), ("Fr", "right")):
        assert found[symbol][f"drawing {side}"] == "not assessed"
    assert [found[symbol]["drawing left"] for symbol in ("fp", "Fp")] == ["conforms", "conforms"]
    assert len(found) == len(blocks(sheet, Table)[0].rows), "no parameter twice"
    chart = next(f for f in blocks(sheet, Figure) if str(f.title).startswith("Class of each"))
    assert "fp: class left 4, right open, required 6" in chart.description
    assert "Fr: class open, required 6" in chart.description


def test_cautions_and_signatures_stand_on_every_sheet() -> None:
    for sheet in document_of([measured(f"S-{k}") for k in range(3)]).sheets:
        (cautions,) = blocks(sheet, Cautions)
        text = " ".join(plain(item) for item in cautions.items)
        for needed in ("grinding burn", "hardness", "cracks", "material", "load capacity",
                       "authorised person decide",
                       "informative annex", "qualified setter"):  # fmt: skip
            assert needed in text
        assert blocks(sheet, Signature)[0].roles == ("Inspected by", "Approved by")


def lot_of(sizes: list[float]) -> list[GearMeasurement]:
    return [measured(f"S-{k}", size=size, seed=k) for k, size in enumerate(sizes, 1)]


def test_a_lot_starts_with_all_gears_and_leads_to_each() -> None:
    document = document_of(lot_of([1, 4, 1, 2, 1]))
    lot, *gears = document.sheets
    assert [sheet.head for sheet in gears] == [f"Serial S-{k}" for k in range(1, 6)]
    assert all(sheet.folded for sheet in gears)
    assert [sheet.id for sheet in gears if sheet.worst] == ["gear-2"]
    worst, every, files = blocks(lot, Table)
    assert [row["gear"] for row in rows(worst)][:2] == ["S-2", "S-4"]
    assert [row["gear"] for row in rows(every)] == [f"S-{k}" for k in range(1, 6)]
    targets = [cell[0].target for cell in (row[0] for row in every.rows) if isinstance(cell, tuple)]
    assert targets == [f"gear-{k}" for k in range(1, 6)]
    assert len(blocks(lot, Figure)) == 2
    assert rows(files)[0]["SHA-256"] == "ab" * 32
    assert rows(files)[1]["SHA-256"].startswith("left out: ignored")


def test_distributions_count_every_gear_and_what_lies_beyond() -> None:
    lot = document_of(lot_of([1, 4, 1, 4, 1])).sheets[0]
    one_sided, slopes = blocks(lot, Figure)
    assert "Fp left: 5 gears" in one_sided.description
    assert "2 beyond the limit" in one_sided.description
    assert "fHα right: 5 gears" in slopes.description


@pytest.mark.parametrize(("sheets", "with_charts"), [("all", [1, 2, 3, 4]), ("worst", [2, 4]), ("none", [])])
def test_which_gears_get_their_charts(sheets: str, with_charts: list[int]) -> None:
    document = document_of(lot_of([1, 4, 1, 2]), sheets=sheets, worst=2)
    assert [sheet.id for sheet in document.sheets[1:]] == [f"gear-{k}" for k in with_charts]
    lot = document.sheets[0]
    linked = {
        cell[0].target
        for table in blocks(lot, Table)
        for row in table.rows
        if isinstance(cell := row[0], tuple) and cell[0].target
    }
    assert linked == {f"gear-{k}" for k in with_charts}


@pytest.mark.parametrize(("most", "with_charts"), [(4, [1, 2, 3, 4]), (3, [2, 4])])
def test_all_gears_of_a_small_lot_and_the_worst_of_a_large_one(
    most: int, with_charts: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page, "MOST_ALL", most)
    document = document_of(lot_of([1, 4, 1, 2]), worst=2)
    assert [sheet.id for sheet in document.sheets[1:]] == [f"gear-{k}" for k in with_charts]
    notes = [plain(note) for note in blocks(document.sheets[0], Table)[0].notes]
    assert ("Only gears with a link have a sheet with charts in this file." in notes) == (most == 3)


def test_very_large_lots_list_the_worst_gears(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "MOST_ROWS", 3)
    lot = document_of(lot_of([1, 4, 1, 2, 3]), sheets="none").sheets[0]
    table = blocks(lot, Table)[1]
    assert [row["gear"] for row in rows(table)] == ["S-2", "S-5", "S-4"]
    assert plain(table.notes[0]).startswith("The worst 3 of 5 gears")


def test_nothing_and_one_gear_without_charts() -> None:
    assert [sheet.id for sheet in document_of([]).sheets] == ["lot"]
    assert [sheet.id for sheet in document_of(sheets="none").sheets] == ["lot"]


def test_one_file_a_gear_with_names_every_file_system_takes() -> None:
    names = FileNames()
    serials = ["A/1", "a_1", "../../etc", "CON", "日本", "x" * 500, "A:1"]
    found = [names.next(serial) for serial in serials]
    assert found == ["A_1", "a_1-2", "etc", "gear-4-CON", "gear-5", "x" * 48, "A_1-7"]
    assert file_name("nul.txt", 2) == "gear-2-nul.txt"


def test_the_sheet_prints_what_the_terminal_prints() -> None:
    result = next(iter(evaluate([measured(size=3.0)], part_of())))
    terminal = {words(cell) for row in parameter_table(result, 4, wide=True).rows for cell in row}
    sheet = document_of([measured(size=3.0)]).sheets[0]
    table = rows(blocks(sheet, Table)[0])
    for row in table:
        for head, text in row.items():
            assert text in terminal, (row, head)
    shown, said = blocks(sheet, Verdict)[0].answers, gear_verdict(header_of(part_of()), result).answers
    assert shown[1] == said[1]
    for number in (0, 2):
        assert (shown[number].answer, shown[number].status) == (said[number].answer, said[number].status)
    deciding = ", ".join(PARAMETERS[key].symbol for key in result.master_deciding)
    assert plain(shown[2].detail).startswith(f"decided by {deciding}; criterion: ")
    named, _, more = plain(shown[0].detail).rpartition("; ")
    assert plain(said[0].detail).startswith(named)
    assert more.endswith("more, see the table")


def test_the_sheet_of_a_later_measurement_says_that_the_first_one_counts() -> None:
    first, later = measured("S-1"), replace(measured("S-1"), measurement="after cleaning")
    said = [
        [plain(line) for bullets in blocks(document_of([one]).sheets[0], Bullets) for line in bullets.items]
        for one in (first, later)
    ]
    told = [any("that first measurement counts, not this one" in line for line in lines) for lines in said]
    assert told == [False, True]
