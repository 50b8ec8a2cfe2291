"""Column maps: how to read tables that are not in the neutral format.

A map names files and says for every canonical column where it comes from. It is checked like a part
file, and gives the same plans (`TableSource`) that header recognition makes from neutral tables.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gearqa.reading.maps.map_checks import map_problems
from gearqa.reading.maps.map_model import KINDS, ColumnsMap
from gearqa.reading.settings.input_schemas import with_units
from gearqa.reading.settings.toml_file import read_toml
from gearqa.reading.values.sheet_formats import SHEETS


def read_columns_map(path: Path | str, *, name: str | None = None) -> ColumnsMap:
    """Read and check a column map.

    Raises
    ------
    PartFileError
        With all problems, of single keys and between keys.
    """
    file = read_toml(path, ColumnsMap, name=name)
    return file.checked(map_problems(file))


def columns_json_schema() -> dict[str, Any]:
    """JSON Schema of column maps, with descriptions and units."""
    schema = ColumnsMap.model_json_schema(by_alias=True)
    definitions = schema["$defs"]
    either = [{"type": "string", "minLength": 1}, {"$ref": "#/$defs/ColumnTable"}]
    for owner in ("TableMap", "WideTable"):
        definitions[owner]["properties"]["columns"]["additionalProperties"] = {"anyOf": either}
    one_or_more = [(definitions["TableMap"]["properties"], "wide")]
    one_or_more += [(schema["properties"], kind) for kind in (*KINDS, *SHEETS)]
    for properties, key in one_or_more:
        array = properties[key]
        kept = {k: array.pop(k) for k in ("description", "default", "title") if k in array}
        properties[key] = {"anyOf": [array["items"], array], **kept}
    return with_units(schema, "gearqa column map", "How to read tables that are not in the neutral format.")
