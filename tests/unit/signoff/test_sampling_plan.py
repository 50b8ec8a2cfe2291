"""The plan of a lot: what it asks by lot size, and the risks of what was measured, by scipy.stats."""

from __future__ import annotations

import pytest
from scipy import stats

from gearqa.model.lot import LotGear, SamplingResult
from gearqa.model.plan import SamplingTable
from gearqa.signoff.sampling_plan import apply_plan, required_plan
from gearqa.statistics.sampling import variables_passes, variables_quality_at


def measured(
    table: SamplingTable, gears: int, lot_size: int | None, *, census: bool = False
) -> SamplingResult:
    """A sample in which every gear conforms."""
    gear = LotGear(
        "G", "conforms", "conforms", None, None, None, None, None, True, "conforms", missing=(), values=()
    )
    return apply_plan(required_plan(table, lot_size), table, [gear] * gears, lot_size, {}, census=census)


@pytest.mark.independent
def test_producers_risk_of_an_aql_plan() -> None:
    """AQL 1 %, lot of 400: n 50, Ac 1 (ISO 2859-1:1999, table 2-A, from memory)."""
    found = measured(SamplingTable(aql_percent=1.0), 50, 400)
    assert (found.required_n, found.ac, found.aql) == (50, 1, 0.01)
    assert found.producer_risk_at_aql == pytest.approx(float(stats.binom.sf(1, 50, 0.01)), rel=1e-12)
    assert found.p10 is not None
    assert float(stats.binom.cdf(1, 50, found.p10)) == pytest.approx(0.10, abs=1e-12)


@pytest.mark.parametrize(
    ("lot_size", "letter", "why"),
    [(None, None, "lot size unknown"), (1, None, "a lot of one has no code letter"), (2, "A", "letter A")],
)
def test_lots_without_a_code_letter(lot_size: int | None, letter: str | None, why: str) -> None:
    plan = required_plan(SamplingTable(aql_percent=6.5), lot_size)
    assert (plan.start_letter, plan.aql, plan.n is None) == (letter, 0.065, letter is None)
    assert why in plan.basis


@pytest.mark.independent
@pytest.mark.parametrize(("lot_size", "gears"), [(40, 30), (40, 39), (None, 50)])
def test_consumers_risk_of_what_was_measured(lot_size: int | None, gears: int) -> None:
    """Limiting quality 5 % of 40 are 2 gears; who measures 39 cannot miss both."""
    risk = measured(SamplingTable(), gears, lot_size).consumer_risk_measured
    by_scipy = stats.binom.cdf(0, gears, 0.05) if lot_size is None else stats.hypergeom.cdf(0, 40, 2, gears)
    assert risk == pytest.approx(float(by_scipy), abs=1e-12)


@pytest.mark.parametrize("gears", [1, 2, 13, 80])
def test_curve_ends_with_a_share_of_the_process(gears: int) -> None:
    curve = measured(SamplingTable(n=gears, ac=0), gears, None).operating_characteristic
    assert curve[0] == (0.0, 1.0)
    assert curve[-1][0] <= 1.0
    assert [pa for _, pa in curve] == pytest.approx([(1 - p) ** gears for p, _ in curve], abs=1e-12)


@pytest.mark.parametrize(("gears", "census"), [(44, False), (19, False), (45, True)])
def test_a_whole_lot_and_a_sample_that_cannot_accept_have_no_risk_of_sampling(
    gears: int, census: bool
) -> None:
    found = measured(SamplingTable(n=45, ac=0), gears, None, census=census)
    assert (found.p95, found.p50, found.p10, found.operating_characteristic) == (None, None, None, ())
    assert (found.consumer_risk, found.consumer_risk_measured, found.passes_at_one_percent) == (None,) * 3
    assert found.accept is (True if census else None)


@pytest.mark.parametrize("gears", [20, 25])
def test_plan_by_variables_has_the_characteristic_of_its_constant(gears: int) -> None:
    found = measured(SamplingTable(n=20, k=1.6, variables=("runout",)), gears, None)
    assert found.passes_at_one_percent == variables_passes(gears, 1.6, 0.01)
    assert found.p50 == variables_quality_at(gears, 1.6, 0.50)
