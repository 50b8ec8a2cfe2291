"""Sign-off of a lot: from graded gears and a plan to a recommendation with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches

from gearqa.errors import LotError, Notice, NoticeCode
from gearqa.evaluation.criteria import criteria_of
from gearqa.model.decision_table import LotFacts
from gearqa.model.lot import (
    METHODS,
    SAMPLING_TABLE,
    AppliedDecisionRule,
    Disposition,
    Exclusion,
    LotGear,
    LotOptions,
    LotResult,
    series_text,
)
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.plan import DecisionTable, Plan
from gearqa.model.results import GearResult, GradeHeader
from gearqa.signoff.cautions import Basis, cautions, unmet_requirements
from gearqa.signoff.decision import decide
from gearqa.signoff.gear_states import judge_gear
from gearqa.signoff.master import master_quality_of_lot
from gearqa.signoff.production import lot_of_several_cycles, production_facts
from gearqa.signoff.sampling_plan import apply_plan, required_plan
from gearqa.signoff.statistics_table import Sample, lot_statistics
from gearqa.statistics.conformity import guard_band
from gearqa.wording.numbers import cases_text, count_text, share_text
from gearqa.wording.safety import GEOMETRY_ONLY, WHO_DECIDES
from gearqa.wording.sentences import place_text

SIMPLE = "simple acceptance"


def sign_off(
    header: GradeHeader,
    part: Part,
    gears: Sequence[GearResult],
    plan: Plan | None = None,
    *,
    lot_size: int | None = None,
    lot_id: str | None = None,
    excluded: Sequence[Exclusion] = (),
    options: LotOptions | None = None,
    disposition: Disposition | None = None,
    other_production: Sequence[Production] = (),
) -> LotResult:
    """Decide on a lot from a sample of graded gears.

    Parameters
    ----------
    header : GradeHeader
        What is true of the whole inspection.
    part : Part
        The drawing: criteria and uncertainties.
    gears : sequence of GearResult
        Every gear measured, the excluded ones too.
    plan : Plan, optional
        Decision rule and sampling plan; all defaults without it.
    lot_size : int, optional
        Gears in the lot.
    lot_id : str, optional
        What the lot is called.
    excluded : sequence of Exclusion
        Gears left out of the sample, each with its reason.
    options : LotOptions, optional
        Order, customer, inspector and the like, for certificate and record.
    disposition : Disposition, optional
        What a person decided; recorded apart from the recommendation.
    other_production : sequence of Production
        Production rows of gears of the lot that were not measured.

    Returns
    -------
    LotResult
        Recommendation, reasons, and everything they rest on.

    Raises
    ------
    LotError
        If no gear is left, more gears were measured than the lot holds, or an exclusion names no gear.
    OutOfScopeError
        If an AQL is no preferred value or its plan lies outside the table.
    """
    plan = plan or Plan()
    options = options or LotOptions()
    basis = _basis(part, gears, plan, lot_size, excluded, options.restricted_to, other_production)
    facts = _facts(basis)
    decision, reasons = decide(facts)
    sample, judged, sampling = basis.gears, basis.judged, basis.sampling
    beyond = any(gear.beyond for gear in sample)
    classes = [gear.class_ for gear in sample if gear.class_ is not None]
    states = [gear.state for gear in judged]
    return LotResult(
        lot_id=lot_id,
        decision=decision,
        reasons=reasons,
        lot_size=lot_size,
        sample_size=len(sample),
        class_=max(classes) if classes and not beyond else None,
        class_complete=all(gear.class_complete for gear in sample),
        beyond=beyond,
        conforming=states.count("conforms"),
        not_conforming=states.count("does not conform"),
        not_proven=states.count("not proven"),
        not_assessed=states.count("not assessed"),
        master_quality=master_quality_of_lot(
            judged, lot_size, plan.master_quality, class_=part.master_quality.class_,
            parameters=part.master_parameters,
        ),
        decision_rule=_applied_rule(plan.decision, judged),
        sampling=sampling,
        drawn=plan.drawn,
        segregate=facts.segregate,
        segregated_to=plan.segregated_to,
        remeasure=facts.remeasure,
        excluded=tuple(excluded),
        cautions=cautions(basis),
        notes=_notes(basis),
        gears=tuple(judged),
        parameters=basis.statistics,
        disposition=disposition,
        options=options,
        standard=header.standard,
        part=header.part,
        inputs=header.inputs,
        simulated=header.simulated,
        warnings=header.warnings,
        order_known=basis.facts.order is not None,
        plan=plan.model_dump(mode="json", by_alias=True),
        editions=_editions(header.standard, sampling.edition),
    )  # fmt: skip


def _basis(
    part: Part, gears: Sequence[GearResult], plan: Plan, lot_size: int | None,
    excluded: Sequence[Exclusion], restricted_to: Sequence[str], other_production: Sequence[Production],
) -> Basis:  # fmt: skip
    """Judge the gears of the sample, and evaluate sample, production and plan."""
    sample = _sample(gears, excluded)
    _check_lot_size(len(sample), lot_size)
    criteria = criteria_of(part)
    judged = tuple(judge_gear(gear, part, criteria, plan.decision) for gear in sample)
    left_out = {one.serial for one in excluded}
    others = (
        *other_production,
        *(gear.production for gear in gears if gear.serial in left_out and gear.production is not None),
    )
    facts = production_facts(sample, others)
    several = lot_of_several_cycles(facts, others, lot_size, len(sample), plan.dress_cycles)
    statistics = lot_statistics(sample, judged, part, criteria, Sample.of(criteria, facts, plan, several))
    sampling = apply_plan(required_plan(plan.sampling, lot_size), plan.sampling, judged, lot_size, statistics)
    return Basis(
        sample, judged, criteria, plan, facts, several, statistics, sampling, lot_size, excluded,
        restricted_to,
    )  # fmt: skip


def _facts(basis: Basis) -> LotFacts:
    """What the decision table looks at."""
    sampling, judged = basis.sampling, basis.judged
    failed = [v for v in sampling.variables if v.accept is False]
    return LotFacts(
        lot_size=basis.lot_size,
        measured_n=len(basis.gears),
        required_n=sampling.required_n,
        ac=sampling.ac,
        own_numbers=basis.plan.sampling.resolved == "own",
        d_low=sampling.d_low,
        d_high=sampling.d_high,
        accept=sampling.accept,
        variables_failed=tuple(series_text(v.parameter, v.flank) for v in failed),
        missing_in_all=_missing_in_all(judged),
        overdue=basis.facts.overdue,
        drawn=basis.plan.drawn,
        sample_cycles=basis.facts.cycle_count,
        lot_of_several_cycles=basis.several_cycles,
        unmet=unmet_requirements(basis),
        segregate=tuple(gear.serial for gear in judged if gear.counts_as == "does not conform"),
        remeasure=tuple(gear.serial for gear in judged if gear.counts_as in {"not proven", "not assessed"}),
    )


def _sample(gears: Sequence[GearResult], excluded: Sequence[Exclusion]) -> tuple[GearResult, ...]:
    serials = [gear.serial for gear in gears]
    for one in excluded:
        if one.serial not in serials:
            near = get_close_matches(one.serial, serials, n=1)
            raise LotError(
                f"excluded gear '{one.serial}' was not measured",
                hint=f"did you mean '{near[0]}'?" if near else "name a serial of the folder",
            )
        if not one.reason.strip():
            raise LotError(f"excluded gear '{one.serial}' has no reason", hint="say why it was left out")
    out = {one.serial for one in excluded}
    sample = tuple(gear for gear in gears if gear.serial not in out)
    if not sample:
        raise LotError("no gear is left in the sample", hint="measure gears of the lot, or exclude fewer")
    return sample


def _check_lot_size(measured: int, lot_size: int | None) -> None:
    if lot_size is not None and lot_size < 1:
        raise LotError(f"lot size {lot_size}: a lot holds at least one gear")
    if lot_size is not None and measured > lot_size:
        raise LotError(
            f"{measured} gears were measured, but the lot size is {lot_size}",
            hint="correct the lot size, or restrict the inspection to the gears of this lot",
        )


def _missing_in_all(judged: Sequence[LotGear]) -> tuple[str, ...]:
    common = set(judged[0].missing).intersection(*(gear.missing for gear in judged))
    return tuple(place_text(*name.split()) for name in judged[0].missing if name in common)


def _applied_rule(decision: DecisionTable, judged: Sequence[LotGear]) -> AppliedDecisionRule:
    """The rule that really applies: without any uncertainty it is simple acceptance."""
    known = any(value.u_um is not None for gear in judged for value in gear.values)
    if not known:
        return AppliedDecisionRule(SIMPLE, decision.confidence, None)
    return AppliedDecisionRule(decision.rule, decision.confidence, guard_band(1.0, decision.confidence))


def _editions(standard: str, sampling: str | None) -> dict[str, str]:
    title, _, year = standard.partition(":")
    named = {title: f"{year}: classes and tolerances"}
    for method, (edition, use) in METHODS.items():
        if method != SAMPLING_TABLE or sampling is not None:
            named[method] = f"{edition}: {use}"
    return named


def _notes(basis: Basis) -> tuple[Notice, ...]:
    """What is true of the method in every lot."""
    plan, applied = basis.sampling, basis.plan.decision
    notes = [
        Notice(
            NoticeCode.TWO_RISKS,
            "the decision rule limits the risk of a single measured gear, the sampling plan that of the lot; "
            "using both is meant",
        ),
        Notice(
            NoticeCode.UNIT, "a gear is the unit: one value that does not conform makes the gear not conform"
        ),
        Notice(
            NoticeCode.ROUNDING, "nothing is rounded before deciding; values are compared at nine decimals"
        ),
        Notice(
            NoticeCode.PROBABILITY,
            "a probability of conformity is that of one measured gear, never of the lot; the smallest of its "
            "values is shown, not a product",
        ),
        Notice(
            NoticeCode.CONFIDENCE,
            f"proven means with {share_text(applied.confidence, 6)} probability, the uncertainty taken as "
            "normal with U = 2 u",
        ),
    ]
    if plan.passes_at_one_percent is not None and plan.required_n is not None:
        notes.append(
            Notice(
                NoticeCode.ONE_PERCENT,
                f"with {count_text(plan.measured_n, 'gear')} and acceptance number {plan.ac} a process with "
                f"1 % nonconforming passes in {cases_text(plan.passes_at_one_percent)}",
            )
        )
    if plan.edition is not None:
        notes.append(
            Notice(
                NoticeCode.SERIES_OF_LOTS,
                "the table is made for a series of lots with switching between normal, tightened and reduced "
                "inspection; used for one lot it gives the risks shown here and no other assurance",
            )
        )
    if plan.k is not None:
        notes.append(
            Notice(
                NoticeCode.VARIABLES,
                "the plan by variables holds for normal values of a steady process; its risks are those of "
                "one quantity alone",
            )
        )
    notes += [Notice(NoticeCode.GEOMETRY_ONLY, GEOMETRY_ONLY), Notice(NoticeCode.WHO_DECIDES, WHO_DECIDES)]
    return tuple(notes)
