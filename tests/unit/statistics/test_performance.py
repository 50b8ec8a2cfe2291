"""Indices and their bounds: handbook, other programs, closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from scipy import stats

from gearqa.statistics import performance as pf


@pytest.mark.parametrize("row", load("statistics_capability").params())
def test_handbook_example(row: dict[str, str]) -> None:
    upper, lower = pf.upper_index(16, 2, 20), pf.upper_index(-16, 2, -8)
    value = {"Cpu": upper, "Cpl": lower, "Cpk": min(upper, lower)}[row["quantity"]]
    assert f"{value:.{row['decimals']}f}" == row["printed"]


@pytest.mark.parametrize("row", load("statistics_index_bounds").params())
def test_bounds(row: dict[str, str]) -> None:
    assert f"{pf.index_lower_bound(float(row['index']), int(row['n'])):.4f}" == row["lower"]


def test_bound_of_an_array() -> None:
    both = pf.index_lower_bound(np.array([1.0, 1.33]), 25)
    assert both[1] == pytest.approx(pf.index_lower_bound(1.33, 25))


@pytest.mark.independent
def test_bound_of_a_huge_index_is_that_of_its_spread_alone() -> None:
    # by chi-square: sd may be larger by the root of 9/chi2; the noncentral t would run for ever
    want = (stats.chi2.ppf(0.05, 9) / 9) ** 0.5
    for index in (500.0, 2e3, 1e9):
        assert pf.index_lower_bound(index, 10) / index == pytest.approx(want, rel=2e-5)
    assert pf.index_lower_bound(-1e9, 10) / -1e9 == pytest.approx((stats.chi2.ppf(0.95, 9) / 9) ** 0.5)
