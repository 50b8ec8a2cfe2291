"""One gear's result from its measured values: class, conformity, master quality.

How incomplete measurements are judged: a parameter is valued and classed from the traces that
could be evaluated. A graded trace that could not be makes that parameter and flank "not assessed":
its verdict is "does not conform" if what was evaluated fails already, and open otherwise, for
traces that were not evaluated can excuse no failure and prove no conformity. The class of such a
gear is incomplete.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.gaps import gaps_apart, not_assessed, warnings
from gearqa.evaluation.limit_curves import curve_results
from gearqa.evaluation.parameters import judged_flanks, master_state, near_limit, parameter_result
from gearqa.evaluation.part_setup import Measured, PartSetup, Where
from gearqa.evaluation.pitch_sets import PitchSet
from gearqa.evaluation.sizes import size_results
from gearqa.evaluation.trace_sets import TraceSet, measured_traces
from gearqa.evaluation.value_states import worst_state
from gearqa.evaluation.zones import ZonePlace, zone_results
from gearqa.model.measurement import FIRST_MEASUREMENT, GearMeasurement, Production, SizeReading
from gearqa.model.results import (
    CurveTrace,
    GearResult,
    NotAssessed,
    ParameterResult,
    PitchResult,
    SizeResult,
    State,
    TraceResult,
    ZoneTrace,
)
from gearqa.symbols import FLANKS, PARAMETERS, SIZE, Flank, TraceKind

BEYOND: Final = math.inf
"""Sorts behind every class."""


def gear_result(gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, setup: PartSetup) -> GearResult:
    """Judge one gear from the values of its traces, pitch and runout."""
    gaps = not_assessed(gear, traces, pitch, setup)
    sizes, size_gaps = sized(gear.sizes, gear.production, setup)
    apart = (*size_gaps, *gaps_apart(traces, setup, gear.serial))
    told = gaps_apart(traces, setup, gear.serial, required=False)
    for_information = (
        Notice(NoticeCode.ZONE_NOT_ASSESSED, reason) for reason in dict.fromkeys(one.reason for one in told)
    )
    evaluated = Evaluated(
        gear.serial,
        {**pitch.measured, **measured_traces(traces.results, setup)},
        gaps,
        apart,
        (*warnings(gear, traces, pitch, (*gaps, *apart), setup), *for_information),
        tuple(traces.results),
        tuple(pitch.pitch),
        sizes,
        traces.curves,
        traces.zones,
        gear.production,
        gear.measurement,
        told,
    )
    return judged_gear(evaluated, setup)


def sized(
    readings: Sequence[SizeReading], production: Production | None, setup: PartSetup
) -> tuple[tuple[SizeResult, ...], tuple[NotAssessed, ...]]:
    """Sizes of a gear against the drawing, under the uncertainty of its instrument."""
    expanded = setup.part.uncertainty(SIZE, production.instrument if production else None)
    return size_results(readings, setup.part.tolerance.size, expanded, setup.part.decision)


class Evaluated(NamedTuple):
    """One gear, evaluated and not yet judged."""

    serial: str
    measured: Mapping[Where, Measured]
    gaps: tuple[NotAssessed, ...]
    """What is asked for and could not be assessed."""
    gaps_apart: tuple[NotAssessed, ...]
    """The same of what has no class: size, limit curves and zones."""
    warnings: tuple[Notice, ...]
    traces: tuple[TraceResult, ...]
    pitch: tuple[PitchResult, ...]
    sizes: tuple[SizeResult, ...]
    curves: Mapping[tuple[TraceKind, Flank], Sequence[CurveTrace]]
    zones: Mapping[ZonePlace, Sequence[ZoneTrace]]
    production: Production | None
    measurement: str = FIRST_MEASUREMENT
    gaps_told: tuple[NotAssessed, ...] = ()
    """What could not be assessed of zones for information."""


def judged_gear(gear: Evaluated, setup: PartSetup) -> GearResult:
    """Judge values against what the drawing and the job ask for."""
    criteria = setup.criteria
    measured = {**gear.measured}
    for gap in gear.gaps:  # what is confirmed for another parameter of the same readings alone
        if setup.confirmed(gap.code, PARAMETERS[gap.parameter].family, gear.serial):
            for flank in (gap.flank,) if gap.flank else (*FLANKS, None):
                measured.pop((gap.parameter, flank), None)
    gaps, sizes, apart = gear.gaps, gear.sizes, gear.gaps_apart
    uncertainty = setup.uncertainty(gear.production.instrument if gear.production else None)
    gaps_of: dict[str, list[Flank | None]] = {}
    for gap in gaps:
        gaps_of.setdefault(gap.parameter, []).append(gap.flank)

    curves = curve_results(gear.curves, apart, uncertainty, setup.part.decision)
    zones = zone_results(gear.zones, (*apart, *gear.gaps_told), uncertainty, setup.part.decision)
    required_zones = [one for one in zones if one.required]
    near_apart = [  # half of U, for twice the margin is compared with it
        abs(one.margin_um) <= uncertainty[key] / 2
        for one in curves
        if (key := f"{one.kind}_total") in uncertainty
    ] + [
        abs(one.tolerance_um - one.value_um) <= uncertainty[one.parameter]
        for one in required_zones
        if one.parameter in uncertainty
    ]

    parameters: dict[str, ParameterResult] = {}
    master_states: list[State] = []
    near = sum(near_apart)
    for key in PARAMETERS:
        here = gaps_of.get(key, ())
        stated = uncertainty.get(key)
        judged = judged_flanks(key, measured, here, criteria, stated, setup.part.decision)
        if key in criteria.for_master:
            master_states.append(master_state(judged, bool(here) or not judged))
        if judged:
            parameters[key] = parameter_result(key, judged, bool(here), stated)
            near += 0 if stated is None else near_limit(judged, stated)

    graded = {key: parameters[key] for key in criteria.required if key in parameters}
    reached_by = {
        key: one for key, p in graded.items() if (one := BEYOND if p.beyond else p.class_) is not None
    }
    worst = max(reached_by.values(), default=None)
    required_gaps = [gap for gap in gaps if gap.parameter in criteria.required]
    verdicts = [
        *(p.conforms for p in graded.values()),
        *(size.conforms for size in sizes if size.lower_mm is not None),
        *(one.conforms for one in curves),
        *(one.conforms for one in required_zones),
        *(None for _ in (*required_gaps, *apart)),
    ]
    states: list[State | None] = [
        *(p.state for p in graded.values()),
        *(size.state for size in sizes if size.lower_mm is not None),
        *(one.state for one in curves),
        *(one.state for one in required_zones),
        *(["not assessed"] if required_gaps or apart else ()),
    ]
    master = {
        key: parameters[key].master_quality if key in parameters else None for key in criteria.for_master
    }
    reached = all_of(list(master.values()))
    return GearResult(
        serial=gear.serial,
        measurement=gear.measurement,
        class_=None if worst is None or worst == BEYOND else int(worst),
        class_complete=not required_gaps,
        beyond=worst == BEYOND,
        governing=tuple(key for key, one in reached_by.items() if one == worst),
        conforms=all_of(verdicts),
        master_quality=reached,
        master_deciding=tuple(key for key, verdict in master.items() if not reached and verdict is reached),
        near_limit=near if near_apart or uncertainty.keys() & {*criteria.required} else None,
        not_assessed=(*gaps, *apart),
        warnings=gear.warnings,
        parameters=parameters,
        traces=gear.traces,
        pitch=gear.pitch,
        size=sizes,
        limit_curves=curves,
        zones=zones,
        production=gear.production,
        state=worst_state(states) if states else "not assessed",
        master_state=worst_state(master_states) if master_states else "not assessed",
    )
