"""Serials that end with the same number: matched where the values follow, and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import pytest
from unit.incoming.laboratory import Lab, report
from unit.incoming.test_comparison import RING, check


def renamed(table, name):
    return replace(table, values=tuple(replace(v, serial=name(v.serial)) for v in table.values))


@pytest.mark.parametrize("lab", [Lab(), Lab(swapped=True)])
def test_the_number_at_the_end_is_enough_where_the_values_follow(lab):
    result = check(renamed(report(RING, lab, gears=8), lambda s: str(int(s[-2:]) + 200)), 8)
    assert {row.serial: row.our_serial for row in result.rows}["201"] == "OT-0201"
    assert not result.unmatched
    (told,) = [one.message for one in result.cautions if one.code == "serials_by_number"]
    assert "201 is OT-0201" in told


def test_other_gears_under_the_same_numbers_are_not_matched():
    """Counted from the other end: every number is there, and every value is another gear's."""
    result = check(renamed(report(RING, Lab(), gears=8), lambda s: str(209 - int(s[-2:]))), 8)
    assert result.verdict == "not comparable"
    assert len(result.unmatched) == 8


def test_two_gears_show_no_order():
    result = check(renamed(report(RING, Lab(), gears=2), lambda s: str(int(s[-2:]) + 200)), 2)
    assert result.verdict_reason == "nothing_in_common"


def test_numbers_that_are_not_unique_match_nothing():
    result = check(renamed(report(RING, Lab(), gears=8), lambda s: f"{s[-1]}-7"), 8)
    assert len(result.unmatched) == 8
