"""What `gearqa new` writes is read back by the program itself, and overwrites nothing."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearqa.errors import PartFileError, Reason, ReportError
from gearqa.jobs.start import start_folder, start_reported_sheet
from gearqa.model.part import Part
from gearqa.reading.folder.blank_tables import reported_sheet, table_template
from gearqa.reading.folder.recognition import recognise
from gearqa.reading.folder.table_kinds import TABLES
from gearqa.reading.settings.allowed_values import allowed_types, model_keys
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.templates import part_file_text, questions
from gearqa.reading.settings.toml_text import toml_value

RING: dict[str, Any] = {
    "part.number": "OT-4471",
    "part.name": 'Ring "A", orchard tractor \\ final drive',
    "gear.kind": "internal",
    "gear.teeth": 87,
    "gear.normal_module_mm": 1.75,
    "gear.helix_angle_deg": 18.0,
    "gear.helix_hand": "right",
    "gear.face_width_mm": 32.0,
    "gear.tip_diameter_mm": 156.7,
    "evaluation.profile.control_diameter_mm": 163.4,
    "evaluation.profile.tip_form_diameter_mm": 157.0,
    "tolerance.class": 6,
}
PINION: dict[str, Any] = {
    "part.number": "OT-12",
    "gear.kind": "external",
    "gear.teeth": 24,
    "gear.normal_module_mm": 2.5,
    "gear.face_width_mm": 22.0,
    "tolerance.class": 5,
}


@pytest.mark.parametrize("answers", [RING, PINION])
def test_the_part_file_says_what_was_answered(tmp_path: Path, answers: dict[str, Any]) -> None:
    written = start_folder(tmp_path / "new lot", answers)
    part = read_part(written[0])
    assert written[0] == tmp_path / "new lot" / "part.toml"
    document = tomllib.loads(written[0].read_text(encoding="utf-8"))
    for key, value in answers.items():
        node: Any = document
        for step in key.split("."):
            node = node[step]
        assert node == value
    assert part.gear.normal_pressure_angle_deg == 20.0
    assert part.gear.helix_angle_deg == answers.get("gear.helix_angle_deg", 0.0)


def test_tables_and_other_keys_may_be_answered_too(tmp_path: Path) -> None:
    more = {
        "tolerance.classes.cumulative_pitch": 5,
        "tolerance.limits_um.profile_slope": [-6.0, 4.0],
        "tolerance.left.class": 7,
        "tolerance.size.method": "balls",
        "tolerance.size.pin_diameter_mm": 3.0,
        "tolerance.size.lower_mm": 156.1,
        "tolerance.size.upper_mm": 156.2,
        "master_quality.class": 3,
        "tolerance.flanks": ["left"],
        "ignore": ["notes*.csv"],
        "columns": "map.toml",
        "evaluation.filter.enabled": False,
        "part.revision": None,
    }
    part = read_part(start_folder(tmp_path, {**RING, **more})[0])
    assert part.tolerance.class_for("cumulative_pitch", "left") == 5
    assert part.tolerance.limits_for("profile_slope", "left") == (-6.0, 4.0)
    assert part.tolerance.class_for("runout", "left") == 7
    assert part.tolerance.size is not None
    assert part.tolerance.flanks == ("left",)
    assert part.master_quality.class_ == 3
    assert (part.ignore, part.columns) == (("notes*.csv",), "map.toml")
    assert part.evaluation.filter.enabled is False


def test_every_key_of_the_schema_stands_in_the_file_with_its_sentence() -> None:
    text = part_file_text(RING)
    waiting: list[tuple[str, Any]] = [("", Part)]
    for table, model in waiting:
        header = f"[{table}]\n" if table else ""
        assert header in text
        block = text.partition(header)[2] if header else text
        for key, info in model_keys(model).items():
            inner = [t for t in allowed_types(info) if hasattr(t, "model_fields")]
            dotted = f"{table}.{key}" if table else key
            if inner:
                waiting.append((dotted, inner[0]))
            elif any(getattr(t, "__origin__", None) is dict for t in allowed_types(info)):
                assert f"[{dotted}]" in text
            else:
                assert re.search(rf"^(# )?{key} =", block, re.MULTILINE), dotted
                assert info.description
                assert info.description in block


def test_commented_defaults_may_be_switched_on(tmp_path: Path) -> None:
    """Taking the # away from every key that has a value leaves a valid file."""
    lines = part_file_text(RING).split("\n")
    header = ""
    opened = []
    for line in lines:
        header = line if line.startswith(("[", "# [")) else header
        key = re.match(r"# (\w+) = \S", line) or line == "# [decision]"
        size = "tolerance.size" in header or "NAME" in header
        opened.append(line[2:] if key and not size and "start_roll" not in line else line)
    path = tmp_path / "part.toml"
    path.write_text("\n".join(opened), encoding="utf-8")
    part = read_part(path)
    assert part.tolerance.limits_for("helix_slope", None) == (-8.0, 8.0)
    assert part.uncertainty("helix_slope") == 0.8
    assert part.decision is not None
    assert part.decision.rule == "guarded acceptance"


def test_nothing_is_written_with_faulty_answers(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    answers = {**RING, "gear.teeth": 0, "gear.tip_diameter_mm": 149.0, "gear.tooth": 3}
    with pytest.raises(PartFileError) as caught:
        start_folder(folder, answers)
    assert {(p.reason, p.key) for p in caught.value.problems} >= {
        (Reason.VALUE_OUT_OF_RANGE, "gear.teeth"),
        (Reason.UNKNOWN_KEY, "gear.tooth"),
    }
    assert not folder.exists()


def test_missing_answers_are_named(tmp_path: Path) -> None:
    with pytest.raises(PartFileError) as caught:
        start_folder(tmp_path / "new", {"gear.helix_angle_deg": 15.0})
    missing = {p.key for p in caught.value.problems if p.reason is Reason.MISSING_KEY}
    needed = {q.key for q in questions() if q.required}
    assert needed <= missing | {"gear.normal_module_mm"}
    assert not (tmp_path / "new").exists()


def test_an_existing_part_file_stays(tmp_path: Path) -> None:
    (tmp_path / "part.toml").write_text("mine")
    with pytest.raises(ReportError, match="never overwritten"):
        start_folder(tmp_path, RING)
    assert (tmp_path / "part.toml").read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == 1


def test_templates_only_where_there_are_no_tables(tmp_path: Path) -> None:
    (tmp_path / "Profile.CSV").write_text("serial\n")
    assert start_folder(tmp_path, RING) == [tmp_path / "part.toml"]
    assert not (tmp_path / "templates").exists()


def test_templates_that_exist_stay(tmp_path: Path) -> None:
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "pitch.csv").write_text("mine")
    written = {path.name for path in start_folder(tmp_path, RING)}
    assert written == {"part.toml", *(f"{kind}.csv" for kind in TABLES if kind != "pitch")}
    assert (tmp_path / "templates" / "pitch.csv").read_text() == "mine"


@pytest.mark.parametrize("kind", list(TABLES))
def test_templates_are_recognised_as_what_they_are(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(table_template(kind), encoding="utf-8")
    seen = recognise(path, path.name)
    assert seen.problems == ()
    assert seen.source is not None
    assert seen.source.kind == kind
    assert not seen.notices


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ReportError, match="cannot write"):
        start_folder(tmp_path / "file" / "new", RING)


def test_reported_sheet_names_the_parameters_of_the_part(tmp_path: Path) -> None:
    part = read_part(start_folder(tmp_path, RING)[0])
    path = start_reported_sheet(tmp_path)
    text = path.read_text()
    assert text.startswith("serial,parameter,value_um,")
    assert text == reported_sheet(part)
    assert all(key in text for key in part.tolerance.required)
    with pytest.raises(ReportError, match="never overwritten"):
        start_reported_sheet(tmp_path)
    assert recognise(path, path.name).left_out == "a table of reported values or a gauge study"


def test_questions_say_what_they_ask() -> None:
    asked = {q.key: q for q in questions()}
    assert asked["gear.kind"].choices == ("internal", "external")
    assert asked["gear.teeth"].type is int
    assert asked["gear.face_width_mm"].text.endswith("[mm]")
    assert asked["gear.normal_pressure_angle_deg"].default == 20.0
    assert asked["master_quality.class"].default == 4
    assert {q.key for q in questions() if q.required} == {
        "part.number", "gear.kind", "gear.teeth", "gear.normal_module_mm", "gear.face_width_mm",
        "tolerance.class",
    }  # fmt: skip


@given(
    st.text()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.lists(st.text(max_size=5), max_size=3)
)
def test_values_survive_toml(value: Any) -> None:
    if isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
        return
    assert tomllib.loads(f"x = {toml_value(value)}")["x"] == value
