"""The size of the teeth in a lot: statistics, index, decision, as of any other quantity."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import replace

import pytest
from lot_factory import make_gear, make_header, make_part

from gearqa.evaluation.sizes import size_results
from gearqa.model.lot import LotResult
from gearqa.model.measurement import SizeReading
from gearqa.model.plan import Plan
from gearqa.results.lot_json import lot_csv
from gearqa.signoff.lot import sign_off

LIMITS = {"method": "balls", "pin_diameter_mm": 3.0, "lower_mm": 155.78, "upper_mm": 155.84}
MM = (
    155.801,
    155.807,
    155.799,
    155.812,
    155.808,
    155.803,
    155.806,
    155.811,
    155.802,
    155.809,
    155.8,
    155.805,
)


def lot(sizes_mm: Sequence[Sequence[float]], plan: Plan | None = None, U: float | None = None) -> LotResult:
    part = make_part({"size": U} if U else {}, size=LIMITS)
    gears = []
    for number, readings in enumerate(sizes_mm, start=1):
        gear = make_gear(f"G{number}", part)
        sizes, gaps = size_results([SizeReading("balls", mm, 3.0) for mm in readings], part.tolerance.size, U)
        gears.append(replace(gear, size=sizes, not_assessed=gaps))
    return sign_off(make_header(part), part, gears, plan or Plan(), lot_size=60)


@pytest.mark.independent
def test_mean_spread_and_index_of_a_size_against_the_standard_library() -> None:
    """ISO 22514-2: Ppk = min((U - mean), (mean - L)) / 3 s; statistics of the standard library."""
    found = lot([(mm,) for mm in MM]).parameters["size"]["both"]
    mean, s = statistics.fmean(MM), statistics.stdev(MM)
    assert found.zero_mm == pytest.approx(155.81, abs=1e-9)
    assert (found.lower_limit_um, found.upper_limit_um) == (-30.0, 30.0)
    assert found.mean_um == pytest.approx(1000 * (mean - 155.81), abs=1e-6)
    assert found.sd_um == pytest.approx(1000 * s, abs=1e-6)
    assert found.ppk == pytest.approx(min(155.84 - mean, mean - 155.78) / (3 * s), abs=1e-6)
    assert found.ppk_lower_bound is not None
    assert found.ppk_lower_bound < found.ppk
    assert found.worst_um == pytest.approx(-11.0, abs=1e-6)
    assert (found.n, found.worst_serial, found.tolerance_interval_class) == (12, "G3", None)


def test_a_gear_with_its_size_beyond_its_limits_counts_against_the_lot() -> None:
    result = lot([*((mm,) for mm in MM), (155.80, 155.8405)])
    assert result.sampling.d_low == 1
    assert result.segregate == ("G13",)
    one = result.parameters["size"]["both"]
    assert (one.not_conforming, one.worst_serial) == (1, "G13")
    assert one.max_values_um[-1] == pytest.approx(30.5, abs=1e-6)
    assert b"G13,size,both,30.5," in lot_csv(result)


def test_a_size_missing_from_the_whole_lot_holds_it() -> None:
    result = lot([()] * 12)
    assert result.decision == "hold"
    assert any("size" in reason.sentence for reason in result.reasons)


def test_an_index_of_the_size_may_be_required() -> None:
    plan = Plan.model_validate({"schema": "gearqa.plan/1", "require": ["ppk"], "minimum_ppk": 1.33})
    narrow = lot([(155.81 + (mm - 155.805) / 10,) for mm in MM], plan)
    wide = lot([(155.81 + (mm - 155.805) * 2.5,) for mm in MM], plan)
    assert "size" not in _unmet(narrow)
    assert "size" in _unmet(wide)


def _unmet(result: LotResult) -> str:
    return " ".join(reason.sentence for reason in result.reasons if reason.code == "requirement_not_met")


def test_a_known_uncertainty_of_the_size_enters_the_risks() -> None:
    plan = Plan.model_validate({"sampling": {"n": 12, "ac": 0}})
    risks = lot([(mm,) for mm in MM], plan, U=4.0).risks
    assert risks is not None
    assert risks.producer_parameter == "size"
