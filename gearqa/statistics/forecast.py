"""Where a fitted line reaches a limit: Fieller's interval, or none with reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from gearqa.arrays import Array


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
