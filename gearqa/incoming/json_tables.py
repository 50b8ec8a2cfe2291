"""The comparison as JSON and CSV: keys are the field names of `gearqa.model.incoming`."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Final

from gearqa.model.incoming import IncomingResult, Row
from gearqa.model.lot import LotResult
from gearqa.results.csvio import Style, csv_table
from gearqa.results.document import software
from gearqa.results.entries import key_of
from gearqa.results.jsonio import input_table
from gearqa.results.plain_tables import plain

INCOMING_SCHEMA: Final = "gearqa.incoming/1"
LOT_FIELDS: Final = (
    "decision", "lot_size", "sample_size", "conforming", "not_conforming", "not_proven", "not_assessed",
    "segregate", "remeasure", "reasons", "cautions",
)  # fmt: skip
"""What of each side's lot decision stands in the result; `gearqa lot --json` has all of it."""


def incoming_table(result: IncomingResult) -> dict[str, Any]:
    """The document of `incoming --json`."""
    explanation = result.explanation
    return {
        "schema": INCOMING_SCHEMA,
        "software": software(),
        "standard": result.standard,
        "part": dict(result.part),
        "supplier": result.supplier,
        "inputs": [input_table(file) for file in result.inputs],
        "simulated": result.simulated,
        "measured": result.measured,
        "comparison": result.comparison,
        "comparison_reason": result.comparison_reason,
        "decision": result.decision,
        "decided_on": result.decided_on,
        "reasons": plain(result.reasons),
        "agrees": result.agrees,
        "claims": dict(result.claims),
        "explained": explanation.explained,
        "explained_reason": explanation.reason,
        "explained_from": explanation.data,
        "explained_values": explanation.n,
        "rms_before_um": explanation.rms_before_um,
        "explanations": plain(explanation.explanations),
        "few_values": explanation.few_values,
        "same_gears": result.same_gears,
        "same_gears_reason": result.same_gears_reason,
        "alignments": plain(result.alignments),
        "agreement": plain(result.agreement),
        "agreement_explained": plain(result.agreement_explained),
        "rows": plain(result.rows),
        "unmatched": plain(result.unmatched),
        "not_reported": list(result.not_reported),
        "lots": {side: _lot(lot) for side, lot in result.lots.items()},
        "cautions": plain(result.cautions),
        "warnings": plain(result.warnings),
    }


def _lot(lot: LotResult) -> dict[str, Any]:
    sampling = lot.sampling
    return {
        **{name: plain(getattr(lot, name)) for name in LOT_FIELDS},
        "required_n": sampling.required_n,
        "ac": sampling.ac,
    }


def incoming_csv(result: IncomingResult, style: Style = "comma") -> bytes:
    """One row a reported value."""
    names = [f.name for f in fields(Row)]
    rows = ([getattr(row, name) for name in names] for row in result.rows)
    return csv_table(map(key_of, names), rows, simulated=result.simulated, style=style)
