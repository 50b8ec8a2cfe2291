"""Indices and their bounds: handbook, other programs, closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics import performance as pf


@pytest.mark.parametrize("row", load("statistics_capability").params())
def test_handbook_example(row: dict[str, str]) -> None:
    upper, lower = pf.upper_index(16, 2, 20), pf.upper_index(-16, 2, -8)
    value = {"Cpu": upper, "Cpl": lower, "Cpk": min(upper, lower)}[row["quantity"]]
    assert f"{value:.{row['decimals']}f}" == row["printed"]


@pytest.mark.parametrize("row", load("statistics_index_bounds").params())
def test_bounds(row: dict[str, str]) -> None:
    assert f"{pf.index_lower_bound(float(row['index']), int(row['n'])):.4f}" == row["lower"]


def test_bound_of_an_array_and_of_effective_numbers() -> None:
    both = pf.index_lower_bound(np.array([1.0, 1.33]), 25)
    assert both[1] == pytest.approx(pf.index_lower_bound(1.33, 25))
    assert pf.index_lower_bound(1.33, 25, df=24) == pf.index_lower_bound(1.33, 25)
    assert pf.index_lower_bound(1.33, 7.3, df=5.1) < pf.index_lower_bound(1.33, 25)
