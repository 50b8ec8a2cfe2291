"""Do two sides agree: bias and limits of agreement, En, correlation, trend with order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtrc, ndtr, ndtri, stdtr, stdtrit

from gearqa.arrays import Array
from gearqa.statistics import noncentral_t
from gearqa.statistics.location import mean_interval

Interval = tuple[float, float]
CONFIDENCE = 0.95
"""Of intervals, and of what agreeing sides keep to."""


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Bias of paired differences and the limits that hold 95 % of them."""

    n: int
    bias: float
    bias_interval: Interval
    sd: float
    limits: Interval
    lower_interval: Interval
    upper_interval: Interval


@dataclass(frozen=True, slots=True)
class OrderTrend:
    """Straight line of values against their order."""

    slope: float
    """Per place in the order."""
    p: float


def limits_of_agreement(difference: Array, *, factor: float = 1.959963984540054) -> LimitsOfAgreement:
    r"""Bland and Altman's limits of agreement with 95 % intervals.

    Bland and Altman, Lancet i (1986) and Stat. Methods Med. Res. 8 (1999); exact intervals: Carkeet,
    Optometry and Vision Science 92 (2015) (from memory).

    .. math::
        \bar d \pm z s,\quad \bar d + s\,t'_{q;\,n-1,\,z\sqrt n}/\sqrt n

    Parameters
    ----------
    difference : ndarray, shape (n,)
        Paired differences, one per gear. [um]
    factor : float
        Standard deviations from bias to limit. [-]

    Returns
    -------
    LimitsOfAgreement
        Bias, limits, intervals. [um]

    Raises
    ------
    ValueError
        If there are fewer than two pairs.

    Notes
    -----
    Limits are to be compared with the tolerance; 95 % of the points lie inside by construction.

    Examples
    --------
    >>> found = limits_of_agreement(np.array([0.1, -0.2, 0.4, 0.0, 0.3]))
    >>> round(found.bias, 2), tuple(round(v, 3) for v in found.limits)
    (0.12, (-0.348, 0.588))
    """
    d = np.asarray(difference, dtype=np.float64)
    n = len(d)
    if n < 2:
        raise ValueError(f"{n} pair: a spread needs at least two")
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    low, high = bias - factor * sd, bias + factor * sd
    far, near = (
        noncentral_t.quantile(q, n - 1, factor * math.sqrt(n)) * sd / math.sqrt(n)
        for q in ((1 + CONFIDENCE) / 2, (1 - CONFIDENCE) / 2)
    )
    lower, upper = (bias - far, bias - near), (bias + near, bias + far)
    return LimitsOfAgreement(n, bias, mean_interval(bias, sd, n), sd, (low, high), lower, upper)


def en_number(difference: float, U_one: float, U_other: float) -> float:
    r"""En number of two values with expanded uncertainties.

    ISO 13528:2022 and ISO/IEC 17043:2023 (from memory).

    .. math:: E_n = d/\sqrt{U_1^2 + U_2^2}

    Parameters
    ----------
    difference, U_one, U_other : float
        One value less the other; expanded uncertainty of each, k = 2. [um]

    Returns
    -------
    float
        Between -1 and 1: the values agree within their uncertainties. [-]

    Notes
    -----
    Meaningless for two evaluations of the same measured points.

    Examples
    --------
    >>> round(en_number(0.2, 0.3, 0.1), 8)
    0.63245553
    """
    return difference / math.hypot(U_one, U_other)


def order_trend(values: Array) -> OrderTrend | None:
    """Straight line of values against their order, with its p.

    Least squares on the place 0..n-1, centred.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values (differences) in order. [um]

    Returns
    -------
    OrderTrend or None
        None below three values or without any scatter. [um per place]

    Examples
    --------
    >>> round(order_trend(np.array([0.0, 0.11, 0.19, 0.31, 0.4])).slope, 3)
    0.1
    """
    y = np.asarray(values, dtype=np.float64)
    n = len(y)
    if n < 3:
        return None
    x = np.arange(n) - (n - 1) / 2
    S = float(x @ x)
    slope = float(x @ y) / S
    residual = y - y.mean() - slope * x
    se = math.sqrt(float(residual @ residual) / (n - 2) / S)
    if se == 0:
        return None
    return OrderTrend(slope, float(2 * stdtr(n - 2, -abs(slope) / se)))


def correlation(x: Array, y: Array) -> float | None:
    r"""Pearson's correlation.

    Product moment, the textbook definition.

    .. math:: S_{xy}/\sqrt{S_{xx} S_{yy}}

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        One side and the other. [um]

    Returns
    -------
    float or None
        None below four pairs or if one side does not vary. [-]

    Notes
    -----
    A high correlation is no agreement, a low one only says that the gears are alike.

    Examples
    --------
    >>> x = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    >>> round(correlation(x, np.array([1.1, 1.9, 3.2, 3.9, 5.1])), 4)
    0.9964
    """
    dx, dy = np.asarray(x, float) - np.mean(x), np.asarray(y, float) - np.mean(y)
    n = len(dx)
    norm = math.sqrt(float(dx @ dx) * float(dy @ dy))
    if n < 4 or norm == 0:
        return None
    return max(-1.0, min(1.0, float(dx @ dy) / norm))


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """Mean of differences with its interval and the p of none."""

    mean: float
    interval: Interval
    p: float


def mean_difference(values: Array) -> MeanDifference:
    r"""Mean of differences, its 95 % interval, and how rarely none would give as much.

    Student's t, the textbook formula.

    .. math:: \bar d \pm t_{0.975;\,n-1}\,s/\sqrt n

    Parameters
    ----------
    values : ndarray, shape (n,)
        Differences, at least two. [um]

    Returns
    -------
    MeanDifference
        Mean, interval, p. [um], [um], [-]

    Examples
    --------
    >>> found = mean_difference(np.array([0.7, 0.8, 0.9]))
    >>> round(found.mean, 2), tuple(round(v, 2) for v in found.interval), round(found.p, 4)
    (0.8, (0.55, 1.05), 0.0052)
    """
    d = np.asarray(values, dtype=np.float64)
    n, mean = len(d), float(d.mean())
    se = float(d.std(ddof=1)) / math.sqrt(n)
    half = float(stdtrit(n - 1, (1 + CONFIDENCE) / 2)) * se
    p = float(2 * stdtr(n - 1, -abs(mean) / se)) if se > 0 else float(mean == 0)
    return MeanDifference(mean, (mean - half, mean + half), p)


def allowed_beyond(n: int) -> int:
    r"""How many of n En numbers may exceed 1 where both sides agree.

    U is stated with k = 2, so 4.55 % of normal differences exceed it (ISO/IEC Guide 98-3); the smallest
    number that is exceeded in 5 % of such comparisons or less, by the binomial distribution. One value has
    to keep to 1.

    .. math:: \min\{k: P(X > k) \le 0.05\},\quad X \sim B(n, 2\Phi(-2))

    Parameters
    ----------
    n : int
        Values compared. [-]

    Returns
    -------
    int
        Number of values. [-]

    Examples
    --------
    >>> [allowed_beyond(n) for n in (1, 2, 12, 100, 204)]
    [0, 1, 2, 8, 14]
    """
    share = float(2 * ndtr(-2.0))
    k = np.arange(n + 1)
    return int(k[np.argmax(bdtrc(k, n, share) <= 1 - CONFIDENCE + 1e-12)])


def largest_en(n: int) -> float:
    r"""Magnitude that the largest of n En numbers keeps to in 99 of 100 cases where both sides agree.

    Sidak's bound for n normal values, U with k = 2.

    .. math:: \Phi^{-1}\left(1 - (1 - 0.99^{1/n})/2\right)/2

    Parameters
    ----------
    n : int
        Values compared. [-]

    Returns
    -------
    float
        En number. [-]

    Examples
    --------
    >>> [round(largest_en(n), 2) for n in (1, 12, 204)]
    [1.29, 1.67, 2.03]
    """
    return float(-ndtri((1 - 0.99 ** (1 / n)) / 2)) / 2
