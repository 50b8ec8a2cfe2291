"""A gauge study as JSON: of several flanks the one that spreads more first, all of them in `series`."""

from __future__ import annotations

from typing import Final

from gearqa.model.gauge import CrossedFlanks, CrossedResult, GaugeResult, ReferenceFlanks, ReferenceResult
from gearqa.results.document import ResultDocument
from gearqa.results.entries import names_of

CROSSED: Final = names_of(CrossedResult, "series")
REFERENCE: Final = names_of(ReferenceResult, "series")
GAUGE: Final = ResultDocument(
    "gearqa.gauge/1",
    "gearqa gauge study; of several flanks the one that spreads more stands on top, all stand in series",
    GaugeResult,
    {
        GaugeResult: (
            "kind", "part", "inputs", "simulated", "factor", "pool_above", "suitable", "parameters",
            "uncertainty_um", "linearity", "cautions", "warnings",
        ),
        CrossedFlanks: (*(f"{name}=worst.{name}" for name in CROSSED), "series"),
        ReferenceFlanks: (*(f"{name}=worst.{name}" for name in REFERENCE), "series"),
        CrossedResult: CROSSED,
        ReferenceResult: REFERENCE,
    },
    {
        CrossedFlanks: "crossed", CrossedResult: "one_crossed",
        ReferenceFlanks: "reference", ReferenceResult: "one_reference",
    },
)  # fmt: skip
