"""A lot result as JSON: keys are the field names of `gearqa.model.lot`, what is rearranged stands here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

from gearqa.io.jsonio import input_table, key_of, production_table, software_table
from gearqa.model.lot import LotGear, LotResult
from gearqa.model.measurement import Production

LOT_SCHEMA = "gearqa.lot/1"
_FIRST = ("standard", "part", "inputs", "simulated")


def lot_table(result: LotResult) -> dict[str, Any]:
    """The document of `lot --json`."""
    head = {
        "schema": LOT_SCHEMA,
        "software": software_table(),
        "standard": result.standard,
        "part": dict(result.part),
        "inputs": [input_table(file) for file in result.inputs],
        "simulated": result.simulated,
    }
    body = {key_of(f.name): plain(getattr(result, f.name)) for f in fields(LotResult) if f.name not in _FIRST}
    body["gears"] = [_gear(gear) for gear in result.gears]
    return {**head, **body}


def _gear(gear: LotGear) -> dict[str, Any]:
    table: dict[str, Any] = plain(gear)
    if gear.production is not None:
        table["production"] = plain(production_table(gear.production))
    return table


def plain(value: Any) -> Any:
    """Dataclasses as objects, tuples as lists, times as ISO 8601 text."""
    if isinstance(value, Production):
        return plain(production_table(value))
    if is_dataclass(value) and not isinstance(value, type):
        return {key_of(f.name): plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(one) for one in value]
    return value
