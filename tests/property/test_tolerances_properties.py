"""Invariants of the ISO 1328-1:2013 tolerances, rounding and classes."""

from __future__ import annotations

import math
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from gearqa.standards import iso1328_1_2013 as iso
from gearqa.standards.iso1328_1_2013.tolerances import step_factor
from gearqa.standards.rows import geometric_row

modules = st.floats(0.5, 70)
diameters = st.floats(5, 15_000)
widths = st.floats(4, 1200)
teeth = st.integers(5, 1000)


@given(teeth, modules, diameters, widths)
def test_two_classes_double_every_tolerance(z, m_n, d, b):
    for T_5 in iso.class_5_tolerances(z, m_n, d, b, 0.0).values():
        for A in range(1, 10):
            assert T_5 * step_factor(A + 2) == 2 * (T_5 * step_factor(A))
            assert math.isclose(step_factor(A + 1) / step_factor(A), math.sqrt(2), rel_tol=1e-15)


@given(teeth, modules, diameters, widths, st.floats(1, 3))
def test_tolerances_grow_with_module_diameter_and_width(z, m_n, d, b, factor):
    base = iso.class_5_tolerances(z, m_n, d, b, 0.0)
    for bigger in (
        (z, min(m_n * factor, 70.0), d, b),
        (z, m_n, min(d * factor, 15_000.0), b),
        (z, m_n, d, min(b * factor, 1200.0)),
    ):
        grown = iso.class_5_tolerances(*bigger, 0.0)
        assert all(grown[key] >= base[key] for key in base)


@given(teeth, modules, diameters, widths)
def test_parts_and_wholes(z, m_n, d, b):
    """A total is more than each part and less than both; the sector lies between pitch and total pitch."""
    t = iso.class_5_tolerances(z, m_n, d, b, 0.0)
    for family in ("profile", "helix"):
        total, slope, form = (t[f"{family}_{what}"] for what in ("total", "slope", "form"))
        assert max(slope, form) < total < slope + form
    assert t["single_pitch"] < t["sector_pitch"]
    if 4 * iso.sector_span(z) <= z:
        assert t["sector_pitch"] <= t["cumulative_pitch"] * (1 + 1e-12)
    assert t["runout"] < t["cumulative_pitch"]


@given(modules, diameters, widths)
def test_rounded_tolerances_rise_with_the_class(m_n, d, b):
    for T_5 in iso.class_5_tolerances(None, m_n, d, b, 0.0).values():
        row = iso.rounded_tolerances(T_5)
        assert all(low < high for low, high in pairwise(row))
        assert row[0] > 0


@given(st.floats(0.05, 5000))
def test_rounding_moves_by_half_a_step_at_most_and_only_once(value):
    rounded = iso.round_tolerance(value)
    step = 0.1 if value < 5 else 0.5 if value <= 10 else 1.0
    assert abs(rounded - value) <= step / 2 + 1e-9
    assert iso.round_tolerance(rounded) == rounded


@given(st.floats(0, 5000), st.floats(0, 5000))
def test_rounding_keeps_order(a, b):
    low, high = sorted((a, b))
    assert iso.round_tolerance(low) <= iso.round_tolerance(high)


@given(st.floats(-2000, 2000), st.floats(1, 300))
def test_class_is_the_smallest_whose_tolerance_is_not_exceeded(value, T_5):
    row = iso.rounded_tolerances(T_5)
    found = geometric_row(1, row, T_5).class_of(value)
    met = [A for A in iso.CLASSES if round(abs(value), 9) <= row[A - 1]]
    assert found == (met[0] if met else None)
    assert geometric_row(1, row, T_5).class_of(-value) == found


@given(st.floats(1e-3, 2000), st.floats(1, 300))
def test_exact_class_solves_the_formula(value, T_5):
    exact = geometric_row(1, (), T_5).exact(value)
    assert exact is not None
    assert math.isclose(T_5 * step_factor(exact), value, rel_tol=1e-12)
