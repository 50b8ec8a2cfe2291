"""One parameter of one gear: value over flanks and traces, class and verdicts."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from gearqa.evaluation.criteria import EQUAL, Criteria, Criterion, Judgement, all_of
from gearqa.evaluation.part_setup import Measured, Where
from gearqa.evaluation.value_states import (
    MEETS,
    counted,
    extremes,
    standard_uncertainty,
    symmetric,
    value_state,
    worst_state,
)
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.results import FlankResult, ParameterResult, State
from gearqa.symbols import PARAMETERS, Flank


class Judged(NamedTuple):
    """One parameter on one flank: value, what is asked of it, verdict."""

    flank: Flank | None
    value: Measured
    criterion: Criterion
    verdict: Judgement


def judged_flanks(
    key: str, measured: Mapping[Where, Measured], gaps: Collection[Flank | None], criteria: Criteria,
    uncertainty: float | None = None, decision: DecisionTable | None = None,
) -> list[Judged]:  # fmt: skip
    """Judge one parameter on each flank that was measured; `gaps` are the flanks with gaps.

    With an uncertainty U each value has a state; `decision` says how that counts (None: by value).
    """
    judged = []
    for flank, criterion in criteria.places[key]:
        value = measured.get((key, flank))
        if value is not None:
            verdict = criterion.judge(value.value, value.low, value.high)
            if uncertainty is not None and criterion.graded:
                verdict = _under_uncertainty(verdict, value, criterion, uncertainty, decision)
            if gaps and (flank in gaps or None in gaps):
                verdict = verdict.open_unless_failed()
            judged.append(Judged(flank, value, criterion, verdict))
    return judged


def _under_uncertainty(
    verdict: Judgement, value: Measured, criterion: Criterion, uncertainty: float,
    decision: DecisionTable | None,
) -> Judgement:  # fmt: skip
    """States of a value under the uncertainty U, and its verdicts as the decision rule counts them."""
    values = extremes(value.value, value.low, value.high, criterion.signed)
    u, rule = standard_uncertainty(uncertainty), decision or DecisionTable()
    drawing = criterion.drawing_limits
    if drawing is not None:
        state = value_state(values, u, drawing, rule.confidence)
        verdict = verdict._replace(state=state)
        if decision is not None:
            verdict = verdict._replace(conforms=MEETS[counted(state, values, drawing, decision.rule)])
    if criterion.master_tolerance is not None:
        limits = symmetric(criterion.master_tolerance, criterion.signed)
        state = value_state(values, u, limits, rule.confidence)
        verdict = verdict._replace(master_state=state)
        if decision is not None:
            verdict = verdict._replace(master_quality=MEETS[counted(state, values, limits, decision.rule)])
    return verdict


def parameter_result(
    key: str, judged: list[Judged], incomplete: bool, uncertainty: float | None
) -> ParameterResult:
    """One parameter over its graded flanks; over all measured ones if none is graded."""
    graded = [one for one in judged if one.criterion.graded]
    among = graded or judged
    worst = among[0]
    low, high, other = worst.value.low, worst.value.high, worst.value.other_span
    for one in among[1:]:
        if abs(one.value.value) > abs(worst.value.value) + EQUAL:
            worst = one
        low, high = min(low, one.value.low), max(high, one.value.high)
        if other is not None and one.value.other_span is not None:
            other = max(other, one.value.other_span, key=abs)
    flank, value, criterion, verdict = worst
    not_measured: list[bool | None] = [None] if incomplete else []
    per_space = key == "runout"
    return ParameterResult(
        symbol=PARAMETERS[key].symbol,
        value_um=value.value,
        min_um=low,
        max_um=high,
        flank=flank,
        tooth=None if per_space else value.tooth,
        tooth_to=None if per_space else value.tooth_to,
        space=value.tooth if per_space else None,
        space_to=value.tooth_to if per_space else None,
        method=value.method,
        class_=verdict.class_,
        class_exact=verdict.class_exact,
        beyond=verdict.beyond,
        required_class=criterion.required_class,
        tolerance_um=criterion.tolerance,
        limits_um=criterion.limits,
        conforms=all_of([one.verdict.conforms for one in graded] + not_measured)
        if criterion.required
        else None,
        master_quality=all_of([one.verdict.master_quality for one in graded] + not_measured)
        if criterion.for_master
        else None,
        master_tolerance_um=criterion.master_tolerance,
        uncertainty_um=uncertainty,
        state=_whole([one.verdict.state for one in graded], incomplete) if criterion.required else None,
        slope_other_span_um=other,
        slope_other_span_class=None if other is None or not graded else criterion.class_of(other),
        flanks={one.flank: _flank_result(key, one) for one in judged if one.flank is not None},
    )


def _whole(states: list[State | None], incomplete: bool) -> State:
    return worst_state([*states, "not assessed"] if incomplete else states)


def master_state(judged: Iterable[Judged], incomplete: bool) -> State:
    """State of one parameter against the master quality criterion."""
    return _whole([one.verdict.master_state for one in judged if one.criterion.for_master], incomplete)


def near_limit(judged: list[Judged], uncertainty: float) -> int:
    """How many of the flanks' values lie within the uncertainty of a limit."""
    return sum(
        one.criterion.required
        and one.criterion.near_limit(one.value.value, one.value.low, one.value.high, uncertainty)
        for one in judged
    )


def _flank_result(key: str, judged: Judged) -> FlankResult:
    _, value, criterion, verdict = judged
    return FlankResult(
        symbol=PARAMETERS[key].symbol,
        value_um=value.value,
        min_um=value.low,
        max_um=value.high,
        mean_um=value.mean,
        spread_um=value.high - value.low,
        tooth=value.tooth,
        tooth_to=value.tooth_to,
        class_=verdict.class_,
        class_exact=verdict.class_exact,
        beyond=verdict.beyond,
        required_class=criterion.required_class,
        tolerance_um=criterion.tolerance,
        limits_um=criterion.limits,
        conforms=verdict.conforms,
        master_quality=verdict.master_quality,
        pressure_angle_deviation_arcmin=value.angles.pressure_angle_arcmin,
        base_radius_deviation_um=value.angles.base_radius_um,
        helix_angle_deviation_arcmin=value.angles.helix_angle_arcmin,
        state=verdict.state,
    )
