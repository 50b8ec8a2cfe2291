"""Noncentral t distribution: the quantiles that tolerance factors and index bounds rest on."""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from gearqa.arrays import Array

FAR = 1e4


def quantile(probability: float, df: float, nc: float) -> float:
    """Quantile of the noncentral t distribution.

    Johnson, Kotz, Balakrishnan: Continuous Univariate Distributions, vol. 2, ch. 31 (from memory).

    Parameters
    ----------
    probability, df : float
        Probability below the quantile, 0 < probability < 1; degrees of freedom, need not be whole. [-]
    nc : float
        Noncentrality. [-]

    Returns
    -------
    float
        t with P(T <= t) = probability. [-]

    Notes
    -----
    One secant step in the probit scale follows the library's inverse, whose last digits depend on
    the version of the library.

    Examples
    --------
    k1 for n = 10, coverage 0.95, confidence 0.95 is 2.911 in NIST/SEMATECH 7.2.6.3 and ISO 16269-6
    (from memory).

    >>> round(quantile(0.95, df=9, nc=10**0.5 * 1.6448536269514722) / 10**0.5, 3)
    2.911
    """
    t = float(special.nctdtrit(df, nc, probability))
    target = float(special.ndtri(probability))
    step = 1e-4 * max(1.0, abs(t))
    low, here, high = (
        float(special.ndtri(special.nctdtr(df, nc, value))) for value in (t - step, t, t + step)
    )
    slope = (high - low) / (2 * step)
    if not (np.isfinite(slope) and slope > 0 and np.isfinite(here)):
        return t
    return t - (here - target) / slope


@overload
def noncentrality(probability: float, df: float, t: float) -> float: ...
@overload
def noncentrality(probability: float, df: float, t: Array) -> Array: ...
def noncentrality(probability: float, df: float, t: ArrayLike) -> float | Array:
    """Noncentrality at which `t` is the quantile of the given probability.

    Johnson, Kotz, Balakrishnan: Continuous Univariate Distributions, vol. 2, ch. 31 (from memory).

    Parameters
    ----------
    probability, df : float
        P(T <= t), 0 < probability < 1; degrees of freedom, need not be whole. [-]
    t : float or ndarray, shape (n,)
        Observed t. [-]

    Returns
    -------
    float or ndarray, shape (n,)
        Noncentrality. [-]

    Notes
    -----
    The library's inverse is good to about 1e-7 only; two secant steps in the probit scale, where the
    function is nearly a straight line, bring it to 1e-12. Its time grows with t without end; beyond
    t = 1e4 the normal part of T is too small to matter (1e-8 of the result), and only the chi-square
    part is left.

    Examples
    --------
    >>> nc = noncentrality(0.95, df=9, t=12.0)
    >>> round(quantile(0.95, df=9, nc=nc), 9)
    12.0
    """
    asked = np.asarray(t, dtype=np.float64)
    far = np.abs(asked) > FAR
    given = np.where(far, 0.0, asked)
    nc = np.asarray(special.nctdtrinc(df, probability, given), dtype=np.float64)
    target = special.ndtri(probability)
    for _ in range(2):
        step = 1e-4 * np.maximum(1.0, np.abs(nc))
        here = special.ndtri(special.nctdtr(df, nc, given))
        slope = (special.ndtri(special.nctdtr(df, nc + step, given)) - here) / step
        nc = nc - (here - target) / slope
    tail = np.where(asked > 0, special.chdtri(df, probability), special.chdtri(df, 1 - probability))
    nc = np.where(far, asked * np.sqrt(tail / df), nc)
    return float(nc) if np.ndim(t) == 0 else nc
