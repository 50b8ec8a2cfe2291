"""Writes small inspection folders for tests of the reader: a part file and CSV tables as given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from gearqa.errors import InputError, Problem
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.reading.folder.inspection import Inspection
from gearqa.reading.folder.passes import read_folder

TEETH = 5

PART: dict[str, Any] = {
    "schema": "gearqa.part/1",
    "part": {"number": "OT-4471", "name": "Planet wheel, orchard tractor final drive"},
    "gear": {
        "kind": "external",
        "teeth": TEETH,
        "normal_module_mm": 4.0,
        "normal_pressure_angle_deg": 20.0,
        "helix_angle_deg": 15.0,
        "helix_hand": "right",
        "face_width_mm": 20.0,
        "tip_diameter_mm": 28.7,
    },
    "evaluation": {"profile": {"start_roll_length_mm": 1.0, "end_roll_length_mm": 5.0}},
    "tolerance": {"class": 6},
}

PART_TOML = f"""\
schema = "gearqa.part/1"
[part]
number = "OT-4471"
[gear]
kind = "external"
teeth = {TEETH}
normal_module_mm = 4.0
normal_pressure_angle_deg = 20.0
helix_angle_deg = 15.0
helix_hand = "right"
face_width_mm = 20.0
tip_diameter_mm = 28.7
[evaluation.profile]
start_roll_length_mm = 1.0
end_roll_length_mm = 5.0
[tolerance]
class = 6
"""

PROFILE = "serial,flank,tooth,roll_length_mm,deviation_um\n"
HELIX = "serial,flank,tooth,face_position_mm,deviation_um\n"
PITCH = "serial,flank,tooth,index_um\n"
RUNOUT = "serial,space,radial_um\n"
GOOD_PITCH = PITCH + "".join(f"A,left,{tooth},{tooth / 8}\n" for tooth in range(1, TEETH + 1))


def part(**changes: Mapping[str, Any]) -> Part:
    """The part of the tests, with some tables changed key by key."""
    tables = {**PART}
    for table, keys in changes.items():
        old = tables.get(table, {})
        tables[table] = {**old, **keys} if isinstance(old, Mapping) else keys
    return Part.model_validate(tables)


def write(folder: Path, files: Mapping[str, str | bytes], toml: str | None = PART_TOML) -> Path:
    """Write a folder; text goes out as UTF-8 with its newlines as they are."""
    folder.mkdir(parents=True, exist_ok=True)
    if toml is not None:
        (folder / "part.toml").write_text(toml, encoding="utf-8")
    for name, content in files.items():
        (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return folder


def read(folder: Path, files: Mapping[str, str | bytes], **options: Any) -> Inspection:
    """Write a folder and read it."""
    return read_folder(write(folder, files, options.pop("toml", PART_TOML)), **options)


def gears(inspection: Inspection) -> dict[str, GearMeasurement]:
    """All gears by serial."""
    with inspection:
        return {gear.serial: gear for gear in inspection}


def problems(folder: Path, files: Mapping[str, str | bytes], **options: Any) -> tuple[Problem, ...]:
    """Everything that is wrong with a folder."""
    with pytest.raises(InputError) as caught:
        read(folder, files, **options)
    return caught.value.problems


def only_problem(folder: Path, files: Mapping[str, str | bytes], **options: Any) -> Problem:
    """The one thing that is wrong with a folder."""
    found = problems(folder, files, **options)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def rows(header: str, lines: Sequence[str]) -> str:
    """A table from a header and lines without ends."""
    return header + "".join(f"{line}\n" for line in lines)
