"""An analysed history as JSON and as CSV rows. Keys are the fields of `gearqa.model.drift`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

from gearqa.errors import Notice
from gearqa.model.drift import (
    DRIFT_SCHEMA,
    DriftHeader,
    DriftResult,
    DriftSeries,
    DriftSettings,
    LevelChange,
    Sentence,
)
from gearqa.results import schemas
from gearqa.results.csvio import Style, csv_table
from gearqa.results.document import software
from gearqa.results.jsonio import input_table
from gearqa.results.plain_tables import plain

SERIES_FIELDS = tuple(f.name for f in fields(DriftSeries) if f.name != "charts")
SETTINGS_FIELDS = tuple(f.name for f in fields(DriftSettings) if f.name not in ("reference", "references"))

CSV_COLUMNS = (
    "part", "grinder", "parameter", "flank", "gears", "cycles", "current_cycle", "in_control", "alarm",
    "wear_um_per_part", "wear_low_um_per_part", "wear_high_um_per_part", "wear_confidence",
    "wear_significant", "wear_estimated", "sd_um", "sd_part_um", "sd_cycle_um", "level_trend_um_per_cycle",
    "last_step_cycle", "last_step_um", "last_step_event", "signals", "current_signals", "limit_low_um",
    "limit_high_um", "limit_kind", "parts_to_limit", "parts_to_limit_low", "parts_to_limit_high",
    "parts_to_limit_reason", "dress_interval_parts", "dress_interval_at_least", "dress_interval_reason",
    "current_dress_interval_parts", "risk", "centring_offset_um", "reference_from", "reference_to",
    "sentence",
)  # fmt: skip


def drift_table(result: DriftResult, header: DriftHeader) -> dict[str, Any]:
    """The whole document."""
    return {
        "schema": DRIFT_SCHEMA,
        "software": software(),
        "source": header.source,
        "inputs": [input_table(file) for file in header.inputs],
        "simulated": result.simulated,
        "alarm": result.alarm,
        "reasons": plain(result.reasons),
        "headline": result.headline,
        "settings": {name: plain(getattr(result.settings, name)) for name in SETTINGS_FIELDS},
        "series": [_series(one) for one in result.series],
        "advice": plain(result.advice),
        "warnings": plain((*header.warnings, *result.warnings)),
    }


def _series(series: DriftSeries) -> dict[str, Any]:
    table = {name: plain(getattr(series, name)) for name in SERIES_FIELDS}
    return {**table, "alarm": series.alarm}


def drift_json_schema() -> schemas.Schema:
    """Schema of `drift --json`."""
    number: schemas.Schema = {"type": ["number", "null"]}
    step = schemas.of_fields(LevelChange, size_um=number)
    series = schemas.of_fields(DriftSeries, SERIES_FIELDS, steps=schemas.array(step))
    series["properties"]["alarm"] = {"type": "boolean"}
    series["required"].append("alarm")
    sentences = schemas.array(schemas.of_fields(Sentence))
    document = schemas.document(
        DRIFT_SCHEMA,
        "gearqa drift of a grinder",
        {
            "source": {"type": "string"},
            "inputs": schemas.array(schemas.input_file()),
            "simulated": {"type": "boolean"},
            "alarm": {"type": "boolean"},
            "reasons": sentences,
            "headline": {"type": ["string", "null"]},
            "settings": schemas.of_fields(DriftSettings, SETTINGS_FIELDS),
            "series": schemas.array(schemas.reference("series")),
            "advice": sentences,
            "warnings": schemas.array(schemas.of_fields(Notice)),
        },
        {"series": series},
    )
    for key, text in DESCRIPTIONS.items():
        series["properties"][key]["description"] = text
    document["properties"]["alarm"]["description"] = (
        "A series has a signal that counts, or reaches its limit within its dress interval: exit status 1."
    )
    return document


DESCRIPTIONS = {
    "flank": "left or right; null where both flanks share one value.",
    "cycles": "Dress cycles; 0 where they are not known.",
    "in_control": "Whether no point lies beyond a control limit and no level change is unexplained; null "
    "where there are too few cycles to tell. See reasons.",
    "wear_um_per_part": "Change of the flank mean per part since dress; null where it cannot be told.",
    "wear_estimated": "Whether parts since dress were estimated from times.",
    "sd_um": "Standard deviation of a part about wear line and mean level: parts and cycles together.",
    "cycle_levels_um": "Level after each dress, at its first part.",
    "steps": "Level changes: first cycle at the new level, new less old level.",
    "segment_from_cycle": "Forecast and dress interval rest on the cycles from here on.",
    "signals": "First point of every cycle beyond a control limit; `current` ones count for the alarm.",
    "limit_um": "Action limits, low and high: drawing or class, less the guard where U is known.",
    "parts_to_limit": "Parts of the running cycle, counted from its dress, until the worst trace reaches "
    "the limit.",
    "dress_interval_parts": "Parts per dress for the risk; see dress_interval_at_least.",
    "current_dress_interval_parts": "Median of the parts per cycle seen since the last level change.",
    "risk": "Risk that the last part before a dress lies beyond the limit.",
    "centring_offset_um": "Move the level after dress by this, and the cycle lies amid its limits.",
    "alarm": "Whether this series sets exit status 1.",
}


def drift_csv(result: DriftResult, *, style: Style = "comma") -> bytes:
    """One row a series, with the mark of a result above."""
    return csv_table(CSV_COLUMNS, map(_row, result.series), simulated=result.simulated, style=style)


def _row(series: DriftSeries) -> Iterator[Any]:
    low, high = series.wear_interval_um_per_part or (None, None)
    step = series.steps[-1] if series.steps else None
    parts = series.parts_to_limit
    special: dict[str, Any] = {
        "wear_low_um_per_part": low,
        "wear_high_um_per_part": high,
        "last_step_cycle": step.cycle if step else None,
        "last_step_um": step.size_um if step else None,
        "last_step_event": step.event if step else None,
        "signals": len(series.signals),
        "current_signals": sum(one.current for one in series.signals),
        "limit_low_um": series.limit_um[0],
        "limit_high_um": series.limit_um[1],
        "parts_to_limit": parts.expected if parts else None,
        "parts_to_limit_low": parts.low if parts else None,
        "parts_to_limit_high": parts.high if parts else None,
        "reference_from": series.reference.from_ if series.reference else None,
        "reference_to": series.reference.to if series.reference else None,
    }
    for column in CSV_COLUMNS:
        yield special[column] if column in special else getattr(series, column)
