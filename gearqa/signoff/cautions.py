"""Notices about a lot decision: cautions, notes on the method, conditions of the plan that are not met."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.value_states import COVERAGE_FACTOR
from gearqa.model.lot import (
    CycleCoverage,
    Exclusion,
    LeftOut,
    LotGear,
    ParameterStatistics,
    SamplingResult,
    SeriesTable,
    series_text,
)
from gearqa.model.plan import REQUIREMENTS, Plan, Requirement
from gearqa.model.results import GearResult
from gearqa.signoff.production import ProductionFacts
from gearqa.signoff.statistics_table import (
    FAMILY_TREND,
    FEWEST_FOR_INDEX,
    FEWEST_FOR_NORMALITY,
    FEWEST_FOR_SD,
)
from gearqa.statistics import conformity
from gearqa.statistics.families import sidak
from gearqa.wording.numbers import cases_text, count_text, fixed_text, share_text, short_text
from gearqa.wording.safety import GEOMETRY_ONLY, WHO_DECIDES
from gearqa.wording.sentences import place_text, symbols_text

LARGE_UNCERTAINTY = 1 / 3
"""Of the tolerance: beyond it U is a warning."""
MANY_GEARS = 50
FEW_CYCLES = 5
FAR_FEWER = 0.5
"""Effective gears per gear below which the dress cycles matter."""

FIXED: Final[Mapping[NoticeCode, str]] = {
    NoticeCode.UNCERTAINTY_UNKNOWN: "no measurement uncertainty is given: values are accepted simply, "
    "nothing is proven",
    NoticeCode.DRAWN_UNKNOWN: "how the sample was drawn is not stated: its results hold for a random one",
    NoticeCode.ORDER_UNKNOWN: "the order of production is not known: randomness cannot be checked",
    NoticeCode.ORDER_BY_LABEL: "no times of finishing for all gears: the order of production is taken from "
    "dress labels and parts since dress",
    NoticeCode.CYCLES_UNKNOWN: "the dress cycles are not known: intervals and bounds assume independent "
    "gears; in a lot of several cycles they hold less often than stated (0.79 instead of 0.95 for 5 cycles "
    "of 4 gears)",
    NoticeCode.WEAR_UNCHECKED: "parts since dress are not known for all gears: change within a cycle is "
    "unchecked",
    NoticeCode.CYCLE_LENGTH_UNKNOWN: "the length of a dress cycle is not known (from lot size and "
    "dress cycles): whether the sample is spread over it is unchecked",
    NoticeCode.NORMALITY: "no departure from the assumed distributions is seen, which proves none",
    NoticeCode.CALIBRATION_UNKNOWN: "calibration due or time of measuring is not known for all gears: not "
    "checked",
    NoticeCode.TEMPERATURE_UNKNOWN: "the temperature at measuring is not known for all gears",
    NoticeCode.TWO_RISKS: "the decision rule limits the risk of a single measured gear, the sampling plan "
    "that of the lot; using both is meant",
    NoticeCode.UNIT: "a gear is the unit: one value that does not conform makes the gear not conform",
    NoticeCode.ROUNDING: "nothing is rounded before deciding; values are compared at nine decimals",
    NoticeCode.PROBABILITY: "a probability of conformity is that of one value of one measured gear, never of "
    "the lot; of a gear the smallest is shown, not a product",
    NoticeCode.SERIES_OF_LOTS: "the table is made for a series of lots with switching between normal, "
    "tightened and reduced inspection; used for one lot it gives the risks shown here and no other assurance",
    NoticeCode.VARIABLES: "the plan by variables holds for normal values of a steady process; its risks are "
    "those of one quantity alone",
    NoticeCode.GEOMETRY_ONLY: GEOMETRY_ONLY,
    NoticeCode.WHO_DECIDES: WHO_DECIDES,
}
"""Messages that depend on nothing."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What a lot decision rests on."""

    gears: Sequence[GearResult]
    """The sample."""
    judged: Sequence[LotGear]
    rest: Sequence[LotGear]
    """Gears left out of the sample, judged."""
    left_out: tuple[LeftOut, ...]
    """The same, with how and why."""
    census: bool
    """Whether the whole lot was measured."""
    plan: Plan
    facts: ProductionFacts
    several_cycles: bool
    """Whether the lot was ground in more than one dress cycle."""
    coverage: CycleCoverage | None
    statistics: SeriesTable
    sampling: SamplingResult
    lot_size: int | None
    excluded: Sequence[Exclusion]
    restricted_to: Sequence[str]
    sorted_out: Sequence[Exclusion]

    @property
    def kept(self) -> tuple[LotGear, ...]:
        """Gears left out of the sample that are still in the lot."""
        out = {one.serial for one in self.left_out if one.how == "sorted out"}
        return tuple(gear for gear in self.rest if gear.serial not in out)

    @property
    def all_judged(self) -> tuple[LotGear, ...]:
        """Every measured gear that is still in the lot."""
        return (*self.judged, *self.kept)

    def series(self) -> Iterator[tuple[str, ParameterStatistics]]:
        """(symbol with flank, statistics) of each series."""
        for key, flanks in self.statistics.items():
            for flank, one in flanks.items():
                yield series_text(key, flank), one

    def named(self, holds: Callable[[ParameterStatistics], bool]) -> str:
        """The series of which something holds, by symbol and flank."""
        return ", ".join(name for name, one in self.series() if holds(one))


def cautions(basis: Basis) -> tuple[Notice, ...]:
    """All cautions, what concerns the decision most first."""
    groups = (_uncertainty, _sample, _cycles, _series, _measuring)
    return tuple(notice for group in groups for notice in group(basis))


def notes(basis: Basis) -> tuple[Notice, ...]:
    """Notes on the method."""
    return tuple(_method(basis))


def _fixed(code: NoticeCode) -> Notice:
    return Notice(code, FIXED[code])


def unmet_requirements(basis: Basis) -> tuple[str, ...]:
    """Conditions of the plan that are not met, each with the series that fail it."""
    fails: dict[Requirement, Callable[[ParameterStatistics], bool]] = {
        "outliers": lambda one: bool(one.outliers),
        "normality": lambda one: (
            one.distribution != "not assumed" and (one.normality is None or one.normality.departure)
        ),
        "ppk": lambda one: (
            one.distribution != "not assumed"
            and one.upper_limit_um is not None
            and not _reaches(one.ppk_lower_bound, basis.plan.minimum_ppk or 0)
        ),
        "tolerance_interval": lambda one: (
            one.upper_limit_um is not None
            and not basis.census
            and (one.tolerance_interval_um is None or _interval_outside(one))
        ),
        "trend": lambda one: one.trend_p is None or _trend_seen(one, basis),
        "independence": _worth_fewer,
        "uncertainty": lambda one: one.upper_limit_um is not None and one.u_um is None,
    }
    unknown: dict[Requirement, str] = {}
    if basis.facts.order is None:
        unknown["trend"] = "order not known"
    if basis.facts.cycles is None:
        unknown["independence"] = "dress cycles not known"
    failed = {word: unknown.get(word) or basis.named(fails[word]) for word in basis.plan.require}
    return tuple(f"{REQUIREMENTS[word]} ({what})" for word, what in failed.items() if what)


def _reaches(bound: float | None, least: float) -> bool:
    """Whether a bound is known and large enough; what is no number reaches nothing."""
    return bound is not None and bound >= least


def _trend_seen(one: ParameterStatistics, basis: Basis) -> bool:
    """Whether the values move with the order of production, by one of two tests."""
    if one.trend_p is None or one.runs_p is None:
        return False
    series = sum(1 for _ in basis.series())
    return min(one.trend_p, one.runs_p) < sidak(FAMILY_TREND, 2 * series)


def _interval_outside(one: ParameterStatistics) -> bool:
    if one.tolerance_interval_um is None:
        return False
    low, high = one.tolerance_interval_um
    below = low is not None and one.lower_limit_um is not None and not low >= one.lower_limit_um
    return below or (one.upper_limit_um is not None and not high <= one.upper_limit_um)


def _worth_fewer(one: ParameterStatistics) -> bool:
    return one.n_effective is not None and one.n_effective < FAR_FEWER * one.n


def _uncertainty(basis: Basis) -> Iterator[Notice]:
    required = [(name, one.u_um) for name, one in basis.series() if one.upper_limit_um is not None]
    curves = {(one.kind, one.flank): one.u_um for gear in basis.judged for one in gear.limit_curves}
    required += [(place_text(f"{kind}_curve", flank), u) for (kind, flank), u in curves.items()]
    zones = {(one.parameter, one.flank): one.u_um for gear in basis.judged for one in gear.zones}
    required += [(place_text(*place), u) for place, u in zones.items()]
    unknown = [name for name, u in required if u is None]
    if len(unknown) == len(required):
        yield _fixed(NoticeCode.UNCERTAINTY_UNKNOWN)
    elif unknown:
        message = f"no measurement uncertainty is given for {', '.join(unknown)}: these are accepted simply"
        yield Notice(NoticeCode.UNCERTAINTY_UNKNOWN, message)
    for name, one in basis.series():
        if one.u_um is None or one.upper_limit_um is None:
            continue
        tolerance = one.upper_limit_um - (one.lower_limit_um or 0.0)
        if not _provable(one.u_um, one.lower_limit_um, one.upper_limit_um, basis.plan.decision.confidence):
            message = f"{name}: with U = {short_text(one.u_um)} µm no value at all can be proven to conform"
            yield Notice(NoticeCode.NOTHING_PROVABLE, message)
        elif one.u_um > LARGE_UNCERTAINTY * tolerance:
            third = f"more than a third of the tolerance of {short_text(tolerance)} µm"
            yield Notice(NoticeCode.UNCERTAINTY_LARGE, f"{name}: U = {short_text(one.u_um)} µm is {third}")
    known = [key for key, flanks in basis.statistics.items() if any(one.u_um for one in flanks.values())]
    if without := [key for key in known if key not in basis.plan.uncertainty_source]:
        message = f"no source is stated for the uncertainty of {symbols_text(without)}"
        yield Notice(NoticeCode.UNCERTAINTY_SOURCE_UNKNOWN, message)


def _provable(expanded: float, lower: float | None, upper: float, confidence: float) -> bool:
    """Whether the best possible value could be proven: 0 where no value can be negative."""
    u = expanded / COVERAGE_FACTOR
    if lower is None:
        return conformity.state(0.0, u, None, upper, confidence) == "conforms"
    return conformity.provable(u, lower, upper, confidence)


def _sample(basis: Basis) -> Iterator[Notice]:
    n, plan = len(basis.gears), basis.sampling
    gears = count_text(n, "gear")
    if plan.required_n is not None and n < plan.required_n and not basis.census:
        yield Notice(
            NoticeCode.FEWER_THAN_PLANNED,
            f"{gears} measured instead of {plan.required_n}: such a sample accepts no lot",
        )
    if not basis.statistics:
        pass  # by limit curves or zones alone: no index is stated
    elif n < FEWEST_FOR_SD:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears}: no standard deviation, no interval, no index")
    elif n < FEWEST_FOR_INDEX:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears} are too few for an index: bounds would be meaningless")
    elif n < MANY_GEARS:
        yield Notice(NoticeCode.FEW_GEARS, f"{gears}: use the lower bound of each index, not the index")
    if basis.plan.drawn == "unknown" and not basis.census:
        yield _fixed(NoticeCode.DRAWN_UNKNOWN)
    if basis.excluded:
        named = (f"{one.serial} ({one.reason})" for one in basis.excluded)
        yield Notice(NoticeCode.EXCLUDED, f"left out of the sample: {'; '.join(named)}")
    if basis.restricted_to:
        serials = ", ".join(basis.restricted_to)
        yield Notice(NoticeCode.RESTRICTED, f"the inspection was restricted to {serials}")
    drawn = {gear.serial for gear in basis.gears}
    if stay := [f"{one.serial} ({one.reason})" for one in basis.sorted_out if one.serial in drawn]:
        yield Notice(
            NoticeCode.STAYS_COUNTED,
            f"sorted out, but drawn with the sample, so they stay counted: {'; '.join(stay)}",
        )


def _cycles(basis: Basis) -> Iterator[Notice]:
    facts = basis.facts
    if facts.order is None:
        yield _fixed(NoticeCode.ORDER_UNKNOWN)
    elif facts.order_by_label:
        yield _fixed(NoticeCode.ORDER_BY_LABEL)
    if facts.cycles is None:
        yield _fixed(NoticeCode.CYCLES_UNKNOWN)
        return
    if facts.positions is None:
        yield _fixed(NoticeCode.WEAR_UNCHECKED)
    elif basis.coverage is None and not basis.census:
        yield _fixed(NoticeCode.CYCLE_LENGTH_UNKNOWN)
    fewer = [(one.n_effective or 0.0, one.n, name) for name, one in basis.series() if _worth_fewer(one)]
    if fewer:
        effective, n, name = min(fewer, key=lambda row: row[0])
        more = f", and fewer than half in {len(fewer) - 1} more" if len(fewer) > 1 else ""
        yield Notice(
            NoticeCode.DEPENDENT_GEARS,
            f"gears of one dress cycle are alike: {n} gears are worth {fixed_text(effective, 1)} "
            f"independent ones in {name}{more}",
        )
    few = {one.n_cycles for _, one in basis.series() if one.n_cycles is not None and one.n > one.n_cycles}
    if basis.several_cycles and few and 1 < min(few) < FEW_CYCLES:
        message = (
            f"{count_text(min(few), 'dress cycle')}: bounds and intervals are wide; more dress cycles narrow "
            "them, more gears of the same cycles do not"
        )
        yield Notice(NoticeCode.FEW_CYCLES, message)
    if worn := basis.named(lambda one: one.wear_um_per_part is not None):
        yield Notice(NoticeCode.WEAR, f"values change within the dress cycle: {worn}")


def _series(basis: Basis) -> Iterator[Notice]:
    flagged = [f"{name}: {', '.join(one.outliers)}" for name, one in basis.series() if one.outliers]
    if flagged:
        yield Notice(NoticeCode.OUTLIERS, f"far from the rest, kept in all figures: {'; '.join(flagged)}")
    if odd := basis.named(lambda one: one.normality is not None and one.normality.departure):
        yield Notice(NoticeCode.NORMALITY, f"departs from the assumed distribution: {odd}")
    elif len(basis.gears) >= FEWEST_FOR_NORMALITY:
        yield _fixed(NoticeCode.NORMALITY)
    if moving := basis.named(lambda one: _trend_seen(one, basis)):
        yield Notice(NoticeCode.TREND, f"not random in order of production: {moving}")
    if outside := basis.named(_interval_outside):
        share = share_text(basis.plan.coverage, 6)
        message = f"the interval for {share} of the lot reaches beyond the limits: {outside}"
        yield Notice(NoticeCode.TOLERANCE_INTERVAL, message)
    least = basis.plan.minimum_ppk
    if least is not None and (
        low := basis.named(lambda one: one.ppk_lower_bound is not None and one.ppk_lower_bound < least)
    ):
        yield Notice(NoticeCode.PPK, f"lower bound of the index below {short_text(least)}: {low}")


def _measuring(basis: Basis) -> Iterator[Notice]:
    rows = [gear.production for gear in basis.gears]
    if late := ", ".join(basis.facts.overdue):
        yield Notice(NoticeCode.CALIBRATION_OVERDUE, f"measured after the calibration was due: {late}")
    if any(row is None or row.calibration_due is None or row.measured_at is None for row in rows):
        yield _fixed(NoticeCode.CALIBRATION_UNKNOWN)
    if any(row is None or row.temperature_degC is None for row in rows):
        yield _fixed(NoticeCode.TEMPERATURE_UNKNOWN)


def _method(basis: Basis) -> Iterator[Notice]:
    plan, sure = basis.sampling, share_text(basis.plan.decision.confidence, 6)
    always = (NoticeCode.TWO_RISKS, NoticeCode.UNIT, NoticeCode.ROUNDING, NoticeCode.PROBABILITY)
    yield from map(_fixed, always)
    message = (
        f"proven means with {sure} probability for each value on its own, not for all values of a gear "
        "together; the uncertainty is taken as normal with U = 2 u"
    )
    yield Notice(NoticeCode.CONFIDENCE, message)
    if plan.passes_at_one_percent is not None and plan.required_n is not None:
        yield Notice(
            NoticeCode.ONE_PERCENT,
            f"with {count_text(plan.measured_n, 'gear')} and acceptance number {plan.ac} a process with "
            f"1 % nonconforming passes in {cases_text(plan.passes_at_one_percent)}",
        )
    if plan.edition is not None:
        yield _fixed(NoticeCode.SERIES_OF_LOTS)
    if plan.k is not None:
        yield _fixed(NoticeCode.VARIABLES)
    yield from map(_fixed, (NoticeCode.GEOMETRY_ONLY, NoticeCode.WHO_DECIDES))
