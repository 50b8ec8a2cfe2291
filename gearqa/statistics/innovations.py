"""One-step forecast errors of parts under the wear model: what an EWMA of residuals is fed with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtr, stdtrit

from gearqa.arrays import Array, IntArray
from gearqa.statistics.control_charts import ewma, ewma_half_width
from gearqa.statistics.dress_interval import CycleHistory
from gearqa.statistics.forecast import CycleState


def cycle_prior(history: CycleHistory) -> CycleState:
    r"""What past cycles say about level and slope of a coming one, before any of its parts.

    One-way random model with a random slope; the uncertainty of the estimates is inside.

    .. math::
        P_{00} = q_M + S_B^2 h + \bar s^2 s_w^2/S_{ss},\; P_{01} = -\bar s s_w^2/S_{ss},\;
        P_{11} = s_w^2/S_{ss} + q_b(1 + 1/C)

    Parameters
    ----------
    history : CycleHistory
        Past cycles. [um, parts]

    Returns
    -------
    CycleState
        Level at s = 0 and slope with covariance; freedom by Satterthwaite at the mean position.
        [um, um/part]

    Notes
    -----
    q_M is the variance of the cycle means less the part scatter and the slope variation in them.

    Examples
    --------
    >>> prior = cycle_prior(CycleHistory(20, 4, 13.5, 8100, 27, 0.0, 0.055, 0.3717**2, 0.25**2, 59))
    >>> round(float(prior.covariance[0, 0]), 4), round(float(prior.covariance[1, 1] ** 0.5), 5)
    (0.1308, 0.00278)
    """
    h = history
    V_b = h.within / h.S_ss if h.S_ss > 0 else 0.0
    P00 = h.level_variance + h.between * h.level_leverage + h.s_mean**2 * V_b
    covariance = np.array(
        [[P00, -h.s_mean * V_b], [-h.s_mean * V_b, V_b + h.slope_variance * (1 + 1 / h.cycles)]]
    )
    by_cycle = h.between * (1 + h.level_leverage)
    by_part = h.within * (1 - 1 / h.m)
    dof = (by_cycle + by_part) ** 2 / (by_cycle**2 / h.level_dof + by_part**2 / h.within_dof)
    return CycleState(h.level, h.slope, covariance, h.within, dof)


def standard_innovations(cycle: IntArray, s: Array, y: Array, history: CycleHistory) -> Array:
    r"""Forecast error of each part given the earlier parts of its cycle, over its standard deviation.

    Kalman filter with a constant state per cycle (Durbin and Koopman, Time Series Analysis by State
    Space Methods, from memory).

    .. math:: z = e/\sqrt F,\quad F = H P H^T + \sigma^2

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each part; the parts of a cycle are consecutive, in production order. [-]
    s : ndarray, shape (n,)
        Parts since dress, 0 for the first. [parts]
    y : ndarray, shape (n,)
        Values. [um]
    history : CycleHistory
        Reference cycles; taken as exact here, see `residual_limits`. [um, parts]

    Returns
    -------
    ndarray, shape (n,)
        Independent standard normal if the process is exactly as in the reference. [-]

    Notes
    -----
    All cycles are filtered side by side: the loop runs over the place within a cycle.

    Examples
    --------
    >>> h = CycleHistory(20, 4, 13.5, 8100, 27, 0.0, 0.05, 0.4**2, 0.25**2, 59)
    >>> s, y = np.array([0.0, 20.0, 0.0]), np.array([0.0, 1.0, 1.2])
    >>> (standard_innovations(np.array([0, 0, 1]), s, y, h).round(2) + 0.0).tolist()
    [0.0, 0.0, 2.64]
    """
    C = int(cycle.max()) + 1 if len(cycle) else 0
    counts = np.bincount(cycle, minlength=C)
    first = np.zeros(C, dtype=np.int64)
    first[1:] = np.cumsum(counts)[:-1]
    level, slope = np.full(C, history.level), np.full(C, history.slope)
    P00, P01 = np.full(C, history.level_variance), np.zeros(C)
    P11 = np.full(C, history.slope_variance)
    sigma2 = max(history.within, 1e-18)
    z = np.zeros(len(y))
    for k in range(int(counts.max()) if C else 0):
        c = np.flatnonzero(counts > k)
        i = first[c] + k
        t = s[i]
        error = y[i] - level[c] - slope[c] * t
        g0, g1 = P00[c] + t * P01[c], P01[c] + t * P11[c]
        F = g0 + t * g1 + sigma2
        z[i] = error / np.sqrt(F)
        level[c] += g0 / F * error
        slope[c] += g1 / F * error
        P00[c] -= g0 * g0 / F
        P01[c] -= g0 * g1 / F
        P11[c] -= g1 * g1 / F
    return z


def residual_limits(cycle: IntArray, s: Array, history: CycleHistory, weight: float, factor: float) -> Array:
    r"""Limits of an EWMA of the residuals that know how few cycles the reference has.

    Own derivation, checked by simulation: the error of the reference level and wear rate runs through
    the filter and the average like a signal, and adds its variance; L is taken from t instead of the
    normal distribution.

    .. math::
        t_\nu(\Phi(L))\sqrt{\frac{\lambda}{2-\lambda}\left(1-(1-\lambda)^{2i}\right)
        + G_i^2\,Var\,\bar M + H_i^2\,Var\,\hat b}

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each part, as for `standard_innovations`. [-]
    s : ndarray, shape (n,)
        Parts since dress, 0 for the first. [parts]
    history : CycleHistory
        Reference cycles. [um, parts]
    weight, factor : float
        Weight of the newest value; limit L for a reference known exactly. [-]

    Returns
    -------
    ndarray, shape (n,)
        Limits of the average of the standardised residuals. [-]

    Notes
    -----
    G and H: average of the residuals that a level or a slope error of one unit makes.

    Examples
    --------
    >>> h = CycleHistory(20, 4, 13.5, 8100, 27, 0.0, 0.05, 0.4**2, 0.25**2, 59)
    >>> residual_limits(np.array([0, 0, 1]), np.array([0.0, 20.0, 0.0]), h, 0.2, 3.0).round(3).tolist()
    [0.658, 0.84, 0.955]
    """
    still = replace(history, level=0.0, slope=0.0)
    G = ewma(standard_innovations(cycle, s, np.ones(len(s)), still), weight, 0.0)
    H = ewma(standard_innovations(cycle, s, s - history.s_mean, still), weight, 0.0)
    var_slope = history.within / history.S_ss + history.slope_variance / history.cycles
    known = ewma_half_width(len(s), weight, 1.0) ** 2
    total = known + G**2 * history.between * history.level_leverage + H**2 * var_slope
    by_cycle, by_part = history.level_variance, history.within
    dof = (by_cycle + by_part) ** 2 / (by_cycle**2 / history.level_dof + by_part**2 / history.within_dof)
    wider = -float(stdtrit(dof, float(ndtr(-factor))))
    return np.asarray(wider * np.sqrt(total), dtype=np.float64)
