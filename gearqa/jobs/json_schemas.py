"""JSON Schemas of everything that gearqa reads and writes, by name."""

from __future__ import annotations

import importlib
from operator import attrgetter
from typing import Any, Final

from gearqa.errors import ArgumentError

SCHEMAS: Final[dict[str, tuple[str, str]]] = {
    "part": (
        "gearqa.reading.settings.part_file:part_json_schema",
        "part.toml, the drawing of one part number",
    ),
    "columns": (
        "gearqa.reading.maps.columns_map:columns_json_schema",
        "column maps for tables of another layout",
    ),
    "plan": ("gearqa.model.plan:Plan", "plan files of gearqa lot"),
    "scenario": ("gearqa.simulate.scenario:Scenario", "scenario files of gearqa simulate"),
    "result": ("gearqa.results.grade_json:result_json_schema", "gearqa grade --json"),
    "lot": ("gearqa.results.lot_json:lot_json_schema", "gearqa lot --json"),
    "record": ("gearqa.results.record_json:record_json_schema", "gearqa lot --record"),
    "verify": ("gearqa.results.record_json:verify_json_schema", "gearqa verify --json"),
    "history": ("gearqa.results.history_json:history_json_schema", "gearqa history ... --json"),
    "tolerances": ("gearqa.results.tolerances_json:tolerances_json_schema", "gearqa tolerances --json"),
    "comparison": (
        "gearqa.results.tolerances_json:COMPARISON.json_schema",
        "gearqa tolerances --compare --json",
    ),
    "size": ("gearqa.results.size_json:SIZE.json_schema", "gearqa size --json"),
    "incoming": ("gearqa.results.incoming_json:INCOMING.json_schema", "gearqa incoming --json"),
    "diagnose": ("gearqa.results.diagnosis_json:DIAGNOSIS.json_schema", "gearqa diagnose --json"),
    "gauge": ("gearqa.results.gauge_json:GAUGE.json_schema", "gearqa gauge --json"),
    "drift": ("gearqa.results.drift_json:DRIFT.json_schema", "gearqa drift --json"),
}
"""Name -> what makes the schema (a function, or a model), and what it describes."""


def json_schema(name: str) -> dict[str, Any]:
    """JSON Schema of an input or a result; TOML inputs are described as the JSON they are equal to.

    Parameters
    ----------
    name : str
        One of `SCHEMAS`.

    Returns
    -------
    dict
        The schema, draft 2020-12.

    Raises
    ------
    ArgumentError
        If there is no schema of that name.

    Examples
    --------
    >>> json_schema("part")["properties"]["gear"]
    {'$ref': '#/$defs/Gear', 'description': 'geometry of the gear, ISO 21771'}
    """
    if name not in SCHEMAS:
        raise ArgumentError("name", f"'{name}'; names: {', '.join(SCHEMAS)}")
    place, about = SCHEMAS[name]
    module, _, attribute = place.partition(":")
    maker: Any = attrgetter(attribute)(importlib.import_module(module))
    if isinstance(maker, type):
        from gearqa.reading.settings.input_schemas import with_units

        schema: dict[str, Any] = maker.model_json_schema(by_alias=True)  # type: ignore[attr-defined]
        return with_units(schema, f"gearqa {name} file", about[:1].upper() + about[1:] + ".")
    return maker()  # type: ignore[no-any-return]
