"""Claims of a class: judged on our value and our uncertainty against the tolerance of the claimed class."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from gearqa.evaluation.criteria import Criteria, OneSidedLimits
from gearqa.incoming.editions import Edition, edition_claimed
from gearqa.model.editions import SlopeSpan
from gearqa.model.incoming import TRACE_KIND, Claim, ReportedValue
from gearqa.model.results import GearResult, State, TraceResult
from gearqa.statistics import conformity
from gearqa.symbols import PARAMETERS, Flank

COVERAGE_FACTOR: Final = 2
_CLAIM_OF: Final[Mapping[str, Claim]] = {
    "conforms": "confirmed",
    "does not conform": "not confirmed",
    "not proven": "not proven",
}


@dataclass(frozen=True, slots=True)
class JudgedClaim:
    """What became of a claim, under the names that it has at a compared value."""

    claim: Claim
    claim_reason: str
    judged_um: float | None
    class_found: int | None
    beyond: bool | None
    tolerance_claimed_um: float | None = None
    pc: float | None = None
    class_found_as_claimed: int | None = None


def extremes(
    gear: GearResult, parameter: str, flank: Flank | None, tooth: int | None, span: SlopeSpan | None
) -> tuple[float, ...]:
    """Our values that must all meet a limit: the worst traces of a flank, or of one tooth. [um]"""
    if parameter in TRACE_KIND:
        values = [
            trace_value(trace, parameter, span)
            for trace in gear.traces
            if trace.kind == TRACE_KIND[parameter]
            and flank in (None, trace.flank)
            and tooth in (None, trace.tooth)
        ]
        if not values:
            return ()
        if not PARAMETERS[parameter].signed:
            return (max(values),)
        return (min(values), max(values)) if min(values) != max(values) else (values[0],)
    result = gear.parameters.get(parameter)
    if result is None:
        return ()
    if flank is None:
        return (result.value_um,)
    found = result.flanks.get(flank)
    return () if found is None else (found.value_um,)


def trace_value(trace: TraceResult, parameter: str, span: SlopeSpan | None) -> float:
    """A trace's value of a parameter, slopes over a span; None: over that of the drawing. [um]"""
    what = parameter.partition("_")[2]
    if what == "slope" and span is not None:
        return trace.slope_full_um if span == "full" else trace.slope_evaluation_um
    return float(getattr(trace, f"{what}_um"))


def judge(
    reported: ReportedValue, gear: GearResult | None, expanded: float | None, editions: Mapping[str, Edition]
) -> JudgedClaim:
    """Judge one claim on the gear that we measured, if we did; `expanded` is our U with k = 2. [um]"""
    drawing = next(iter(editions.values()))
    ours: tuple[float, ...] = ()
    if gear is not None:
        ours = extremes(gear, reported.parameter, reported.flank, reported.tooth, None)
    found = max(ours, key=abs, default=None)
    class_found = None if found is None else drawing.class_of(reported.parameter, found)
    graded = reported.parameter in drawing.rows
    beyond = None if found is None or not graded else class_found is None

    def none(reason: str, tolerance: float | None = None) -> JudgedClaim:
        return JudgedClaim("none", reason, found, class_found, beyond, tolerance)

    if not reported.class_text:
        return none("nothing_claimed")
    title = edition_claimed(reported.standard, editions)
    edition = editions.get(title or "")
    if edition is None:
        return none("other_system" if title is None else "outside_edition")
    if reported.class_ is None:
        return none("claim_in_words")
    if reported.parameter not in edition.rows:
        return none("no_tolerance")
    tolerance = edition.tolerance(reported.parameter, reported.class_)
    if tolerance is None:
        return none("no_such_class")
    if gear is None:
        return none("not_measured", tolerance)
    values = extremes(gear, reported.parameter, reported.flank, reported.tooth, edition.slope_span)
    if not values:
        return none("not_found")
    limits: OneSidedLimits = (-tolerance if PARAMETERS[reported.parameter].signed else None, tolerance)
    u = None if expanded is None else expanded / COVERAGE_FACTOR
    state = state_of(values, u, limits)
    pc = None
    if u is not None:
        pc = min(float(conformity.probability_of_conformity(y, u, *limits)) for y in values)
    return JudgedClaim(
        _CLAIM_OF[state],
        "by_value" if u is None else "with_uncertainty",
        found,
        class_found,
        beyond,
        tolerance,
        pc,
        edition.class_of(reported.parameter, max(values, key=abs)),
    )


def judge_all(
    meanings: Sequence[ReportedValue],
    gear: GearResult | None,
    expanded: float | None,
    editions: Mapping[str, Edition],
) -> JudgedClaim:
    """Judge a claim whose flank or tooth is open: a verdict only where all meanings give the same."""
    first, *others = [judge(meant, gear, expanded, editions) for meant in meanings]
    if all(one.claim == first.claim for one in others):
        return first
    return replace(first, claim="not proven", claim_reason="names_open")


def state_of(values: Sequence[float], u: float | None, limits: OneSidedLimits) -> State:
    """Worst state of several values against limits."""
    return _worst(conformity.state(y, u, *limits) for y in values)


def drawing_state(
    criteria: Criteria, parameter: str, flank: Flank | None, values: Sequence[float], expanded: float | None
) -> State | None:
    """State against the drawing; None where the drawing asks nothing of this parameter and flank."""
    limits_here = criteria.drawing_limits(parameter, flank)
    if not limits_here or not values:
        return None
    u = None if expanded is None else expanded / COVERAGE_FACTOR
    return _worst(state_of(values, u, limits) for limits in limits_here)


def _worst(states: Iterable[State]) -> State:
    found = set(states)
    order: tuple[State, ...] = ("does not conform", "not proven")
    return next((state for state in order if state in found), "conforms")
