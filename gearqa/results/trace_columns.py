"""Columns of a trace for what judges it beside its class: limit curves, and the zone that it uses most."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, Final

from gearqa.model.results import GearResult, TraceResult

APART: Final = (
    "margin_um", "shift_um", "upper_at_mm", "lower_at_mm", "zone", "zone_value_um", "zone_tolerance_um",
)  # fmt: skip
NONE: Final = (None,) * len(APART)
_Place = tuple[str, str, int, float | None]


def columns_apart(gear: GearResult) -> dict[_Place, tuple[Any, ...]]:
    """Place of a trace -> its columns `APART`; none for traces without limit curves and zones."""
    curves: dict[_Place, tuple[Any, ...]] = {
        (one.kind, one.flank, trace.tooth, trace.label_mm):
            (trace.margin_um, trace.shift_um, trace.upper_at_mm, trace.lower_at_mm)
        for one in gear.limit_curves
        for trace in one.traces
    }  # fmt: skip
    zones: dict[_Place, list[tuple[float, str, float]]] = defaultdict(list)
    for one in gear.zones:
        for trace in one.traces:
            row = (trace.value_um, one.key, one.tolerance_um)
            zones[one.kind, one.flank, trace.tooth, trace.label_mm].append(row)
    found = {place: (*own, *NONE[4:]) for place, own in curves.items()}
    for place, some in zones.items():
        value, key, tolerance = max(some, key=lambda row: row[0] / row[2])
        found[place] = (*curves.get(place, NONE[:4]), key, value, tolerance)
    return found


def place_of(trace: TraceResult) -> _Place:
    """Where a trace lies."""
    return trace.kind, trace.flank, trace.tooth, trace.label_mm
