"""Tolerance factors: tables, other programs, and what they must do."""

from __future__ import annotations

import math

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
