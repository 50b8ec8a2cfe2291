"""Dimensions and spans of simulated gears against printed and brute-force values."""

from __future__ import annotations

import math

import pytest
from oracle_file import load
from unit.simulate import make

from gearqa.core.geometry import GearGeometry, gear_geometry
from gearqa.core.size import nominal_span, teeth_to_span
from gearqa.simulate.made_gears import simulate_gears


def _sizes(
    row: dict[str, str], kind: str, shape: dict[str, object] | None = None, **measuring: object
) -> list[float]:
    drawing = make.part(
        kind=kind, z=int(row["z"]), m_n=float(row["m_n"]), beta=float(row["beta"]), x=float(row["x"]), b=40.0,
        gear={"normal_pressure_angle_deg": float(row.get("alpha_n", "20"))},
    )  # fmt: skip
    measured = make.gear(drawing, shape=shape or {}, measuring={"tables": ["size"], **measuring})
    return [s.value_mm for s in measured.sizes]


@pytest.mark.parametrize("row", load("simulate_balls_between").params())
def test_between_balls(row: dict[str, str]) -> None:
    got = _sizes(row, "internal", size_pin_mm=float(row["ball"]))
    decimals = int(row["decimals"])
    assert {round(v, decimals) for v in got} == {round(float(row["M"]), decimals)}


@pytest.mark.parametrize("row", load("simulate_balls_and_spans").params())
def test_over_balls_and_spans(row: dict[str, str]) -> None:
    decimals = int(row["decimals"])
    if row["ball"]:
        got = _sizes(row, "external", size_pin_mm=float(row["ball"]))
        assert {round(v, decimals) for v in got} == {round(float(row["M"]), decimals)}
    if row["teeth"]:
        got = _sizes(row, "external", size_method="span", size_teeth_spanned=int(row["teeth"]))
        assert {round(v, decimals) for v in got} == {round(float(row["W"]), decimals)}


@pytest.mark.independent
def test_material_moves_the_size_as_profile_shift_does() -> None:
    """60 teeth m 2: from x = 0 to x = -0.25 each flank loses 0.25 m sin 20 deg; M of both is tabulated."""
    row = {"z": "60", "m_n": "2", "beta": "0", "x": "0"}
    thinner = {"both": {"material_um": -0.25 * 2 * math.sin(math.radians(20)) * 1000}}
    got = _sizes(row, "internal", thinner, size_pin_mm=3.5)
    assert {round(v, 6) for v in got} == {115.886064}


def _geometry(z: int, m_n: float, beta: float, x: float) -> GearGeometry:
    return gear_geometry(z, m_n, math.radians(20), math.radians(beta), 30.0, s=1, H=1, x=x)


@pytest.mark.independent
@pytest.mark.parametrize("beta", [0.0, 15.0])
def test_material_moves_the_span_by_both_normals(beta: float) -> None:
    """dx profile shift adds 2 dx m_n sin alpha_n to the span (ISO 21771, from memory)."""
    dx = 0.004
    more = dx * 3 * math.sin(math.radians(20)) / math.cos(_geometry(25, 3, beta, 0).beta_b)
    row = {"z": "25", "m_n": "3", "beta": str(beta), "x": "0.1"}
    shape = {"both": {"material_um": more * 1000}}
    got = _sizes(row, "external", shape, size_method="span", size_teeth_spanned=4)
    assert got == pytest.approx([nominal_span(_geometry(25, 3, beta, 0.1 + dx), 4)] * 2, abs=1e-9)


@pytest.mark.independent
def test_eccentricity_and_tilt_leave_spans_alone() -> None:
    """Both contacts of a span lie on one base tangent: a rigid motion moves them together."""
    drawing = make.part(kind="external", z=25, m_n=3.0, beta=15.0, x=0.2)
    mounting = {"eccentricity_um": 30.0, "tilt_mrad": 0.2, "tilt_deg": 80.0}
    measuring = {"tables": ["size"], "size_method": "span", "size_places": 6}
    spans = [s.value_mm for s in make.gear(drawing, mounting=mounting, measuring=measuring).sizes]
    assert spans == pytest.approx([nominal_span(_geometry(25, 3, 15, 0.2), 4)] * 6, abs=1e-9)
    assert teeth_to_span(_geometry(25, 3, 15, 0.2)) == 4


@pytest.mark.independent
@pytest.mark.parametrize(
    ("kind", "z"), [("internal", 80), ("internal", 81), ("external", 25), ("external", 26)]
)
def test_eccentricity_leaves_opposite_balls_apart_as_they_were(kind: str, z: int) -> None:
    """A rigid shift moves both balls alike, also where an odd tooth number sets them askew."""
    drawing = make.part(kind=kind, z=z, beta=20.0)
    measuring = {"tables": ["size"], "size_places": 4}
    plain = [s.value_mm for s in make.gear(drawing, measuring=measuring).sizes]
    shifted = make.gear(drawing, mounting={"eccentricity_um": 10.0}, measuring=measuring)
    assert [s.value_mm for s in shifted.sizes] == pytest.approx(plain, abs=1e-9)


def test_sizes_carry_what_they_were_measured_with() -> None:
    drawing = make.part(
        tolerance={"size": {"method": "balls", "pin_diameter_mm": 2.5, "lower_mm": 1.0, "upper_mm": 2.0}}
    )
    size = next(iter(simulate_gears(make.scenario(), drawing))).sizes[0]
    assert (size.method, size.pin_diameter_mm, size.teeth_spanned, size.position) == (
        "balls",
        2.5,
        None,
        "space 1",
    )
