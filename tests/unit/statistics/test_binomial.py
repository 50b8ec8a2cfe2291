"""Intervals of a share: other libraries, exact coverage by enumeration, finite lots."""

from __future__ import annotations

import pytest
from scipy import stats

from gearqa.statistics import binomial as bn


@pytest.mark.independent
def test_points_to_eight_digits() -> None:
    # computed, not published: two other programs
    assert f"{bn.upper_bound(0, 50):.8f}" == "0.05815508"
    assert f"{bn.lower_bound(2, 80, 0.975):.8f}" == "0.00304209"
    assert f"{bn.upper_bound(2, 80, 0.975):.8f}" == "0.08740716"


@pytest.mark.independent
@pytest.mark.parametrize("n", [5, 20, 59])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.86, 0.951, 0.99])
def test_exact_coverage_of_the_bounds_by_enumeration(n: int, share: float) -> None:
    weights = stats.binom.pmf(range(n + 1), n, share)
    lower = sum(w for k, w in enumerate(weights) if bn.lower_bound(k, n) <= share)
    upper = sum(w for k, w in enumerate(weights) if bn.upper_bound(k, n) >= share)
    assert lower >= 0.95
    assert upper >= 0.95


@pytest.mark.independent
@pytest.mark.parametrize(
    ("lot", "marked", "n"),
    [(50, 7, 20), (400, 20, 43), (12, 12, 5), (30, 0, 5), (9, 4, 9), (2000, 1900, 300)],
)
def test_hypergeometric_as_the_general_library(lot: int, marked: int, n: int) -> None:
    for count in range(-1, n + 1):
        want = float(stats.hypergeom.cdf(count, lot, marked, n))
        assert bn.hypergeometric_cdf(count, lot, marked, n) == pytest.approx(want, abs=1e-11)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("count", "n", "lot", "printed"),
    [(20, 20, 400, "0.865"), (20, 20, 100, "0.88"), (20, 20, 50, "0.90"), (59, 59, 400, "0.955")],
)
def test_lower_bound_in_a_lot(count: int, n: int, lot: int, printed: str) -> None:
    # computed, not published
    assert f"{bn.lot_lower_bound(count, n, lot) / lot:.{len(printed) - 2}f}" == printed


@pytest.mark.independent
def test_lower_bound_of_a_process() -> None:
    # computed, not published
    assert [f"{bn.lower_bound(k, n):.4f}" for k, n in ((20, 20), (59, 59), (19, 20))] == [
        "0.8609",
        "0.9505",
        "0.7839",
    ]


@pytest.mark.independent
@pytest.mark.parametrize(("lot", "n"), [(30, 8), (50, 20)])
def test_lot_bounds_against_brute_force_and_their_coverage(lot: int, n: int) -> None:
    for count in range(n + 1):
        fits = [
            m for m in range(count, lot - n + count + 1) if stats.hypergeom.sf(count - 1, lot, m, n) > 0.05
        ]
        assert bn.lot_lower_bound(count, n, lot) == fits[0]
    for marked in range(lot + 1):
        weights = stats.hypergeom.pmf(range(n + 1), lot, marked, n)
        assert (
            sum(w for k, w in enumerate(weights) if w > 0 and bn.lot_lower_bound(k, n, lot) <= marked)
            >= 0.95 - 1e-9
        )
        assert (
            sum(w for k, w in enumerate(weights) if w > 0 and bn.lot_upper_bound(k, n, lot) >= marked)
            >= 0.95 - 1e-9
        )


def test_census_leaves_nothing_open() -> None:
    assert bn.lot_lower_bound(17, 20, 20) == bn.lot_upper_bound(17, 20, 20) == 17
