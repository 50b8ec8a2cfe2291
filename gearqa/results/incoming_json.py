"""The comparison with a supplier's report as JSON, and as CSV rows, one a reported value."""

from __future__ import annotations

from typing import Final

from gearqa.model.incoming import ComparedValue, IncomingResult
from gearqa.model.lot import LotResult
from gearqa.results.csvio import Style, csv_table
from gearqa.results.document import ResultDocument
from gearqa.results.entries import names_of

INCOMING: Final = ResultDocument(
    "gearqa.incoming/1",
    "gearqa incoming comparison of a supplier's report with our measurement; reported less found",
    IncomingResult,
    {
        IncomingResult: (
            "standard", "part", "supplier", "inputs", "simulated", "measured", "comparison",
            "comparison_reason", "verdict", "verdict_reason", "values_judged", "values_beyond",
            "values_beyond_allowed", "decision", "decided_on", "reasons", "agrees", "claims", "lot_claim",
            "gear_claims", "biases", "split",
            "explained=explanation.explained", "explained_reason=explanation.reason",
            "explained_from=explanation.data", "explained_values=explanation.n",
            "shared=explanation.shared", "rms_before_um=explanation.rms_before_um",
            "explanations=explanation.explanations",
            "few_values=explanation.few_values", "same_gears", "same_gears_reason", "alignments",
            "agreement", "agreement_explained", "rows", "unmatched", "not_reported", "lots", "plausibility",
            "cautions", "warnings",
        ),
        LotResult: (
            "decision", "lot_size", "sample_size", "conforming", "not_conforming", "not_proven",
            "not_assessed", "segregate", "remeasure", "reasons", "cautions",
            "required_n=sampling.required_n", "ac=sampling.ac",
        ),
    },
)  # fmt: skip
"""Of each side's lot only the decision and what it rests on: `gearqa lot --json` has all of it."""


def incoming_csv(result: IncomingResult, style: Style = "comma") -> bytes:
    """One row a reported value."""
    columns = (*(f"{name}=0.{name}" for name in names_of(ComparedValue)), "standard=1.standard")
    rows = ((row, result) for row in result.rows)
    return csv_table(columns, rows, simulated=result.simulated, style=style)
