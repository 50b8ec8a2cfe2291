"""Indices and their bounds: handbook, other programs, closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics import performance as pf


@pytest.mark.parametrize("row", load("statistics_capability").params())
def test_handbook_example(row: dict[str, str]) -> None:
    upper, lower = pf.upper_index(16, 2, 20), pf.lower_index(16, 2, 8)
    value = {
        "Cp": pf.potential_index(2, 8, 20), "Cpu": upper, "Cpl": lower, "Cpk": min(upper, lower)
    }[row["quantity"]]  # fmt: skip
    assert f"{value:.{row['decimals']}f}" == row["printed"]


@pytest.mark.independent
def test_target_index_by_hand() -> None:
    # 12/(6 sqrt(4 + 4)) = 1/sqrt(2)
    assert pf.target_index(16, 2, 8, 20, 14) == pytest.approx(2**-0.5)


@pytest.mark.parametrize("row", load("statistics_index_bounds").params())
def test_bounds(row: dict[str, str]) -> None:
    index, n = float(row["index"]), int(row["n"])
    potential, smaller = pf.potential_index_interval(index, n), pf.smaller_index_interval(index, n)
    value = {
        "cp_low": potential[0],
        "cp_high": potential[1],
        "cpk_low": smaller[0],
        "cpk_high": smaller[1],
        "exact_low": pf.index_lower_bound(index, n),
        "needed": pf.index_needed(index, n),
    }[row["quantity"]]
    assert f"{value:.4f}" == row["value"]


@pytest.mark.independent
def test_piston_rings_as_another_program() -> None:
    # Montgomery's piston rings, 125 values, by the R package qcc 2.7: Cp and Cpk with 95 % intervals
    assert pf.potential_index_interval(1.703280609, 125) == pytest.approx(
        (1.491410890, 1.914826378), abs=1e-8
    )
    assert pf.smaller_index_interval(1.663219449, 125) == pytest.approx((1.448128961, 1.878309938), abs=1e-8)


@pytest.mark.independent
def test_quantile_index_of_known_distributions() -> None:
    # closed-form quantiles: exponential(1) and half-normal(1)
    assert pf.quantile_index(0.00135091, 0.69314718, 6.60765069, None, 6) == pytest.approx(
        0.89726091, abs=5e-9
    )
    assert pf.quantile_index(0.00169197, 0.67448975, 3.20513318, None, 4) == pytest.approx(
        1.31409673, abs=5e-9
    )
    # normal case: the ordinary indices
    q_low, median, q_high = 16 - 3 * 2, 16, 16 + 3 * 2
    assert pf.quantile_index(q_low, median, q_high, 8, 20) == pytest.approx(2 / 3)
    assert pf.quantile_index(q_low, median, q_high, 8, None) == pytest.approx(4 / 3)


def test_bound_of_an_array_and_of_effective_numbers() -> None:
    both = pf.index_lower_bound(np.array([1.0, 1.33]), 25)
    assert both[1] == pytest.approx(pf.index_lower_bound(1.33, 25))
    assert pf.index_lower_bound(1.33, 25, df=24) == pf.index_lower_bound(1.33, 25)
    assert pf.index_lower_bound(1.33, 7.3, df=5.1) < pf.index_lower_bound(1.33, 25)


def test_lognormal_index_is_that_of_the_logarithms() -> None:
    x = np.exp([0.1, 0.5, 0.9])
    index, mean, sd = pf.lognormal_upper_index(x, float(np.exp(2.0)))
    assert (mean, sd, index) == (pytest.approx(0.5), pytest.approx(0.4), pytest.approx(1.5 / 1.2))
