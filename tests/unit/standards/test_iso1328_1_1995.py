"""ISO 1328-1:1995 and runout of ISO 1328-2:1997 against recalled table cells (from memory)."""

from __future__ import annotations

import math

import pytest
from oracle_file import load

from gearqa.errors import OutOfScopeError
from gearqa.standards import iso1328_1_1995 as iso
from gearqa.standards import tolerance_table
from gearqa.standards.iso1328_1_1995 import tolerances
from gearqa.standards.iso1328_1_1995.scope import B_LIMITS, D_LIMITS, M_LIMITS, range_mean

TABLE = load("iso1328_1995_table")


@pytest.mark.parametrize("row", TABLE.params())
def test_table_row(row):
    """At the upper limit of each range, which belongs to it, and just above the lower one."""
    of_helix = row["parameter"].startswith("helix")
    d_low, d_high, x_low, x_high = (float(row[k]) for k in ("d_low", "d_high", "x_low", "x_high"))
    printed = [float(row[f"g{Q}"]) for Q in range(13)]
    for d, x in ((d_high, x_high), (d_low * (1 + 1e-12), x_low * (1 + 1e-12))):
        m_n, b = (2.0, x) if of_helix else (x, 20.0)
        unrounded = iso.grade_5_tolerances(87, m_n, d, b)[row["parameter"]]
        assert f"{unrounded:.4f}" == row["grade_5_unrounded"]
        table = tolerance_table(87, m_n, d, b, title="ISO 1328-1:1995")
        assert [table[Q][row["parameter"]] for Q in iso.CLASSES] == printed


def test_the_first_range_holds_its_lower_limit():
    assert range_mean(5, D_LIMITS) == math.sqrt(5 * 20)
    assert range_mean(20, D_LIMITS) == math.sqrt(5 * 20)
    assert range_mean(0.5, M_LIMITS) == range_mean(2, M_LIMITS) == 1.0
    assert range_mean(4, B_LIMITS) == range_mean(10, B_LIMITS) == math.sqrt(40)


def test_range_limits_rise():
    for limits in (D_LIMITS, M_LIMITS, B_LIMITS):
        assert list(limits) == sorted(set(limits))


@pytest.mark.parametrize(("quantity", "low", "high"), [("d", 5, 10_000), ("m_n", 0.5, 70), ("b", 4, 1000)])
def test_nothing_is_extrapolated(quantity, low, high):
    for edge, outside in ((low, -math.inf), (high, math.inf)):
        assert not iso.violations(**{quantity: edge})
        (error,) = iso.violations(**{quantity: math.nextafter(edge, outside)})
        assert "is outside" in str(error)
    with pytest.raises(OutOfScopeError, match="is outside"):
        tolerance_table(None, 2.0, 100.0, 1001.0, title="ISO 1328-1:1995")


def test_sector_pitch_by_hand():
    """d 5 to 20 (mean 10), m 0.5 to 2 (mean 1), z 40: k = 5, 4.6795 + 1.6 sqrt(4) = 7.8795."""
    assert f"{iso.grade_5_tolerances(40, 1.0, 10.0, 5.0)['sector_pitch']:.4f}" == "7.8795"
    assert "sector_pitch" not in iso.grade_5_tolerances(None, 1.0, 10.0, 5.0)


def test_rounding_rules_differ_below_5():
    """Part 1 to 0.1, part 2 to 0.5; halves go up (from memory)."""
    assert [tolerances.round_part_1(v) for v in (4.25, 4.95, 5.25, 9.75, 10.49, 10.5)] == [
        4.3, 5.0, 5.5, 10.0, 10.0, 11.0,
    ]  # fmt: skip
    assert [tolerances.round_part_2(v) for v in (4.25, 4.24, 9.75, 10.0, 10.2, 10.5)] == [
        4.5, 4.0, 10.0, 10.0, 10.0, 11.0,
    ]  # fmt: skip
