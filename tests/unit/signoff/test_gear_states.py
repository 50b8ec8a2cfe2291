"""States of values and gears: three states, what the rule counts, class proven."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lot_factory import UNCERTAINTY, make_gear, make_part
from scipy import stats

from gearqa.evaluation.criteria import criteria_of
from gearqa.evaluation.sizes import size_results
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import SizeReading
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.signoff.gear_states import judge_gear

RULES = ["guarded acceptance", "simple acceptance", "guarded rejection"]


def judge(
    values: dict[str, object], rule: str = "guarded acceptance", part: Part | None = None, **more: object
):  # type: ignore[no-untyped-def]
    part = part or make_part()
    gear = make_gear("G1", part, values, **more)  # type: ignore[arg-type]
    return judge_gear(gear, part, criteria_of(part), DecisionTable(rule=rule))


def limit_of(key: str) -> float:
    tolerance = criteria_of(make_part()).of[key, None if key == "runout" else "left"].tolerance
    assert tolerance is not None
    return tolerance


@pytest.mark.independent
def test_probability_of_a_two_sided_slope_counts_both_traces_and_both_limits() -> None:
    tolerance = limit_of("profile_slope")
    gear = judge({"profile_slope": {"left": (-tolerance + 0.3, tolerance - 0.5), "right": 0.0}})
    value = next(v for v in gear.values if (v.parameter, v.flank) == ("profile_slope", "left"))
    normal = stats.norm(0, 0.35)
    want = min(
        normal.cdf(tolerance - y) - normal.cdf(-tolerance - y) for y in (-tolerance + 0.3, tolerance - 0.5)
    )
    assert value.probability_of_conformity == pytest.approx(want, abs=1e-12)
    assert gear.probability_of_conformity == value.probability_of_conformity
    assert (gear.probability_parameter, gear.probability_flank) == ("profile_slope", "left")


@pytest.mark.parametrize(
    ("above", "state", "counts"),
    [
        (-0.60, "conforms", ["conforms"] * 3),
        (-0.20, "not proven", ["not proven", "conforms", "conforms"]),
        (0.00, "not proven", ["not proven", "conforms", "conforms"]),
        (+0.20, "not proven", ["not proven", "does not conform", "conforms"]),
        (+0.60, "does not conform", ["does not conform"] * 3),
    ],
)
def test_rule_says_only_how_not_proven_counts(above: float, state: str, counts: list[str]) -> None:
    # U = 0.7, u = 0.35, guard 0.5757
    for rule, want in zip(RULES, counts, strict=True):
        gear = judge({"profile_slope": limit_of("profile_slope") + above}, rule)
        assert (gear.state, gear.counts_as) == (state, want)


def test_zero_is_no_limit_of_what_cannot_be_negative() -> None:
    gear = judge({"profile_form": 0.05}, part=make_part(limits_um={"profile_form": 6.0}))
    value = next(v for v in gear.values if v.parameter == "profile_form")
    assert value.lower_limit_um is None
    assert value.probability_of_conformity == pytest.approx(1.0, abs=1e-9)


def test_a_lower_drawing_limit_above_zero_counts() -> None:
    gear = judge({"profile_form": 2.2}, part=make_part(limits_um={"profile_form": [3.0, 6.0]}))
    assert gear.state == "does not conform"


def test_worst_of_the_gear_decides_and_missing_goes_before_not_proven() -> None:
    edge = limit_of("helix_form")
    assert judge({"helix_form": edge}).state == "not proven"
    assert judge({"helix_form": edge}, missing=[("runout", None)]).state == "not assessed"
    both = judge({"helix_form": edge + 3}, missing=[("runout", None)])
    assert both.state == "does not conform"
    assert both.missing == ("runout",)


def test_a_missing_flank_is_named() -> None:
    gear = judge({}, missing=[("profile_total", "right")])
    assert gear.missing == ("profile_total right",)
    assert gear.class_proven is None


def test_without_uncertainty_the_value_decides_and_no_class_is_proven() -> None:
    part = make_part(uncertainty={})
    at_limit = judge({"helix_form": limit_of("helix_form")}, part=part)
    assert (at_limit.state, at_limit.probability_of_conformity, at_limit.class_proven) == (
        "conforms",
        None,
        None,
    )
    assert judge({"helix_form": limit_of("helix_form") + 0.001}, part=part).state == "does not conform"


def test_uncertainty_of_the_instrument_that_measured() -> None:
    from lot_factory import make_production

    part = make_part(uncertainty={"helix_form": 0.1, "GM-1": {"helix_form": 4.0}})
    edge = limit_of("helix_form") - 1.0
    gear = judge({"helix_form": edge}, part=part, production=make_production(0))
    assert next(v.u_um for v in gear.values if v.parameter == "helix_form") == 4.0
    assert gear.state == "not proven"
    other = judge({"helix_form": edge}, part=part, production=make_production(0, instrument="GM-2"))
    assert other.state == "conforms"


def test_class_proven_is_never_better_than_indicated() -> None:
    tolerances = criteria_of(make_part()).of["helix_form", "left"].row.tolerances
    on_class_4 = tolerances[3]
    gear = judge({"helix_form": on_class_4})
    value = next(v for v in gear.values if (v.parameter, v.flank) == ("helix_form", "left"))
    # guard 0.658 beyond the class 4 tolerance needs class 5
    assert (value.class_indicated, value.class_proven) == (4, 5)


def test_class_proven_of_a_gear_is_that_of_its_worst_value() -> None:
    gear = judge({})
    assert gear.class_proven == max(v.class_proven or 99 for v in gear.values)
    better = judge({"helix_form": criteria_of(make_part()).of["helix_form", "left"].row.tolerances[5] - 0.7})
    assert better.class_proven == 6


def test_no_class_is_proven_when_one_value_has_no_uncertainty() -> None:
    known = {key: value for key, value in UNCERTAINTY.items() if key != "runout"}
    gear = judge({}, part=make_part(uncertainty=known))
    assert gear.class_proven is None
    assert [v.parameter for v in gear.values if v.class_proven is None] == ["runout"]


def test_a_value_that_cannot_conform_is_the_least_probable_one() -> None:
    gear = judge({"helix_form": limit_of("helix_form") + 1.2, "profile_form": limit_of("profile_form") + 20})
    assert (gear.probability_of_conformity, gear.probability_parameter) == (0.0, "profile_form")


@pytest.mark.parametrize(
    ("below", "want"), [(0.0, "not proven"), (1.0, "conforms"), (-1.0, "does not conform")]
)
def test_master_quality_is_proven_against_its_own_class(below: float, want: str) -> None:
    master = criteria_of(make_part()).of["helix_form", "left"].master_tolerance
    assert master is not None
    others = dict.fromkeys(
        ("single_pitch", "cumulative_pitch", "runout", "profile_total", "profile_form", "profile_slope",
         "helix_total", "helix_slope"), 0.5)  # fmt: skip
    assert judge({**others, "helix_form": master - below}).master_quality == want


SIZE_LIMITS = {"method": "balls", "pin_diameter_mm": 3.0, "lower_mm": 155.78, "upper_mm": 155.84}


def with_size(part: Part, *readings_mm: float) -> GearResult:
    sizes, gaps = size_results([SizeReading("balls", mm, 3.0) for mm in readings_mm], part.tolerance.size)
    return replace(make_gear("G1", part), size=sizes, not_assessed=gaps)


@pytest.mark.parametrize(
    ("readings", "want"),
    [((155.8,), "conforms"), ((155.84,), "conforms"), ((155.8, 155.8401), "does not conform"),
     ((), "not assessed")],
)  # fmt: skip
def test_size_counts_with_the_gear(readings: tuple[float, ...], want: str) -> None:
    part = make_part(size=SIZE_LIMITS)
    judged = judge_gear(with_size(part, *readings), part, criteria_of(part), DecisionTable())
    assert (judged.state, judged.counts_as) == (want, want)
    assert judged.missing == (() if readings else ("size",))


@pytest.mark.independent
@pytest.mark.parametrize(
    ("U", "mm", "want"),
    [(6.0, 155.8351, "not proven"), (6.0, 155.835, "conforms"), (None, 155.84, "conforms")],
)
def test_size_is_judged_under_its_uncertainty(U: float | None, mm: float, want: str) -> None:
    """JCGM 106: guard of 1.645 u; u = 3 um leaves 155.84 - 0.00493 = 155.83507 mm."""
    part = make_part({} if U is None else {"size": U}, size=SIZE_LIMITS)
    judged = judge_gear(with_size(part, mm), part, criteria_of(part), DecisionTable())
    value = judged.size
    assert value is not None
    assert (value.state, value.flank, value.class_proven) == (want, "both", None)
    assert value.value_um == pytest.approx(1000 * (mm - 155.81), abs=1e-6)
    if U is not None:
        expected = stats.norm.cdf((155.84 - mm) / 0.003) - stats.norm.cdf((155.78 - mm) / 0.003)
        assert value.probability_of_conformity == pytest.approx(float(expected), abs=1e-9)


def test_the_trace_nearer_to_its_limit_decides_not_the_larger_one() -> None:
    part = make_part(limits_um={"profile_slope": [-6.0, 4.0]})
    value = next(
        v for v in judge({"profile_slope": (-5.0, 3.9)}, part=part).values if v.parameter == "profile_slope"
    )
    assert value.value_um == -5.0
    assert value.state == "not proven"
    assert value.probability_of_conformity == pytest.approx(float(stats.norm.cdf(0.1 / 0.35)), abs=1e-9)
