"""Straight line with errors in both variables, after Deming."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from gearqa.arrays import Array


@dataclass(frozen=True, slots=True)
class FittedLine:
    """y = intercept + slope x, with intervals."""

    slope: float
    intercept: float
    slope_interval: tuple[float, float]
    intercept_interval: tuple[float, float]


def _deming(x: Array, y: Array) -> tuple[Array, Array]:
    """Slope and intercept along the last axis, errors of both sides alike."""
    mx, my = x.mean(axis=-1), y.mean(axis=-1)
    dx, dy = x - mx[..., None], y - my[..., None]
    S_xx, S_yy, S_xy = np.sum(dx * dx, -1), np.sum(dy * dy, -1), np.sum(dx * dy, -1)
    u = S_yy - S_xx
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (u + np.sqrt(u * u + 4 * S_xy * S_xy)) / (2 * S_xy)
    return slope, my - slope * mx


def deming(x: Array, y: Array) -> FittedLine | None:
    r"""Deming regression, errors of both sides alike, with 95 % intervals from jackknife standard errors.

    Deming, Statistical Adjustment of Data (1943); jackknife: Linnet, Clinical Chemistry 36 (1990)
    (from memory).

    .. math:: b = \frac{S_{yy} - S_{xx} + \sqrt{(S_{yy} - S_{xx})^2 + 4 S_{xy}^2}}{2 S_{xy}}

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        One side and the other. [um]

    Returns
    -------
    FittedLine or None
        None below three pairs or if the two sides do not vary together. [um]

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
    slope, intercept = (float(v) for v in _deming(x, y))
    if not math.isfinite(slope):
        return None
    keep = ~np.eye(n, dtype=np.bool_)
    left_out = [np.broadcast_to(v, (n, n))[keep].reshape(n, n - 1) for v in (x, y)]
    slopes, intercepts = _deming(left_out[0], left_out[1])
    se = [math.sqrt((n - 1) / n * float(np.sum((v - v.mean()) ** 2))) for v in (slopes, intercepts)]
    t = float(stdtrit(n - 2, 0.975))
    around = [(v - t * e, v + t * e) for v, e in zip((slope, intercept), se, strict=True)]
    return FittedLine(slope, intercept, around[0], around[1])
