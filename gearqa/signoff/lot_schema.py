"""JSON Schemas of lot result, record and verification, made from the models."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, get_args

from gearqa.model.lot import FlankKey, LotGear, LotResult, ParameterStatistics
from gearqa.model.measurement import Production
from gearqa.model.verification import SUBJECTS, Finding
from gearqa.results import schemas
from gearqa.results.grade_json import result_json_schema
from gearqa.results.schemas import Schema, array, of_fields, reference, table
from gearqa.signoff.lot_json import LOT_SCHEMA
from gearqa.signoff.record import RECORD_SCHEMA
from gearqa.signoff.verify import VERIFY_SCHEMA
from gearqa.symbols import PARAMETERS

TEXT: Schema = {"type": "string"}
DIGEST: Schema = {"type": "string", "pattern": schemas.SHA256}

DESCRIPTIONS: dict[str, str] = {
    "decision": "What gearqa recommends; a person's disposition stands apart.",
    "reasons": "Every row of the decision table that fits; the first one decides.",
    "state": "State of the gear under the measurement uncertainty.",
    "counts_as": "How the decision rule counts that state.",
    "probability_of_conformity": "Of this one gear: the smallest over its values; null without uncertainty.",
    "master_quality": "What may be said of master quality, in the sample and in the lot.",
    "d_low": "Gears that count as not conforming.",
    "d_high": "d_low and the gears that are open.",
    "p95": "Fraction nonconforming that passes the plan really used with 95 % probability.",
    "p50": "The same with 50 %.",
    "p10": "The same with 10 %.",
    "ppk": "Performance index, smaller side; of totals, forms and runout if lognormal.",
    "ppk_lower_bound": "Lower confidence bound of the index.",
    "cpk": "Always null: see cpk_withheld_reason.",
    "tolerance_interval_um": "Holds the stated share of the lot with the stated confidence.",
}


def lot_json_schema() -> Schema:
    """Schema of `lot --json`."""
    return _described(
        schemas.document(
            LOT_SCHEMA, "gearqa lot sign-off", {k: v for k, v in _lot().items() if k not in _HEAD},
            _definitions(),
        )
    )  # fmt: skip


_HEAD = ("schema", "software")


def _lot() -> Schema:
    """Properties of a lot result."""
    production = schemas.of_fields(Production, optional=[f.name for f in fields(Production)])
    gear = of_fields(LotGear, production={"anyOf": [production, {"type": "null"}]})
    flanks = table({flank: reference("series") for flank in get_args(FlankKey)}, required=())
    whole = of_fields(
        LotResult,
        parameters=table(dict.fromkeys(PARAMETERS, flanks), required=()),
        gears=array(gear),
        inputs=array(schemas.input_file()),
        part={"type": "object", "additionalProperties": TEXT, "required": ["number"]},
        plan=_plan(),
        editions={"type": "object", "additionalProperties": TEXT},
    )
    return {"schema": {"const": LOT_SCHEMA}, "software": schemas.software(), **whole["properties"]}


def _definitions() -> Schema:
    return {"series": of_fields(ParameterStatistics)}


def _plan() -> Schema:
    return {
        "type": "object",
        "description": "The plan whole, its defaults too: gearqa schema plan.",
        "properties": {"schema": {"const": "gearqa.plan/1"}},
        "required": ["schema"],
    }


def record_json_schema() -> Schema:
    """Schema of a record (`lot --record`)."""
    result = result_json_schema()
    grade = {key: value for key, value in result["properties"].items() if key != "lot"}
    first = table(
        {
            "digest": DIGEST, "decision": TEXT, "d_low": {"type": "integer"}, "d_high": {"type": "integer"},
            "measured_n": {"type": "integer"},
        }
    )  # fmt: skip
    link = table(
        {
            "digest": DIGEST, "lot_id": TEXT, "decision": TEXT, "reinspection": {"type": "boolean"},
            "first_result": first,
        },
        required=("digest", "lot_id", "decision", "reinspection"),
    )  # fmt: skip
    file_name: Schema = {"type": ["string", "null"]}
    settings = table(
        {
            "part_file": file_name, "columns_file": file_name, "plan_file": file_name,
            "serials": array(TEXT), "lot_size": {"type": ["integer", "null"]},
        },
        required=("lot_size",),
    )  # fmt: skip
    whole = schemas.document(
        RECORD_SCHEMA,
        "gearqa record of a lot sign-off",
        {
            "lot_id": {"type": "string", "minLength": 1},
            "libraries": {"type": "object", "additionalProperties": TEXT},
            "made": table({"inspector": TEXT, "date": TEXT, "measured_by": array(TEXT)}),
            "part_file": {"type": "object", "description": "The part file whole: gearqa schema part."},
            "plan": _plan(),
            "settings": settings,
            "seeds": array({"type": "integer"}),
            "grade": table(grade),
            "lot": table(_lot()),
            "previous": {"anyOf": [link, {"type": "null"}]},
            "digest": {
                **DIGEST,
                "description": "SHA-256 of the canonical form (RFC 8785) without digest and signature.",
            },
            "signature": table({"algorithm": TEXT, "public_key": TEXT, "fingerprint": DIGEST, "value": TEXT}),
        },
        {**result["$defs"], **_definitions()},
    )
    whole["required"].remove("signature")
    return _described(whole)


def verify_json_schema() -> Schema:
    """Schema of `verify --json`."""
    status: Schema = {"enum": ["consistent", "differs", "not checked"]}
    return schemas.document(
        VERIFY_SCHEMA,
        "gearqa check of a record",
        {
            "lot_id": TEXT,
            "digest": TEXT,
            "consistent": {"type": "boolean"},
            "subjects": table(dict.fromkeys(SUBJECTS, status)),
            "findings": array(of_fields(Finding)),
        },
    )


def _described(schema: Schema) -> Schema:
    """The schema with what its keys mean."""
    _describe(schema)
    return schema


def _describe(node: Any) -> None:
    if isinstance(node, dict):
        for key, entry in node.get("properties", {}).items():
            if key in DESCRIPTIONS and isinstance(entry, dict) and "$ref" not in entry:
                entry["description"] = DESCRIPTIONS[key]
    children = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for child in children:
        _describe(child)
