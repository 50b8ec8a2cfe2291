"""JSON Schema of `gauge --json`, made from the result model and from how it is printed."""

from __future__ import annotations

from dataclasses import fields

from gearqa.errors import Notice
from gearqa.gauge.json_tables import GAUGE_SCHEMA
from gearqa.model.gauge import CrossedResult, ReferenceResult
from gearqa.results.schemas import Schema, array, document, input_file, of_fields, reference

TEXT: Schema = {"type": "string"}


def gauge_json_schema() -> Schema:
    """Schema of `gauge --json`."""
    definitions = {}
    for name, model in (("crossed", CrossedResult), ("reference", ReferenceResult)):
        single = of_fields(model, [f.name for f in fields(model) if f.name != "series"])
        definitions[name] = {
            **single,
            "properties": {**single["properties"], "series": array(reference(f"one_{name}"))},
        }
        definitions[f"one_{name}"] = single
    either = {"anyOf": [reference("crossed"), reference("reference")]}
    notices = array(of_fields(Notice))
    return document(
        GAUGE_SCHEMA,
        "gearqa gauge study; of several flanks the one that spreads more stands on top, all stand in series",
        {
            "kind": {"enum": ["crossed", "reference"]},
            "part": {"anyOf": [{"type": "object", "additionalProperties": TEXT}, {"type": "null"}]},
            "inputs": array(input_file()),
            "simulated": {"type": "boolean"},
            "factor": TEXT,
            "pool_above": {"type": "number", "minimum": 0, "maximum": 1},
            "suitable": {"type": ["boolean", "null"]},
            "parameters": {"type": "object", "additionalProperties": either},
            "uncertainty_um": {
                "type": "object",
                "additionalProperties": {"type": "number", "exclusiveMinimum": 0},
            },
            "cautions": notices,
            "warnings": notices,
        },
        definitions,
    )
