"""Where a fitted line reaches a limit: Fieller's interval, prediction intervals, or none with reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where the line level + slope s reaches a limit; `reason` says why low and high are missing."""

    expected: float | None
    low: float | None
    high: float | None
    reason: str | None = None


@dataclass(frozen=True, eq=False, slots=True)
class CycleState:
    """Level at s = 0 and slope of the running cycle with their covariance."""

    level: float
    slope: float
    covariance: Array
    """Of level and slope. shape (2, 2)"""
    part_variance: float
    dof: float


def line_crossing(
    level: float,
    slope: float,
    covariance: Array,
    limit: float,
    dof: float,
    *,
    extra_variance: float = 0.0,
    confidence: float = 0.95,
) -> Crossing:
    r"""All s at which the line may reach a limit.

    Fieller (1954); as inverse prediction in Draper and Smith, Applied Regression Analysis, 3.2
    (from memory).

    .. math::
        (M + b s - U)^2 \le t^2\left[V_M + 2 s C_{Mb} + s^2 V_b + \sigma^2\right]

    Parameters
    ----------
    level : float
        Value of the line at s = 0. [um]
    slope : float
        Slope of the line. [um/part]
    covariance : ndarray, shape (2, 2)
        Covariance of level and slope. [um^2, um^2/part, um^2/part^2]
    limit : float
        Limit to reach. [um]
    dof : float
        Degrees of freedom of t. [-]
    extra_variance : float
        Variance of a single new value about the line; 0 for the mean. [um^2]
    confidence : float
        Of the interval, both sides together. [-]

    Returns
    -------
    Crossing
        Expected place and interval; without interval when the slope is not proven. [parts]

    Notes
    -----
    b^2 <= t^2 V_b makes the set unbounded: no number is given then.

    Examples
    --------
    >>> covariance = np.array([[0.006950, -0.00010975], [-0.00010975, 2.43893e-6]])
    >>> found = line_crossing(1.08727273, 0.01939394, covariance, 5.0, 8)
    >>> round(found.expected, 2), round(found.low, 1), round(found.high, 1)
    (201.75, 176.7, 238.0)
    """
    t2 = float(stdtrit(dof, (1 + confidence) / 2)) ** 2
    V_M, C_Mb, V_b = float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])
    a = slope**2 - t2 * V_b
    if a <= 0:
        return Crossing(None, None, None, "the slope is not proven, so no crossing can be shown")
    gap = level - limit
    b = slope * gap - t2 * C_Mb
    c = gap**2 - t2 * (V_M + extra_variance)
    root = math.sqrt(max(b * b - a * c, 0.0))
    return Crossing(-gap / slope, (-b - root) / a, (-b + root) / a)


def prediction_bound_crossing(
    level: float,
    slope: float,
    covariance: Array,
    limit: float,
    dof: float,
    *,
    part_variance: float,
    risk: float,
) -> float | None:
    r"""First s at which a single new value lies beyond the limit with the chosen probability.

    One-sided prediction bound of a regression, e.g. Draper and Smith, Applied Regression Analysis.

    .. math:: M + b s + t_{1-p}\sqrt{V(M + b s) + \sigma^2} = U

    Parameters
    ----------
    level : float
        Value of the line at s = 0. [um]
    slope : float
        Slope; the limit is the one it leads to: upper if positive, lower if negative. [um/part]
    covariance : ndarray, shape (2, 2)
        Covariance of level and slope. [um^2, um^2/part, um^2/part^2]
    limit : float
        Limit to reach. [um]
    dof : float
        Degrees of freedom of t. [-]
    part_variance : float
        Variance of a single value about the line. [um^2]
    risk : float
        Probability that the value lies beyond. [-]

    Returns
    -------
    float or None
        Place, 0 if reached at once; None if the slope is 0. [parts]

    Notes
    -----
    The smaller root of Fieller's equation at 1 - 2p.

    Examples
    --------
    >>> covariance = np.array([[0.006950, -0.00010975], [-0.00010975, 2.43893e-6]])
    >>> round(prediction_bound_crossing(
    ...     1.08727273, 0.01939394, covariance, 5.0, 8, part_variance=0.14184926**2, risk=0.01), 1)
    165.9
    """
    t = float(stdtrit(dof, 1 - risk))
    direction = 1.0 if slope > 0 else -1.0

    def margin(s: float) -> float:
        variance = covariance[0, 0] + 2 * s * covariance[0, 1] + s * s * covariance[1, 1] + part_variance
        return direction * (level + slope * s - limit) + t * math.sqrt(float(variance))

    if slope == 0:
        return None
    if margin(0.0) >= 0:
        return 0.0
    t2 = t * t
    V_M, C_Mb, V_b = float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])
    gap = level - limit
    a, b, c = slope**2 - t2 * V_b, slope * gap - t2 * C_Mb, gap**2 - t2 * (V_M + part_variance)
    roots = np.roots([a, 2 * b, c]) if abs(a) > 1e-18 else np.array([-c / (2 * b)])
    places = [float(r.real) for r in roots if abs(r.imag) < 1e-9 and r.real > 0]
    places = [s for s in places if direction * (level + slope * s - limit) <= 1e-12]
    return min(places) if places else None


def update_cycle(state: CycleState, s: Array, y: Array) -> CycleState:
    r"""Level and slope of the running cycle after its measured parts.

    Linear Gaussian updating (Kalman filter with a constant state), e.g. Durbin and Koopman, Time
    Series Analysis by State Space Methods (from memory).

    .. math:: P' = P - P H^T (H P H^T + \sigma^2 I)^{-1} H P

    Parameters
    ----------
    state : CycleState
        Expectation from earlier cycles. [um, um/part]
    s : ndarray, shape (m,)
        Parts since dress of the parts measured in this cycle. [parts]
    y : ndarray, shape (m,)
        Their values. [um]

    Returns
    -------
    CycleState
        The same, updated. [um, um/part]

    Notes
    -----
    The degrees of freedom are kept: those of the earlier cycles.

    Examples
    --------
    >>> before = CycleState(0.0, 0.05, np.diag([1.0, 1e-4]), 0.25, 20)
    >>> after = update_cycle(before, np.array([0.0]), np.array([1.0]))
    >>> round(after.level, 3), round(float(after.covariance[0, 0]), 3)
    (0.8, 0.2)
    """
    H = np.column_stack([np.ones(len(s)), s])
    P = state.covariance
    innovation = y - H @ np.array([state.level, state.slope])
    gain = np.linalg.solve(H @ P @ H.T + state.part_variance * np.eye(len(s)), H @ P).T
    mean = np.array([state.level, state.slope]) + gain @ innovation
    after = P - gain @ H @ P
    return CycleState(float(mean[0]), float(mean[1]), (after + after.T) / 2, state.part_variance, state.dof)
