"""The sampling plan of a lot: what it asks for, what was measured, what passes it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.model.lot import LotGear, SamplingResult, SeriesTable, VariablesIndex
from gearqa.model.plan import SamplingTable
from gearqa.statistics import sampling
from gearqa.wording.numbers import share_text

DEFAULT_LIMITING_QUALITY = 0.05
DEFAULT_CONSUMER_RISK = 0.10
OC_POINTS = 61
OWN_COMPUTED = "own computed plan, not a table of a standard"


@dataclass(frozen=True, slots=True)
class RequiredPlan:
    """What the plan asks for."""

    scheme: str
    edition: str | None
    basis: str
    letter: str | None = None
    start_letter: str | None = None
    n: int | None = None
    ac: int | None = None
    k: float | None = None
    aql: float | None = None
    lq: float | None = None
    consumer_risk: float | None = None


def required_plan(table: SamplingTable, lot_size: int | None) -> RequiredPlan:
    """What a plan asks for in a lot of this size.

    Raises
    ------
    OutOfScopeError
        If an AQL is no preferred value or its plan lies outside the table.
    """
    if table.resolved == "own":
        assert table.n is not None
        n = table.n if lot_size is None else min(table.n, lot_size)
        kind = "own plan by variables" if table.k is not None else "own plan by attributes"
        return RequiredPlan(kind, None, "numbers of the plan file", n=n, ac=table.ac or 0, k=table.k)
    if table.resolved == "AQL":
        return _aql_plan(table, lot_size)
    lq = (table.limiting_quality_percent or 100 * DEFAULT_LIMITING_QUALITY) / 100
    risk = (table.consumer_risk_percent or 100 * DEFAULT_CONSUMER_RISK) / 100
    ac = table.ac or 0
    plan = sampling.isolated_lot_plan(lot_size, lq, risk, ac)
    where = "binomial, lot size unknown" if lot_size is None else f"hypergeometric, lot of {lot_size}"
    risks = f"limiting quality {share_text(lq, 6)}, consumer's risk {share_text(risk, 6)}"
    basis = f"{OWN_COMPUTED}: {risks}, {where}"
    return RequiredPlan("isolated lot", None, basis, n=plan.n, ac=ac, lq=lq, consumer_risk=risk)


def _aql_plan(table: SamplingTable, lot_size: int | None) -> RequiredPlan:
    assert table.aql_percent is not None
    level = table.level or "II"
    scheme = "single sampling by attributes, normal inspection"
    aql = table.aql_percent / 100
    kind = "general" if level in {"I", "II", "III"} else "special"
    head = f"AQL {share_text(aql, 6)}, {kind} level {level}"
    if lot_size is None or lot_size < 2:
        why = "lot size unknown" if lot_size is None else "a lot of one has no code letter"
        return RequiredPlan(scheme, sampling.EDITION, f"{head}; {why}: no code letter", aql=aql)
    start = sampling.code_letter(lot_size, level)
    plan = sampling.normal_single_plan(start, table.aql_percent)
    arrow = "" if plan.letter == start else f", arrow: plan of letter {plan.letter} used"
    n = min(plan.n, lot_size)
    whole = "" if n == plan.n else f"; its {plan.n} are more than the lot: all are inspected"
    basis = f"{head}, lot of {lot_size}: letter {start}{arrow}{whole}"
    return RequiredPlan(
        scheme, sampling.EDITION, basis, letter=plan.letter, start_letter=start, n=n, ac=plan.ac, aql=aql
    )


def apply_plan(
    required: RequiredPlan, table: SamplingTable, gears: Sequence[LotGear], lot_size: int | None,
    statistics: SeriesTable, *, census: bool = False,
) -> SamplingResult:  # fmt: skip
    """Count the gears against the plan; a gear is the unit, one failing value makes it fail.

    A lot that was measured whole has no risk of sampling, and a sample that is too small to accept has none
    to state.
    """
    measured = len(gears)
    d_low = sum(gear.counts_as == "does not conform" for gear in gears)
    d_high = d_low + sum(gear.counts_as in {"not proven", "not assessed"} for gear in gears)
    variables = _variables(required, table, statistics)
    ac = required.ac
    by_variables = [v.accept for v in variables]
    accept: bool | None = None
    if (ac is not None and d_low > ac) or False in by_variables:
        accept = False
    elif ac is not None and required.n is not None and None not in by_variables:
        accept = (d_high <= ac and (census or measured >= required.n)) or None
    if census or (required.n is not None and measured < required.n):
        return SamplingResult(
            required.scheme, required.edition, required.basis, required.letter, required.start_letter,
            required_n=required.n, ac=ac, re=None if ac is None else ac + 1, k=required.k,
            measured_n=measured, nonconforming=d_low, d_low=d_low, d_high=d_high, accept=accept,
            aql=required.aql, lq=required.lq, consumer_risk=None, consumer_risk_measured=None,
            producer_risk_at_aql=None, p95=None, p50=None, p10=None, passes_at_one_percent=None,
            operating_characteristic=(), variables=variables,
        )  # fmt: skip
    known_aql = None if ac is None else required.aql
    return SamplingResult(
        required.scheme, required.edition, required.basis, required.letter, required.start_letter,
        required_n=required.n, ac=ac, re=None if ac is None else ac + 1, k=required.k,
        measured_n=measured, nonconforming=d_low, d_low=d_low, d_high=d_high, accept=accept,
        aql=required.aql, lq=required.lq, consumer_risk=required.consumer_risk,
        consumer_risk_measured=_risk(required, measured, lot_size),
        producer_risk_at_aql=None if known_aql is None else 1 - _passes(required, measured, known_aql),
        p95=_quality_at(required, measured, 0.95),
        p50=_quality_at(required, measured, 0.50),
        p10=_quality_at(required, measured, 0.10),
        passes_at_one_percent=None if ac is None else _passes(required, measured, 0.01),
        operating_characteristic=_curve(required, measured), variables=variables,
    )  # fmt: skip


def _passes(required: RequiredPlan, n: int, fraction: float) -> float:
    """Probability of acceptance of a process; of a plan by variables by one characteristic alone."""
    assert required.ac is not None
    if required.k is not None and n >= 2:
        return sampling.variables_passes(n, required.k, fraction)
    return sampling.passes(n, required.ac, fraction)


def _quality_at(required: RequiredPlan, n: int, acceptance: float) -> float | None:
    if required.ac is None:
        return None
    if required.k is not None and n >= 2:
        return sampling.variables_quality_at(n, required.k, acceptance)
    return sampling.quality_at(n, required.ac, acceptance)


def _risk(required: RequiredPlan, n: int, lot_size: int | None) -> float | None:
    if required.lq is None or required.ac is None:
        return None
    if lot_size is None or lot_size < n:
        return sampling.passes(n, required.ac, required.lq)
    bad = math.ceil(round(required.lq * lot_size, 9))
    return sampling.passes_lot(n, required.ac, lot_size, bad)


def _curve(required: RequiredPlan, n: int) -> tuple[tuple[float, float], ...]:
    if required.ac is None:
        return ()
    end = min(1.0, 1.5 * max(_quality_at(required, n, 0.10) or 0.0, required.lq or 0.0, 0.01))
    return tuple(
        (float(p), _passes(required, n, float(p)))
        for p in np.linspace(0.0 if required.k is None else 1e-6, end, OC_POINTS)
    )


def _variables(
    required: RequiredPlan, table: SamplingTable, statistics: SeriesTable
) -> tuple[VariablesIndex, ...]:
    """Q = 3 Ppk of each parameter and flank that a plan by variables judges."""
    if required.k is None:
        return ()
    rows = []
    for key in table.variables:
        for flank, one in statistics.get(key, {}).items():
            q = None if one.ppk is None else 3 * one.ppk
            rows.append(VariablesIndex(key, flank, q, None if q is None else q >= required.k))
        if not statistics.get(key):
            rows.append(VariablesIndex(key, "both", None, None))
    return tuple(rows)
