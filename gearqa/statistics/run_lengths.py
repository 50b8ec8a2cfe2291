"""Mean run lengths of control charts, of the EWMA by Markov chain."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from gearqa.arrays import Array
from gearqa.statistics.roots import root

CELLS = 201
"""Cells of the coarser chain; the finer one has 2 CELLS - 1. The error falls with the square."""
NODES = 81
"""Gauss nodes of the integral equation."""


def _richardson(value: Callable[[int], float]) -> float:
    """Value extrapolated to cells of no width (error proportional to the square of the width)."""
    coarse, fine = value(CELLS), value(2 * CELLS - 1)
    ratio = ((2 * CELLS - 1) / CELLS) ** 2
    return fine + (fine - coarse) / (ratio - 1)


def _ewma_chain(weight: float, half_width: float, shift: float, cells: int) -> Array:
    w = 2 * half_width / cells
    centre = -half_width + w * (np.arange(cells) + 0.5)
    carried = (1 - weight) * centre[:, None]
    edges = np.concatenate((centre - w / 2, [half_width]))[None, :]
    below = ndtr((edges - carried) / weight - shift)
    return np.asarray(below[:, 1:] - below[:, :-1], dtype=np.float64)


def _mean_run_lengths(chain: Array) -> Array:
    n = chain.shape[0]
    return np.asarray(np.linalg.solve(np.eye(n) - chain, np.ones(n)), dtype=np.float64)


def _ewma_limit_width(weight: float, factor: float) -> float:
    return factor * math.sqrt(weight / (2 - weight))


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


@lru_cache(maxsize=256)
def ewma_run_length(weight: float, factor: float, shift: float = 0.0) -> float:
    r"""Mean run length of a two-sided EWMA with fixed (asymptotic) limits, started at the centre.

    Brook and Evans (1972) Markov chain; values in Lucas and Saccucci, Technometrics 32 (1990)
    (from memory).

    .. math:: ARL = [(I - Q)^{-1} 1]_{centre}

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

    Notes
    -----
    201 and 401 cells, extrapolated.

    Examples
    --------
    >>> round(ewma_run_length(0.1, 2.814, 1.0), 2)
    10.33
    """

    def value(cells: int) -> float:
        chain = _ewma_chain(weight, _ewma_limit_width(weight, factor), shift, cells)
        return float(_mean_run_lengths(chain)[cells // 2])

    return _richardson(value)


@lru_cache(maxsize=64)
def ewma_factor(weight: float, run_length: float) -> float:
    """Limit L of an EWMA that has a chosen in-control mean run length.

    Inverse of `ewma_run_length` by Crowder's integral equation, Technometrics 29 (1987) (from memory).

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
    x, w = np.polynomial.legendre.leggauss(NODES)
    return root(lambda factor: math.log(_ewma_integral(weight, factor, x, w) / run_length), 0.3, 6.3, 1e-10)


def _ewma_integral(weight: float, factor: float, x: Array, w: Array) -> float:
    """In-control mean run length by Crowder's integral equation on Gauss nodes: fast and smooth."""
    half_width = _ewma_limit_width(weight, factor)
    z = half_width * x
    u = (z[None, :] - (1 - weight) * z[:, None]) / weight
    kernel = np.exp(-(u**2) / 2) / math.sqrt(2 * math.pi) / weight * (half_width * w)[None, :]
    return float(_mean_run_lengths(kernel)[len(x) // 2])
