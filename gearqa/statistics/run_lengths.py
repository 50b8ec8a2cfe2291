"""Mean run lengths of control charts."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from gearqa.arrays import Array
from gearqa.statistics.roots import root

NODES = 81
"""Gauss nodes of the integral equation."""


@lru_cache(maxsize=1)
def _nodes() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(NODES)


def shewhart_run_length(shift: Array | float, limit: Array | float = 3.0) -> Array | float:
    """Mean run length of a chart with one limit on each side.

    Geometric distribution; tabulated e.g. in Montgomery, Introduction to Statistical Quality Control
    (from memory).

    Parameters
    ----------
    shift, limit : ndarray or float
        Shift of the mean and control limit, in standard deviations. [-]

    Returns
    -------
    ndarray or float
        Mean number of points up to and with the signal. [points]

    Examples
    --------
    >>> shewhart_run_length(np.array([0.0, 1.0])).round(3).tolist()
    [370.398, 43.895]
    """
    found: Array | float = 1 / (ndtr(shift - limit) + ndtr(-shift - limit))
    return found


def ewma_run_length(weight: float, factor: float, shift: float = 0.0) -> float:
    r"""Mean run length of a two-sided EWMA with fixed (asymptotic) limits, started at the centre.

    Crowder's integral equation, Technometrics 29 (1987), on Gauss nodes (from memory).

    .. math::
        L(u) = 1 + \int_{-h}^{h} L(y)\,\varphi\left(\frac{y - (1-\lambda)u}{\lambda} - \delta\right)
        \frac{dy}{\lambda}

    Parameters
    ----------
    weight, factor : float
        Weight of the newest value; limit L in standard deviations of the average. [-]
    shift : float
        Shift of the mean in standard deviations of one value. [-]

    Returns
    -------
    float
        Mean number of points up to and with the signal. [points]

    Examples
    --------
    >>> round(ewma_run_length(0.1, 2.814, 1.0), 2)
    10.33
    """
    x, w = _nodes()
    half_width = factor * math.sqrt(weight / (2 - weight))
    z = half_width * x
    u = (z[None, :] - (1 - weight) * z[:, None]) / weight - shift
    kernel = np.exp(-(u**2) / 2) / math.sqrt(2 * math.pi) / weight * (half_width * w)[None, :]
    return float(np.linalg.solve(np.eye(NODES) - kernel, np.ones(NODES))[NODES // 2])


@lru_cache(maxsize=64)
def ewma_factor(weight: float, run_length: float) -> float:
    """Limit L of an EWMA that has a chosen in-control mean run length.

    Inverse of `ewma_run_length` (Crowder 1987, from memory).

    Parameters
    ----------
    weight : float
        Weight of the newest value. [-]
    run_length : float
        Mean run length wanted with no shift, from 2 to 1e8. [points]

    Returns
    -------
    float
        Limit L in standard deviations of the average. [-]

    Examples
    --------
    >>> round(ewma_factor(0.2, 370.4), 4)
    2.8593
    """
    return root(lambda factor: math.log(ewma_run_length(weight, factor) / run_length), 0.3, 6.3, 1e-10)
