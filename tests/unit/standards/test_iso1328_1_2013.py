"""ISO 1328-1:2013: formulas, rounding, scope and classes against values worked out elsewhere."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal, getcontext

import numpy as np
import pytest
from oracle_file import load

from gearqa.errors import OutOfScopeError
from gearqa.model.editions import EDITIONS
from gearqa.standards import PACKAGES, standard, tolerance_table
from gearqa.standards import iso1328_1_2013 as iso
from gearqa.standards.iso1328_1_2013 import tolerances
from gearqa.standards.iso1328_1_2013.scope import RANGES
from gearqa.standards.rows import geometric_row

TRACE_AND_PITCH = (
    "single_pitch", "cumulative_pitch", "runout", "profile_slope", "profile_form", "profile_total",
    "helix_slope", "helix_form", "helix_total",
)  # fmt: skip


def reference_diameter(row: dict[str, str]) -> float:
    """Elementary: d = z m_n / cos(beta)."""
    return int(row["z"]) * float(row["m_n"]) / math.cos(math.radians(float(row["beta_deg"])))


@pytest.mark.parametrize("row", load("iso1328_2013_class_5").params())
def test_class_5_unrounded_at_printed_precision(row):
    found = iso.class_5_tolerances(None, float(row["m_n"]), float(row["d"]), float(row["b"]), 0.0)
    keys = (*TRACE_AND_PITCH, "adjacent_pitch")
    assert {key: f"{found[key]:.4f}" for key in keys} == {key: row[key] for key in keys}


@pytest.mark.parametrize("row", load("iso1328_2013_rings").params())
def test_ring_gears_unrounded_at_printed_precision(row):
    d, b, A = reference_diameter(row), float(row["b"]), int(row["class"])
    found = iso.class_5_tolerances(int(row["z"]), float(row["m_n"]), d, b, float(row["beta_deg"]))
    scaled = {key: f"{found[key] * tolerances.step_factor(A):.2f}" for key in TRACE_AND_PITCH}
    assert scaled == {key: row[key] for key in TRACE_AND_PITCH}


@pytest.mark.parametrize("row", load("iso1328_2013_rounded_rings").params())
def test_ring_gears_rounded(row):
    table = tolerance_table(
        int(row["z"]), float(row["m_n"]), reference_diameter(row), float(row["b"]), float(row["beta_deg"])
    )
    found = table[int(row["class"])]
    assert {key: found[key] for key in TRACE_AND_PITCH} == {key: float(row[key]) for key in TRACE_AND_PITCH}


@pytest.mark.parametrize("row", load("iso1328_2013_rounded_by_hand").params())
def test_rounded_by_hand(row):
    table = tolerance_table(None, float(row["m_n"]), float(row["d"]), float(row["b"]))
    given = [key for key in TRACE_AND_PITCH if row[key]]
    assert {k: table[int(row["class"])][k] for k in given} == {k: float(row[k]) for k in given}


@pytest.mark.parametrize("row", load("iso1328_2013_class_1_specimen").params())
@pytest.mark.parametrize(("z", "m_n"), [(10, 0.5), (20, 1.0), (87, 1.75), (1000, 2.0), (200, 70.0)])
def test_specimen_stated_to_be_class_1(row, z, m_n):
    """Smaller tolerances than those of d = 5, m_n = 0.5 do not exist, so it holds for every gear."""
    T_5 = iso.class_5_tolerances(z, m_n, z * m_n, 10.0, 0.0)[row["parameter"]]
    found = geometric_row(1, iso.rounded_tolerances(T_5), T_5)
    assert found.class_of(float(row["value_um"])) == int(row["class"])


def test_value_between_rounded_and_calculated_tolerance():
    """f_pT of class 4 at m_n 2, d 120 is 4.1861, rounded 4.2 (computed by hand): 4.19 is class 4."""
    T_5 = tolerances.f_p_T(120, 2)
    assert f"{T_5 * tolerances.step_factor(4):.4f}" == "4.1861"
    row = iso.rounded_tolerances(T_5)
    assert row[3] == 4.2
    assert [geometric_row(1, row, 1.0).class_of(v) for v in (4.1, 4.19, 4.2, 4.2000000004, 4.200000001)] == [
        4,
        4,
        4,
        4,
        5,
    ]


def test_sector_pitch_by_hand():
    """m_n 2, d 100, z 50: k = 6 (z/8 = 6.25), 5.9 + 0.48 (0.1 + 5.5 + 0.6 + 7) = 12.236."""
    assert tolerances.sector_span(50) == 6
    assert f"{tolerances.F_pk_T(100, 2, 6, 50):.6f}" == "12.236000"
    assert tolerance_table(50, 2, 100, 20)[5]["sector_pitch"] == 12
    assert tolerance_table(50, 2, 100, 20)[7]["sector_pitch"] == 24


@pytest.mark.parametrize(
    ("z", "k"), [(5, 2), (19, 2), (20, 3), (27, 3), (28, 4), (80, 10), (84, 11), (1000, 125)]
)
def test_sector_span_is_the_nearest_whole_number(z, k):
    assert tolerances.sector_span(z) == k


def test_table_without_teeth_lacks_only_the_sector():
    with_teeth, without = tolerance_table(50, 2, 100, 20), tolerance_table(None, 2, 100, 20)
    assert list(with_teeth) == list(range(1, 12))
    assert {*with_teeth[5]} - {*without[5]} == {"sector_pitch"}


def decimal_rounding(value: Decimal) -> Decimal:
    """The rounding rule in exact decimals: above 10 to 1, from 5 to 10 to 0.5, below to 0.1."""
    step = Decimal("0.1") if value < 5 else Decimal("0.5") if value <= 10 else Decimal(1)
    return (value / step).quantize(Decimal(1), ROUND_HALF_UP) * step


def test_rounding_agrees_with_decimals_on_every_hundredth():
    """Every value of a fine grid, and each disturbed by binary noise of both signs."""
    grid = [*range(0, 20_000), *range(20_000, 400_000, 50)]
    exact = [float(decimal_rounding(Decimal(n) / 1000)) for n in grid]
    values = np.array(grid) / 1000
    for noise in (0.0, 4e-13, -4e-13):
        assert [iso.round_tolerance(v) for v in (values + noise).tolist()] == exact
    sums = np.cumsum(np.full(12_000, 0.001))
    assert [iso.round_tolerance(v) for v in sums.tolist()] == exact[1:12_001]


def test_every_cell_agrees_with_exact_decimals():
    """All tolerances of a grid of gears, formulas and rounding in 40-digit decimals."""
    getcontext().prec = 40
    D = Decimal
    root2 = D(2).sqrt()
    cells = 0
    for m_n in ("0.5", "1", "1.25", "1.75", "2", "3", "4.5", "10", "70"):
        for d in ("5", "16", "25", "100", "144", "160.1", "400", "2500", "15000"):
            for b in ("4", "9", "20", "25", "31.7", "1200"):
                table = tolerance_table(None, float(m_n), float(d), float(b))
                m_, d_, b_ = D(m_n), D(d), D(b)
                f_p = D("0.001") * d_ + D("0.4") * m_ + 5
                F_p = D("0.002") * d_ + D("0.55") * d_.sqrt() + D("0.7") * m_ + 12
                f_Ha, f_fa = D("0.4") * m_ + D("0.001") * d_ + 4, D("0.55") * m_ + 5
                f_Hb = D("0.05") * d_.sqrt() + D("0.35") * b_.sqrt() + 4
                f_fb = D("0.07") * d_.sqrt() + D("0.45") * b_.sqrt() + 4
                class_5 = {
                    "single_pitch": f_p, "cumulative_pitch": F_p, "adjacent_pitch": root2 * f_p,
                    "runout": D("0.9") * F_p, "profile_slope": f_Ha, "profile_form": f_fa,
                    "profile_total": (f_Ha**2 + f_fa**2).sqrt(), "helix_slope": f_Hb, "helix_form": f_fb,
                    "helix_total": (f_Hb**2 + f_fb**2).sqrt(),
                }  # fmt: skip
                for A in range(1, 12):
                    for key, T_5 in class_5.items():
                        scaled = (T_5 * root2 ** (A - 5)).quantize(D("1e-30"))
                        assert table[A][key] == float(decimal_rounding(scaled)), (m_n, d, b, A, key)
                        cells += 1
    assert cells == 9 * 9 * 6 * 11 * 10


QUANTITIES = {"z": 87, "m_n": 1.75, "d": 160.0, "b": 32.0, "beta_deg": 18.0}


@pytest.mark.parametrize("quantity", RANGES)
def test_scope_holds_at_both_edges_and_ends_one_step_outside(quantity):
    limits = RANGES[quantity]
    for edge, outside in ((limits.low, -math.inf), (limits.high, math.inf)):
        assert not iso.violations(**{**QUANTITIES, quantity: edge})
        beyond = edge + math.copysign(1, outside) if quantity == "z" else math.nextafter(edge, outside)
        if quantity == "beta_deg" and edge == 0:
            assert not iso.violations(beta_deg=-1.0)
            continue
        (error,) = iso.violations(**{**QUANTITIES, quantity: beyond})
        assert (error.symbol, error.low, error.high) == (limits.symbol, limits.low, limits.high)


def test_ranges_are_those_of_the_standard():
    """ISO 1328-1:2013 abstract: 5 <= z <= 1000, 5 <= d <= 15000, 0.5 <= m_n <= 70, 4 <= b <= 1200, 45 deg."""
    assert {key: (r.low, r.high) for key, r in RANGES.items()} == {
        "z": (5, 1000), "m_n": (0.5, 70), "d": (5, 15_000), "b": (4, 1200), "beta_deg": (0, 45),
    }  # fmt: skip


def test_all_violations_are_listed_and_nan_is_one():
    found = iso.violations(z=4, m_n=0.1, d=math.nan, b=2000.0, beta_deg=-46.0)
    assert [v.symbol for v in found] == ["z", "m_n", "d", "b", "beta"]
    assert iso.violations() == ()


def test_no_table_outside_the_range():
    with pytest.raises(OutOfScopeError, match=r"beta = 45\.1 is outside 0 to 45"):
        tolerance_table(50, 2, 100, 20, 45.1)


def test_class_agrees_with_a_search_by_numpy():
    row = iso.rounded_tolerances(6.75)
    values = np.concatenate([np.linspace(-80, 80, 3201), np.array(row), np.array(row) + 2e-9, -np.array(row)])
    places = np.searchsorted(row, np.round(np.abs(values), 9)) + 1
    assert [geometric_row(1, row, 1.0).class_of(v) or 12 for v in values.tolist()] == places.tolist()
    with np.errstate(divide="ignore"):
        exact = np.where(values == 0, np.nan, 5 + 2 * np.log2(np.abs(values) / 6.75))
    found = [geometric_row(1, (), 6.75).exact(v) for v in values.tolist()]
    assert [math.nan if v is None else v for v in found] == pytest.approx(
        exact.tolist(), rel=0, abs=1e-12, nan_ok=True
    )


def test_class_1_is_the_best_and_nothing_is_worse_than_11_but_beyond():
    row = iso.rounded_tolerances(6.0)
    assert geometric_row(1, row, 1.0).class_of(0.0) == 1
    assert geometric_row(1, row, 1.0).class_of(row[10]) == 11
    assert geometric_row(1, row, 1.0).class_of(row[10] + 0.001) is None
    assert geometric_row(1, row, 1.0).class_of(math.nan) is None
    assert geometric_row(1, (), 6.0).exact(0.01) < -13
    assert geometric_row(1, (), 6.0).exact(600.0) > 18


@pytest.mark.parametrize(("title", "year"), [("ISO 1328-1:2013", 2013), ("ISO 1328-1:1995", 1995)])
def test_editions_are_found_by_printed_title(title, year):
    edition = standard(title)
    assert (edition.__title__, edition.__edition__) == (title, year)
    assert {*PACKAGES} == {*EDITIONS}
    for name, rules in EDITIONS.items():
        classes = standard(name).CLASSES
        assert (classes[0], classes[-1]) == (rules.first_class, rules.last_class)
    with pytest.raises(KeyError):
        standard("ISO 1328-1:1975")
