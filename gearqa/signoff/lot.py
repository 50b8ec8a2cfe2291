"""Sign-off of a lot: from graded gears and a plan to a recommendation with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gearqa.evaluation.criteria import criteria_of
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.decision_table import TABLE, LotFacts
from gearqa.model.lot import (
    METHODS,
    SAMPLING_TABLE,
    AppliedDecisionRule,
    Disposition,
    Exclusion,
    LotDecision,
    LotGear,
    LotOptions,
    LotReason,
    LotResult,
    Repeat,
    series_text,
)
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult, GradeHeader
from gearqa.signoff.cautions import Basis, cautions, notes, unmet_requirements
from gearqa.signoff.gear_states import judge_gear
from gearqa.signoff.left_out import SampleSplit, sort_result, split
from gearqa.signoff.master import master_quality_of_lot
from gearqa.signoff.production import cycle_coverage, lot_of_several_cycles, production_facts
from gearqa.signoff.repeats import choose, judged_repeats, passed_over
from gearqa.signoff.risks import decision_risks
from gearqa.signoff.sampling_plan import apply_plan, required_plan
from gearqa.signoff.statistics_table import lot_statistics
from gearqa.statistics.conformity import guard_band
from gearqa.wording.sentences import place_text


def sign_off(
    header: GradeHeader,
    part: Part,
    gears: Sequence[GearResult],
    plan: Plan | None = None,
    *,
    lot_size: int | None = None,
    lot_id: str | None = None,
    excluded: Sequence[Exclusion] = (),
    sorted_out: Sequence[Exclusion] = (),
    options: LotOptions | None = None,
    disposition: Disposition | None = None,
    other_production: Sequence[Production] = (),
) -> LotResult:
    """Decide on a lot from a sample of graded gears.

    `gears` are all that were measured, every measurement of them, those left out of the sample too
    (`excluded`, or not among `options.restricted_to`); `sorted_out` were taken out of the lot;
    `other_production` are rows of gears of the lot that were not measured. What a person decided does not
    change the recommendation.

    Raises
    ------
    LotError
        If no gear is left, more gears were measured than the lot holds, or an exclusion names no gear.
    OutOfScopeError
        If an AQL is no preferred value or its plan lies outside the table.
    """
    plan = with_decision_of(part, plan or Plan())
    options = options or LotOptions()
    chosen = choose(gears, plan.repeats)
    parts = split(
        chosen.gears, lot_size, excluded=excluded, restricted_to=options.restricted_to, sorted_out=sorted_out
    )
    basis = _basis(part, parts, plan, excluded, options.restricted_to, sorted_out, other_production)
    criteria = criteria_of(part)
    repeats = judged_repeats(
        chosen, plan.repeats, lambda gear: judge_gear(gear, part, criteria, plan.decision)
    )
    facts = _facts(basis, repeats)
    decision, reasons = decide(facts)
    sample, judged, sampling = basis.gears, basis.judged, basis.sampling
    beyond = any(gear.beyond for gear in sample)
    classes = [gear.class_ for gear in sample if gear.class_ is not None]
    states = [gear.state for gear in judged]
    return LotResult(
        lot_id=lot_id, lot_size=basis.lot_size, sample_size=len(sample), decision=decision, reasons=reasons,
        class_=max(classes) if classes and not beyond else None,
        class_complete=all(gear.class_complete for gear in sample), beyond=beyond,
        conforming=states.count("conforms"), not_conforming=states.count("does not conform"),
        not_proven=states.count("not proven"), not_assessed=states.count("not assessed"),
        master_quality=master_quality_of_lot(
            basis.all_judged if basis.census else judged, basis.lot_size, plan.master_quality,
            class_=part.master_quality.class_, parameters=part.master_parameters,
        ),
        decision_rule=_applied_rule(plan.decision, judged), sampling=sampling,
        risks=decision_risks(
            sampling, plan.decision, basis.statistics, basis.lot_size,
            by_value=any(one.u_um is None for gear in judged for one in gear.limit_curves)
            or any(one.u_um is None for gear in judged for one in gear.zones),
        ),
        drawn=plan.drawn,
        segregate=facts.segregate, segregated_to=plan.segregated_to, remeasure=facts.remeasure,
        excluded=tuple(excluded), repeats=repeats, left_out=basis.left_out, sorted_out=tuple(sorted_out),
        sorted=sort_result(judged, basis.rest) if basis.census else None,
        cautions=cautions(basis), notes=notes(basis), gears=tuple(judged),
        parameters=basis.statistics, order_known=basis.facts.order is not None,
        cycle_coverage=basis.coverage,
        disposition=disposition, options=options, plan=plan.model_dump(mode="json", by_alias=True),
        standard=header.standard, editions=_editions(header.standard, sampling.edition), part=header.part,
        inputs=header.inputs, simulated=header.simulated, warnings=header.warnings,
    )  # fmt: skip


def with_decision_of(part: Part, plan: Plan) -> Plan:
    """The plan, with the decision rule of the part file where it states none of its own."""
    if part.decision is None or "decision" in plan.model_fields_set:
        return plan
    return plan.model_copy(update={"decision": part.decision})


def _basis(
    part: Part, gears: SampleSplit, plan: Plan, excluded: Sequence[Exclusion], restricted_to: Sequence[str],
    sorted_out: Sequence[Exclusion], other_production: Sequence[Production],
) -> Basis:  # fmt: skip
    """Judge the gears, and evaluate sample, production and plan."""
    sample, lot_size, criteria = gears.sample, gears.lot_size, criteria_of(part)
    judged = tuple(judge_gear(gear, part, criteria, plan.decision) for gear in sample)
    rest = tuple(judge_gear(gear, part, criteria, plan.decision) for gear, _ in gears.rest)
    left_out = tuple(replace(one, state=gear.state) for gear, (_, one) in zip(rest, gears.rest, strict=True))
    others = (*other_production, *(gear.production for gear in rest if gear.production is not None))
    facts = production_facts(sample, others)
    several = not gears.census and lot_of_several_cycles(
        facts, others, lot_size, len(sample), plan.dress_cycles
    )
    coverage = cycle_coverage(facts, others, lot_size, plan.dress_cycles, several_cycles=several)
    spread = gears.census or coverage is None or coverage.spread
    statistics = lot_statistics(
        sample, judged, part, criteria, facts, plan, several_cycles=several, spread=spread,
        census=gears.census,
    )  # fmt: skip
    sampling = apply_plan(
        required_plan(plan.sampling, lot_size), plan.sampling, judged, lot_size, statistics,
        census=gears.census,
    )  # fmt: skip
    return Basis(
        gears=sample, judged=judged, rest=rest, left_out=left_out, census=gears.census, plan=plan,
        facts=facts, several_cycles=several, coverage=coverage, statistics=statistics, sampling=sampling,
        lot_size=lot_size, excluded=excluded, restricted_to=restricted_to, sorted_out=sorted_out,
    )  # fmt: skip


def _facts(basis: Basis, repeats: Sequence[Repeat]) -> LotFacts:
    """What the decision table looks at."""
    sampling, judged = basis.sampling, basis.judged
    sorted_out = {one.serial for one in basis.left_out if one.how == "sorted out"}
    failed = [v for v in sampling.variables if v.accept is False]
    common = set(judged[0].missing).intersection(*(gear.missing for gear in judged))
    return LotFacts(
        lot_size=basis.lot_size, census=basis.census, measured_n=len(basis.gears),
        required_n=sampling.required_n,
        ac=sampling.ac, own_numbers=basis.plan.sampling.resolved == "own",
        d_low=sampling.d_low, d_high=sampling.d_high, accept=sampling.accept,
        variables_failed=tuple(series_text(v.parameter, v.flank) for v in failed),
        missing_in_all=tuple(place_text(*name.split()) for name in judged[0].missing if name in common),
        overdue=basis.facts.overdue, drawn=basis.plan.drawn, sample_cycles=basis.facts.cycle_count,
        lot_of_several_cycles=basis.several_cycles, coverage=basis.coverage, unmet=unmet_requirements(basis),
        segregate=_counting(judged, "does not conform"),
        left_out_bad=_counting(basis.kept, "does not conform"),
        passed_over=tuple(
            one.serial for one in repeats if one.serial not in sorted_out and passed_over(one)
        ),
        left_out_open=_counting(basis.kept, "not proven", "not assessed"),
        remeasure=_counting(
            basis.all_judged if basis.census else judged, "not proven", "not assessed"
        ),
    )  # fmt: skip


def _counting(gears: Sequence[LotGear], *states: str) -> tuple[str, ...]:
    return tuple(gear.serial for gear in gears if gear.counts_as in states)


def decide(facts: LotFacts) -> tuple[LotDecision, tuple[LotReason, ...]]:
    """Decision and reasons: the first row that fits decides, every row that fits is a reason.

    Raises
    ------
    ValueError
        If an error row fits; callers check that first and say it in their own words.
    """
    reasons: list[LotReason] = []
    for row in TABLE:
        if row.fits(facts):
            if row.outcome == "error":
                raise ValueError(row.sentence(facts))
            reasons.append(
                LotReason(row.code, row.sentence(facts), row.number, row.outcome, decides=not reasons)
            )
    if not reasons:
        raise AssertionError("the decision table has a gap")
    return reasons[0].decision, tuple(reasons)


def _applied_rule(decision: DecisionTable, judged: Sequence[LotGear]) -> AppliedDecisionRule:
    """The rule that really applies: without any uncertainty it is simple acceptance."""
    known = [one.u_um for gear in judged for one in gear.all_values]
    known += [one.u_um for gear in judged for one in gear.limit_curves]
    if all(u is None for u in known):
        return AppliedDecisionRule("simple acceptance", decision.confidence, None)
    return AppliedDecisionRule(decision.rule, decision.confidence, guard_band(1.0, decision.confidence))


def _editions(standard: str, sampling: str | None) -> dict[str, str]:
    title, _, year = standard.partition(":")
    named = {title: f"{year}: classes and tolerances"}
    for method, (edition, use) in METHODS.items():
        if method != SAMPLING_TABLE or sampling is not None:
            named[method] = f"{edition}: {use}"
    return named
