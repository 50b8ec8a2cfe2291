"""Conformity under uncertainty: examples of JCGM 106, states, guard bands, risks."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from scipy import integrate, stats

from gearqa.statistics import conformity as cf


@pytest.mark.parametrize("row", load("statistics_conformance_probability").params())
def test_example(row: dict[str, str]) -> None:
    lower = float(row["lower"]) if row["lower"] else None
    pc = cf.probability_of_conformity(float(row["y"]), float(row["u"]), lower, float(row["upper"]))
    assert f"{pc:.2f}" == row["pc"]


@pytest.mark.independent
def test_probability_against_the_general_library() -> None:
    y = np.linspace(-12, 12, 49)
    pc = cf.probability_of_conformity(y, 0.7, -6.0, 4.0)
    want = stats.norm.cdf(4, y, 0.7) - stats.norm.cdf(-6, y, 0.7)
    assert pc == pytest.approx(want, abs=1e-14)
    assert cf.probability_of_conformity(y, 0.7, -6.0, None) == pytest.approx(
        stats.norm.sf(-6, y, 0.7), abs=1e-14
    )


def test_small_probabilities_below_the_lower_limit_keep_their_digits() -> None:
    below = cf.probability_of_conformity(-10.0, 1.0, 0.0, 5.0)
    above = cf.probability_of_conformity(15.0, 1.0, 0.0, 5.0)
    assert below == pytest.approx(above, rel=1e-9, abs=0)
    assert below == pytest.approx(float(stats.norm.sf(10)), rel=1e-9, abs=0)
    both = cf.probability_of_conformity(np.array([-10.0, 15.0]), 1.0, 0.0, 5.0)
    assert both == pytest.approx(np.full(2, stats.norm.sf(10)), rel=1e-9, abs=0)


@pytest.mark.published
def test_guard_factor() -> None:
    # ISO 14253-1:2017 (from memory): 1.65 u for 95 %, that is 0.82 U
    assert round(cf.guard_band(1.0), 6) == 1.644854
    assert round(cf.guard_band(0.5), 6) == 0.822427


@pytest.mark.parametrize(
    ("y", "want"),
    [(7.0, "conforms"), (8.17, "conforms"), (8.18, "not proven"), (9.0, "not proven"), (9.82, "not proven"),
     (9.83, "does not conform"), (12.0, "does not conform")],
)  # fmt: skip
def test_states_one_sided(y: float, want: str) -> None:
    # u = 0.5, guard 0.8224: 9 - 0.8224 = 8.1776 and 9.8224
    assert cf.state(y, 0.5, None, 9.0) == want


def test_state_on_the_guard_itself() -> None:
    g = cf.guard_band(0.5)
    assert cf.state(9.0 - g, 0.5, None, 9.0) == "conforms"
    assert cf.state(9.0 + g, 0.5, None, 9.0) == "does not conform"
    assert cf.state(9.0 - g + 1e-6, 0.5, None, 9.0) == "not proven"


def test_both_terms_count_when_limits_are_close() -> None:
    # the middle of +-1.9 u lies 1.9 u > 1.645 u from either limit, and yet Pc = 0.943
    assert cf.state(0.0, 1.0, -1.9, 1.9) == "not proven"
    assert cf.state(0.0, 1.0, -1.97, 1.97) == "conforms"
    assert not cf.provable(1.0, -1.9, 1.9)
    assert cf.provable(1.0, -1.97, 1.97)
    assert not cf.provable(1.0, 5.0, 8.8)
    assert cf.provable(1.0, 5.0, 8.94)


def test_one_sided_limit_with_natural_zero_needs_only_one_guard() -> None:
    assert cf.provable(1.0, None, 1.0)
    assert cf.state(0.0, 1.0, None, 1.7) == "conforms"


@pytest.mark.parametrize(
    ("y", "want"), [(9.0, "conforms"), (9.0 + 4e-10, "conforms"), (9.0 + 6e-10, "does not conform")]
)
def test_without_uncertainty_the_value_decides_at_nine_decimals(y: float, want: str) -> None:
    assert cf.state(y, None, -9.0, 9.0) == want
    assert cf.state(-y, None, -9.0, 9.0) == want


@pytest.mark.independent
def test_global_risks() -> None:
    # computed, not published: quadrature equal to another program (suncal 1.7.1) to 1e-11
    risk = cf.global_risks(1500.0, 0.12, 0.04, (1499.8, 1500.2), (1499.8, 1500.2))
    assert risk == pytest.approx((0.0189422067, 0.0372078002), abs=5e-11)


@pytest.mark.independent
@pytest.mark.parametrize("u", [0.001, 0.01, 0.2, 1.5])
def test_global_risks_against_the_general_quadrature(u: float) -> None:
    """Both risks by scipy's adaptive quadrature, which is told of the places where acceptance fades."""

    def accepted(t: float) -> float:
        return float(stats.norm.cdf((7 - t) / u) - stats.norm.cdf((-6 - t) / u))

    def part(a: float, b: float, good: bool) -> float:
        edges = [e for limit in (-6.0, 7.0) for e in (limit - 8 * u, limit, limit + 8 * u) if a < e < b]
        value, _ = integrate.quad(
            lambda t: stats.norm.pdf(t, 1.0, 4.0) * (1 - accepted(t) if good else accepted(t)),
            a, b, points=edges or None, epsabs=1e-13, limit=200,
        )  # fmt: skip
        return float(value)

    consumer, producer = cf.global_risks(1.0, 4.0, u, (-8.0, 8.0), (-6.0, 7.0))
    assert consumer == pytest.approx(part(8, 37, False) + part(-35, -8, False), abs=1e-10)
    assert producer == pytest.approx(part(-8, 8, True), abs=1e-10)


def test_a_process_far_inside_its_limits_has_no_risk() -> None:
    assert cf.global_risks(0.0, 1.0, 0.1, (-20.0, 20.0), (-20.0, 20.0)) == pytest.approx((0, 0), abs=1e-15)


@pytest.mark.published
def test_global_risks_of_deaver() -> None:
    # Deaver's example as the test suite of suncal cites it: sigma 4, u 1, limits +-8: 0.8 % and 1.5 %
    consumer, producer = cf.global_risks(0, 4, 1, (-8, 8), (-8, 8))
    assert (round(100 * consumer, 1), round(100 * producer, 1)) == (0.8, 1.5)


def test_guarded_acceptance_lowers_the_consumers_risk() -> None:
    g = cf.guard_band(1.0)
    simple, guarded = (cf.global_risks(0, 4, 1, (-8, 8), a) for a in ((-8, 8), (-8 + g, 8 - g)))
    assert guarded[0] < simple[0] / 5
    assert guarded[1] > simple[1]


@pytest.mark.parametrize("limits", [(None, 4.0), (-6.0, None), (-6.0, 4.0)])
def test_one_number_as_an_array_of_one(limits: tuple[float | None, float | None]) -> None:
    for y in (-40.0, -7.0, -6.0, 0.0, 3.9, 4.0, 9.0, 40.0):
        one = cf.probability_of_conformity(y, 0.7, *limits)
        assert one == pytest.approx(
            float(cf.probability_of_conformity(np.array([y]), 0.7, *limits)[0]), rel=1e-9, abs=0
        )
