"""Traces within the zones of the drawing: widths trace by trace, then flank by flank, judged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from gearqa.arrays import Array
from gearqa.core.traces import coverage
from gearqa.core.zones import Widths, zone_widths
from gearqa.evaluation.limit_curves import filtered_traces
from gearqa.evaluation.trace_specs import ZoneSpec
from gearqa.evaluation.value_states import judged_apart
from gearqa.model.curves import ZoneRoom
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import Trace
from gearqa.model.results import NotAssessed, ZoneParameter, ZoneResult, ZoneTrace, zone_key
from gearqa.symbols import Flank

ZonePlace = tuple[ZoneSpec, Flank, ZoneParameter]


def within(
    x: Array, y: Array, spec: ZoneSpec, traces: Sequence[Trace]
) -> dict[ZoneParameter, list[ZoneTrace]]:
    """Traces of one sampling pattern within a zone; y holds their deviations as measured."""
    found: dict[ZoneParameter, list[ZoneTrace]] = {}
    for parameter, one in _widths(x, filtered_traces(x, y, spec.span.cutoff), spec).items():
        rows = zip(*(v.tolist() for v in (one.width, one.highest_at, one.lowest_at)), strict=True)
        found[parameter] = [
            ZoneTrace(
                kind=trace.kind, tooth=trace.tooth, label_mm=trace.label_mm, value_um=width,
                highest_at_mm=highest, lowest_at_mm=lowest,
            )
            for trace, (width, highest, lowest) in zip(traces, rows, strict=True)
        ]  # fmt: skip
    return found


def _widths(x: Array, filtered: Array, spec: ZoneSpec) -> dict[ZoneParameter, Widths]:
    total, form = zone_widths(x, filtered, spec.span.low, spec.span.high, spec.whole)
    return {key: form if key.endswith("_form") else total for key in spec.tolerances}


def rooms(trace: Trace, filtered: Array, spec: ZoneSpec) -> Iterator[ZoneRoom]:
    """Where one trace lies best within the tolerances of a zone, to draw it."""
    x = trace.position_mm
    if coverage(x, spec.span).fault is None:
        for key, one in _widths(x, filtered[None], spec).items():
            tolerance = spec.tolerances[key]
            at, middle = np.concatenate((one.at, one.at[::-1])), one.middle[0]
            sides = (middle - tolerance / 2, middle[::-1] + tolerance / 2)
            outline = (np.append(at, at[0]), np.append(np.concatenate(sides), sides[0][0]))
            yield ZoneRoom(zone_key(key, spec.number), spec.number, float(one.width[0]), tolerance, outline)


def zone_results(
    traces: Mapping[ZonePlace, Sequence[ZoneTrace]], gaps: Sequence[NotAssessed],
    uncertainty: Mapping[str, float], decision: DecisionTable | None,
) -> tuple[ZoneResult, ...]:  # fmt: skip
    """Each zone and flank by its worst trace; a gap leaves open what does not fail already."""
    found = [
        _zone(spec, flank, parameter, some, gaps, uncertainty.get(parameter), decision)
        for (spec, flank, parameter), some in traces.items()
        if some
    ]
    return tuple(
        sorted(found, key=lambda one: (one.zone, one.flank == "right", one.parameter[-4:] == "form"))
    )


def _zone(
    spec: ZoneSpec, flank: Flank, parameter: ZoneParameter, traces: Sequence[ZoneTrace],
    gaps: Sequence[NotAssessed], expanded: float | None, decision: DecisionTable | None,
) -> ZoneResult:  # fmt: skip
    worst = max(traces, key=lambda one: round(one.value_um, 9))
    tolerance = spec.tolerances[parameter]
    open_ = any(
        gap.parameter == zone_key(parameter, spec.number) and gap.flank in (None, flank) for gap in gaps
    )
    conforms, state = judged_apart(worst.value_um, (None, tolerance), expanded, decision, open_=open_)
    return ZoneResult(
        zone=spec.number, parameter=parameter, kind=spec.kind, flank=flank, start_mm=spec.span.low,
        end_mm=spec.span.high, required=spec.required, value_um=worst.value_um, tolerance_um=tolerance,
        tooth=worst.tooth, highest_at_mm=worst.highest_at_mm, lowest_at_mm=worst.lowest_at_mm,
        conforms=conforms, state=state, traces=tuple(traces),
    )  # fmt: skip
