"""Gains of changes that act together, from the effects found."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gearqa.arrays import Array

FALSE_ALARM = 0.01
"""Chance that gains which are one are taken for different."""


def joint_gains(meant: Array, found: Array, u: Array) -> tuple[tuple[float | None, float | None], ...]:
    r"""Gains of changes from the effects on several observations, solved together.

    Weighted least squares (Gauss-Markov); where the effects fit worse than their uncertainty allows, it is
    widened by that ratio (Birge 1932, from memory). Changes that act in one proportion have no gain of
    their own.

    .. math:: e = D g,\; g = (D'WD)^{-1} D'W e,\; W = \mathrm{diag}(1/u^2)

    Parameters
    ----------
    meant : ndarray, shape (m, q)
        Effect of each change on each observation at a gain of 1. [um]
    found : ndarray, shape (m,)
        Effects found. [um]
    u : ndarray, shape (m,)
        Expanded uncertainty of each. [um]

    Returns
    -------
    tuple of (gain, expanded uncertainty)
        One a change; None where it cannot be told. [-]

    Examples
    --------
    Both flanks were meant to move by 2, and the left one by 1 more:

    >>> D = np.array([[2.0, 1.0], [2.0, 0.0]])
    >>> [(round(g, 2), round(w, 2)) for g, w in joint_gains(D, np.array([2.6, 1.2]), np.array([0.2, 0.2]))]
    [(0.6, 0.1), (1.4, 0.28)]
    """
    weighted, effects = meant / u[:, None], found / u
    normal = weighted.T @ weighted
    inverse = np.linalg.pinv(normal, hermitian=True)
    gains = inverse @ weighted.T @ effects
    told = np.abs(inverse @ normal - np.eye(len(gains))).max(axis=1, initial=0.0) < 1e-6
    freedom = len(found) - int(np.linalg.matrix_rank(weighted))
    square = 4 * float(np.sum((effects - weighted @ gains) ** 2))
    wider = math.sqrt(max(1.0, square / freedom)) if freedom > 0 else 1.0
    error = wider * np.sqrt(np.maximum(np.diag(inverse), 0.0))
    return tuple(
        (float(gain), float(width)) if yes else (None, None)
        for gain, width, yes in zip(gains, error, told, strict=True)
    )


def common_gain(
    gains: Sequence[tuple[float, float]], correlation: Array | None = None
) -> tuple[float, float, int]:
    r"""Mean of gains by their uncertainty; where they differ by more than that, the last one alone.

    Weighted mean by definition; that the last one counts where they differ is a house rule.

    .. math:: g = w'x,\; u^2 = w'Vw,\; w_i \propto u_i^{-2}

    Parameters
    ----------
    gains : sequence of (gain, expanded uncertainty)
        In order of time. [-]
    correlation : ndarray, shape (n, n), optional
        Of their errors; without it they are independent. [-]

    Returns
    -------
    gain, expanded uncertainty, how many it is of
        [-]

    Examples
    --------
    >>> [round(x, 3) for x in common_gain([(0.5, 0.2), (0.7, 0.2)])]
    [0.6, 0.141, 2]
    >>> common_gain([(0.5, 0.1), (1.5, 0.1)])
    (1.5, 0.1, 1)
    """
    from scipy import special

    g, u = np.array(gains).T
    u = np.maximum(u, 1e-9)
    weight = u**-2 / np.sum(u**-2)
    mean = float(weight @ g)
    square = 4 * float(np.sum(((g - mean) / u) ** 2))  # as if independent: those alike differ less
    if len(g) > 1 and special.chdtrc(len(g) - 1, square) < FALSE_ALARM:
        return float(g[-1]), float(u[-1]), 1
    covariance = np.outer(u, u) * (np.eye(len(g)) if correlation is None else correlation)
    return mean, math.sqrt(float(weight @ covariance @ weight)), len(g)
