"""JSON Schema of what `gearqa history` writes."""

from __future__ import annotations

from typing import Any

from gearqa.model.history import (
    HISTORY_SCHEMA,
    CheckReport,
    Finding,
    FrozenReference,
    Regraded,
    StoredEvent,
    StoredGear,
)
from gearqa.results import schemas
from gearqa.results.grade_json import result_json_schema
from gearqa.results.schemas import Schema, array, of_fields, of_type, reference, table

TEXT: Schema = {"type": "string"}
OPTIONAL_TEXT: Schema = {"type": ["string", "null"]}
TIME: Schema = {"type": "string", "format": "date-time"}
ANY: Schema = {"type": "object"}


def history_json_schema() -> Schema:
    """Schema of `history list`, `show`, `export`, `check` and `regrade` with --json, told by `report`."""
    result = result_json_schema()
    definitions = {
        **result["$defs"],
        "stored_gear": _stored_gear(),
        "event": of_fields(StoredEvent),
        "reference": of_fields(FrozenReference),
        "audit": _audit(),
        "intake": _intake(),
        "part": _part(),
        "input": _input(),
    }
    reports = [
        _report("list", inputs=_rows("input"), gears=_rows("stored_gear"), **_events()),
        _report("show", inputs=_rows("input"), gears=array(_full_gear()), audit=_rows("audit")),
        _report(
            "export", inputs=_rows("input"), gears=array(_full_gear()), **_events(), intakes=_rows("intake"),
            parts=_rows("part"), audit=_rows("audit"),
        ),
        _report("check", simulated=None, sound=of_type(bool), **_check()),
        _report(
            "regrade", conforms=of_type(bool | None), gears=array(of_fields(Regraded)),
            unchanged=of_type(int), written=of_type(bool),
        ),
    ]  # fmt: skip
    return {
        "$schema": schemas.DIALECT,
        "title": "gearqa history",
        "oneOf": reports,
        "$defs": definitions,
    }


def _report(report: str, **more: Schema | None) -> Schema:
    properties: dict[str, Any] = {
        "schema": {"const": HISTORY_SCHEMA},
        "software": schemas.software(),
        "report": {"const": report},
        "store": table({"location": TEXT, "schema_version": TEXT}, required=["location"]),
        "simulated": of_type(bool),
        **more,
    }
    return table({key: one for key, one in properties.items() if one is not None})


def _rows(name: str) -> Schema:
    return array(reference(name))


def _events() -> dict[str, Schema | None]:
    return {"events": _rows("event"), "references": _rows("reference")}


def _stored_gear() -> Schema:
    return of_fields(StoredGear)


def _full_gear() -> Schema:
    gear = _stored_gear()
    gear["properties"] |= {
        "digests": {"type": "object", "additionalProperties": TEXT},
        "result": reference("gear"),
    }
    gear["required"] = [*gear["required"], "digests", "result"]
    return gear


def _input() -> Schema:
    file = schemas.input_file()
    return table({"folder": TEXT, **file["properties"]}, required=["folder", *file["required"]])


def _audit() -> Schema:
    return table(
        {
            "id": of_type(int), "at": TIME, "station": TEXT, "version": TEXT, "action": TEXT,
            "part_number": OPTIONAL_TEXT, "serial": OPTIONAL_TEXT, "measured_key": OPTIONAL_TEXT,
            "gear_id": of_type(int | None), "detail": ANY,
        }
    )  # fmt: skip


def _intake() -> Schema:
    identity = table({"number": TEXT, "name": TEXT, "revision": TEXT})
    return table(
        {
            "id": of_type(int), "folder": TEXT, "part_file": OPTIONAL_TEXT, "column_map": OPTIONAL_TEXT,
            "simulated": of_type(bool), "added_at": TIME, "station": TEXT, "version": TEXT,
            "inputs": array(schemas.input_file()), "notices": array(ANY), "part": identity,
        }
    )  # fmt: skip


def _part() -> Schema:
    return table(
        {
            "id": of_type(int), "number": TEXT, "name": TEXT, "revision": TEXT, "digest": TEXT,
            "content": ANY,
            "added_at": TIME,
        }
    )  # fmt: skip


def _check() -> dict[str, Schema | None]:
    check = of_fields(CheckReport, findings=array(of_fields(Finding)))
    properties: dict[str, Schema | None] = check["properties"]
    return properties
