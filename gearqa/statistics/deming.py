"""Straight line with errors in both variables: Deming, and York for individual uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x, with standard errors."""

    slope: float
    intercept: float
    slope_se: float
    intercept_se: float
    slope_interval: tuple[float, float] | None = None
    intercept_interval: tuple[float, float] | None = None


def _deming(x: Array, y: Array, ratio: float) -> tuple[Array, Array]:
    """Slope and intercept along the last axis."""
    mx, my = x.mean(axis=-1), y.mean(axis=-1)
    dx, dy = x - mx[..., None], y - my[..., None]
    S_xx, S_yy, S_xy = np.sum(dx * dx, -1), np.sum(dy * dy, -1), np.sum(dx * dy, -1)
    u = S_yy - ratio * S_xx
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (u + np.sqrt(u * u + 4 * ratio * S_xy * S_xy)) / (2 * S_xy)
    return slope, my - slope * mx


def deming(x: Array, y: Array, ratio: float = 1.0, confidence: float = 0.95) -> Line | None:
    r"""Deming regression with jackknife standard errors.

    Deming, Statistical Adjustment of Data (1943); jackknife: Linnet, Clinical Chemistry 36 (1990)
    (from memory).

    .. math::
        b = \frac{S_{yy} - \lambda S_{xx} + \sqrt{(S_{yy} - \lambda S_{xx})^2 + 4\lambda S_{xy}^2}}{2 S_{xy}}

    Parameters
    ----------
    x : ndarray, shape (n,)
        One side. [um]
    y : ndarray, shape (n,)
        The other. [um]
    ratio : float
        Error variance of y over that of x. [-]
    confidence : float
        Of the intervals, t with n - 2. [-]

    Returns
    -------
    Line or None
        None below three pairs or if the two sides do not vary together. [um]

    Notes
    -----
    None.

    Examples
    --------
    >>> line = deming(np.array([1.0, 2.0, 3.0, 4.0]), np.array([1.1, 2.0, 2.9, 4.2]))
    >>> round(line.slope, 4), round(line.intercept, 4)
    (1.0248, -0.012)
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n = len(x)
    if n < 3:
        return None
    slope, intercept = (float(v) for v in _deming(x, y, ratio))
    if not math.isfinite(slope):
        return None
    keep = ~np.eye(n, dtype=np.bool_)
    without_x = np.broadcast_to(x, (n, n))[keep].reshape(n, n - 1)
    without_y = np.broadcast_to(y, (n, n))[keep].reshape(n, n - 1)
    slopes, intercepts = _deming(without_x, without_y, ratio)
    se = [math.sqrt((n - 1) / n * float(np.sum((v - v.mean()) ** 2))) for v in (slopes, intercepts)]
    t = float(stdtrit(n - 2, (1 + confidence) / 2))
    return Line(
        slope,
        intercept,
        se[0],
        se[1],
        (slope - t * se[0], slope + t * se[0]),
        (intercept - t * se[1], intercept + t * se[1]),
    )


def york(x: Array, y: Array, u_x: Array, u_y: Array, *, tolerance: float = 1e-14) -> Line:
    r"""Line through points with individual uncertainties in x and y, without correlation.

    York, Evensen, Martinez and De Basabe Delgado, American Journal of Physics 72 (2004) (from memory).

    .. math::
        W_i = \frac{\omega_x\omega_y}{\omega_x + b^2\omega_y},\quad
        \beta_i = W_i\left[\frac{U_i}{\omega_y} + \frac{b V_i}{\omega_x}\right],\quad
        b = \frac{\sum W\beta V}{\sum W\beta U}

    Parameters
    ----------
    x : ndarray, shape (n,)
        One side. [um]
    y : ndarray, shape (n,)
        The other. [um]
    u_x : ndarray, shape (n,)
        Standard uncertainties of x, above 0. [um]
    u_y : ndarray, shape (n,)
        Standard uncertainties of y, above 0. [um]
    tolerance : float
        Relative change of the slope at which the iteration ends. [-]

    Returns
    -------
    Line
        Slope, intercept and their standard errors as the uncertainties make them. [um]

    Raises
    ------
    ValueError
        If the iteration does not settle.

    Notes
    -----
    The standard errors are not scaled by the scatter found.

    Examples
    --------
    >>> x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.1, 1.0, 2.1, 2.9])
    >>> line = york(x, y, np.full(4, 0.1), np.full(4, 0.1))
    >>> round(line.slope, 4), round(line.intercept, 4)
    (0.9515, 0.0978)
    """
    w_x, w_y = 1 / np.asarray(u_x, float) ** 2, 1 / np.asarray(u_y, float) ** 2
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    b = float(np.polyfit(x - x.mean(), y - y.mean(), 1)[0])
    for _ in range(500):
        W = w_x * w_y / (w_x + b * b * w_y)
        mean_x, mean_y = float(np.average(x, weights=W)), float(np.average(y, weights=W))
        U, V = x - mean_x, y - mean_y
        beta = W * (U / w_y + b * V / w_x)
        new = float(np.sum(W * beta * V) / np.sum(W * beta * U))
        done = abs(new - b) <= tolerance * max(abs(new), 1e-300)
        b = new
        if done:
            break
    else:
        raise ValueError("the line does not settle: the points do not define a slope")
    a = mean_y - b * mean_x
    adjusted = mean_x + beta
    centre = float(np.average(adjusted, weights=W))
    u = adjusted - centre
    slope_se = math.sqrt(1 / float(np.sum(W * u * u)))
    intercept_se = math.sqrt(1 / float(np.sum(W)) + centre**2 * slope_se**2)
    return Line(b, a, slope_se, intercept_se)
