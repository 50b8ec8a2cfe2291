"""Tolerance factors: tables, other programs, and what they must do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics import tolerance_intervals as ti


def printed(value: float, text: str) -> str:
    return f"{value:.{len(text.partition('.')[2])}f}"


@pytest.mark.parametrize("row", load("statistics_tolerance_factors").params())
def test_factor_of_the_standard(row: dict[str, str]) -> None:
    n, coverage = int(row["n"]), float(row["coverage"])
    assert printed(ti.one_sided_factor(n, coverage), row["k1"]) == row["k1"]


@pytest.mark.parametrize("row", load("statistics_tolerance_factors_computed").params())
def test_factor_of_other_programs(row: dict[str, str]) -> None:
    n, coverage = int(row["n"]), float(row["coverage"])
    assert printed(ti.one_sided_factor(n, coverage), row["k1"]) == row["k1"]


@pytest.mark.published
def test_handbook_example() -> None:
    # NIST/SEMATECH e-Handbook 7.2.6.3 (from memory): n = 43, coverage 0.90, confidence 0.99:
    # one-sided 1.8740 by the noncentral t (1.8752 by its approximation)
    assert printed(ti.one_sided_factor(43, 0.90, 0.99), "1.8740") == "1.8740"


@pytest.mark.parametrize("row", load("statistics_distribution_free").params())
def test_distribution_free_sample_size(row: dict[str, str]) -> None:
    coverage, confidence = float(row["coverage"]), float(row["confidence"])
    assert ti.distribution_free_sample_size(coverage, confidence) == int(row["n"])


@pytest.mark.independent
def test_distribution_free_one_sided_size_in_closed_form() -> None:
    for coverage in (0.5, 0.8, 0.9, 0.95, 0.99, 0.999):
        for confidence in (0.5, 0.9, 0.95, 0.99):
            n = ti.distribution_free_sample_size(coverage, confidence)
            assert n == math.ceil(math.log(1 - confidence) / math.log(coverage) - 1e-12)


def test_coverage_of_the_largest_value_turns_the_sample_size_round() -> None:
    share = ti.distribution_free_coverage(37, 0.95)
    assert 1 - share**37 == pytest.approx(0.95, abs=1e-12)
    assert ti.distribution_free_sample_size(share - 1e-9) == 37
    assert ti.distribution_free_sample_size(share + 1e-9) == 38


@pytest.mark.independent
def test_groups_of_equal_size_by_hand() -> None:
    # three groups of two, means 2, 5, 8: S_B^2 = 9, s_w^2 = 2, V = 9 + 2/2 = 10, n_e = 10*3/9,
    # nu = 100/(81/2 + 1/3), common variance 9 - 2/2 = 8 of 10
    spread = ti.grouped_spread([1, 3, 4, 6, 7, 9], ["a", "a", "b", "b", "c", "c"])
    assert (spread.groups, spread.group_size, spread.mean) == (3, 2.0, 5.0)
    assert spread.sd_between == pytest.approx(3.0)
    assert spread.sd_within == pytest.approx(math.sqrt(2))
    assert spread.sd == pytest.approx(math.sqrt(10))
    assert spread.n_effective == pytest.approx(10 * 3 / 9)
    assert spread.df == pytest.approx(100 / (81 / 2 + 1 / 3))
    assert spread.correlation == pytest.approx(0.8)


@pytest.mark.independent
def test_one_value_in_each_group_is_an_ordinary_sample() -> None:
    x = np.array([1.0, 2.5, 0.3, 4.0, 2.2, 3.1])
    spread = ti.grouped_spread(x, np.arange(6))
    assert spread.sd == pytest.approx(float(x.std(ddof=1)))
    assert (spread.n_effective, spread.df) == (pytest.approx(6.0), pytest.approx(5.0))


def test_equal_values_have_no_spread() -> None:
    spread = ti.grouped_spread([2.0] * 6, [1, 1, 2, 2, 3, 3])
    assert (spread.sd, spread.n_effective, spread.df) == (0.0, 6.0, 5.0)


def test_groups_alike_give_many_effective_values() -> None:
    # group means equal: nothing is known to differ between groups
    spread = ti.grouped_spread([1.0, 3.0, 1.0, 3.0], [1, 1, 2, 2])
    assert spread.n_effective == math.inf
    assert spread.correlation == 0.0
