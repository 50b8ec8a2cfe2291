"""What a reader of a lot decision is warned of, and what of it the plan makes a condition."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import Criteria
from gearqa.model.lot import Exclusion, FlankKey, LotGear, ParameterStatistics, SamplingResult, series_text
from gearqa.model.plan import REQUIREMENTS, Plan, Requirement
from gearqa.model.results import GearResult
from gearqa.signoff.gear_states import limits_of, standard_uncertainty
from gearqa.signoff.production import ProductionFacts
from gearqa.signoff.statistics_table import (
    FAMILY_TREND,
    FEWEST_FOR_INDEX,
    FEWEST_FOR_NORMALITY,
    FEWEST_FOR_SD,
    FEWEST_FOR_TREND,
)
from gearqa.statistics import conformity
from gearqa.statistics.families import sidak
from gearqa.wording.numbers import count_text, fixed_text, share_text, short_text
from gearqa.wording.sentences import symbols_text

LARGE_UNCERTAINTY = 1 / 3
"""Of the tolerance: beyond it U is a warning."""
MANY_GEARS = 50
FAR_FEWER = 0.5
"""Effective gears per gear below which the dress cycles matter."""

Statistics = Mapping[str, Mapping[FlankKey, ParameterStatistics]]


@dataclass(frozen=True, slots=True)
class Basis:
    """What cautions are drawn from."""

    gears: Sequence[GearResult]
    judged: Sequence[LotGear]
    criteria: Criteria
    plan: Plan
    facts: ProductionFacts
    several_cycles: bool
    """Whether the lot was ground in more dress cycles than one."""
    statistics: Statistics
    sampling: SamplingResult
    lot_size: int | None
    excluded: Sequence[Exclusion]
    restricted_to: Sequence[str]

    def series(self) -> Iterator[tuple[str, ParameterStatistics]]:
        """(symbol with flank, statistics) of each series."""
        for key, flanks in self.statistics.items():
            for flank, one in flanks.items():
                yield series_text(key, flank), one


def cautions(basis: Basis) -> tuple[Notice, ...]:
    """All cautions, what concerns the decision most first."""
    return (
        *_uncertainty(basis),
        *_sample(basis),
        *_cycles(basis),
        *_series(basis),
        *_measuring(basis),
    )


def unmet_requirements(basis: Basis) -> tuple[str, ...]:
    """Conditions of the plan that are not met, each with what fails it."""
    checks: dict[Requirement, Callable[[], list[str]]] = {
        "outliers": lambda: [name for name, one in basis.series() if one.outliers],
        "normality": lambda: [
            name
            for name, one in basis.series()
            if one.distribution != "not assumed" and (one.normality is None or one.normality.departure)
        ],
        "ppk": lambda: [
            name
            for name, one in basis.series()
            if one.distribution != "not assumed"
            and one.upper_limit_um is not None
            and (one.ppk_lower_bound is None or one.ppk_lower_bound < (basis.plan.minimum_ppk or 0))
        ],
        "tolerance_interval": lambda: [
            name
            for name, one in basis.series()
            if one.upper_limit_um is not None
            and (one.tolerance_interval_um is None or _interval_outside(one))
        ],
        "trend": lambda: (
            ["order not known"]
            if basis.facts.order is None
            else [name for name, one in basis.series() if one.trend_p is None or trend_seen(one, basis)]
        ),
        "independence": lambda: (
            ["dress cycles not known"]
            if basis.facts.cycles is None
            else [name for name, one in basis.series() if _worth_fewer(one)]
        ),
        "uncertainty": lambda: [
            name for name, one in basis.series() if one.upper_limit_um is not None and one.u_um is None
        ],
    }
    unmet = []
    for word in basis.plan.require:
        failed = checks[word]()
        if failed:
            unmet.append(f"{REQUIREMENTS[word]} ({', '.join(dict.fromkeys(failed))})")
    return tuple(unmet)


def trend_seen(one: ParameterStatistics, basis: Basis) -> bool:
    """Whether the values move with the order of production, by one of two tests."""
    if one.trend_p is None or one.runs_p is None:
        return False
    series = sum(1 for _ in basis.series())
    return min(one.trend_p, one.runs_p) < sidak(FAMILY_TREND, 2 * series)


def _interval_outside(one: ParameterStatistics) -> bool:
    if one.tolerance_interval_um is None:
        return False
    low, high = one.tolerance_interval_um
    below = low is not None and one.lower_limit_um is not None and low < one.lower_limit_um
    return below or (one.upper_limit_um is not None and high > one.upper_limit_um)


def _worth_fewer(one: ParameterStatistics) -> bool:
    return one.n_effective is not None and one.n_effective < FAR_FEWER * one.n


def _uncertainty(basis: Basis) -> Iterator[Notice]:
    required = [(name, one) for name, one in basis.series() if one.upper_limit_um is not None]
    unknown = [name for name, one in required if one.u_um is None]
    if len(unknown) == len(required):
        yield Notice(
            NoticeCode.UNCERTAINTY_UNKNOWN,
            "no measurement uncertainty is given: values are accepted simply, nothing is proven",
        )
    elif unknown:
        yield Notice(
            NoticeCode.UNCERTAINTY_UNKNOWN,
            f"no measurement uncertainty is given for {', '.join(unknown)}: these are accepted simply",
        )
    for key, flanks in basis.statistics.items():
        for flank, one in flanks.items():
            criterion = basis.criteria.of[key, None if flank == "both" else flank]
            u = standard_uncertainty(one.u_um)
            if u is None or one.u_um is None or one.upper_limit_um is None:
                continue
            lower, upper = limits_of(criterion)
            floor = 0.0 if lower is None else lower
            name, expanded = series_text(key, flank), f"U = {short_text(one.u_um)} µm"
            if not _provable(u, lower, upper, basis.plan.decision.confidence):
                yield Notice(
                    NoticeCode.NOTHING_PROVABLE,
                    f"{name}: with {expanded} no value at all can be proven to conform",
                )
            elif upper is not None and one.u_um > LARGE_UNCERTAINTY * (upper - floor):
                yield Notice(
                    NoticeCode.UNCERTAINTY_LARGE,
                    f"{name}: {expanded} is more than a third of the tolerance of "
                    f"{short_text(upper - floor)} µm",
                )
    sources = basis.plan.uncertainty_source
    without = [
        key
        for key, flanks in basis.statistics.items()
        if key not in sources and any(one.u_um for one in flanks.values())
    ]
    if without:
        yield Notice(
            NoticeCode.UNCERTAINTY_SOURCE_UNKNOWN,
            f"no source is stated for the uncertainty of {symbols_text(without)}",
        )


def _provable(u: float, lower: float | None, upper: float | None, confidence: float) -> bool:
    """Whether the best possible value could be proven: 0 where no value can be negative."""
    if lower is None and upper is not None:
        return conformity.state(0.0, u, None, upper, confidence) == "conforms"
    return conformity.provable(u, lower, upper, confidence)


def _sample(basis: Basis) -> Iterator[Notice]:
    n, plan = len(basis.gears), basis.sampling
    gears = count_text(n, "gear")
    if plan.required_n is not None and n < plan.required_n and plan.p10 is not None:
        yield Notice(
            NoticeCode.FEWER_THAN_PLANNED,
            f"{gears} measured instead of {plan.required_n}: a process with {share_text(plan.p10)} "
            "nonconforming would still pass such a sample in 10 of 100 cases",
        )
    if n < FEWEST_FOR_SD:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears}: no standard deviation, no interval, no index")
    elif n < FEWEST_FOR_INDEX:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears} are too few for an index: bounds would be meaningless")
    elif n < MANY_GEARS:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears}: go by the lower bound of each index, not by the index")
    census = basis.lot_size == n
    if basis.plan.drawn == "unknown" and not census:
        yield Notice(
            NoticeCode.DRAWN_UNKNOWN,
            "how the sample was drawn is not stated: its results hold for a random one",
        )
    if basis.excluded:
        yield Notice(
            NoticeCode.EXCLUDED,
            "left out of the sample: " + "; ".join(f"{e.serial} ({e.reason})" for e in basis.excluded),
        )
    if basis.restricted_to:
        yield Notice(
            NoticeCode.RESTRICTED, f"the inspection was restricted to {', '.join(basis.restricted_to)}"
        )


def _cycles(basis: Basis) -> Iterator[Notice]:
    facts = basis.facts
    if facts.order is None:
        yield Notice(
            NoticeCode.ORDER_UNKNOWN, "the order of production is not known: randomness cannot be checked"
        )
    elif facts.order_by_label:
        yield Notice(
            NoticeCode.ORDER_BY_LABEL,
            "no times of finishing for all gears: the order of production is taken from dress labels and "
            "parts since dress",
        )
    if facts.cycles is None:
        yield Notice(
            NoticeCode.CYCLES_UNKNOWN,
            "the dress cycles are not known: intervals and bounds assume independent gears; in a lot of "
            "several cycles they hold less often than stated (0.79 instead of 0.95 for 5 cycles of 4 gears)",
        )
        return
    if facts.positions is None:
        yield Notice(
            NoticeCode.WEAR_UNCHECKED,
            "parts since dress are not known for all gears: change within a cycle is unchecked",
        )
    fewer = [(name, one) for name, one in basis.series() if _worth_fewer(one)]
    if fewer:
        name, one = min(fewer, key=lambda pair: pair[1].n_effective or 0.0)
        yield Notice(
            NoticeCode.DEPENDENT_GEARS,
            f"gears of one dress cycle are alike: {one.n} gears are worth "
            f"{fixed_text(one.n_effective or 0.0, 1)} independent ones in {name}"
            + (f", and fewer than half in {len(fewer) - 1} more" if len(fewer) > 1 else ""),
        )
    worn = [name for name, one in basis.series() if one.wear_um_per_part is not None]
    if worn:
        yield Notice(NoticeCode.WEAR, f"values change within the dress cycle: {', '.join(worn)}")


def _series(basis: Basis) -> Iterator[Notice]:
    flagged = {name: one.outliers for name, one in basis.series() if one.outliers}
    if flagged:
        named = "; ".join(f"{name}: {', '.join(serials)}" for name, serials in flagged.items())
        yield Notice(NoticeCode.OUTLIERS, f"far from the rest, kept in all figures: {named}")
    odd = [name for name, one in basis.series() if one.normality is not None and one.normality.departure]
    if odd:
        yield Notice(NoticeCode.NORMALITY, f"departs from the assumed distribution: {', '.join(odd)}")
    elif len(basis.gears) >= FEWEST_FOR_NORMALITY:
        yield Notice(
            NoticeCode.NORMALITY, "no departure from the assumed distributions is seen, which proves none"
        )
    if basis.facts.order is not None and len(basis.gears) >= FEWEST_FOR_TREND:
        moving = [name for name, one in basis.series() if trend_seen(one, basis)]
        if moving:
            yield Notice(NoticeCode.TREND, f"not random in order of production: {', '.join(moving)}")
    outside = [name for name, one in basis.series() if _interval_outside(one)]
    if outside:
        yield Notice(
            NoticeCode.TOLERANCE_INTERVAL,
            f"the interval for {share_text(basis.plan.coverage, 6)} of the lot reaches beyond the limits: "
            f"{', '.join(outside)}",
        )
    least = basis.plan.minimum_ppk
    if least is not None:
        low = [
            name
            for name, one in basis.series()
            if one.ppk_lower_bound is not None and one.ppk_lower_bound < least
        ]
        if low:
            yield Notice(
                NoticeCode.PPK, f"lower bound of the index below {short_text(least)}: {', '.join(low)}"
            )


def _measuring(basis: Basis) -> Iterator[Notice]:
    rows = [gear.production for gear in basis.gears]
    if basis.facts.overdue:
        yield Notice(
            NoticeCode.CALIBRATION_OVERDUE,
            f"measured after the calibration was due: {', '.join(basis.facts.overdue)}",
        )
    if any(row is None or row.calibration_due is None or row.measured_at is None for row in rows):
        yield Notice(
            NoticeCode.CALIBRATION_UNKNOWN,
            "calibration due or time of measuring is not known for all gears: not checked",
        )
    if any(row is None or row.temperature_degC is None for row in rows):
        yield Notice(
            NoticeCode.TEMPERATURE_UNKNOWN, "the temperature at measuring is not known for all gears"
        )
