"""Samples in dress cycles: their spread by hand, and bounds that always are numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load
from scipy import stats

from gearqa.statistics.dress_cycles import grouped_spread, pivots


def draws(seed: int, count: int = 10_000) -> np.ndarray:
    return np.random.default_rng(seed).random((3, count))


@pytest.mark.independent
def test_groups_of_equal_size_by_hand() -> None:
    # three groups of two, means 2, 5, 8: S_B^2 = 9, s_w^2 = 2, common variance 9 - 2/2 = 8 of 10
    spread = grouped_spread([1, 3, 4, 6, 7, 9], ["a", "a", "b", "b", "c", "c"])
    assert (spread.groups, spread.group_size, spread.mean, spread.df_within) == (3, 2.0, 5.0, 3)
    assert spread.sd_between == pytest.approx(3.0)
    assert spread.sd_within == pytest.approx(math.sqrt(2))
    assert spread.correlation == pytest.approx(0.8)


@pytest.mark.independent
def test_groups_of_unequal_size_by_hand() -> None:
    # sizes 1 and 3: harmonic mean 1.5; means 4 and 8, unweighted mean 6
    spread = grouped_spread([4, 7, 8, 9], [1, 2, 2, 2])
    assert (spread.group_size, spread.mean, spread.df_within) == (1.5, 6.0, 2)
    assert (spread.sd_between**2, spread.sd_within**2) == (pytest.approx(8.0), pytest.approx(1.0))


@pytest.mark.parametrize(
    ("values", "groups"), [([2.0] * 6, [1, 1, 2, 2, 3, 3]), ([1.0, 1.0, 3.0, 3.0], [1, 1, 2, 2]),
                           ([1.0, 2.5, 0.3], [1, 2, 3])],
)  # fmt: skip
def test_no_spread_within_groups_gives_no_bound(values: list[float], groups: list[int]) -> None:
    assert pivots(grouped_spread(values, groups), draws(1)) is None


@pytest.mark.independent
def test_groups_alike_are_one_sample_with_the_spread_within() -> None:
    # means equal: v_B = 0, so mu is the mean, and the bound is that of a known mean, by chi-square
    x = np.array([1.0, 3.0, 2.0, 2.0, 1.5, 2.5, 1.0, 3.0])
    known = pivots(grouped_spread(x, np.repeat([1, 2], 4)), draws(3, 200_000))
    assert known is not None
    assert known.mean == pytest.approx(2.0)
    worst = math.sqrt(4.5 / stats.chi2.ppf(0.05, 6))  # SS_W = 4.5, 6 degrees of freedom
    assert known.index_lower_bound(8.0) == pytest.approx(6 / (3 * worst), rel=0.01)
    assert math.isfinite(known.upper_limit(0.999))


@pytest.mark.independent
def test_independent_values_in_many_groups_agree_with_the_noncentral_t() -> None:
    # 40 groups of 2 without anything in common: close to the exact factor for 80 independent values
    x = np.random.default_rng(5).normal(size=80)
    known = pivots(grouped_spread(x, np.repeat(np.arange(40), 2)), draws(3))
    assert known is not None
    k = stats.nct.ppf(0.95, 79, math.sqrt(80) * stats.norm.ppf(0.99)) / math.sqrt(80)
    assert known.upper_limit(0.99) == pytest.approx(x.mean() + k * x.std(ddof=1), rel=0.05)


@pytest.mark.published
@pytest.mark.parametrize("quantity", ["within", "between", "F"])
@pytest.mark.parametrize(
    ("name", "within", "between", "F", "digits"),
    [
        # NIST StRD; digits: what is left of the 16 of a double where the mean is so many times the spread
        ("SiRstv", 1.04076068334656e-01, 1.27865654000000e-02, 1.18046237440255e00, 11),
        ("AtmWtAg", 1.51048314446410e-05, 3.63834187500000e-09, 1.59467335677930e01, 8),
        ("SmLs01", 1.00000000000000e-01, 2.10000000000000e-01, 2.10000000000000e01, 13),
        ("SmLs04", 1.00000000000000e-01, 2.10000000000000e-01, 2.10000000000000e01, 8),
    ],
)
def test_spread_on_one_way_layouts_of_nist(name, within, between, F, digits, quantity):
    rows = [row for row in load("nist_one_way").rows if row["set"] == name]
    spread = grouped_spread([float(row["value"]) for row in rows], [int(row["group"]) for row in rows])
    mean_square = spread.group_size * spread.sd_between**2
    found, certified = {
        "within": (spread.sd_within, within),
        "between": (mean_square, between),
        "F": (mean_square / spread.sd_within**2, F),
    }[quantity]
    assert f"{found:.{digits - 1}e}" == f"{certified:.{digits - 1}e}"
