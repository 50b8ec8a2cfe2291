"""Dress interval against computed check values and the risk it promises in simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr, stdtrit

from gearqa.statistics.dress_interval import (
    Bounds,
    CycleModel,
    NextLevel,
    free_level,
    guarded,
    kept_parts,
    part_bounds,
    part_risk,
    part_variance,
)
from gearqa.statistics.wear import WearCurve, fit_wear


def model(
    C: int, s: list[float], b: float, S_B: float, s_w: float, dof: int, candidates: tuple[NextLevel, ...] = ()
) -> CycleModel:
    """Straight wear seen at two knots in C cycles of the same positions."""
    x, m = np.array(s), len(s)
    length = x.max()
    curve = WearCurve(
        knots=np.array([0.0, length]),
        rises=np.array([b * length]),
        G=np.array([[length**2 / (C * float(np.sum((x - x.mean()) ** 2)))]]),
        centre=np.array([x.mean() / length]),
        cycles=C,
        m=m,
        within=s_w**2,
        within_dof=C * m - C - 1,
    )
    return CycleModel(curve, S_B**2, dof, candidates)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("leverage", "dof", "V", "nu", "place"),
    # Computed check values (own derivation, no published source), before the cap.
    [
        (1 / 20, 19, "0.21690", "39.37", "70.376"),
        (1.0, 18, "0.34333", "27.30", "64.585"),
        (1 / 2, 18, "0.27658", "31.00", "67.455"),
        (1 / 3, 18, "0.25442", "32.88", "68.484"),
    ],
)
def test_check_values(leverage: float, dof: int, V: str, nu: str, place: str) -> None:
    one = model(20, [0.0, 9.0, 18.0, 27.0], 0.055, 0.3717, 0.25, dof)

    def excess(s: float) -> float:
        variance, freedom = part_variance(one, leverage, np.array([s]))
        return 0.055 * s + float(stdtrit(freedom[0], 0.99)) * math.sqrt(float(variance[0])) - 5.0

    s = brentq(excess, 1.0, 90.0, xtol=1e-10)
    variance, freedom = part_variance(one, leverage, np.array([s]))
    assert (f"{float(variance[0]):.5f}", f"{float(freedom[0]):.2f}", f"{s:.3f}") == (V, nu, place)
    bounds = part_bounds(CycleModel(one.curve, one.between, dof, (NextLevel(0.0, leverage),)), 80, 0.01)
    assert kept_parts(bounds.high <= 5.0) == math.floor(s) + 1


@pytest.mark.independent
@pytest.mark.parametrize(
    ("risk", "place"),
    # Closed form n = (U - z sigma)/b, U = 6, b = 0.02, sigma^2 = 1.25, everything known exactly.
    [(0.01, 169.9532), (0.00135, 132.2962), (6.3e-5, 85.6646)],
)
def test_endless_history_gives_the_closed_form(risk: float, place: float) -> None:
    C = 10**9
    curve = WearCurve(
        np.array([0.0, 100.0]), np.array([2.0]), np.array([[1e-12]]), np.array([0.5]), C, 1e9, 1.0, C
    )
    bounds = part_bounds(CycleModel(curve, 0.25, C, (NextLevel(0.0, 0.0),)), 300, risk)
    assert kept_parts(bounds.high <= 6.0) == math.floor(place) + 1
    mirrored = WearCurve(curve.knots, -curve.rises, curve.G, curve.centre, C, 1e9, 1.0, C)
    low = part_bounds(CycleModel(mirrored, 0.25, C, (NextLevel(0.0, 0.0),)), 300, risk).low
    assert kept_parts(low >= -6.0) == math.floor(place) + 1


def test_the_worst_candidate_counts_and_the_risk_agrees_with_the_bound() -> None:
    calm, moved = NextLevel(0.0, 0.05), NextLevel(1.0, 0.5)
    one = model(20, [0.0, 9.0, 18.0, 27.0], 0.055, 0.37, 0.25, 18, (calm, moved))
    both = part_bounds(one, 30, 0.01)
    alone = [
        part_bounds(CycleModel(one.curve, one.between, 18, (level,)), 30, 0.01) for level in (calm, moved)
    ]
    assert both.high == pytest.approx(np.maximum(alone[0].high, alone[1].high))
    assert both.low == pytest.approx(np.minimum(alone[0].low, alone[1].low))
    limit = float(both.high[20])
    assert part_risk(one, 30, limit, 1)[20] == pytest.approx(0.01, rel=1e-6)
    limit = float(both.low[5])
    assert part_risk(one, 30, limit, -1)[5] == pytest.approx(0.01, rel=1e-6)


def test_inside_a_bent_gap_the_worse_end_counts() -> None:
    """Fast, then flat: the flat gap may have been reached at once; accelerating wear leaves all as it is."""

    def bent(rises: list[float], *, curved: bool = True) -> CycleModel:
        curve = WearCurve(np.array([0.0, 3.0, 6.0]), np.array(rises), np.eye(2), np.zeros(2), 9, 3, 0.1, 9)
        return CycleModel(curve, 0.1, 8, (), curved=curved)

    bound = np.array([0.0, 1.0, 2.0, 3.0, 3.1, 3.2, 3.3])
    assert guarded(bound, bent([3.0, 3.3]), 1).tolist() == [0.0, 3.0, 3.0, 3.0, 3.3, 3.3, 3.3]
    assert guarded(bound, bent([1.0, 9.0]), 1).tolist() == bound.tolist()
    assert guarded(bound, bent([3.0, 3.3], curved=False), 1).tolist() == bound.tolist()
    assert guarded(-bound, bent([-3.0, -3.3]), -1).tolist() == [
        -v for v in (0.0, 3.0, 3.0, 3.0, 3.3, 3.3, 3.3)
    ]


def test_free_level_is_as_wide_as_its_envelope() -> None:
    """A bound that falls again does not give back what it took."""
    bounds = Bounds(low=np.array([-1.0, -2.0, -1.0, -1.0]), high=np.array([1.0, 1.0, 2.0, 2.0]))
    assert free_level([bounds], 3.0) == 2
    assert free_level([bounds], 4.0) == 4
    assert free_level([bounds], 1.9) == 0


@pytest.mark.independent
@pytest.mark.parametrize("slope_sd", [0.0, 0.012])
def test_risk_is_met_in_simulation(slope_sd: float) -> None:
    """Histories of 12 cycles, 4 parts each; risk 2 % for the last part of the next cycle at the interval."""
    rng = np.random.default_rng(31)
    cycle, s = np.repeat(np.arange(12), 4), np.tile([0.0, 13.0, 27.0, 40.0], 12)
    beyond, used = 0.0, 0
    for _ in range(2000):
        slopes = 0.05 + slope_sd * rng.standard_normal(12)
        y = rng.normal(0, 0.4, 12)[cycle] + slopes[cycle] * s + rng.normal(0, 0.3, 48)
        fit = fit_wear(cycle, s, y, straight=True)
        assert fit.curve is not None
        level = NextLevel(float(fit.levels.mean()), 1 / 12)
        one = CycleModel(fit.curve, float(np.var(fit.levels + fit.slope * 20, ddof=1)), 11, (level,))
        parts = kept_parts(part_bounds(one, 60, 0.02).high <= 3.2)
        used += 1
        last = parts - 1
        # True probability that a part there lies beyond, in place of drawing one.
        beyond += float(ndtr((0.05 * last - 3.2) / math.sqrt(0.4**2 + 0.3**2 + (slope_sd * last) ** 2)))
    assert 0.012 < beyond / used < 0.024
