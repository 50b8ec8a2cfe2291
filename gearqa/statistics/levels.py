"""Levels from cycle to cycle: a linear model whose errors follow each other (AR(1))."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gearqa.arrays import Array

CORRELATIONS = np.arange(9) / 10
"""Correlations of neighbouring cycles that are tried."""
FREEDOM_FOR_CORRELATION = 5


@dataclass(frozen=True, eq=False, slots=True)
class LevelFit:
    """Model of the levels of a series; columns are those of the design."""

    theta: Array
    """Coefficients. shape (p,) [um]"""
    covariance: Array
    """shape (p, p) [um^2]"""
    variance: float
    """S_B^2, variance of a level about the model. [um^2]"""
    dof: int
    rho: float
    """Correlation of neighbouring cycles."""
    residual: Array
    """Levels less the model. shape (C,) [um]"""

    def ahead(self, row: Array) -> tuple[float, float]:
        """Level that the model expects for a row of the design, and its variance over `variance`."""
        return float(row @ self.theta), float(row @ self.covariance @ row) / self.variance


def whitened(v: Array, rho: float) -> Array:
    r"""Rows freed of the correlation of neighbours.

    Prais and Winsten (1954), from memory.

    .. math:: v_0\sqrt{1-r^2},\quad v_c - r v_{c-1}

    Parameters
    ----------
    v : ndarray, shape (C,) or (C, k)
        Values or columns in production order. [any]
    rho : float
        Correlation of neighbouring cycles. [-]

    Returns
    -------
    ndarray, shape as v
        Transformed rows. [unit of v]

    Examples
    --------
    >>> whitened(np.array([1.0, 1.0, 1.0]), 0.6).tolist()
    [0.8, 0.4, 0.4]
    """
    found = np.array(v, dtype=np.float64)
    if rho:
        found[1:] -= rho * v[:-1]
        found[0] *= math.sqrt(1 - rho**2)
    return found


def rounding(x: Array) -> float:
    """Sum of squares below which levels differ by rounding of the arithmetic only.

    Own rule, no published source.

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels. [um]

    Returns
    -------
    float
        Sum of squares. [um^2]

    Examples
    --------
    >>> rounding(np.zeros(4)) < 1e-12
    True
    """
    return float(len(x) * (1e-9 * (1 + np.abs(x).max())) ** 2)


def correlation(x: Array, X: Array) -> float:
    r"""Correlation of neighbouring cycles about a model, from 0 to 0.8 in steps of 0.1.

    Residual maximum likelihood (Patterson and Thompson 1971, from memory).

    .. math:: \tfrac12\ln(1-r^2) - \sum\ln|R_{ii}| - \tfrac{C-p}{2}\ln RSS

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels in production order. [um]
    X : ndarray, shape (C, p)
        Columns of the model. [any]

    Returns
    -------
    float
        The one of largest likelihood; 0 with fewer than 5 degrees of freedom. [-]

    Examples
    --------
    >>> correlation(np.tile([1.0, -1.0], 6), np.ones((12, 1)))
    0.0
    """
    C, p = X.shape
    if C - p < FREEDOM_FOR_CORRELATION:
        return 0.0
    both = np.column_stack((X, x))
    stack = np.repeat(both[None], len(CORRELATIONS), axis=0)
    stack[:, 1:] -= CORRELATIONS[:, None, None] * both[None, :-1]
    stack[:, 0] *= np.sqrt(1 - CORRELATIONS**2)[:, None]
    # QR of the columns with the levels behind them: the last diagonal entry is sqrt(RSS)
    R = np.abs(np.diagonal(np.linalg.qr(stack, mode="r"), axis1=1, axis2=2))
    rss = np.maximum(R[:, -1] ** 2, rounding(x))
    columns = np.log(np.maximum(R[:, :-1], 1e-300)).sum(axis=1)
    likelihood = np.log(1 - CORRELATIONS**2) / 2 - columns - (C - p) / 2 * np.log(rss)
    return float(CORRELATIONS[int(np.argmax(likelihood))])


def fit_levels(x: Array, X: Array, rho: float | None = None) -> LevelFit:
    r"""Generalised least squares of the levels, errors AR(1).

    Aitken (1935); e.g. Draper and Smith, Applied Regression Analysis (from memory).

    .. math:: S_B^2 = \frac{RSS}{(C - p)(1 - r^2)}

    Parameters
    ----------
    x : ndarray, shape (C,)
        Levels in production order. [um]
    X : ndarray, shape (C, p)
        Columns of the model, independent of each other, p < C. [any]
    rho : float, optional
        Correlation of neighbouring cycles; by default the one of `correlation`. [-]

    Returns
    -------
    LevelFit
        Coefficients with covariance, variance of a level. [um]

    Examples
    --------
    >>> fit = fit_levels(np.array([1.0, 2.0, 3.0, 2.0]), np.ones((4, 1)))
    >>> fit.theta.tolist(), round(fit.variance, 3), fit.dof
    ([2.0], 0.667, 3)
    """
    r = correlation(x, X) if rho is None else rho
    C, p = X.shape
    xs, Xs = whitened(x, r), whitened(X, r)
    Q, R = np.linalg.qr(Xs)
    theta = np.linalg.solve(R, Q.T @ xs)
    error = xs - Xs @ theta
    innovation = max(float(error @ error), rounding(x)) / (C - p)
    inverse = np.linalg.inv(R)
    return LevelFit(
        theta,
        innovation * (inverse @ inverse.T),
        innovation / (1 - r**2),
        C - p,
        r,
        np.asarray(x - X @ theta),
    )
