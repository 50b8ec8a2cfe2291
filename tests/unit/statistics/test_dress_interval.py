"""Dress interval against computed check values and the risk it promises in simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gearqa.statistics.dress_interval import (
    CycleHistory,
    centred_dress_interval,
    cycle_history,
    dress_interval,
    part_variance_at,
)
from gearqa.statistics.wear import fit_wear


def history(C: int, s: list[float], b: float, S_B: float, s_w: float, s_max: float = 1000.0) -> CycleHistory:
    x, m = np.array(s), len(s)
    return CycleHistory(
        C,
        m,
        float(x.mean()),
        C * float(np.sum((x - x.mean()) ** 2)),
        s_max,
        0.0,
        b,
        S_B**2,
        s_w**2,
        C * m - C - 1,
    )


@pytest.mark.independent
@pytest.mark.parametrize(
    ("C", "s", "b", "S_B", "U", "V", "nu", "place", "parts"),
    # Computed check values (own derivation, no published source), before the cap.
    [
        (20, [0.0, 9.0, 18.0, 27.0], 0.055, 0.3717, 5.0, "0.21690", "39.37", "70.376", 71),
        (8, [0.0, 27.0], 0.055, 0.3937, 5.0, "0.26479", "12.72", "66.038", 67),
        (10, [0.0, 14.0, 27.0], 0.02, 0.3785, 3.0, "0.28259", "22.30", "83.398", 84),
    ],
)
def test_check_values(
    C: int, s: list[float], b: float, S_B: float, U: float, V: str, nu: str, place: str, parts: int
) -> None:
    h = history(C, s, b, S_B, 0.25)
    found = dress_interval(h, U, 0.01)
    assert found is not None
    assert (f"{found.variance:.5f}", f"{found.dof:.2f}", f"{found.s:.3f}", found.parts) == (
        V,
        nu,
        place,
        parts,
    )
    mirrored = dress_interval(history(C, s, -b, S_B, 0.25), -U, 0.01)
    assert mirrored is not None
    assert mirrored.parts == parts


@pytest.mark.independent
@pytest.mark.parametrize(
    ("risk", "place"),
    # Closed form n = (U - z sigma)/b, U = 6, b = 0.02, sigma^2 = 1.25, everything known exactly.
    [(0.01, "169.9532"), (0.00135, "132.2962"), (6.3e-5, "85.6646")],
)
def test_endless_history_gives_the_closed_form(risk: float, place: str) -> None:
    C = 10**9
    exact = CycleHistory(C, 1e9, 50.0, C * 8250.0, 1e6, 0.0, 0.02, 0.25, 1.0, C)
    found = dress_interval(exact, 6.0, risk)
    assert found is not None
    assert f"{found.s:.4f}" == place


@pytest.mark.independent
def test_variance_of_a_part_where_the_wear_differs_from_cycle_to_cycle() -> None:
    """By hand: 0.25 (1 + 1/10) + 0.09 (3/4 + 25^2/5000) + 0.0004 (1 + 1/10) 40^2, freedom 9, 29, 9."""
    known = CycleHistory(10, 4, 15.0, 5000.0, 100.0, 0.0, 0.05, 0.25, 0.09, 29, 0.0004)
    variance, dof = part_variance_at(known, 40.0)
    parts = (0.275, 0.07875, 0.704)
    assert variance == pytest.approx(sum(parts), rel=1e-12)
    assert dof == pytest.approx(
        sum(parts) ** 2 / (parts[0] ** 2 / 9 + parts[1] ** 2 / 29 + parts[2] ** 2 / 9)
    )


@pytest.mark.independent
@pytest.mark.parametrize("cycles", [4, 9])
def test_level_ahead_of_a_trend(cycles: int) -> None:
    """statsmodels OLS through the levels of cycles measured at the same places: forecast of the next one."""
    import statsmodels.api as sm

    rng = np.random.default_rng(cycles)
    cycle, s = np.repeat(np.arange(cycles), 3), np.tile([0.0, 12.0, 27.0], cycles)
    y = (0.3 * np.arange(cycles) + rng.normal(0, 0.4, cycles))[cycle] + 0.05 * s
    fit = fit_wear(cycle, s, y + rng.normal(0, 0.2, 3 * cycles))
    found = cycle_history(fit, trend=True)
    line = sm.OLS(fit.levels, sm.add_constant(np.arange(float(cycles)))).fit()
    ahead = line.get_prediction([[1.0, cycles]])
    assert found.level == pytest.approx(float(ahead.predicted_mean[0]), rel=1e-9)
    assert found.between == pytest.approx(line.mse_resid, rel=1e-9)
    assert found.between * found.level_leverage == pytest.approx(float(ahead.se_mean[0]) ** 2, rel=1e-9)
    assert found.level_dof == line.df_resid


def test_three_cycles_are_too_few_for_a_trend() -> None:
    y = np.array([0.1, 0.4, 1.1, 0.5, 1.1, 1.5, 1.3, 1.7, 2.2])
    fit = fit_wear(np.repeat(np.arange(3), 3), np.tile([0.0, 10.0, 20.0], 3), y)
    assert cycle_history(fit, trend=True) == cycle_history(fit)


def test_never_beyond_what_was_seen() -> None:
    found = dress_interval(history(20, [0.0, 9.0, 18.0, 27.0], 0.055, 0.3717, 0.25, s_max=27.0), 5.0, 0.01)
    assert found is not None
    assert found.at_least
    assert found.parts == math.floor(1.5 * 27) + 1


def test_none_when_the_first_part_breaks_the_risk() -> None:
    assert dress_interval(history(20, [0.0, 27.0], 0.055, 0.4, 0.25), 0.9, 0.01) is None
    assert centred_dress_interval(history(20, [0.0, 27.0], 0.055, 0.4, 0.25), (-0.9, 0.9), 0.01) is None


@pytest.mark.parametrize("b", [0.05, -0.05])
@pytest.mark.parametrize("spread", [0.0, 0.6])
def test_centred_cycle_keeps_the_risk_at_both_ends(b: float, spread: float) -> None:
    from scipy.special import stdtrit

    h = history(15, [0.0, 10.0, 20.0], b, 0.4, 0.3)
    found = centred_dress_interval(h, (-3.0, 4.0), 0.01, spread)
    assert found is not None
    margins = []
    for s in (0.0, found.s):
        V, nu = part_variance_at(h, s)
        margins.append(float(stdtrit(nu, 0.99)) * math.sqrt(V))
    near, far = (-3.0, 4.0) if b > 0 else (4.0, -3.0)
    sign = 1 if b > 0 else -1
    # `history` is of the trace on the wear side; the other one lies `spread` behind it.
    start = h.level + found.offset
    assert sign * (start - sign * spread - near) == pytest.approx(margins[0])
    assert sign * (far - (start + b * found.s)) == pytest.approx(margins[1], abs=1e-6)


def test_a_capped_cycle_shares_the_room() -> None:
    h = history(15, [0.0, 10.0, 20.0], 0.02, 0.2, 0.2, s_max=20.0)
    found = centred_dress_interval(h, (-5.0, 5.0), 0.01)
    assert found is not None
    assert found.at_least
    middle = h.level + found.offset + 0.02 * found.s / 2
    assert abs(middle) < 0.02  # V differs a little between both ends


@pytest.mark.independent
@pytest.mark.parametrize("slope_sd", [0.0, 0.012])
def test_risk_is_met_in_simulation(slope_sd: float) -> None:
    """Histories of 12 cycles, 4 parts each; risk 2 % for the last part of the next cycle at the interval."""
    rng = np.random.default_rng(31)
    cycle, s = np.repeat(np.arange(12), 4), np.tile([0.0, 13.0, 27.0, 40.0], 12)
    beyond, used = 0.0, 0
    from scipy.special import ndtr

    for _ in range(2500):
        slopes = 0.05 + slope_sd * rng.standard_normal(12)
        y = rng.normal(0, 0.4, 12)[cycle] + slopes[cycle] * s + rng.normal(0, 0.3, 48)
        fit = fit_wear(cycle, s, y)
        found = dress_interval(cycle_history(fit), 3.2, 0.02)
        if found is None or found.at_least:
            continue
        used += 1
        # True probability that a part at s of a new cycle lies beyond, in place of drawing one.
        beyond += float(ndtr((0.05 * found.s - 3.2) / math.sqrt(0.4**2 + 0.3**2 + (slope_sd * found.s) ** 2)))
    assert used > 2400
    assert 0.014 < beyond / used < 0.024
