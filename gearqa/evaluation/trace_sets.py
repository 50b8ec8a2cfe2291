"""Profile and helix traces of many gears, evaluated together by sampling pattern."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import field
from typing import NamedTuple

import numpy as np

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry, diameter_at_roll
from gearqa.core.slopes import (
    base_radius_deviation,
    helix_angle_deviation,
    helix_slope_by_angle,
    pressure_angle_deviation,
)
from gearqa.core.traces import (
    FEWEST_POINTS,
    MISSING_STEPS_ALLOWED,
    Coverage,
    TraceSpec,
    cached_trace_operator,
    coverage,
    evaluate_traces,
)
from gearqa.errors import EvaluationError
from gearqa.evaluation.criteria import EQUAL
from gearqa.evaluation.limit_curves import fitted
from gearqa.evaluation.part_setup import Measured, PartSetup, SlopeAngles, Where
from gearqa.evaluation.plausibility import next_to_nothing, small_trace_text, trace_unit_doubts
from gearqa.evaluation.probe_faults import odd_rows, trace_fault, zone_fault
from gearqa.evaluation.trace_specs import Apart, CurveSpec
from gearqa.evaluation.zones import ZonePlace, within
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.model.results import CurveTrace, GapCode, Hand, TraceResult, ZoneTrace
from gearqa.symbols import FLANKS, Flank, TraceKind
from gearqa.wording.numbers import range_text, short_text


class TraceFault(NamedTuple):
    """A trace that could not be evaluated, and why."""

    trace: Trace
    reason: str
    code: GapCode = "not_evaluable"


@dataclass(slots=True)
class TraceSet:
    """What became of the traces of one gear."""

    results: list[TraceResult] = field(default_factory=list)
    faults: list[TraceFault] = field(default_factory=list)
    teeth: dict[tuple[TraceKind, Flank], set[int]] = field(default_factory=dict)
    """Teeth with a trace, whether it could be evaluated or not."""
    notes: dict[tuple[TraceKind, str], list[Trace]] = field(default_factory=lambda: defaultdict(list))
    """(kind, code) -> traces it is about."""
    fewest_points: dict[TraceKind, int] = field(default_factory=dict)
    curves: dict[tuple[TraceKind, Flank], list[CurveTrace]] = field(default_factory=lambda: defaultdict(list))
    """Between the limit curves of the drawing, where it has any."""
    zones: dict[ZonePlace, list[ZoneTrace]] = field(default_factory=lambda: defaultdict(list))
    """Within the zones of the drawing."""
    apart_faults: dict[str, list[TraceFault]] = field(default_factory=lambda: defaultdict(list))
    """What stands for a parameter -> traces that do not cover their limit curves, or a zone."""


def evaluate_trace_sets(gears: Sequence[GearMeasurement], setup: PartSetup) -> list[TraceSet]:
    """Evaluate the traces of many gears together, all of one sampling pattern at once."""
    sets = [TraceSet() for _ in gears]
    pattern_of_array: dict[tuple[TraceKind, int], list[tuple[int, Trace]]] = {}
    patterns: dict[tuple[TraceKind, bytes], list[tuple[int, Trace]]] = {}
    for number, gear in enumerate(gears):
        teeth, faults = sets[number].teeth, sets[number].faults
        doubts = trace_unit_doubts(gear, setup.plausible)
        for trace in gear.traces:
            teeth.setdefault((trace.kind, trace.flank), set()).add(trace.tooth)
            if trace.copy_of:
                reason = (
                    f"{_trace_name(trace)} repeats {trace.copy_of} value for value: which one was measured?"
                )
                faults.append(TraceFault(trace, reason, "copied"))
                continue
            if doubt := doubts.get((trace.kind, trace.flank)):
                spec = spec_for(trace.kind, trace, setup)
                dead = _dead(trace, trace.deviation_um, spec, setup)
                if dead is not None and not setup.confirmed(dead.code, trace.kind, gear.serial):
                    faults.append(dead)
                    continue
                faults.append(TraceFault(trace, doubt, "unit_doubt"))
                if not setup.confirmed("unit_doubt", trace.kind, gear.serial):
                    continue
            key = (trace.kind, id(trace.position_mm))
            members = pattern_of_array.get(key)
            if members is None:
                members = patterns.setdefault((trace.kind, trace.position_mm.tobytes()), [])
                pattern_of_array[key] = members
            members.append((number, trace))
    for (kind, _), members in patterns.items():
        _evaluate_pattern(kind, members, gears, sets, setup)
    for one in sets:
        one.results.sort(key=lambda r: (r.kind == "helix", r.flank == "right", r.tooth, r.label_mm or 0.0))
        for curves in one.curves.values():
            curves.sort(key=_tooth_and_label)
        for zones in one.zones.values():
            zones.sort(key=_tooth_and_label)
    return sets


def _tooth_and_label(one: CurveTrace | ZoneTrace) -> tuple[int, float]:
    return one.tooth, one.label_mm or 0.0


def _evaluate_pattern(
    kind: TraceKind,
    members: list[tuple[int, Trace]],
    gears: Sequence[GearMeasurement],
    sets: list[TraceSet],
    setup: PartSetup,
) -> None:
    spec = spec_for(kind, members[0][1], setup)
    x = members[0][1].position_mm
    covered = coverage(x, spec)
    if covered.fault is not None:
        for number, trace in members:
            sets[number].faults.append(TraceFault(trace, _coverage_reason(trace, covered, spec)))
        return
    y = np.concatenate([trace.deviation_um for _, trace in members]).reshape(len(members), len(x))
    members, y = _live(members, y, gears, sets, spec, setup)
    if not members:
        return
    _judge_apart(kind, members, y, gears, sets, setup)
    values = evaluate_traces(cached_trace_operator(x, spec), y)
    full = setup.part.slope_span == "full"
    helical = setup.geometry.H != 0
    sign_of = {flank: _twist_sign(flank, setup.geometry) for flank in FLANKS}
    columns = (values.total, values.form, values.slope, values.slope_full, values.crowning)
    for (number, trace), total, form, slope, slope_full, crowning, parabola_form, zone, departs in zip(
        members,
        *(column.tolist() for column in columns),
        values.parabola_form.tolist(),
        values.tip_zone_counted.tolist(),
        values.departs.tolist(),
        strict=True,
    ):
        graded_slope = slope_full if full else slope
        of_angle: float | None = None
        hand: Hand | None = None
        if kind == "helix":
            twist = sign_of[trace.flank] * graded_slope
            if helical:
                of_angle = twist
            elif twist:
                hand = "right-hand" if twist > 0 else "left-hand"
        one = sets[number]
        one.results.append(
            TraceResult(
                kind=kind,
                flank=trace.flank,
                tooth=trace.tooth,
                total_um=total,
                form_um=form,
                slope_um=graded_slope,
                slope_evaluation_um=slope,
                slope_full_um=slope_full,
                crowning_um=crowning,
                form_about_parabola_um=parabola_form,
                points=covered.points,
                start_mm=spec.start,
                end_mm=spec.end,
                tip_zone_counted=zone,
                slope_by_helix_angle_um=of_angle,
                hand=hand,
                label_mm=trace.label_mm,
            )
        )
        if covered.few_points:
            one.notes[kind, "few_points"].append(trace)
            one.fewest_points[kind] = min(one.fewest_points.get(kind, covered.points), covered.points)
        if covered.sparse:
            one.notes[kind, "few_points_per_cutoff"].append(trace)
        if departs:
            one.notes[kind, "steep_departure"].append(trace)


def _judge_apart(
    kind: TraceKind, members: list[tuple[int, Trace]], y: Array, gears: Sequence[GearMeasurement],
    sets: list[TraceSet], setup: PartSetup,
) -> None:  # fmt: skip
    """Traces of one sampling pattern against limit curves and zones of their flanks, where there are any."""
    x = members[0][1].position_mm
    for flank in FLANKS:
        of_flank = [row for row, (_, trace) in enumerate(members) if trace.flank == flank]
        for spec in setup.apart.get((kind, flank), ()) if of_flank else ():
            rows = []
            for row, fault in _faults_apart(x, y, of_flank, members, spec, setup):
                number, _ = members[row]
                if fault is not None:
                    for key in spec.keys:
                        sets[number].apart_faults[key].append(fault)
                if fault is None or setup.confirmed(fault.code, kind, gears[number].serial):
                    rows.append(row)
            if not rows:
                continue
            traces, of_rows = [members[row][1] for row in rows], [sets[members[row][0]] for row in rows]
            if isinstance(spec, CurveSpec):
                for one, curve in zip(of_rows, fitted(x, y[rows], spec, traces), strict=True):
                    one.curves[kind, flank].append(curve)
            else:
                for parameter, found in within(x, y[rows], spec, traces).items():
                    for one, zone in zip(of_rows, found, strict=True):
                        one.zones[spec, flank, parameter].append(zone)


def _faults_apart(
    x: Array, y: Array, rows: Sequence[int], members: list[tuple[int, Trace]], spec: Apart, setup: PartSetup
) -> Iterator[tuple[int, TraceFault | None]]:
    """Each row with what forbids to compare it: the place is not covered, or the probe stood still."""
    covered = coverage(x, spec.span)
    for row in rows:
        trace, fault = members[row][1], None
        if covered.fault is not None:
            fault = TraceFault(trace, _coverage_reason(trace, covered, spec.span, spec.name))
        elif found := zone_fault(x, y[row] / setup.flank_factor, spec.span.low, spec.span.high):
            fault = TraceFault(trace, f"{_trace_name(trace)}, {spec.name}: {found.text}", found.code)
        yield row, fault


def _live(
    members: list[tuple[int, Trace]], y: Array, gears: Sequence[GearMeasurement], sets: list[TraceSet],
    spec: TraceSpec, setup: PartSetup,
) -> tuple[list[tuple[int, Trace]], Array]:  # fmt: skip
    """The traces that a probe on a flank can have given; the others become faults."""
    dropped = set()
    x = members[0][1].position_mm
    inside = y[:, np.searchsorted(x, spec.low) : np.searchsorted(x, spec.high, "right")]
    spans = inside.max(axis=1) - inside.min(axis=1)
    small = next_to_nothing(spans, members[0][1].kind, setup.plausible)
    for row in np.flatnonzero(odd_rows(x, y, spec.low, spec.high) | small).tolist():
        number, trace = members[row]
        found = _dead(trace, y[row], spec, setup)
        if found is None and small[row] and all(fault.trace is not trace for fault in sets[number].faults):
            found = TraceFault(trace, small_trace_text(_trace_name(trace), float(spans[row])), "unit_doubt")
        if found is None:
            continue
        sets[number].faults.append(found)
        if not setup.confirmed(found.code, trace.kind, gears[number].serial):
            dropped.add(row)
    if not dropped:
        return members, y
    kept = [row for row in range(len(members)) if row not in dropped]
    return [members[row] for row in kept], y[kept]


def _dead(trace: Trace, readings: Array, spec: TraceSpec, setup: PartSetup) -> TraceFault | None:
    """The fault of a trace that no probe on a flank gives; readings looked at as the file gives them."""
    found = trace_fault(trace.position_mm, readings / setup.flank_factor, spec.low, spec.high)
    return None if found is None else TraceFault(trace, f"{_trace_name(trace)} {found.text}", found.code)


def spec_for(kind: TraceKind, trace: Trace, setup: PartSetup) -> TraceSpec:
    """How a trace is evaluated; raises EvaluationError when the part names no profile limits."""
    spec = setup.specs[kind]
    if spec is not None:
        return spec
    low, high = float(trace.position_mm[0]), float(trace.position_mm[-1])
    d_low, d_high = (diameter_at_roll(v, setup.geometry.d_b) for v in (low, high))
    raise EvaluationError(
        f"profile traces cannot be evaluated without limits; measured was {range_text(low, high, 4)} mm "
        f"length of roll, diameter {range_text(d_low, d_high, 4)} mm",
        hint="set control_diameter_mm and tip_form_diameter_mm under [evaluation.profile] of the part file",
    )


def _trace_name(trace: Trace) -> str:
    label = "" if trace.label_mm is None else f" at {short_text(trace.label_mm)} mm"
    return f"{trace.kind} trace of tooth {trace.tooth}, {trace.flank} flank{label}"


def _coverage_reason(
    trace: Trace, covered: Coverage, spec: TraceSpec, wanted: str = "evaluation range"
) -> str:
    measured = (
        f"range wanted {range_text(spec.low, spec.high, 4)} mm, "
        f"measured {range_text(covered.measured_low, covered.measured_high, 4)} mm"
    )
    if covered.fault == "range_not_covered":
        return (
            f"{_trace_name(trace)} does not cover its {wanted} ({measured}; "
            f"at most {MISSING_STEPS_ALLOWED} steps may be missing at an end)"
        )
    if covered.hole is not None:
        return (
            f"{_trace_name(trace)} does not cover its {wanted}: no points from "
            f"{range_text(*covered.hole, 4)} mm ({measured})"
        )
    return (
        f"{_trace_name(trace)} has {covered.points} points in its {wanted}, "
        f"at least {FEWEST_POINTS} are needed ({measured})"
    )


def _worst_trace(traces: Sequence[TraceResult], values: list[float], others: list[float] | None) -> Measured:
    place = _first_worst(values)
    return Measured(
        values[place],
        min(values),
        max(values),
        math.fsum(values) / len(values),
        traces[place].tooth,
        other_span=None if others is None else others[_first_worst(others)],
    )


def _first_worst(values: Sequence[float]) -> int:
    """Place of the largest magnitude, the first one of equals at nine decimals."""
    worst, largest = 0, abs(values[0])
    for place, value in enumerate(values):
        if abs(value) > largest + EQUAL:
            worst, largest = place, abs(value)
    return worst


def measured_traces(results: Sequence[TraceResult], setup: PartSetup) -> dict[Where, Measured]:
    """Worst value, spread and place of every trace parameter and flank of one gear."""
    full = setup.part.slope_span == "full"
    measured: dict[Where, Measured] = {}
    groups: dict[tuple[TraceKind, Flank], list[TraceResult]] = defaultdict(list)
    for result in results:
        groups[result.kind, result.flank].append(result)
    for (kind, flank), traces in groups.items():
        others = [t.slope_evaluation_um if full else t.slope_full_um for t in traces]
        measured[f"{kind}_total", flank] = _worst_trace(traces, [t.total_um for t in traces], None)
        measured[f"{kind}_form", flank] = _worst_trace(traces, [t.form_um for t in traces], None)
        slope = _worst_trace(traces, [t.slope_um for t in traces], others)
        mean = math.fsum(t.slope_evaluation_um for t in traces) / len(traces)
        length = abs(traces[0].end_mm - traces[0].start_mm)
        angles = _slope_angles(kind, flank, mean, length, setup.geometry)
        measured[f"{kind}_slope", flank] = slope._replace(angles=angles)
        measured[f"{kind}_crowning", flank] = _worst_trace(traces, [t.crowning_um for t in traces], None)
        second = [t.form_about_parabola_um for t in traces if t.form_about_parabola_um is not None]
        if (key := f"{kind}_parabola_form") in setup.criteria.asked and len(second) == len(traces):
            measured[key, flank] = _worst_trace(traces, second, None)
    return measured


def _slope_angles(
    kind: TraceKind, flank: Flank, slope: float, length: float, geometry: GearGeometry
) -> SlopeAngles:
    """Angles of a slope that rises so many micrometres over an evaluation length in millimetres."""
    if kind == "profile":
        angle = pressure_angle_deviation(slope, length, geometry.alpha_t)
        return SlopeAngles(
            60 * math.degrees(angle), 1000 * base_radius_deviation(slope, length, geometry.d_b / 2)
        )
    by_angle = slope * _twist_sign(flank, geometry)
    angle = helix_angle_deviation(by_angle, length, geometry.beta, geometry.alpha_t)
    return SlopeAngles(helix_angle_arcmin=60 * math.degrees(angle))


def _twist_sign(flank: Flank, geometry: GearGeometry) -> float:
    """Sign that turns a raw helix slope into one by helix angle (spur: plus = right-hand)."""
    return helix_slope_by_angle(1.0, geometry.s, 1 if flank == "right" else -1, geometry.H or 1)
