"""Sampling plans and operating characteristics against standards, handbook and other programs."""

from __future__ import annotations

import math
from itertools import product

import pytest
from oracle_file import load
from scipy import stats

from gearqa.errors import OutOfScopeError
from gearqa.statistics import sampling as sp


@pytest.mark.parametrize("row", load("statistics_code_letters").params())
def test_code_letter(row: dict[str, str]) -> None:
    for size in (int(row["low"]), int(row["high"])):
        assert sp.code_letter(size, row["level"]) == row["letter"]


def test_code_letters_grow_with_lot_and_level() -> None:
    sizes = [2, 9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10001, 35001, 150001, 500001]
    for level in sp.LEVELS:
        indices = [sp.CODE_LETTERS.index(sp.code_letter(n, level)) for n in sizes]
        assert indices == sorted(indices)
    for n in sizes:
        row = [sp.CODE_LETTERS.index(sp.code_letter(n, level)) for level in sp.LEVELS]
        assert row[:4] == sorted(row[:4])
        assert row[4:] == sorted(row[4:])
        assert row[3] <= row[5]


def test_code_letter_of_a_lot_of_one() -> None:
    with pytest.raises(OutOfScopeError, match="lot size = 1 is outside 2"):
        sp.code_letter(1)


@pytest.mark.parametrize("row", load("statistics_normal_single_plans").params())
def test_normal_single_plan(row: dict[str, str]) -> None:
    plan = sp.normal_single_plan(row["letter"], float(row["aql"]))
    assert (plan.n, plan.ac, plan.re) == (int(row["n"]), int(row["ac"]), int(row["ac"]) + 1)


@pytest.mark.published
def test_zero_acceptance_stands_on_one_diagonal_of_the_master_table() -> None:
    """ISO 2859-1:1999, table 2-A (from memory): every letter with its sample size, every preferred AQL."""
    zero = {
        "A": (2, 6.5), "B": (3, 4.0), "C": (5, 2.5), "D": (8, 1.5), "E": (13, 1.0), "F": (20, 0.65),
        "G": (32, 0.40), "H": (50, 0.25), "J": (80, 0.15), "K": (125, 0.10), "L": (200, 0.065),
        "M": (315, 0.040), "N": (500, 0.025), "P": (800, 0.015), "Q": (1250, 0.010),
    }  # fmt: skip
    for letter, (n, aql) in zero.items():
        plan = sp.normal_single_plan(letter, aql)
        assert (plan.letter, plan.n, plan.ac) == (letter, n, 0)
    last = sp.normal_single_plan("R", 0.025)
    assert (last.letter, last.n, last.ac) == ("R", 2000, 1)
    row_K = [sp.normal_single_plan("K", aql).ac for aql in (0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)]
    assert row_K == [1, 2, 3, 5, 7, 10, 14, 21]


def test_arrows_lead_to_the_plan_that_is_used() -> None:
    plan = sp.normal_single_plan("J", 0.25)
    assert (plan.start_letter, plan.letter, plan.n, plan.ac) == ("J", "H", 50, 0)


def test_every_cell_is_a_plan_of_the_table_or_an_error() -> None:
    beyond = set()
    for letter, aql in product(sp.CODE_LETTERS, sp.AQL_PERCENT):
        try:
            plan = sp.normal_single_plan(letter, aql)
        except OutOfScopeError:
            beyond.add((letter, aql))
            continue
        assert plan.n == sp.SAMPLE_SIZES[sp.CODE_LETTERS.index(plan.letter or "")]
        assert plan.ac in (0, *sp.ACCEPTANCE_NUMBERS)
        # producer's side: a lot at the AQL passes in at least 87 of 100 cases in the whole table
        assert sp.passes(plan.n, plan.ac, aql / 100) > 0.87
    assert beyond == {("R", 0.015)}
    assert sp.normal_single_plan("A", 10.0).letter == "C"


def test_unknown_aql_names_the_preferred_values() -> None:
    with pytest.raises(
        OutOfScopeError, match=r"AQL \(%\) = 0\.9 is none of the preferred values .*0\.65, 1, 1\.5"
    ):
        sp.normal_single_plan("J", 0.9)


def test_arrow_out_of_the_table() -> None:
    with pytest.raises(
        OutOfScopeError, match=r"= 0\.015 has no plan: the arrow from letter R leads out of the table"
    ):
        sp.normal_single_plan("R", 0.015)


@pytest.mark.parametrize("row", load("statistics_isolated_lot").params())
def test_isolated_lot(row: dict[str, str]) -> None:
    lot = int(row["lot_size"]) if row["lot_size"] else None
    assert sp.isolated_lot_plan(lot, float(row["lq"])).n == int(row["n"])


@pytest.mark.independent
@pytest.mark.parametrize("lot", [2, 3, 7, 19, 60, 133])
@pytest.mark.parametrize("ac", [0, 1, 2])
def test_isolated_lot_is_the_smallest_by_brute_force(lot: int, ac: int) -> None:
    for lq in (0.05, 0.1, 0.2):
        bad = math.ceil(round(lq * lot, 9))
        risks = [float(stats.hypergeom.cdf(ac, lot, bad, n)) for n in range(lot + 1)]
        want = next((n for n, risk in enumerate(risks) if n > min(ac, lot - 1) and risk <= 0.10 + 1e-12), lot)
        assert sp.isolated_lot_plan(lot, lq, ac=ac).n == want


@pytest.mark.parametrize("row", load("statistics_operating_characteristic").params())
def test_operating_characteristic(row: dict[str, str]) -> None:
    fraction = float(row["fraction"])
    exact = round(1000 * sp.passes(52, 3, fraction))
    assert exact - int(row["pa_off"]) == round(1000 * float(row["pa"]))


@pytest.mark.independent
@pytest.mark.parametrize(
    ("n", "ac", "p95", "p10"),
    [(80, 2, "1.0298", "6.5160"), (50, 1, "0.7154", "7.5581"), (125, 3, "1.1003", "5.2663")],
)
def test_quality_points(n: int, ac: int, p95: str, p10: str) -> None:
    # computed, not published: agree with two other programs
    assert f"{100 * sp.quality_at(n, ac, 0.95):.4f}" == p95
    assert f"{100 * sp.quality_at(n, ac, 0.10):.4f}" == p10


@pytest.mark.independent
def test_characteristics_as_the_general_library() -> None:
    for n, ac, p in ((45, 0, 0.01), (80, 2, 0.03), (13, 0, 0.2), (200, 5, 0.05)):
        assert sp.passes(n, ac, p) == pytest.approx(float(stats.binom.cdf(ac, n, p)), abs=1e-13)
        assert sp.passes(n, ac, sp.quality_at(n, ac, 0.5)) == pytest.approx(0.5, abs=1e-12)
        assert sp.passes_lot(n, ac, 1000, 40) == pytest.approx(
            float(stats.hypergeom.cdf(ac, 1000, 40, n)), abs=1e-12
        )


@pytest.mark.independent
@pytest.mark.parametrize("ac", [0, 3, 1000])
def test_samples_beyond_the_numbers_of_the_library(ac):
    """Against scipy's Poisson distribution, the limit of many items of which few are bad: a nan ended the
    search for a plan at 2147483648 gears."""
    n = sp.isolated_lot_plan(None, 1e-11, ac=ac).n
    assert n > 2**31
    at_most = 0.1 + 1e-12  # a risk met exactly is met
    assert sp.passes(n, ac, 1e-11) <= at_most < sp.passes(n - n // 10**6, ac, 1e-11)
    assert stats.poisson.cdf(ac, n * 1e-11) == pytest.approx(0.1, abs=1e-6)


@pytest.mark.independent
def test_one_percent_process_and_the_unknown_lot() -> None:
    # computed, not published: with n = 45 and Ac = 0 a process with 1 % bad passes in 64 % of cases
    assert f"{sp.passes(45, 0, 0.01):.2f}" == "0.64"


@pytest.mark.independent
@pytest.mark.parametrize(
    ("fraction", "lot", "n"),
    [(0.05, None, 59), (0.01, None, 299), (0.05, 200, 51), (0.05, 500, 56), (0.01, 1000, 258)],
)
def test_zero_acceptance(fraction: float, lot: int | None, n: int) -> None:
    # computed, not published: closed form and two hypergeometric codes
    assert sp.isolated_lot_plan(lot, fraction, 0.05).n == n


@pytest.mark.independent
@pytest.mark.parametrize(
    ("fraction", "pa"),
    [(0.005, "0.997744"), (0.01, "0.984116"), (0.02, "0.916163"), (0.05, "0.580887"), (0.10, "0.192544")],
)
def test_variables_operating_characteristic(fraction: float, pa: str) -> None:
    # computed, not published: two other programs
    assert f"{sp.variables_passes(20, 1.6, fraction):.6f}" == pa
    assert sp.variables_quality_at(20, 1.6, sp.variables_passes(20, 1.6, fraction)) == pytest.approx(
        fraction, rel=1e-9
    )
