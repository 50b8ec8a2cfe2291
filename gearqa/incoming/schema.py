"""JSON Schema of `incoming --json`, made from the result model and from how it is printed."""

from __future__ import annotations

from gearqa.errors import Notice
from gearqa.incoming.json_tables import INCOMING_SCHEMA, LOT_FIELDS
from gearqa.model.incoming import (
    Agreement,
    ExplanationResult,
    GearAlignment,
    IncomingReason,
    IncomingResult,
    Row,
    Unmatched,
)
from gearqa.model.lot import LotReason, LotResult
from gearqa.results.schemas import Schema, array, document, input_file, of_fields, of_type

TEXT: Schema = {"type": "string"}
TRUTH: Schema = {"type": "boolean"}
MAYBE: Schema = {"type": ["boolean", "null"]}
COUNT: Schema = {"type": "integer", "minimum": 0}


def incoming_json_schema() -> Schema:
    """Schema of `incoming --json`."""
    whole = of_fields(IncomingResult, ("comparison", "decision", "decided_on"))["properties"]
    explanation = of_fields(ExplanationResult)["properties"]
    agreement = {
        "type": "object",
        "additionalProperties": {"type": "object", "additionalProperties": of_fields(Agreement)},
    }
    counts = {"type": "object", "additionalProperties": COUNT}
    lot = of_fields(
        LotResult, LOT_FIELDS, reasons=array(of_fields(LotReason)), cautions=array(of_fields(Notice))
    )
    lot["properties"] |= {"required_n": {"type": ["integer", "null"]}, "ac": {"type": ["integer", "null"]}}
    notices = array(of_fields(Notice))
    return document(
        INCOMING_SCHEMA,
        "gearqa incoming comparison of a supplier's report with our measurement; reported less found",
        {
            "standard": TEXT,
            "part": {"type": "object", "additionalProperties": TEXT, "required": ["number"]},
            "supplier": TEXT,
            "inputs": array(input_file()),
            "simulated": TRUTH,
            "measured": TRUTH,
            "comparison": whole["comparison"],
            "comparison_reason": TEXT,
            "decision": whole["decision"],
            "decided_on": whole["decided_on"],
            "reasons": array(of_fields(IncomingReason)),
            "agrees": TRUTH,
            "claims": counts,
            "explained": MAYBE,
            "explained_reason": TEXT,
            "explained_from": explanation["data"],
            "explained_values": COUNT,
            "rms_before_um": explanation["rms_before_um"],
            "explanations": explanation["explanations"],
            "few_values": TRUTH,
            "same_gears": MAYBE,
            "same_gears_reason": TEXT,
            "alignments": array(of_fields(GearAlignment)),
            "agreement": agreement,
            "agreement_explained": agreement,
            "rows": array(of_fields(Row)),
            "unmatched": array(of_fields(Unmatched)),
            "not_reported": of_type(tuple[str, ...]),
            "lots": {"type": "object", "additionalProperties": lot},
            "cautions": notices,
            "warnings": notices,
        },
    )
