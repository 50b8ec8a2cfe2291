"""An analysed history as JSON and as CSV rows, one a series."""

from __future__ import annotations

from typing import Final

from gearqa.model.drift import DriftReport, DriftResult, DriftSeries, DriftSettings
from gearqa.results.csvio import Style, csv_table
from gearqa.results.document import ResultDocument
from gearqa.results.entries import names_of

DRIFT: Final = ResultDocument(
    "gearqa.drift/1",
    "gearqa drift of a grinder",
    DriftReport,
    {
        DriftReport: (
            "source=header.source", "standards=header.standards", "inputs=header.inputs",
            "simulated=result.simulated",
            "alarm=result.alarm", "family=result.family", "hold=result.hold",
            "dress_intervals=result.dress_intervals", "reasons=result.reasons", "headline=result.headline",
            "settings=result.settings", "series=result.series",
            "diagnosis=result.diagnosis", "advice=result.advice", "warnings",
        ),
        DriftSeries: (*names_of(DriftSeries, "charts"), "alarm"),
        DriftSettings: names_of(
            DriftSettings, "reference", "references", "parts_per_dress", "waves_as_shapes"
        ),
    },
    {DriftSeries: "series"},
)  # fmt: skip

COLUMNS: Final = (
    "part", "grinder", "parameter", "flank", "gears", "cycles", "current_cycle", "in_control", "alarm",
    "wear_um_per_part", "wear_low_um_per_part=wear_interval_um_per_part.0",
    "wear_high_um_per_part=wear_interval_um_per_part.1", "wear_confidence", "wear_significant",
    "wear_estimated", "sd_um", "sd_part_um", "sd_cycle_um", "level_trend_um_per_cycle",
    "last_step_cycle=steps.-1.cycle", "last_step_um=steps.-1.size_um", "last_step_event=steps.-1.event",
    "level_moved", "curved", "rho", "last_correction_verdict=corrections.-1.verdict",
    "signals=signals.len", "current_signals=current_signals.len", "limit_low_um=limit_um.0",
    "limit_high_um=limit_um.1", "limit_kind", "parts_to_limit=parts_to_limit.expected",
    "parts_to_limit_low=parts_to_limit.low", "parts_to_limit_high=parts_to_limit.high",
    "parts_to_limit_reason", "dress_interval_parts", "dress_interval_at_least", "dress_interval_reason",
    "if_straight_parts", "current_dress_interval_parts", "risk", "centring_offset_um",
    "reference_from=reference.from_",
    "reference_to=reference.to", "sentence",
)  # fmt: skip


def drift_csv(result: DriftResult, *, style: Style = "comma") -> bytes:
    """One row a series, with the mark of a result above."""
    return csv_table(COLUMNS, result.series, simulated=result.simulated, style=style)
