"""Control charts: limits that honour few values, and the EWMA."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import stdtrit

from gearqa.arrays import Array


def future_factor(m: int, rate: float) -> float:
    r"""How many standard deviations a new value may lie off the mean of m earlier ones.

    Prediction interval of one normal value, e.g. Hahn and Meeker, Statistical Intervals (1991), 4.8
    (from memory).

    .. math:: t_{m-1;\,1-\alpha/2}\sqrt{1 + 1/m}

    Parameters
    ----------
    m : int
        Values that mean and standard deviation come from, from 2 up. [-]
    rate : float
        Chance of a false alarm of one point, both sides together. [-]

    Returns
    -------
    float
        Multiplier of the standard deviation. [-]

    Examples
    --------
    >>> round(future_factor(10, 0.0027), 2), round(future_factor(50, 0.0027), 2)
    (4.29, 3.19)
    """
    return float(stdtrit(m - 1, 1 - rate / 2)) * math.sqrt(1 + 1 / m)


def reference_factor(m: int, rate: float) -> float:
    r"""The same for one of the m values that mean and standard deviation were computed from.

    Thompson (1935), distribution of the studentised deviate (from memory).

    .. math:: \frac{m-1}{\sqrt m}\sqrt{\frac{t^2}{m - 2 + t^2}},\quad t = t_{m-2;\,1-\alpha/2}

    Parameters
    ----------
    m : int
        Values, from 3 up. [-]
    rate : float
        Chance of a false alarm of one point, both sides together. [-]

    Returns
    -------
    float
        Multiplier of the standard deviation; never above (m - 1)/sqrt(m). [-]

    Examples
    --------
    >>> round(reference_factor(10, 0.0027), 3), round(reference_factor(1000, 0.0027), 3)
    (2.374, 2.994)
    """
    t2 = float(stdtrit(m - 2, 1 - rate / 2)) ** 2
    return (m - 1) / math.sqrt(m) * math.sqrt(t2 / (m - 2 + t2))


def moving_range_factor(m: int, rate: float, *, inside: bool) -> float:
    r"""Upper limit of a moving range of two, in standard deviations estimated from m values.

    Student's t for a contrast of two new values; for two of the m values themselves the studentised
    contrast (Thompson 1935, from memory).

    .. math::
        \sqrt2\,t_{m-1}\ \text{(new)},\quad
        \sqrt2\sqrt{\frac{(m-1)t_{m-2}^2}{m-2+t_{m-2}^2}}\ \text{(inside)}

    Parameters
    ----------
    m : int
        Values the standard deviation comes from, from 3 up. [-]
    rate : float
        Chance of a false alarm of one point. [-]
    inside : bool
        Whether the two values are among the m. [-]

    Returns
    -------
    float
        Multiplier of the standard deviation. [-]

    Examples
    --------
    >>> round(moving_range_factor(20, 0.0027, inside=False), 3)
    4.875
    """
    if not inside:
        return math.sqrt(2) * float(stdtrit(m - 1, 1 - rate / 2))
    t2 = float(stdtrit(m - 2, 1 - rate / 2)) ** 2
    return math.sqrt(2) * math.sqrt((m - 1) * t2 / (m - 2 + t2))


def ewma(x: Array, weight: float, start: float) -> Array:
    r"""Exponentially weighted moving average.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; ISO 7870-6:2016.

    .. math:: z_i = \lambda x_i + (1-\lambda) z_{i-1},\quad z_0 = \text{start}

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values in production order. [any]
    weight : float
        Weight of the newest value, above 0, at most 1. [-]
    start : float
        Value before the first. [unit of x]

    Returns
    -------
    ndarray, shape (n,)
        Averages. [unit of x]

    Examples
    --------
    >>> ewma(np.array([52.0, 47.0, 53.0]), 0.3, 50.0).round(3).tolist()
    [50.6, 49.52, 50.564]
    """
    averages, z = [], start
    for value in np.asarray(x, dtype=np.float64).tolist():
        z = weight * value + (1 - weight) * z
        averages.append(z)
    return np.array(averages, dtype=np.float64)


def ewma_half_width(n: int, weight: float, factor: float) -> Array:
    r"""Half width of the EWMA limits in standard deviations of one value.

    ISO 7870-6:2016 (from memory); NIST/SEMATECH 6.3.2.4 has them without the term that makes the first ones
    narrower.

    .. math:: L\sqrt{\frac{\lambda}{2-\lambda}\left(1 - (1-\lambda)^{2i}\right)},\quad i = 1 \dots n

    Parameters
    ----------
    n : int
        Number of points. [-]
    weight, factor : float
        Weight of the newest value; limit L in standard deviations of the average. [-]

    Returns
    -------
    ndarray, shape (n,)
        Half widths. [-]

    Examples
    --------
    >>> ewma_half_width(2, 0.3, 3.0).round(4).tolist()
    [0.9, 1.0986]
    """
    growth = 1 - (1 - weight) ** (2.0 * np.arange(1, n + 1))
    return np.asarray(factor * np.sqrt(weight / (2 - weight) * growth), dtype=np.float64)
