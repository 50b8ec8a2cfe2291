"""A gear's JSON result back into the model: the inverse of `gearqa.results.jsonio`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from gearqa.errors import Notice
from gearqa.model.measurement import Production
from gearqa.model.results import (
    FlankResult,
    GearResult,
    NotAssessed,
    ParameterResult,
    PitchResult,
    SizeResult,
    TraceResult,
)
from gearqa.results.jsonio import LABEL_KEYS, key_of

TIMES = ("finished_at", "measured_at", "calibration_due")
SPECIAL = {"not_assessed", "warnings", "parameters", "traces", "pitch", "size", "production", "governing",
           "master_deciding"}  # fmt: skip


def gear_from_table(table: Mapping[str, Any]) -> GearResult:
    """One gear from its JSON result."""
    plain = {f.name: table[key_of(f.name)] for f in fields(GearResult) if f.name not in SPECIAL}
    production = table.get("production")
    return GearResult(
        **plain,
        governing=tuple(table["governing"]),
        master_deciding=tuple(table["master_deciding"]),
        not_assessed=tuple(NotAssessed(**one) for one in table["not_assessed"]),
        warnings=tuple(Notice(**one) for one in table["warnings"]),
        parameters={key: _parameter(one) for key, one in table["parameters"].items()},
        traces=tuple(_trace(one) for one in table["traces"] if one["kind"] != "pitch"),
        pitch=tuple(_fields(PitchResult, one) for one in table["traces"] if one["kind"] == "pitch"),
        size=tuple(_fields(SizeResult, one) for one in table.get("size", ())),
        production=None if production is None else production_from_table(production),
    )


def production_from_table(table: Mapping[str, Any]) -> Production:
    """When and where a gear was made."""
    times = {name: datetime.fromisoformat(table[name]) for name in TIMES if name in table}
    return Production(**{**table, **times})


def _fields(model: type[Any], table: Mapping[str, Any], **replaced: Any) -> Any:
    """An object of `model` from the keys that are there; the others keep their defaults or are None."""
    values = {f.name: table.get(key_of(f.name)) for f in fields(model) if f.name not in replaced}
    return model(**{**values, **replaced})


def _limits(table: Mapping[str, Any]) -> tuple[float, float] | None:
    limits = table["limits_um"]
    return None if limits is None else (limits[0], limits[1])


def _parameter(table: Mapping[str, Any]) -> ParameterResult:
    flanks = {
        flank: _fields(FlankResult, one, limits_um=_limits(one)) for flank, one in table["flanks"].items()
    }
    result: ParameterResult = _fields(ParameterResult, table, limits_um=_limits(table), flanks=flanks)
    return result


def _trace(table: Mapping[str, Any]) -> TraceResult:
    result: TraceResult = _fields(TraceResult, table, label_mm=table.get(LABEL_KEYS[table["kind"]]))
    return result
