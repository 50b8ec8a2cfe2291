"""How many parts between dresses for a chosen risk that the last one lies beyond a limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr, stdtrit

from gearqa.arrays import Array, BoolArray
from gearqa.statistics.wear import LEAST_VARIANCE, WearCurve


@dataclass(frozen=True, slots=True)
class NextLevel:
    """A level that the next cycle may have, and its variance over that of a level."""

    level: float
    leverage: float


@dataclass(frozen=True, eq=False, slots=True)
class CycleModel:
    """What past cycles say about the next one, for the traces at one limit."""

    curve: WearCurve
    between: float
    """S_B^2, variance of a level about its model. [um^2]"""
    between_dof: int
    candidates: tuple[NextLevel, ...]
    """Levels that the next cycle may have; the worst counts."""
    curved: bool = False
    """Whether the wear is not straight between its knots."""


@dataclass(frozen=True, eq=False, slots=True)
class Bounds:
    """One-sided prediction bounds of single parts at s = 0, 1, 2 ... of the next cycle."""

    low: Array
    high: Array


def part_variance(model: CycleModel, leverage: float, s: Array) -> tuple[Array, Array]:
    r"""Variance of a part at position s of a coming cycle about its forecast, and its freedom.

    Prediction variance of the one-way random model with a random slope; freedom by Satterthwaite
    (1946).

    .. math::
        V(s) = S_B^2(1 + h) + s_w^2\left[1 - \tfrac1m + (B(s) - \bar B)'G(B(s) - \bar B)\right]
        + q_b(1 + \tfrac1C)s^2

    Parameters
    ----------
    model : CycleModel
        Past cycles. [um, parts]
    leverage : float
        h, variance of the level over S_B^2. [-]
    s : ndarray, shape (n,)
        Positions, 0 for the first part after dress. [parts]

    Returns
    -------
    tuple of ndarray, shape (n,) each
        Variance and degrees of freedom. [um^2, -]

    Notes
    -----
    The uncertainty of level and wear is inside.

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 27.0]), np.array([1.485]), np.array([[0.09]]), np.array([0.5]),
    ...                   20, 4, 0.25**2, 59)
    >>> V, nu = part_variance(CycleModel(curve, 0.3717**2, 19, ()), 1 / 20, np.array([70.376]))
    >>> round(float(V[0]), 5), round(float(nu[0]), 2)
    (0.2169, 39.37)
    """
    curve = model.curve
    by_cycle = max(model.between, LEAST_VARIANCE) * (1 + leverage)
    by_part = curve.within * (1 - 1 / curve.m + curve.leverage(s))
    by_slope = curve.slope_variance * (1 + 1 / curve.cycles) * s**2
    total = by_cycle + by_part + by_slope
    shares = by_cycle**2 / model.between_dof + by_part**2 / curve.within_dof
    shares = shares + by_slope**2 / max(curve.cycles - 1, 1)
    return total, total**2 / shares


def part_bounds(model: CycleModel, last: int, risk: float) -> Bounds:
    r"""Bounds that a part of the next cycle crosses with the risk, each side by itself.

    Prediction bound of one value, e.g. Hahn and Meeker, Statistical Intervals (1991), from memory.

    .. math:: M + w(s) \pm t_{1-p;\nu}\sqrt{V(s)}

    Parameters
    ----------
    model : CycleModel
        Past cycles. [um, parts]
    last : int
        Largest position, from 0. [parts]
    risk : float
        Probability that a part lies beyond the bound. [-]

    Returns
    -------
    Bounds
        At s = 0 .. last. [um]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 27.0]), np.array([1.485]), np.array([[0.09]]), np.array([0.5]),
    ...                   20, 4, 0.25**2, 59)
    >>> model = CycleModel(curve, 0.3717**2, 19, (NextLevel(0.0, 1 / 20),))
    >>> round(float(part_bounds(model, 70, 0.01).high[-1]), 2)
    4.98
    """
    s = np.arange(last + 1, dtype=np.float64)
    wear = model.curve.at(s)
    low, high = np.full(len(s), np.inf), np.full(len(s), -np.inf)
    for one in model.candidates:
        variance, dof = part_variance(model, one.leverage, s)
        margin = stdtrit(dof, 1 - risk) * np.sqrt(variance)
        low = np.minimum(low, one.level + wear - margin)
        high = np.maximum(high, one.level + wear + margin)
    return Bounds(low, high)


def part_risk(model: CycleModel, last: int, limit: float, sign: int) -> Array:
    r"""Chance that a part of the next cycle lies beyond a limit.

    Prediction of one value, as in `part_bounds`.

    .. math:: T_\nu\left(\pm\frac{M + w(s) - L}{\sqrt{V(s)}}\right)

    Parameters
    ----------
    model : CycleModel
        Past cycles. [um, parts]
    last : int
        Largest position, from 0. [parts]
    limit : float
        Limit. [um]
    sign : int
        1 for the upper, -1 for the lower limit. [-]

    Returns
    -------
    ndarray, shape (last + 1,)
        Largest chance over all candidate levels, at s = 0 .. last. [-]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 27.0]), np.array([1.485]), np.array([[0.09]]), np.array([0.5]),
    ...                   20, 4, 0.25**2, 59)
    >>> model = CycleModel(curve, 0.3717**2, 19, (NextLevel(0.0, 1 / 20),))
    >>> part_risk(model, 71, 5.0, 1)[[70, 71]].round(4).tolist()
    [0.009, 0.012]
    """
    s = np.arange(last + 1, dtype=np.float64)
    wear = model.curve.at(s)
    found = np.zeros(len(s))
    for one in model.candidates:
        variance, dof = part_variance(model, one.leverage, s)
        found = np.maximum(found, stdtr(dof, sign * (one.level + wear - limit) / np.sqrt(variance)))
    return found


def with_one_more_measured(model: CycleModel) -> CycleModel:
    r"""The model had every past cycle held one more measured part, spread like those there are.

    Own derivation: the part of the level's scatter that comes from its m measured parts shrinks, and the
    wear is known better.

    .. math::
        S_B^2 - s_w^2\left(\tfrac1m - \tfrac1{m+1}\right),\; \tfrac{m}{m+1} G,\; \nu_w + C

    Parameters
    ----------
    model : CycleModel
        Past cycles. [um, parts]

    Returns
    -------
    CycleModel
        Same levels and wear. [um, parts]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 27.0]), np.array([1.485]), np.array([[0.09]]), np.array([0.5]),
    ...                   20, 4, 0.25**2, 59)
    >>> found = with_one_more_measured(CycleModel(curve, 0.3717**2, 19, ()))
    >>> round(found.between, 6), found.curve.m, found.curve.within_dof  # .138161 - .0625/20
    (0.135036, 5, 79)
    """
    curve = model.curve
    m = curve.m + 1
    between = model.between - curve.within * (1 / curve.m - 1 / m)
    better = replace(curve, m=m, G=curve.G * curve.m / m, within_dof=curve.within_dof + curve.cycles)
    return replace(model, curve=better, between=max(between, LEAST_VARIANCE))


def unsure_between(curve: WearCurve, sign: int) -> list[tuple[int, int]]:
    """Gaps between knots inside which the wear may run ahead of its chord.

    Own rule: a chord flatter than the one before (wear that levels off may have done so at once) or
    steeper than the next (it may have come at its start).

    Parameters
    ----------
    curve : WearCurve
        Wear. [um, parts]
    sign : int
        1 towards the upper, -1 towards the lower limit. [-]

    Returns
    -------
    list of tuple of int
        Both ends of each gap, from 0. [parts]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 10.0, 40.0]), np.array([2.0, 2.2]), np.eye(2), np.zeros(2),
    ...                   20, 3, 0.1, 30)
    >>> unsure_between(curve, 1), unsure_between(curve, -1)
    ([(0, 10), (10, 40)], [])
    """
    slope = sign * np.diff(np.concatenate(([0.0], curve.rises))) / np.diff(curve.knots)
    gaps = []
    for i, own in enumerate(slope):
        flatter = i > 0 and own < slope[i - 1]
        steeper = i + 1 < len(slope) and own > slope[i + 1]
        if flatter or steeper:
            gaps.append((int(curve.knots[i]), int(curve.knots[i + 1])))
    return gaps


def guarded(bound: Array, model: CycleModel, sign: int) -> Array:
    """Bounds towards one limit, inside an unsure gap the worse of those at its two ends.

    Own rule, see `unsure_between`.

    Parameters
    ----------
    bound : ndarray, shape (n,)
        Bounds at s = 0 .. n - 1. [um]
    model : CycleModel
        Whose wear may be curved. [um, parts]
    sign : int
        1 for the upper, -1 for the lower limit. [-]

    Returns
    -------
    ndarray, shape (n,)
        Bounds; the same where the wear is not curved. [um]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 2.0, 4.0]), np.array([2.0, 2.2]), np.eye(2), np.zeros(2),
    ...                   20, 3, 0.1, 30)
    >>> model = CycleModel(curve, 0.1, 19, (), curved=True)
    >>> guarded(np.array([0.0, 1.0, 2.0, 2.1, 2.2]), model, 1).tolist()
    [0.0, 2.0, 2.0, 2.2, 2.2]
    """
    if not model.curved:
        return bound
    found = bound.copy()
    for first, last in unsure_between(model.curve, sign):
        ends = bound[[first, min(last, len(bound) - 1)]]
        found[first + 1 : last] = ends.max() if sign > 0 else ends.min()
    return found


def kept_parts(kept: BoolArray) -> int:
    """Parts from the first on that keep their bounds without a break.

    Own rule, no published source.

    Parameters
    ----------
    kept : ndarray of bool, shape (n,)
        Whether the part at s = 0 .. n - 1 keeps its bounds. [-]

    Returns
    -------
    int
        Parts. [parts]

    Examples
    --------
    >>> kept_parts(np.array([True, True, False, True]))
    2
    """
    return len(kept) if kept.all() else int(np.argmin(kept))


def free_level(bounds: Sequence[Bounds], width: float) -> int:
    r"""Parts of a cycle whose level may be chosen.

    Running envelope of the bounds, own derivation.

    .. math:: \max_{u \le s} high(u) - \min_{u \le s} low(u) \le U - L

    Parameters
    ----------
    bounds : sequence of Bounds
        Upper bounds of the first, lower bounds of the last count. [um]
    width : float
        Upper less lower limit. [um]

    Returns
    -------
    int
        Parts. [parts]

    Examples
    --------
    >>> free_level([Bounds(np.array([-1.0, -0.5]), np.array([1.0, 1.5]))], 2.2)
    1
    """
    high = np.maximum.accumulate(bounds[0].high)
    low = np.minimum.accumulate(bounds[-1].low)
    return kept_parts(high - low <= width)
