"""Risks of plan and measuring together: by simulation and by the general library."""

from __future__ import annotations

import numpy as np
import pytest
from lot_factory import make_gear, make_header, make_part
from scipy import stats

from gearqa.evaluation.criteria import criteria_of
from gearqa.model.lot import DecisionRisks
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.signoff.lot import sign_off
from gearqa.statistics.sampling import passes_lot_as_measured

N, LOT_SIZE, GOOD = 43, 400, 1 - 0.95 ** (1 / 43)


def part_of(share: float | None) -> tuple[Part, float]:
    """A drawing of one slope, U this share of its tolerance, and the limit."""
    part = make_part({}, parameters=["helix_slope"])
    limit = criteria_of(part).of["helix_slope", "left"].tolerance
    assert limit is not None
    known = {} if share is None else {"helix_slope": share * 2 * limit}
    return make_part(known, parameters=["helix_slope"]), limit


def risks_of(
    share: float | None, sd: float, rule: str = "guarded acceptance", count: int = N
) -> DecisionRisks | None:
    """Stated for a sample with exactly this spread, seen with the errors of measuring in it."""
    part, limit = part_of(share)
    seen = np.hypot(sd, (share or 0) * limit)
    x = stats.norm.ppf((np.arange(count) + 0.5) / count)
    gears = [
        make_gear(f"G{i}", part, {"helix_slope": float(v)}) for i, v in enumerate(x / x.std(ddof=1) * seen)
    ]
    plan = Plan.model_validate({"decision": {"rule": rule}}, by_alias=True)
    return sign_off(make_header(part), part, gears, plan, lot_size=LOT_SIZE).risks


@pytest.mark.independent
@pytest.mark.parametrize(
    ("ac", "refused"), [(0, (1.0, 0.0)), (0, (0.6, 0.01)), (2, (0.6, 0.03)), (2, (0.0, 0.0))]
)
def test_a_lot_as_measured_by_the_sum_of_the_general_library(ac: int, refused: tuple[float, float]) -> None:
    want = sum(
        stats.hypergeom.pmf(k, LOT_SIZE, 20, N)
        * stats.binom.pmf(i, k, refused[0])
        * stats.binom.cdf(ac - i, N - k, refused[1])
        for k in range(21) for i in range(min(ac, k) + 1)
    )  # fmt: skip
    assert passes_lot_as_measured(N, ac, LOT_SIZE, 20, refused) == pytest.approx(float(want), rel=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize(("share", "spread"), [(0.05, 0.10), (0.15, 0.10), (0.15, 0.06), (0.02, 0.06)])
@pytest.mark.parametrize("rule", ["guarded acceptance", "simple acceptance"])
def test_risks_by_simulation(share: float, spread: float, rule: str) -> None:
    _, limit = part_of(share)
    u, sd, runs = share * limit, spread * 2 * limit, 4_000
    stated = risks_of(share, sd, rule)
    assert stated is not None
    assert (stated.good_quality, stated.producer_plan) == (pytest.approx(GOOD), pytest.approx(0.05))
    assert (stated.bad_quality, f"{stated.consumer_plan:.4f}") == (0.05, "0.0969")
    guard = {"guarded acceptance": 1.6448536, "simple acceptance": 0.0}[rule] * u
    rng = np.random.default_rng(5)

    def accepted(true: np.ndarray) -> float:
        measured = true + u * rng.normal(size=true.shape)
        return float(np.mean(np.all(np.abs(measured) <= limit - guard, axis=1)))

    good = limit + sd * (stats.norm.ppf(GOOD) + rng.normal(size=(runs, N)))
    assert stated.producer is not None
    assert stated.producer == pytest.approx(1 - accepted(good), abs=0.03)
    # lots of 400 with exactly 20 beyond the limit: as many in the sample as hypergeometric chance gives
    bad = rng.hypergeometric(20, LOT_SIZE - 20, N, size=runs)[:, None] > np.arange(N)
    tail = np.where(bad, rng.random((runs, N)) * 0.05, 0.05 + rng.random((runs, N)) * 0.95)
    found = accepted(limit + sd * (stats.norm.ppf(0.05) + stats.norm.isf(tail)))
    assert stated.consumer is not None
    assert stated.consumer == pytest.approx(found, abs=0.03)
    assert found < stated.consumer_at_most + 0.02


@pytest.mark.independent
def test_a_guard_refuses_what_the_plan_alone_would_pass() -> None:
    # U = 15 % of the tolerance, spread 8 %: the plan says 5 of 100, found 99
    _, limit = part_of(0.15)
    stated = risks_of(0.15, 0.16 * limit)
    assert stated is not None
    assert stated.producer is not None
    assert stated.producer > 0.98
    assert (stated.producer_parameter, stated.producer_flank) == ("helix_slope", "left")


@pytest.mark.independent
@pytest.mark.parametrize(("share", "rule"), [(None, "guarded acceptance"), (0.15, "simple acceptance")])
def test_a_lot_bad_by_a_quarter_of_u_passes_no_more_often_than_stated(share: float | None, rule: str) -> None:
    stated = risks_of(share, 1.0, rule)
    assert stated is not None
    assert stated.consumer_measuring == 0.5
    found = passes_lot_as_measured(N, 0, LOT_SIZE, 20, (float(stats.norm.cdf(0.25)), 0.0))
    assert f"{found:.2f}" == "0.26"
    assert found < stated.consumer_at_most
    assert (stated.unknown_reason, stated.producer is None) == (
        ("no measurement uncertainty is known", True) if share is None else (None, False)
    )


def test_no_risks_without_a_plan_that_has_some() -> None:
    assert risks_of(0.05, 1.0, count=42) is None
