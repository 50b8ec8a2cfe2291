"""Control charts: constants, limits that honour few values, EWMA, CUSUM, run rules in plain words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr, stdtrit

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
RuleName = Literal[
    "beyond_limit", "two_of_three_beyond_two_sd", "four_of_five_beyond_one_sd", "eight_on_one_side"
]

RULES: dict[RuleName, str] = {
    "beyond_limit": "one point beyond a control limit",
    "two_of_three_beyond_two_sd": "two of three points beyond two standard deviations on one side",
    "four_of_five_beyond_one_sd": "four of five points beyond one standard deviation on one side",
    "eight_on_one_side": "eight points in a row on one side of the centre",
}
"""Run rules by name. Each one added shortens the in-control run length; only the first is a default."""


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Constants of mean, range and standard deviation charts for samples of n."""

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    D3: float
    D4: float
    B3: float
    B4: float


@dataclass(frozen=True, slots=True)
class IndividualsLimits:
    """Limits of an individuals and moving range chart."""

    centre: float
    sd: float
    lower: float
    upper: float
    moving_range_centre: float
    moving_range_upper: float


@lru_cache(maxsize=64)
def chart_constants(n: int) -> ChartConstants:
    r"""Constants of Shewhart charts by quadrature over the distribution of the range.

    ISO 7870-2:2023, table of constants (from memory); d2 and d3 as in Tippett's integrals.

    .. math::
        d_2 = \int 1 - \Phi^n - (1-\Phi)^n\,dx,\quad
        c_4 = \sqrt{2/(n-1)}\,\Gamma(n/2)/\Gamma((n-1)/2)

    Parameters
    ----------
    n : int
        Values per sample, from 2 up. [-]

    Returns
    -------
    ChartConstants
        d2, d3, c4 and the factors made of them with three standard deviations. [-]

    Raises
    ------
    ValueError
        If n is below 2.

    Notes
    -----
    None.

    Examples
    --------
    >>> round(chart_constants(5).d2, 4), round(chart_constants(5).D4, 4)
    (2.3259, 2.1145)
    """
    if n < 2:
        raise ValueError(f"n = {n}: a range needs at least two values")
    x = np.arange(-9.0, 9.0, 0.02)
    phi = ndtr(x)
    d2 = float(np.sum(1 - phi**n - (1 - phi) ** n) * 0.02)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    r, w = 8.0 * (nodes + 1), 8.0 * weights
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    below = n * np.sum(density * (ndtr(x + r[:, None]) - phi) ** (n - 1), axis=1) * 0.02
    d3 = math.sqrt(float(2 * np.sum(w * r * (1 - below))) - d2**2)
    c4 = math.sqrt(2 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))
    spread = 3 * math.sqrt(1 - c4**2) / c4
    return ChartConstants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4,
        A2=3 / (d2 * math.sqrt(n)),
        A3=3 / (c4 * math.sqrt(n)),
        D3=max(0.0, 1 - 3 * d3 / d2),
        D4=1 + 3 * d3 / d2,
        B3=max(0.0, 1 - spread),
        B4=1 + spread,
    )


def individuals_limits(x: Array) -> IndividualsLimits:
    r"""Textbook limits of an individuals chart from the mean moving range, three standard deviations.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; ISO 7870-2:2023.

    .. math:: \bar x \pm 3\,\overline{MR}/d_2,\quad UCL_{MR} = D_4\,\overline{MR}

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values in production order. [any]

    Returns
    -------
    IndividualsLimits
        Centre, standard deviation, limits. [unit of x]

    Notes
    -----
    The handbook rounds d2 to 1.128 and prints 45.8159 and 55.8041 for the example.
    Right for many values only; for a few see `future_factor` and `reference_factor`.

    Examples
    --------
    >>> limits = individuals_limits(np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]))
    >>> round(limits.centre, 2), round(limits.lower, 4), round(limits.upper, 4)
    (50.81, 45.8176, 55.8024)
    """
    constants = chart_constants(2)
    centre, mean_range = float(np.mean(x)), float(np.mean(np.abs(np.diff(x))))
    sd = mean_range / constants.d2
    return IndividualsLimits(
        centre, sd, centre - 3 * sd, centre + 3 * sd, mean_range, constants.D4 * mean_range
    )


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

    Notes
    -----
    None.

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

    Notes
    -----
    None.

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

    Notes
    -----
    None.

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

    Notes
    -----
    None.

    Examples
    --------
    >>> ewma(np.array([52.0, 47.0, 53.0]), 0.3, 50.0).round(3).tolist()
    [50.6, 49.52, 50.564]
    """
    from scipy.signal import lfilter

    state = np.array([(1 - weight) * start])
    out, _ = lfilter([weight], [1.0, weight - 1.0], np.asarray(x, dtype=np.float64), zi=state)
    return np.asarray(out, dtype=np.float64)


def ewma_half_width(n: int, weight: float, factor: float, *, asymptotic: bool = False) -> Array:
    r"""Half width of the EWMA limits in standard deviations of one value.

    ISO 7870-6:2016 (from memory); the asymptotic form is that of NIST/SEMATECH 6.3.2.4.

    .. math:: L\sqrt{\frac{\lambda}{2-\lambda}\left(1 - (1-\lambda)^{2i}\right)},\quad i = 1 \dots n

    Parameters
    ----------
    n : int
        Number of points. [-]
    weight : float
        Weight of the newest value. [-]
    factor : float
        Limit L in standard deviations of the average. [-]
    asymptotic : bool
        Leave out the term that makes the first limits narrower. [-]

    Returns
    -------
    ndarray, shape (n,)
        Half widths. [-]

    Notes
    -----
    None.

    Examples
    --------
    >>> ewma_half_width(2, 0.3, 3.0).round(4).tolist()
    [0.9, 1.0986]
    """
    growth = 1.0 if asymptotic else 1 - (1 - weight) ** (2.0 * np.arange(1, n + 1))
    return np.asarray(factor * np.sqrt(weight / (2 - weight) * growth) * np.ones(n), dtype=np.float64)


def cusum(x: Array, target: float, allowance: float) -> tuple[Array, Array]:
    r"""Upper and lower tabular cumulative sums.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3; ISO 7870-4:2021.

    .. math:: C^+_i = \max(0, C^+_{i-1} + x_i - T - k),\quad C^-_i = \max(0, C^-_{i-1} + T - k - x_i)

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values in production order. [any]
    target : float
        Target T. [unit of x]
    allowance : float
        Allowance k. [unit of x]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Upper and lower sums, both counted positive. [unit of x]

    Notes
    -----
    max(0, S) of a running sum equals the sum less its running minimum, so no loop is needed.

    Examples
    --------
    >>> up, down = cusum(np.array([324.925, 324.675, 325.350]), 325.0, 0.3175)
    >>> up.round(4).tolist(), down.round(4).tolist()
    ([0.0, 0.0, 0.0325], [0.0, 0.0075, 0.0])
    """

    def one_side(steps: Array) -> Array:
        total = np.concatenate(([0.0], np.cumsum(steps)))
        return np.asarray((total - np.minimum.accumulate(total))[1:], dtype=np.float64)

    values = np.asarray(x, dtype=np.float64)
    return one_side(values - target - allowance), one_side(target - allowance - values)


def run_rule_signals(
    z: Array, rules: Sequence[RuleName] = ("beyond_limit",), limit: float = 3.0
) -> Mapping[RuleName, Bools]:
    """Points at which a run rule signals, on standardised values.

    Rules as in Champ and Woodall, Technometrics 29 (1987) (from memory); names are plain words.

    Parameters
    ----------
    z : ndarray, shape (..., n)
        Standardised values, production order along the last axis. [-]
    rules : sequence of str
        Which of `RULES`. [-]
    limit : float
        Control limit of `beyond_limit` in standard deviations. [-]

    Returns
    -------
    mapping of str to ndarray of bool, shape (..., n)
        True at the point that completes the pattern. [-]

    Notes
    -----
    Two of three and four of five: the completing point itself lies beyond.

    Examples
    --------
    >>> z = np.array([0.5, 2.1, 0.3, 2.4, 3.2])
    >>> found = run_rule_signals(z, ("beyond_limit", "two_of_three_beyond_two_sd"))
    >>> np.flatnonzero(found["beyond_limit"]).tolist()
    [4]
    >>> np.flatnonzero(found["two_of_three_beyond_two_sd"]).tolist()
    [3, 4]
    """
    z = np.asarray(z, dtype=np.float64)
    windows: dict[RuleName, tuple[int, int, float]] = {
        "two_of_three_beyond_two_sd": (2, 3, 2.0),
        "four_of_five_beyond_one_sd": (4, 5, 1.0),
        "eight_on_one_side": (8, 8, 0.0),
    }
    found: dict[RuleName, Bools] = {}
    for rule in rules:
        if rule == "beyond_limit":
            found[rule] = np.abs(z) > limit
            continue
        need, window, line = windows[rule]
        hit = np.zeros(z.shape, dtype=np.bool_)
        for side in (1.0, -1.0):
            beyond = side * z > line
            count = np.cumsum(beyond, axis=-1)
            before = np.zeros_like(count)
            before[..., window:] = count[..., :-window]
            hit |= beyond & (count - before >= need)
        found[rule] = hit
    return found
