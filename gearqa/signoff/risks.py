"""Risks of the decision as it is made: the sampling plan and the measuring together (JCGM 106)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scipy import special

from gearqa.evaluation.value_states import COVERAGE_FACTOR
from gearqa.model.decision_rule import DecisionRuleName, DecisionTable
from gearqa.model.lot import DecisionRisks, FlankKey, ParameterStatistics, SamplingResult, SeriesTable
from gearqa.statistics import conformity, sampling
from gearqa.statistics.roots import root

LEAST_SPREAD = 0.1
"""Of the spread seen: what is left for the gears where nearly all of it may be measuring."""


@dataclass(frozen=True, slots=True)
class RiskQuantity:
    """One parameter and flank whose uncertainty and spread are known."""

    parameter: str
    flank: FlankKey
    lower: float
    upper: float
    u: float
    """Standard uncertainty. [um]"""
    sd: float
    """Spread of the gears themselves, without that of measuring. [um]"""

    def refused(self, fraction: float, acceptance: tuple[float, float]) -> tuple[float, float] | None:
        """How often gears of a process with so many nonconforming are refused: those, and the others.

        Over the normal process that lies so near its upper limit; None where its spread alone makes more.
        """
        if math.isinf(self.lower):
            mean = self.upper - float(special.ndtri(1 - fraction)) * self.sd
        else:
            middle = (self.lower + self.upper) / 2

            def excess(mean: float) -> float:
                beyond = (
                    special.ndtr((self.lower - mean) / self.sd),
                    special.ndtr((mean - self.upper) / self.sd),
                )
                return float(sum(beyond)) - fraction

            if excess(middle) >= 0:
                return None
            mean = root(excess, middle, self.upper + 9 * self.sd, xtol=2e-12)
        if acceptance[0] >= acceptance[1]:
            return 1.0, 1.0
        passed, lost = conformity.global_risks(mean, self.sd, self.u, (self.lower, self.upper), acceptance)
        return 1 - passed / fraction, lost / (1 - fraction)

    def acceptance(self, decision: DecisionTable) -> tuple[float, float]:
        """Limits between which a measured value counts as conforming."""
        guard = conformity.guard_band(self.u, decision.confidence)
        guard *= {"guarded acceptance": 1, "simple acceptance": 0, "guarded rejection": -1}[decision.rule]
        return self.lower + guard, self.upper - guard


def decision_risks(
    plan: SamplingResult, decision: DecisionTable, statistics: SeriesTable, lot_size: int | None, *,
    by_value: bool,
) -> DecisionRisks | None:  # fmt: skip
    """Risks of plan and measuring, apart and together; None where the plan states none, or by variables.

    `by_value`: whether the drawing gives limit curves or zones whose uncertainty is not known. Errors of
    measuring are taken as normal and independent from gear to gear.
    """
    if plan.ac is None or plan.p95 is None or plan.p10 is None or plan.k is not None:
        return None
    required = [
        (key, flank, one)
        for key, flanks in statistics.items() for flank, one in flanks.items()
        if one.upper_limit_um is not None and one.n
    ]  # fmt: skip
    simply = by_value or any(one.u_um is None for *_, one in required)
    missed = _missed(decision.rule, decision.confidence, simply)
    good, bad = plan.p95 if plan.aql is None else plan.aql, plan.p10 if plan.lq is None else plan.lq
    accepts = _Plan(plan.measured_n, plan.ac, lot_size if plan.lq is not None else None)
    known = list(_quantities(required))
    producer, measuring, where = None, None, None
    consumer = None
    for one in known:
        limits = one.acceptance(decision)
        if (at := one.refused(good, limits)) is not None:
            risk = 1 - sampling.passes(plan.measured_n, plan.ac, good * at[0] + (1 - good) * at[1])
            if producer is None or risk > producer:
                producer, measuring, where = risk, at[1], one
        if (at := one.refused(bad, limits)) is not None:
            consumer = max(consumer or 0.0, accepts.risk(bad, at))
    return DecisionRisks(
        good_quality=good, producer_plan=1 - sampling.passes(plan.measured_n, plan.ac, good),
        producer=producer, producer_measuring=measuring,
        producer_parameter=None if where is None else where.parameter,
        producer_flank=None if where is None else where.flank,
        bad_quality=bad, consumer_plan=accepts.risk(bad, (1.0, 0.0)), consumer=consumer,
        consumer_at_most=accepts.risk(bad, (1 - missed, 0.0)), consumer_measuring=missed,
        unknown_reason=None if known else _why_unknown(required),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Plan:
    n: int
    ac: int
    lot_size: int | None

    def risk(self, bad: float, refused: tuple[float, float]) -> float:
        """How often a lot with so many nonconforming is accepted."""
        if self.lot_size is None:
            return sampling.passes(self.n, self.ac, bad * refused[0] + (1 - bad) * refused[1])
        count = math.ceil(round(bad * self.lot_size, 9))
        return sampling.passes_lot_as_measured(self.n, self.ac, self.lot_size, count, refused)


def _missed(rule: DecisionRuleName, confidence: float, simply: bool) -> float:
    """How often one nonconforming value counts as conforming, at most: it lies just beyond its limit."""
    known = {
        "guarded acceptance": 1 - confidence, "simple acceptance": 0.5, "guarded rejection": confidence,
    }[rule]  # fmt: skip
    return max(known, 0.5) if simply else known


def _quantities(required: Sequence[tuple[str, FlankKey, ParameterStatistics]]) -> Iterator[RiskQuantity]:
    for key, flank, one in required:
        seen = one.sd_um if one.maximum is None else one.maximum.sd_um
        if one.upper_limit_um is None or not one.u_um or not seen:
            continue
        u = one.u_um / COVERAGE_FACTOR
        own = math.sqrt(max(seen**2 - u**2, (LEAST_SPREAD * seen) ** 2))
        lower = -math.inf if one.lower_limit_um is None else one.lower_limit_um
        yield RiskQuantity(key, flank, lower, one.upper_limit_um, u, own)


def _why_unknown(required: Sequence[tuple[str, FlankKey, ParameterStatistics]]) -> str:
    if all(one.u_um is None for *_, one in required):
        return "no measurement uncertainty is known"
    return "the spread of the gears is not known"
