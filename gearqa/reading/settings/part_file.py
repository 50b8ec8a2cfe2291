"""Read `part.toml` and check it: each key by the schema, and the keys against each other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gearqa.model.part import Part
from gearqa.reading.settings.input_schemas import with_units
from gearqa.reading.settings.part_checks import part_problems
from gearqa.reading.settings.toml_file import read_toml


def read_part(path: Path | str, *, name: str | None = None) -> Part:
    """Read a part file.

    Parameters
    ----------
    path : path
        The TOML file.
    name : str, optional
        How messages call it; its file name by default.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, Part, name=name)
    return file.checked(part_problems(file))


def part_json_schema() -> dict[str, Any]:
    """JSON Schema of `part.toml`, with descriptions and units."""
    return with_units(
        Part.model_json_schema(by_alias=True),
        "gearqa part file",
        "The drawing of one part number (part.toml).",
    )
