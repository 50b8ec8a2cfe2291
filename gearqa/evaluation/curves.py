"""What charts show of a gear: traces as measured, filtered and meant, pitch, runout."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gearqa.core.geometry import diameter_at_roll
from gearqa.core.pitch import first_harmonic, single_pitches, tooth_angles
from gearqa.core.runout import radial_positions
from gearqa.core.traces import (
    TraceSpec,
    cached_trace_operator,
    coverage,
    design_trace,
    evaluate_traces,
    range_fraction,
)
from gearqa.evaluation.limit_curves import filtered_traces, fitted
from gearqa.evaluation.part_setup import PartSetup, setup_of
from gearqa.evaluation.trace_sets import evaluate_trace_sets, spec_for
from gearqa.evaluation.trace_specs import CurveSpec, ZoneSpec
from gearqa.evaluation.zones import rooms
from gearqa.model.curves import GearCurves, Line, PitchCurve, RollAxis, RunoutCurve, TraceCurves
from gearqa.model.measurement import GearMeasurement, PitchReadings, Trace
from gearqa.model.part import Part
from gearqa.model.results import GearResult, TraceResult
from gearqa.symbols import FLANKS

ROLL_AXIS_POINTS = 400


def gear_curves(gear: GearMeasurement, result: GearResult, setup: PartSetup) -> GearCurves:
    """Curves of a graded gear."""
    traces = _all_traces(gear, result.traces, setup)
    return GearCurves(
        traces=traces,
        roll_axis=_roll_axis([one for one in traces if one.kind == "profile"], setup),
        pitch=tuple(_pitch(gear.pitch[flank]) for flank in FLANKS if flank in gear.pitch),
        runout=_runout(gear, setup),
        files=gear.files or None,
    )


def trace_curves(gear: GearMeasurement, part: Part) -> tuple[TraceCurves, ...]:
    """Curves of every trace of a gear, in the order of its result's traces, unevaluable ones last.

    The design trace is lifted to the level of the mean line, so that it can be drawn through the
    measured one; it is NaN outside evaluation range and tip zone. The mean line is that of the
    trace less the design: add the design (less its level) to draw it over a modified flank. A trace
    that could not be evaluated has no result, its design is drawn about its mean and its mean line
    is NaN.
    """
    setup = setup_of(part)
    return _all_traces(gear, evaluate_trace_sets([gear], setup)[0].results, setup)


def _all_traces(
    gear: GearMeasurement, results: Sequence[TraceResult], setup: PartSetup
) -> tuple[TraceCurves, ...]:
    by_trace = {(r.kind, r.flank, r.tooth, r.label_mm): r for r in results}
    curves = [
        _curves(trace, by_trace.get((trace.kind, trace.flank, trace.tooth, trace.label_mm)), setup)
        for trace in gear.traces
    ]
    order = {id(result): place for place, result in enumerate(results)}
    return tuple(sorted(curves, key=lambda c: order.get(id(c.result), len(order))))


def _curves(trace: Trace, result: TraceResult | None, setup: PartSetup) -> TraceCurves:
    spec = spec_for(trace.kind, trace, setup)
    x, y = trace.position_mm, trace.deviation_um
    filtered = filtered_traces(x, y[None], spec.cutoff)[0]
    level, low_end, high_end = float(np.mean(filtered)), np.nan, np.nan
    if coverage(x, spec).fault is None:
        values = evaluate_traces(cached_trace_operator(x, spec), y[None])
        level, slope = float(values.level[0]), float(values.slope[0])
        t_low, t_high = range_fraction(np.array([spec.low, spec.high]), spec)
        low_end, high_end = level + slope * float(t_low), level + slope * float(t_high)
    low, high, zone = _extent(spec)
    lines, margin = _limit_curves(trace, setup)
    design = design_trace(x, spec) + level
    design[(x < low) | (x > high)] = np.nan
    return TraceCurves(
        kind=trace.kind,
        flank=trace.flank,
        tooth=trace.tooth,
        label_mm=trace.label_mm,
        position_mm=x,
        measured_um=y,
        filtered_um=filtered,
        design_um=design,
        start_mm=spec.low,
        end_mm=spec.high,
        tip_zone_mm=zone,
        mean_line_um=(float(low_end), float(high_end)),
        result=result,
        classes={} if result is None else _classes(result, setup),
        diameters_mm=_diameters(spec, setup) if trace.kind == "profile" else None,
        limit_curves=lines,
        margin_um=margin,
        zones=tuple(
            room
            for one in setup.apart.get((trace.kind, trace.flank), ())
            if isinstance(one, ZoneSpec)
            for room in rooms(trace, filtered, one)
        ),
    )


def _limit_curves(trace: Trace, setup: PartSetup) -> tuple[tuple[Line, ...], float | None]:
    """Limit curves of a trace where it lies best between them, and the margin there."""
    apart = setup.apart.get((trace.kind, trace.flank), ())
    spec = next((one for one in apart if isinstance(one, CurveSpec)), None)
    x = trace.position_mm
    if spec is None or coverage(x, spec.span).fault is not None:
        return (), None
    best = fitted(x, trace.deviation_um[None], spec, [trace])[0]
    lines = (np.array(points).T for points in (spec.upper, spec.lower))
    return tuple((place, height - best.shift_um) for place, height in lines), best.margin_um


def _classes(result: TraceResult, setup: PartSetup) -> dict[str, int | None]:
    values = {"total": result.total_um, "form": result.form_um, "slope": result.slope_um}
    return {
        key: criterion.class_of(value)
        for name, value in values.items()
        if (criterion := setup.criteria.of[key := f"{result.kind}_{name}", result.flank]).graded
    }


def _diameters(spec: TraceSpec, setup: PartSetup) -> tuple[float, float]:
    return diameter_at_roll(spec.low, setup.geometry.d_b), diameter_at_roll(spec.high, setup.geometry.d_b)


def _roll_axis(profiles: Sequence[TraceCurves], setup: PartSetup) -> RollAxis | None:
    if not profiles:
        return None
    low = min(float(one.position_mm[0]) for one in profiles)
    high = max(float(one.position_mm[-1]) for one in profiles)
    rolls = np.linspace(low, high, ROLL_AXIS_POINTS)
    return RollAxis(rolls, diameter_at_roll(rolls, setup.geometry.d_b))


def _pitch(readings: PitchReadings) -> PitchCurve:
    index, wave = readings.index_um, None
    if not readings.missing_teeth:
        amplitude, crest = first_harmonic(index)
        wave = index.mean() + amplitude * np.cos(tooth_angles(len(index)) - crest)
    return PitchCurve(readings.flank, index, single_pitches(index), wave)


def _runout(gear: GearMeasurement, setup: PartSetup) -> RunoutCurve | None:
    geometry = setup.geometry
    if gear.runout is not None:
        radial = gear.runout.radial_um
    elif len(gear.pitch) == len(FLANKS):
        radial = radial_positions(gear.pitch["left"].index_um, gear.pitch["right"].index_um, geometry)
    else:
        return None
    if np.isnan(radial).any():
        return None
    amplitude, crest = first_harmonic(radial)
    half_space = np.pi / geometry.z
    wave = radial.mean() + amplitude * np.cos(tooth_angles(geometry.z) - crest)
    return RunoutCurve(radial, wave, float(amplitude), float(np.degrees(crest + half_space) % 360))


def _extent(spec: TraceSpec) -> tuple[float, float, tuple[float, float] | None]:
    """Ends of range and tip zone together, and the tip zone alone."""
    if spec.zone_end is None:
        return spec.low, spec.high, None
    zone = min(spec.end, spec.zone_end), max(spec.end, spec.zone_end)
    return min(spec.low, spec.zone_end), max(spec.high, spec.zone_end), zone
