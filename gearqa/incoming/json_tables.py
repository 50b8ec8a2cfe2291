"""The comparison as JSON and CSV: keys are the field names of `gearqa.model.incoming`."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Final

from gearqa.io.jsonio import input_table, key_of, software_table
from gearqa.io.plain_tables import plain
from gearqa.model.incoming import IncomingResult, Row
from gearqa.model.lot import LotResult

INCOMING_SCHEMA: Final = "gearqa.incoming/1"
LOT_FIELDS: Final = (
    "decision", "lot_size", "sample_size", "conforming", "not_conforming", "not_proven", "not_assessed",
    "segregate", "remeasure", "reasons", "cautions",
)  # fmt: skip
"""What of each side's lot decision stands in the result; `gearqa lot --json` has all of it."""
CSV_MARK: Final = "# gearqa result"


def incoming_table(result: IncomingResult) -> dict[str, Any]:
    """The document of `incoming --json`."""
    explanation = result.explanation
    return {
        "schema": INCOMING_SCHEMA,
        "software": software_table(),
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


def rows_csv(result: IncomingResult, *, separator: str = ",", decimal: str = ".") -> str:
    """One line per reported value; the first line says that gearqa wrote it."""
    names = [f.name for f in fields(Row)]
    lines = [CSV_MARK, separator.join(key_of(name) for name in names)]
    lines += [
        separator.join(_cell(getattr(row, name), separator, decimal) for name in names) for row in result.rows
    ]
    return "\n".join(lines) + "\n"


def _cell(value: Any, separator: str, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value).replace(".", decimal)
    text = str(value)
    quoted = any(sign in text for sign in (separator, '"', "\n", "\r"))
    return '"' + text.replace('"', '""') + '"' if quoted else text
