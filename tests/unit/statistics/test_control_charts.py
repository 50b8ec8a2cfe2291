"""Control charts against the NIST/SEMATECH e-Handbook, ISO 7870-2 and textbook data."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from printed import as_printed, numbers, same

from gearqa.statistics.control_charts import (
    chart_constants,
    cusum,
    ewma,
    ewma_half_width,
    future_factor,
    individuals_limits,
    moving_range_factor,
    reference_factor,
    run_rule_signals,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals chart example (from memory).
NIST_INDIVIDUALS = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])


@pytest.mark.parametrize("row", load("chart_constants").params())
def test_constants_agree_with_the_printed_table(row: dict[str, str]) -> None:
    constants = chart_constants(int(row["n"]))
    for name in ("A2", "A3", "d2", "d3", "D3", "D4", "c4", "B3", "B4"):
        assert as_printed(getattr(constants, name), row[name]) == same(row[name]), name


def test_one_value_has_no_range() -> None:
    with pytest.raises(ValueError, match="at least two values"):
        chart_constants(1)


@pytest.mark.published
def test_individuals_chart_of_the_handbook() -> None:
    """NIST/SEMATECH 6.3.2.2 (from memory); it rounds d2 to 1.128 for the limits."""
    limits = individuals_limits(NIST_INDIVIDUALS)
    assert f"{limits.centre:.2f}" == "50.81"
    assert f"{limits.moving_range_centre:.4f}" == "1.8778"
    half = 3 * limits.moving_range_centre / 1.128
    assert (f"{limits.centre + half:.4f}", f"{limits.centre - half:.4f}") == ("55.8041", "45.8159")
    assert abs(limits.upper - 55.8041) < 0.002  # d2 unrounded moves the limit by 0.0017
    assert limits.moving_range_upper == pytest.approx(3.2665 * 1.8778, rel=1e-4)


@pytest.mark.independent
def test_mean_range_and_sd_limits_of_the_piston_rings() -> None:
    """R package qcc 2.7 on the textbook data: qcc(d[1:25,], type = "xbar" | "R" | "S").

    qcc rounds d2 to 2.326, and its d3 differs in the sixth digit.
    """
    rings = (
        np.array([[float(r[f"x{i}"]) for i in range(1, 6)] for r in load("piston_rings").rows]) / 1000 + 73.9
    )
    first, c = rings[:25], chart_constants(5)
    R, S = np.ptp(first, axis=1).mean(), first.std(axis=1, ddof=1).mean()
    centre = first.mean()
    assert f"{centre:.6f}" == "74.001176"
    assert f"{c.d2:.3f}" == "2.326"
    sd = R / 2.326
    assert f"{sd:.12f}" == "0.009785038693"
    assert f"{centre - 3 * sd / np.sqrt(5):.8f}" == "73.98804799"
    assert f"{centre + 3 * sd / np.sqrt(5):.8f}" == "74.01430401"
    assert abs(R + 3 * c.d3 * sd - 0.04812533015) < 2e-7
    assert abs(centre + c.A2 * R - 74.01430401) < 5e-7
    assert f"{S / c.c4:.12f}" == "0.009829976728"
    assert f"{c.B4 * S:.11f}" == "0.01930241677"
    means = rings[25:].mean(axis=1)
    z = (means - centre) / (R / c.d2 / np.sqrt(5))
    signals = run_rule_signals(z)["beyond_limit"]
    assert (np.flatnonzero(signals) + 26).tolist() == [37, 38, 39]


@pytest.mark.published
def test_ewma_example_of_the_handbook() -> None:
    """NIST/SEMATECH 6.3.2.4 (from memory): limits are the asymptotic ones."""
    x = numbers(
        "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
    )
    printed = numbers(
        "50.6000 49.5200 50.5640 50.1848 50.1594 49.2116 49.7481 49.8537 50.2576 50.3303 "
        "50.1112 49.3578 49.5205 50.0543 49.3780 49.9246 50.7272 51.2291 51.9403 51.9882"
    )
    assert ewma(x, 0.3, 50.0).round(4).tolist() == printed.tolist()
    half = 2.0539 * ewma_half_width(20, 0.3, 3.0, asymptotic=True)
    # The handbook prints 52.5884 and 47.4115; 3 sqrt(0.3/1.7) 2.0539 = 2.58843.
    assert f"{50 + half[0]:.4f}" == "52.5884"
    assert abs(50 - half[-1] - 47.4115) < 1e-4
    # R package qcc 2.7, ewma(): time-varying limits at the first two points.
    growing = 2.0539 * ewma_half_width(20, 0.3, 3.0)
    assert (f"{50 - growing[0]:.5f}", f"{50 + growing[0]:.5f}") == ("48.15149", "51.84851")
    assert (f"{50 - growing[1]:.6f}", f"{50 + growing[1]:.6f}") == ("47.743606", "52.256394")


@pytest.mark.published
def test_cusum_example_of_the_handbook() -> None:
    """NIST/SEMATECH 6.3.2.3; k = 0.3175 unrounded (the handbook rounds it to 0.32: 3.005 for 3.0075)."""
    x = numbers(
        "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 "
        "324.625 325.150 328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
    )
    up, down = cusum(x, 325.0, 0.3175)
    expected = numbers("0 0 0 0 .0325 0 0 0 0 0 0 0 3.0075 4.94 7.4475 10.63 11.9875 14.445 16.0025 19.035")
    assert up == pytest.approx(expected, abs=1e-9)
    expected = numbers("0 .0075 0 .3325 0 0 .5575 .715 .1725 .255 .3125 0")
    assert down[:12] == pytest.approx(expected, abs=1e-9)
    assert int(np.argmax(up > 4.1959)) + 1 == 14
    assert f"{np.sum(x - 325):.3f}" == "19.075"


@pytest.mark.independent
def test_factors_for_few_values_keep_their_rate() -> None:
    """Simulated: new value, member of the reference, moving ranges inside and outside."""
    rng = np.random.default_rng(20)
    m, rate, n = 8, 0.02, 200_000
    x = rng.standard_normal((n, m + 2))
    own, new = x[:, :m], x[:, m:]
    mean, sd = own.mean(axis=1), own.std(axis=1, ddof=1)
    found = {
        "future": np.mean(np.abs(new[:, 0] - mean) > future_factor(m, rate) * sd),
        "reference": np.mean(np.abs(own[:, 3] - mean) > reference_factor(m, rate) * sd),
        "range, new": np.mean(
            np.abs(new[:, 1] - new[:, 0]) > moving_range_factor(m, rate, inside=False) * sd
        ),
        "range, inside": np.mean(
            np.abs(own[:, 5] - own[:, 4]) > moving_range_factor(m, rate, inside=True) * sd
        ),
    }
    four_se = 4 * np.sqrt(rate * (1 - rate) / n)
    for name, value in found.items():
        assert abs(value - rate) < four_se, name


@pytest.mark.published
@pytest.mark.parametrize(
    ("rules", "arl", "arl_shifted"),
    [
        # Champ and Woodall, Technometrics 29 (1987), average run lengths at 0 and at 1 sd (from memory).
        (("beyond_limit", "two_of_three_beyond_two_sd"), 225.44, 20.01),
        (("beyond_limit", "four_of_five_beyond_one_sd"), 166.05, 12.66),
        (("beyond_limit", "eight_on_one_side"), 152.73, 14.58),
        (
            (
                "beyond_limit",
                "two_of_three_beyond_two_sd",
                "four_of_five_beyond_one_sd",
                "eight_on_one_side",
            ),
            91.75,
            9.22,
        ),
    ],
)
def test_run_rules_have_the_published_run_lengths(
    rules: tuple[str, ...], arl: float, arl_shifted: float
) -> None:
    rng = np.random.default_rng(3)
    for shift, expected, length in ((0.0, arl, 2600), (1.0, arl_shifted, 300)):
        z = rng.standard_normal((3000, length)) + shift
        any_rule = np.logical_or.reduce(list(run_rule_signals(z, rules).values()))  # type: ignore[arg-type]
        assert np.mean(any_rule.any(axis=1)) > 0.999
        run = np.argmax(any_rule, axis=1) + 1.0
        assert abs(run.mean() - expected) < 4 * run.std() / np.sqrt(len(run)) + 0.002 * expected
