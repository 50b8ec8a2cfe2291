"""From graded gears to observations."""

from __future__ import annotations

from dataclasses import fields
from datetime import datetime
from typing import Any

import pytest

from gearqa.evaluation.observations import observations_from_results
from gearqa.model.drift import Observation
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.results import FlankResult, GearResult, ParameterResult, SizeResult

SIZE_LIMITS = {
    "tolerance": {
        "class": 6,
        "size": {"method": "balls", "pin_diameter_mm": 3.0, "lower_mm": 150.10, "upper_mm": 150.16},
    },
    "uncertainty_um": {"size": 4.0},
}


def part(**more: Any) -> Part:
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-4471", "revision": "C"},
            "gear": {
                "kind": "internal",
                "teeth": 87,
                "normal_module_mm": 1.75,
                "normal_pressure_angle_deg": 20.0,
                "helix_angle_deg": 18.0,
                "helix_hand": "right",
                "face_width_mm": 32.0,
            },
            "tolerance": {"class": 6},
            **more,
        }
    )


def make(cls: type, **values: Any) -> Any:
    """A result with None in every field that is not named."""
    empty: dict[str, Any] = {field.name: None for field in fields(cls)}
    return cls(**{**empty, "flanks": {}, **values} if "flanks" in empty else {**empty, **values})


def gear(parameters: dict[str, ParameterResult], production: Production | None, **more: Any) -> GearResult:
    base = {"serial": "R7", "parameters": parameters, "production": production, "size": (), "components": ()}
    return make(GearResult, **{**base, **more})


MADE = Production(
    finished_at=datetime(2026, 3, 2, 7), grinder="G1", wheel="W1", dress="D4", parts_since_dress=12
)


def slope(**more: Any) -> ParameterResult:
    left = make(
        FlankResult, value_um=-3.0, min_um=-3.0, max_um=-1.0, mean_um=-2.0, spread_um=2.0, tolerance_um=6.5
    )
    return make(ParameterResult, symbol="fHα", value_um=-3.0, flanks={"left": left}, tolerance_um=6.5, **more)


def test_slope_goes_by_mean_and_extreme_traces() -> None:
    (o,) = observations_from_results([gear({"profile_slope": slope()}, MADE)], part())
    assert o == Observation(
        part="OT-4471",
        grinder="G1",
        wheel="W1",
        dress="D4",
        parts_since_dress=12,
        finished_at=datetime(2026, 3, 2, 7),
        serial="R7",
        parameter="profile_slope",
        flank="left",
        mean_um=-2.0,
        min_um=-3.0,
        max_um=-1.0,
        limit_low=-6.5,
        limit_high=6.5,
        revision="C",
    )


def test_drawing_limits_win_and_uncertainty_comes_from_the_part() -> None:
    left = make(
        FlankResult, value_um=1.0, min_um=0.0, max_um=1.0, mean_um=0.5, spread_um=1.0, limits_um=(-4.0, 3.0)
    )
    result = make(ParameterResult, symbol="fHα", value_um=1.0, flanks={"left": left})
    with_U = part(uncertainty_um={"profile_slope": 0.7})
    (o,) = observations_from_results([gear({"profile_slope": result}, MADE)], with_U, simulated=True)
    assert (o.limit_low, o.limit_high, o.U, o.simulated) == (-4.0, 3.0, 0.7, True)


def test_pitch_and_runout_go_by_their_value_with_an_upper_limit_only() -> None:
    left = make(
        FlankResult, value_um=5.0, min_um=-5.0, max_um=4.0, mean_um=0.0, spread_um=9.0, tolerance_um=8.5
    )
    pitch = make(ParameterResult, symbol="fp", value_um=5.0, flanks={"left": left})
    runout = make(ParameterResult, symbol="Fr", value_um=18.0, limits_um=(0.0, 25.0))
    found = list(observations_from_results([gear({"single_pitch": pitch, "runout": runout}, MADE)], part()))
    assert [(o.parameter, o.flank, o.mean_um, o.limit_low, o.limit_high) for o in found] == [
        ("single_pitch", "left", 5.0, None, 8.5),
        ("runout", None, 18.0, None, 25.0),
    ]


def test_size_counts_from_the_middle_of_its_limits() -> None:
    size = SizeResult("balls", 150.14, 3.0, None, "", 150.10, 150.16, True)
    (o,) = observations_from_results([gear({}, MADE, size=(size,))], part(**SIZE_LIMITS))
    assert (o.parameter, o.flank, o.U) == ("size", None, 4.0)
    assert (o.mean_um, o.limit_low, o.limit_high) == pytest.approx((10.0, -30.0, 30.0))


def test_several_readings_of_the_size_count_by_their_mean_and_their_ends() -> None:
    sizes = [SizeResult("balls", value, 3.0, None, at, 150.10, 150.16, True)
             for at, value in (("top", 150.14), ("bottom", 150.11))]  # fmt: skip
    span = SizeResult("span", 20.0, None, 3, "", None, None, None)
    (o,) = observations_from_results([gear({}, MADE, size=(span, *sizes))], part(**SIZE_LIMITS))
    assert (o.mean_um, o.min_um, o.max_um) == pytest.approx((-5.0, -20.0, 10.0))


def test_another_size_than_the_drawing_limits_is_not_followed() -> None:
    span = SizeResult("span", 20.0, None, 3, "", None, None, None)
    assert list(observations_from_results([gear({}, MADE, size=(span,))], part(**SIZE_LIMITS))) == []


def test_size_without_limits_counts_as_it_is() -> None:
    size = SizeResult("balls", 150.14, 3.0, None, "", None, None, None)
    (o,) = observations_from_results([gear({}, MADE, size=(size,))], part())
    assert (o.mean_um, o.limit_low, o.limit_high) == (150140.0, None, None)


def test_only_what_was_made_somewhere_and_only_what_is_followed() -> None:
    assert list(observations_from_results([gear({"profile_slope": slope()}, None)], part())) == []
    gears = [gear({"profile_slope": slope()}, MADE)]
    assert list(observations_from_results(gears, part(), parameters=("runout",))) == []
    (o,) = observations_from_results([gear({"profile_slope": slope()}, Production())], part())
    assert o.grinder == "unknown"
