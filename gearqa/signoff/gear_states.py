"""State of each value and of each gear under the measurement uncertainty (ISO 14253-1, JCGM 106)."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.evaluation.criteria import Criteria, Criterion
from gearqa.evaluation.limit_curves import curve_probability, curve_states
from gearqa.evaluation.sizes import SizeDeviation, size_criterion, size_deviation
from gearqa.evaluation.trace_specs import CURVE_OF
from gearqa.evaluation.value_states import (
    Limits,
    counted,
    extremes,
    standard_uncertainty,
    symmetric,
    value_state,
    worst_state,
)
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.lot import FlankKey, LimitCurveState, LotGear, ValueState, flank_key
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, LimitCurveResult, ParameterResult, State, ZoneResult
from gearqa.statistics import conformity
from gearqa.symbols import PARAMETERS, SIZE, Flank

Measured = ParameterResult | FlankResult | SizeDeviation


def measured(gear: GearResult, key: str, flank: Flank | None, part: Part) -> Measured | None:
    """The result of one parameter and flank, or of the size; None where the gear has none."""
    if key == SIZE:
        return size_deviation(gear, part.tolerance.size)
    result = gear.parameters.get(key)
    return result if result is None or flank is None else result.flanks.get(flank)


def _extremes(one: Measured, criterion: Criterion) -> tuple[float, ...]:
    return extremes(one.value_um, one.min_um, one.max_um, criterion.signed)


def limits_of(criterion: Criterion) -> Limits:
    """Limits that count for conformity; 0 is no limit of a quantity that cannot be negative."""
    return criterion.drawing_limits or (None, None)


def class_proven(
    values: Sequence[float], u: float | None, criterion: Criterion, confidence: float
) -> int | None:
    """Smallest class that the values are proven to meet; None without uncertainty or beyond the last."""
    row = criterion.row
    if u is None or row is None:
        return None
    for number, tolerance in enumerate(row.tolerances, start=row.first_class):
        limits = symmetric(tolerance, criterion.signed)
        if value_state(values, u, limits, confidence) == "conforms":
            return number
    return None


def judge_curve(one: LimitCurveResult, expanded: float | None, decision: DecisionTable) -> LimitCurveState:
    """State of one flank between its limit curves, under the uncertainty U of the total deviation."""
    state, counts_as = curve_states(one.margin_um, expanded, decision)
    return LimitCurveState(
        one.kind, one.flank, one.margin_um, one.tooth, u_um=expanded, state=state, counts_as=counts_as,
        probability_of_conformity=curve_probability(one.margin_um, expanded),
    )  # fmt: skip


def judge_zone(one: ZoneResult, expanded: float | None, decision: DecisionTable) -> ValueState:
    """State of one flank within a zone, under the uncertainty U of the same deviation of the whole trace."""
    y, u, limits = (one.value_um,), standard_uncertainty(expanded), (None, one.tolerance_um)
    state = value_state(y, u, limits, decision.confidence)
    return ValueState(
        parameter=one.key, flank=one.flank, value_um=one.value_um, lower_limit_um=None,
        upper_limit_um=one.tolerance_um, u_um=expanded,
        probability_of_conformity=None
        if u is None else conformity.probability_of_conformity(one.value_um, u, *limits),
        state=state, counts_as=counted(state, y, limits, decision.rule), class_indicated=None,
        class_proven=None,
    )  # fmt: skip


def missing_of(gear: GearResult, part: Part, criteria: Criteria) -> tuple[tuple[str, Flank | None], ...]:
    """Parameters and flanks that are asked for and were not assessed, whole or in part."""
    named = {(one.parameter, one.flank) for one in gear.not_assessed}
    return tuple(
        (key, flank)
        for (key, flank), criterion in criteria.of.items()
        if criterion.graded
        and (measured(gear, key, flank, part) is None or (key, flank) in named or (key, None) in named)
    )


def judge_gear(gear: GearResult, part: Part, criteria: Criteria, decision: DecisionTable) -> LotGear:
    """State, probability of conformity, class proven and master quality of one gear."""
    instrument = gear.production.instrument if gear.production else None
    values: list[ValueState] = []
    with_class = 0
    master: list[State] = []
    for (key, flank), criterion in criteria.of.items():
        one = measured(gear, key, flank, part)
        if one is None or not criterion.graded:
            continue
        expanded = part.uncertainty(key, instrument)
        if criterion.master_tolerance is not None:
            limits = symmetric(criterion.master_tolerance, criterion.signed)
            y, u = _extremes(one, criterion), standard_uncertainty(expanded)
            master.append(counted(value_state(y, u, limits, decision.confidence), y, limits, decision.rule))
        if criterion.required:
            values.append(judge_value(key, flank, one, criterion, expanded, decision))
            with_class += criterion.row is not None
    asked = part.tolerance.size
    measured_size, size = size_deviation(gear, asked), None
    if asked is not None and measured_size is not None:
        expanded = part.uncertainty(SIZE, instrument)
        size = judge_value(SIZE, None, measured_size, size_criterion(asked), expanded, decision)
    zones = tuple(
        judge_zone(one, part.uncertainty(one.parameter, instrument), decision) for one in gear.required_zones
    )
    counting = [*values, *([] if size is None else [size]), *zones]
    absent = missing_of(gear, part, criteria)
    missing = [
        key if flank is None else f"{key} {flank}"
        for key, flank in absent
        if criteria.of[key, flank].required
    ]
    missing += [
        gap.parameter if gap.flank is None else f"{gap.parameter} {gap.flank}"
        for gap in gear.not_assessed
        if gap.parameter not in PARAMETERS
    ]
    open_master = any(criteria.of[place].for_master for place in absent)
    lost: tuple[State, ...] = ("not assessed",) if missing else ()
    curves = tuple(
        judge_curve(one, part.uncertainty(f"{one.kind}_total", instrument), decision)
        for one in gear.limit_curves
    )
    state = worst_state([*(v.state for v in counting), *(c.state for c in curves), *lost])
    stated: list[tuple[float | None, str, FlankKey]] = [
        *((v.probability_of_conformity, v.parameter, v.flank) for v in counting),
        *((c.probability_of_conformity, CURVE_OF[c.kind], c.flank) for c in curves),
    ]
    known = [(p, name, flank) for p, name, flank in stated if p is not None and state != "not assessed"]
    least = min(known, key=lambda one: one[0], default=(None, None, None))
    proven = [v.class_proven for v in values if v.class_proven is not None]
    return LotGear(
        serial=gear.serial,
        measurement=gear.measurement,
        state=state,
        counts_as=worst_state([*(v.counts_as for v in counting), *(c.counts_as for c in curves), *lost]),
        probability_of_conformity=least[0],
        probability_parameter=least[1],
        probability_flank=least[2],
        class_indicated=gear.class_,
        class_proven=max(proven) if proven and len(proven) == with_class and not missing else None,
        class_complete=gear.class_complete,
        master_quality=worst_state([*master, *(("not assessed",) if open_master or not master else ())]),
        missing=tuple(missing),
        values=tuple(values),
        limit_curves=curves,
        zones=zones,
        production=gear.production,
        warnings=gear.warnings,
        size=size,
    )


def judge_value(
    key: str, flank: Flank | None, one: Measured, criterion: Criterion, expanded: float | None,
    decision: DecisionTable,
) -> ValueState:  # fmt: skip
    """State of one value against the limits of the drawing."""
    y, u, limits = _extremes(one, criterion), standard_uncertainty(expanded), limits_of(criterion)
    state = value_state(y, u, limits, decision.confidence)
    return ValueState(
        parameter=key,
        flank=flank_key(flank),
        value_um=one.value_um,
        lower_limit_um=limits[0],
        upper_limit_um=limits[1],
        u_um=expanded,
        probability_of_conformity=None
        if u is None
        else min(conformity.probability_of_conformity(v, u, *limits) for v in y),
        state=state,
        counts_as=counted(state, y, limits, decision.rule),
        class_indicated=one.class_,
        class_proven=class_proven(y, u, criterion, decision.confidence),
    )
