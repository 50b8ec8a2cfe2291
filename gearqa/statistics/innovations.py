"""One-step forecast errors of parts under the wear model: what an EWMA of residuals is fed with."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, stdtrit

from gearqa.arrays import Array, IntArray
from gearqa.statistics.control_charts import ewma, ewma_half_width
from gearqa.statistics.wear import LEAST_VARIANCE, fit_wear


@dataclass(frozen=True, slots=True)
class CycleHistory:
    """What the reference cycles say about a coming one: a straight line from a level at s = 0."""

    cycles: int
    m: float
    """Parts measured per cycle."""
    s_mean: float
    S_ss: float
    level: float
    slope: float
    between: float
    """S_B^2, variance of the cycle means. [um^2]"""
    within: float
    """s_w^2, variance within cycles. [um^2]"""
    within_dof: int
    slope_variance: float = 0.0

    @property
    def level_dof(self) -> int:
        """Degrees of freedom of `between`. [-]"""
        return max(1, self.cycles - 1)

    @property
    def level_variance(self) -> float:
        """Variance of the true level at s = 0 from cycle to cycle, q_M. [um^2]"""
        return max(0.0, self.between - self.within / self.m - self.slope_variance * self.s_mean**2)


def cycle_history(cycle: IntArray, s: Array, y: Array) -> CycleHistory | None:
    """Numbers of straight wear in the reference cycles.

    Analysis of variance of the one-way random model with covariate.

    Parameters
    ----------
    cycle : ndarray of int, shape (n,)
        Cycle of each value, 0..C-1, every number used. [-]
    s : ndarray, shape (n,)
        Parts since dress, 0 for the first. [parts]
    y : ndarray, shape (n,)
        Values, made straight inside the cycles. [um]

    Returns
    -------
    CycleHistory or None
        None where no wear can be told. [um, parts]

    Notes
    -----
    Unequal numbers of parts enter by their harmonic mean.

    Examples
    --------
    >>> y = np.array([0.1, 0.4, 1.1, 0.0, 0.6, 1.0, 0.3, 0.7, 1.2])
    >>> round(cycle_history(np.repeat(np.arange(3), 3), np.tile([0.0, 10.0, 20.0], 3), y).between, 6)
    0.013333
    """
    fit = fit_wear(cycle, s, y)
    if fit.curve is None:
        return None
    C = fit.cycles
    means = [np.bincount(cycle, v, C) / fit.counts for v in (s, y)]
    at_mean = means[1] - fit.slope * (means[0] - fit.s_mean)
    residual = y - means[1][cycle] - fit.slope * (s - means[0][cycle])
    dof = len(y) - C - 1
    return CycleHistory(
        cycles=C,
        m=fit.curve.m,
        s_mean=fit.s_mean,
        S_ss=fit.S_ss,
        level=float(at_mean.mean()) - fit.slope * fit.s_mean,
        slope=fit.slope,
        between=max(float(np.var(at_mean, ddof=1)) if C > 1 else 0.0, LEAST_VARIANCE),
        within=max(float(residual @ residual) / dof, LEAST_VARIANCE),
        within_dof=dof,
        slope_variance=fit.curve.slope_variance,
    )


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
    >>> h = CycleHistory(20, 4, 13.5, 8100, 0.0, 0.05, 0.4**2, 0.25**2, 59)
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
    >>> h = CycleHistory(20, 4, 13.5, 8100, 0.0, 0.05, 0.4**2, 0.25**2, 59)
    >>> residual_limits(np.array([0, 0, 1]), np.array([0.0, 20.0, 0.0]), h, 0.2, 3.0).round(3).tolist()
    [0.658, 0.84, 0.955]
    """
    still = replace(history, level=0.0, slope=0.0)
    G = ewma(standard_innovations(cycle, s, np.ones(len(s)), still), weight, 0.0)
    H = ewma(standard_innovations(cycle, s, s - history.s_mean, still), weight, 0.0)
    var_slope = history.within / history.S_ss + history.slope_variance / history.cycles
    known = ewma_half_width(len(s), weight, 1.0) ** 2
    total = known + G**2 * history.between / history.cycles + H**2 * var_slope
    by_cycle, by_part = history.level_variance, history.within
    dof = (by_cycle + by_part) ** 2 / (by_cycle**2 / history.level_dof + by_part**2 / history.within_dof)
    wider = -float(stdtrit(dof, float(ndtr(-factor))))
    return np.asarray(wider * np.sqrt(total), dtype=np.float64)
