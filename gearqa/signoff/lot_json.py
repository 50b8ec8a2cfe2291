"""A lot result as JSON: keys are the field names of `gearqa.model.lot`, what is rearranged stands here."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from gearqa.model.lot import LotResult
from gearqa.results.document import software
from gearqa.results.entries import key_of
from gearqa.results.jsonio import input_table
from gearqa.results.plain_tables import plain

LOT_SCHEMA = "gearqa.lot/1"
_FIRST = ("standard", "part", "inputs", "simulated")


def lot_table(result: LotResult) -> dict[str, Any]:
    """The document of `lot --json`."""
    head = {
        "schema": LOT_SCHEMA,
        "software": software(),
        "standard": result.standard,
        "part": dict(result.part),
        "inputs": [input_table(file) for file in result.inputs],
        "simulated": result.simulated,
    }
    body = {key_of(f.name): plain(getattr(result, f.name)) for f in fields(LotResult) if f.name not in _FIRST}
    return {**head, **body}
