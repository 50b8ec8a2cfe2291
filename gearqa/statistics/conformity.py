"""Conformity of a measured value with limits under measurement uncertainty."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal, overload

import numpy as np
from numpy.typing import ArrayLike

from gearqa.arrays import Array

State = Literal["conforms", "does not conform", "not proven"]
DECIMALS = 9
"""Both sides of a comparison are rounded to this many decimals: binary noise must not decide."""


@overload
def probability_of_conformity(y: float, u: float, lower: float | None, upper: float | None) -> float: ...
@overload
def probability_of_conformity(y: Array, u: float, lower: float | None, upper: float | None) -> Array: ...
def probability_of_conformity(
    y: ArrayLike, u: float, lower: float | None, upper: float | None
) -> float | Array:
    r"""Probability that the true value lies within the limits, given the measured value.

    JCGM 106:2012, 7.3 and 7.4 (from memory), normal distribution, no prior knowledge.

    .. math:: P_c = \Phi((U - y)/u) - \Phi((L - y)/u)

    Parameters
    ----------
    y : float or ndarray, shape (n,)
        Measured value. [any]
    u : float
        Standard uncertainty, positive. [any]
    lower, upper : float or None
        Limits; None where there is none. [any]

    Returns
    -------
    float or ndarray, shape (n,)
        Probability of conformity of this item. [-]

    Examples
    --------
    JCGM 106:2012, 7.3.3 example: 0.92 (from memory).

    >>> round(probability_of_conformity(5.40, 0.05, None, 5.47), 2)
    0.92
    """
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if isinstance(y, float | int):
        # mirrored below the lower limit: there the difference of two terms near 1 would lose its digits
        y = low + high - y if low > y and math.isfinite(high) else y
        return _phi((high - y) / u) - _phi((low - y) / u)
    value = np.asarray(y, dtype=np.float64)
    turn = low > value
    a = np.where(turn, value - high, low - value) / u
    b = np.where(turn, value - low, high - value) / u
    from scipy import special

    return np.asarray(special.ndtr(b) - special.ndtr(a))


def _phi(x: float) -> float:
    """Standard normal distribution function of one number, without the cost of an array."""
    return math.erfc(-x / math.sqrt(2)) / 2


def guard_band(u: float, confidence: float = 0.95) -> float:
    """Width of the guard band inside a limit.

    ISO 14253-1:2017 (from memory): conformity proven with 95 %, one-sided factor 1.645.

    Parameters
    ----------
    u : float
        Standard uncertainty. [any]
    confidence : float
        Probability with which conformity is to be proven. [-]

    Returns
    -------
    float
        Guard band. [any]

    Examples
    --------
    >>> round(guard_band(0.35), 4)
    0.5757
    """
    from scipy import special

    return float(special.ndtri(confidence)) * u


def provable(u: float, lower: float | None, upper: float | None, confidence: float = 0.95) -> bool:
    """Whether any measured value at all could prove conformity.

    ISO 14253-1:2017 (from memory): the acceptance zone must not be empty. Both limits count, so the
    best value, in the middle of the limits, decides.

    Parameters
    ----------
    u : float
        Standard uncertainty. [any]
    lower, upper : float or None
        Lower limit, or the natural bound that no value can be below; upper limit. [any]
    confidence : float
        Probability with which conformity is to be proven. [-]

    Returns
    -------
    bool
        False if even the best value stays below `confidence`. [-]

    Examples
    --------
    >>> provable(1.0, -2.0, 2.0), provable(1.0, -1.9, 1.9)
    (True, False)
    """
    if lower is None or upper is None:
        return True
    return round(probability_of_conformity((lower + upper) / 2, u, lower, upper), DECIMALS) >= confidence


def state(y: float, u: float | None, lower: float | None, upper: float | None,
          confidence: float = 0.95) -> State:  # fmt: skip
    """Conforms, does not conform, or not proven.

    ISO 14253-1:2017 (from memory): conformity and nonconformity are each to be proven; in between
    neither is. Without an uncertainty the value itself is compared with the limits.

    Parameters
    ----------
    y : float
        Measured value. [any]
    u, lower, upper : float or None
        Standard uncertainty, None if unknown; lower and upper limit. [any]
    confidence : float
        Probability with which either is to be proven. [-]

    Returns
    -------
    str
        One of the three words. [-]

    Examples
    --------
    >>> state(8.0, 0.5, None, 9.0), state(8.5, 0.5, None, 9.0), state(9.9, 0.5, None, 9.0)
    ('conforms', 'not proven', 'does not conform')
    """
    if u is None:
        return "conforms" if within(y, lower, upper) else "does not conform"
    pc = probability_of_conformity(y, u, lower, upper)
    if round(pc, DECIMALS) >= confidence:
        return "conforms"
    return "does not conform" if round(1 - pc, DECIMALS) >= confidence else "not proven"


def within(y: float, lower: float | None, upper: float | None) -> bool:
    """Whether a value lies within its limits, compared at nine decimals.

    Simple acceptance, JCGM 106:2012, 8.2 (from memory).

    Parameters
    ----------
    y : float
        Measured value. [any]
    lower, upper : float or None
        Lower and upper limit. [any]

    Returns
    -------
    bool
        True on the limit itself. [-]

    Examples
    --------
    >>> within(0.1 + 0.2, None, 0.3)
    True
    """
    value = round(y, DECIMALS)
    return (lower is None or value >= round(lower, DECIMALS)) and (
        upper is None or value <= round(upper, DECIMALS)
    )


def global_risks(process_mean: float, process_sd: float, u: float, tolerance: tuple[float, float],
                 acceptance: tuple[float, float]) -> tuple[float, float]:  # fmt: skip
    """Risk of accepting a bad item and of rejecting a good one, over a normal process.

    JCGM 106:2012, 9.5 global consumer's and producer's risk (from memory), by Gauss-Legendre
    quadrature.

    Parameters
    ----------
    process_mean, process_sd : float
        Mean and standard deviation of the true values. [any]
    u : float
        Standard uncertainty of measuring. [any]
    tolerance, acceptance : tuple of float
        Lower and upper limit of the tolerance; lower and upper limit of acceptance. [any]

    Returns
    -------
    tuple of float
        Consumer's risk (bad and accepted) and producer's risk (good and rejected). [-]

    Examples
    --------
    >>> bad_accepted, good_rejected = global_risks(0, 4, 1, (-8, 8), (-8, 8))
    >>> round(100 * bad_accepted, 3), round(100 * good_rejected, 3)
    (0.801, 1.485)
    """
    nodes, weights = np.polynomial.legendre.leggauss(200)
    low, high = tolerance

    def integral(a: float, b: float, accepted: bool) -> float:
        x = (a + b) / 2 + (b - a) / 2 * nodes
        p = probability_of_conformity(x, u, *acceptance)
        density = np.exp(-(((x - process_mean) / process_sd) ** 2) / 2) / (process_sd * math.sqrt(2 * np.pi))
        return float(np.sum(weights * density * (p if accepted else 1 - p)) * (b - a) / 2)

    reach = 9 * process_sd
    start, end = process_mean - reach, process_mean + reach
    # about its limits acceptance fades within a few u; the panels keep the nodes there
    fading = (limit + side * 9 * u for limit in acceptance for side in (-1, 0, 1))
    cuts = sorted({start, end, *(c for c in (low, high, *fading) if start < c < end)})
    panels = [(a, b, low <= (a + b) / 2 <= high) for a, b in pairwise(cuts)]
    consumer = sum(integral(a, b, True) for a, b, good in panels if not good)
    producer = sum(integral(a, b, False) for a, b, good in panels if good)
    return consumer, producer
