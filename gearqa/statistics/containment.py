"""Chance that a part that was made, but not measured, lies beyond a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from gearqa.arrays import Array, IntArray
from gearqa.statistics.wear import LEAST_VARIANCE, WearCurve


@dataclass(frozen=True, eq=False, slots=True)
class MadeCycles:
    """What is known of the cycles that were made, for the traces at one limit."""

    curve: WearCurve
    counts: IntArray
    """Parts measured in each cycle. shape (C,)"""
    levels: Array
    """Level of each cycle. shape (C,) [um]"""
    expected: Array
    """Level that the model expects of each. shape (C,) [um]"""
    between: float
    """S_B^2. [um^2]"""
    between_dof: int


def own_level(made: MadeCycles) -> tuple[Array, Array]:
    r"""Level of each cycle from its own parts and from the other cycles, with its variance.

    Best linear prediction in the one-way random model (Henderson 1975, from memory).

    .. math::
        q = \max(0, S_B^2 - s_w^2/m),\; a_c = \frac{q}{q + s_w^2/m_c},\;
        \mu_c = f_c + a_c(x_c - f_c),\; q(1 - a_c) + S_B^2/C

    Parameters
    ----------
    made : MadeCycles
        Cycles. [um]

    Returns
    -------
    tuple of ndarray, shape (C,) each
        Levels and their variance. [um, um^2]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 9.0]), np.array([1.0]), np.eye(1), np.zeros(1), 2, 2, 0.2, 9)
    >>> made = MadeCycles(curve, np.array([2, 2]), np.array([1.0, -1.0]), np.zeros(2), 0.4, 9)
    >>> [v.round(3).tolist() for v in own_level(made)]
    [[0.75, -0.75], [0.275, 0.275]]
    """
    q = max(0.0, made.between - made.curve.within / made.curve.m)
    share = q / (q + np.maximum(made.curve.within, LEAST_VARIANCE) / made.counts)
    level = made.expected + share * (made.levels - made.expected)
    return level, q * (1 - share) + made.between / len(made.counts)


def chance_beyond(
    made: MadeCycles, cycle: IntArray, s: Array, limit: float, sign: int, level_after: Array | None = None
) -> Array:
    r"""Chance that a part lies beyond a limit, given what was measured of its cycle.

    Prediction of one value, freedom the smaller of both variances; own rule, checked by simulation. Beyond
    the last knot the last chord continues, and bends on if it is steeper than the one before.

    .. math:: P = T_\nu\left(\frac{\pm(\mu_c + w(s) - L)}{\sqrt{q(1-a_c) + s_w^2 + S_B^2/C}}\right)


    Parameters
    ----------
    made : MadeCycles
        Cycles. [um]
    cycle : ndarray of int, shape (n,)
        Cycle of each part. [-]
    s : ndarray, shape (n,)
        Parts since dress, 0 for the first. [parts]
    limit : float
        Limit. [um]
    sign : int
        1 for the upper, -1 for the lower limit. [-]
    level_after : ndarray, shape (C,), optional
        Another level that each cycle may have had, NaN for none: the larger chance counts. [um]

    Returns
    -------
    ndarray, shape (n,)
        Chances. [-]

    Examples
    --------
    >>> curve = WearCurve(np.array([0.0, 9.0]), np.array([1.0]), np.eye(1), np.zeros(1), 2, 2, 0.2, 9)
    >>> made = MadeCycles(curve, np.array([2, 2]), np.array([1.0, -1.0]), np.zeros(2), 0.4, 9)
    >>> chance_beyond(made, np.array([0, 1]), np.zeros(2), 1.0, 1).round(3).tolist()
    [0.363, 0.016]
    """
    dof = min(made.between_dof, made.curve.within_dof)
    wear = made.curve.at(s) + sign * bending_on(made.curve, s, sign)
    level, variance = own_level(made)
    spread = variance[cycle] + made.curve.within * (1 + made.curve.leverage(s) * (s > made.curve.knots[-1]))
    found = stdtr(dof, sign * (level[cycle] + wear - limit) / np.sqrt(spread))
    if level_after is not None:
        q = max(0.0, made.between - made.curve.within / made.curve.m)
        wide = np.sqrt(spread - variance[cycle] + q + made.between / len(made.counts))
        other = stdtr(dof, sign * (level_after[cycle] + wear - limit) / wide)
        found = np.fmax(found, other)
    return np.asarray(found, dtype=np.float64)


def bending_on(curve: WearCurve, s: Array, sign: int) -> Array:
    """How far wear that gets faster leaves its last chord, beyond the last knot.

    Own rule: the rate goes on growing as from the last chord but one to the last.

    Parameters
    ----------
    curve : WearCurve
        Wear. [um, parts]
    s : ndarray, shape (n,)
        Parts since dress. [parts]
    sign : int
        1 towards the upper, -1 towards the lower limit. [-]

    Returns
    -------
    ndarray, shape (n,)
        Distance towards the limit; 0 up to the last knot, and where the wear does not get faster. [um]

    Examples
    --------
    >>> knots, rises = np.array([0.0, 10.0, 20.0]), np.array([0.5, 2.0])
    >>> curve = WearCurve(knots, rises, np.eye(2), np.zeros(2), 9, 3, 0.1, 9)
    >>> bending_on(curve, np.array([20.0, 30.0]), 1).tolist()
    [0.0, 1.0]
    >>> bending_on(curve, np.array([30.0]), -1).tolist()
    [0.0]
    """
    if len(curve.knots) < 3:
        return np.zeros(len(s))
    widths = np.diff(curve.knots)
    rates = sign * np.diff(np.concatenate(([0.0], curve.rises))) / widths
    faster = max(0.0, float(rates[-1] - rates[-2])) / float((widths[-1] + widths[-2]) / 2)
    beyond = np.maximum(s - curve.knots[-1], 0.0)
    return np.asarray(faster * beyond * (widths[-1] + beyond) / 2, dtype=np.float64)
