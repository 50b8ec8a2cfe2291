"""Sign-off of the sample folders, from files to record and back."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from gearqa.evaluation.evaluate import grade
from gearqa.model.lot import LotResult
from gearqa.model.plan import Plan
from gearqa.reading.folder.passes import read_folder
from gearqa.results.lot_json import LOT
from gearqa.signoff.lot import sign_off
from gearqa.signoff.record import load_record, make_record, record_bytes
from gearqa.signoff.verify import verify

SAMPLES = Path(__file__).parents[3] / "sample_measurements"


def sign(
    folder: Path, lot_size: int | None, plan: Plan | None = None, record: Path | None = None
) -> LotResult:
    """Sign a folder off; with `record` its record is written too."""
    with read_folder(folder) as inspection:
        result = grade(inspection)
        lot = sign_off(
            result.header, inspection.part, result.gears, plan, lot_size=lot_size, lot_id="L-1",
            other_production=inspection.other_production,
        )  # fmt: skip
        if record is not None:
            made = make_record(lot, inspection.part, plan or Plan(), result.header, result.gears)
            record.write_bytes(record_bytes(made))
        return lot


def plan(**tables: object) -> Plan:
    return Plan.model_validate(tables, by_alias=True)


def test_a_master_lot_is_released_with_a_plan_that_it_satisfies() -> None:
    lot = sign(SAMPLES / "ring_master", 100, plan(sampling={"n": 12, "ac": 0}))
    assert (lot.decision, lot.reasons[0].code) == ("release", "accepted")
    assert lot.master_quality.in_sample is True
    assert lot.master_quality.in_lot == "not shown"


def test_the_default_plan_asks_for_more_gears() -> None:
    lot = sign(SAMPLES / "ring_conforming", 100)
    assert (lot.decision, lot.reasons[0].code) == ("hold", "too_few_measured")
    assert (lot.sampling.required_n, lot.sampling.measured_n) == (37, 12)


def test_faulty_rings_are_rejected() -> None:
    lot = sign(SAMPLES / "ring_faults", 100)
    assert (lot.decision, lot.reasons[0].code) == ("reject", "rejected_by_plan")
    assert lot.segregate


def test_results_agree_with_grading_where_the_uncertainty_leaves_nothing_open() -> None:
    for name in ("ring_master", "ring_conforming", "ring_faults", "pinion"):
        with read_folder(SAMPLES / name) as inspection:
            result = grade(inspection)
            lot = sign_off(result.header, inspection.part, result.gears)
        for graded, judged in zip(result.gears, lot.gears, strict=True):
            if judged.state == "conforms":
                assert graded.conforms is True
            if judged.state == "does not conform":
                assert graded.conforms is False
            if judged.class_proven is not None and graded.class_ is not None:
                assert judged.class_proven >= graded.class_


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A copy of a sample folder, and its record."""
    place = tmp_path_factory.mktemp("sealed")
    folder = place / "pinion"
    shutil.copytree(SAMPLES / "pinion", folder)
    sign(folder, 100, record=place / "record.json")
    return folder, place / "record.json"


def test_record_of_a_folder_is_equal_when_computed_again(sealed: tuple[Path, Path]) -> None:
    folder, path = sealed
    found = verify(load_record(path), folder)
    assert found.consistent, [f.sentence for f in found.findings]
    assert {f.subject for f in found.findings if f.status == "consistent"} == {"files", "record", "values"}


def test_one_changed_digit_is_named_in_file_and_values(sealed: tuple[Path, Path], tmp_path: Path) -> None:
    folder = tmp_path / "pinion"
    shutil.copytree(sealed[0], folder)
    table = folder / "profile.csv"
    lines = table.read_text(encoding="utf-8").splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line[0] != "#" and line.split(",")[2].isdigit())
    first = lines[start].split(",")[:3]
    length = sum(line.split(",")[:3] == first for line in lines)
    middle = start + length // 2
    head, _, last = lines[middle].rstrip("\n").rpartition(",")
    lines[middle] = f"{head},{float(last) + 1:.3f}\n"
    table.write_text("".join(lines), encoding="utf-8", newline="")
    found = verify(load_record(sealed[1]), folder)
    assert not found.consistent
    differing = {f.where for f in found.findings if f.status == "differs" and f.subject == "files"}
    assert differing == {"profile.csv"}
    serial = head.split(",")[0]
    values = [f.where for f in found.findings if f.status == "differs" and f.subject == "values"]
    assert any(f"[{serial}]" in where for where in values)


def test_documents_of_every_sample_are_json() -> None:
    for name in ("ring_master", "pinion"):
        table = LOT.document(sign(SAMPLES / name, 50))
        assert json.loads(json.dumps(table, allow_nan=False)) == table
        assert table["simulated"] is True
