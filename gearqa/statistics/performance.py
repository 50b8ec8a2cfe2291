"""Process performance and capability indices with their bounds (ISO 22514)."""

from __future__ import annotations

import math
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from gearqa.statistics import noncentral_t

Array = NDArray[np.float64]


def potential_index(sd: float, lower: float, upper: float) -> float:
    """Index of the spread alone: tolerance over six standard deviations (Cp, Pp).

    ISO 22514-2:2017, normal case (from memory); NIST/SEMATECH e-Handbook 6.1.6.

    Parameters
    ----------
    sd : float
        Standard deviation: of the stable process for Cp, total for Pp. [any]
    lower : float
        Lower limit. [any]
    upper : float
        Upper limit. [any]

    Returns
    -------
    float
        (U - L)/(6 sd). [-]

    Examples
    --------
    >>> potential_index(2.0, 8.0, 20.0)
    1.0
    """
    return (upper - lower) / (6 * sd)


def upper_index(mean: float, sd: float, upper: float) -> float:
    """One-sided index against an upper limit (PpkU, CpkU).

    ISO 22514-2:2017, normal case (from memory); NIST/SEMATECH e-Handbook 6.1.6.

    Parameters
    ----------
    mean : float
        Mean. [any]
    sd : float
        Standard deviation. [any]
    upper : float
        Upper limit. [any]

    Returns
    -------
    float
        (U - mean)/(3 sd). [-]

    Examples
    --------
    >>> round(upper_index(16.0, 2.0, 20.0), 4)
    0.6667
    """
    return (upper - mean) / (3 * sd)


def lower_index(mean: float, sd: float, lower: float) -> float:
    """One-sided index against a lower limit (PpkL, CpkL).

    ISO 22514-2:2017, normal case (from memory); NIST/SEMATECH e-Handbook 6.1.6.

    Parameters
    ----------
    mean : float
        Mean. [any]
    sd : float
        Standard deviation. [any]
    lower : float
        Lower limit. [any]

    Returns
    -------
    float
        (mean - L)/(3 sd). [-]

    Examples
    --------
    >>> round(lower_index(16.0, 2.0, 8.0), 4)
    1.3333
    """
    return (mean - lower) / (3 * sd)


def target_index(mean: float, sd: float, lower: float, upper: float, target: float) -> float:
    """Index that counts the distance from the target as spread (Cpm).

    NIST/SEMATECH e-Handbook 6.1.6 (from memory).

    Parameters
    ----------
    mean : float
        Mean. [any]
    sd : float
        Standard deviation. [any]
    lower : float
        Lower limit. [any]
    upper : float
        Upper limit. [any]
    target : float
        Target value. [any]

    Returns
    -------
    float
        (U - L)/(6 sqrt(sd^2 + (mean - target)^2)). [-]

    Examples
    --------
    >>> round(target_index(16.0, 2.0, 8.0, 20.0, 14.0), 5)
    0.70711
    """
    return (upper - lower) / (6 * math.hypot(sd, mean - target))


def quantile_index(q_low: float, median: float, q_high: float, lower: float | None,
                   upper: float | None) -> float:  # fmt: skip
    """Smaller one-sided index of any distribution, from three of its quantiles.

    ISO 22514-2:2017, general (quantile) form (from memory).

    Parameters
    ----------
    q_low : float
        0.135 % quantile. [any]
    median : float
        50 % quantile. [any]
    q_high : float
        99.865 % quantile. [any]
    lower : float or None
        Lower limit; None if there is none. [any]
    upper : float or None
        Upper limit; None if there is none. [any]

    Returns
    -------
    float
        Smaller of the indices that the limits allow. [-]

    Examples
    --------
    Exponential distribution of mean 1, upper limit 6.

    >>> round(quantile_index(0.00135091, 0.69314718, 6.60765069, None, 6.0), 8)
    0.89726091
    """
    sides = []
    if upper is not None:
        sides.append((upper - median) / (q_high - median))
    if lower is not None:
        sides.append((median - lower) / (median - q_low))
    return min(sides)


def lognormal_upper_index(values: ArrayLike, upper: float) -> tuple[float, float, float]:
    """One-sided index of the logarithms, for quantities that cannot fall below 0.

    ISO 22514-2:2017, one-sided index (from memory) applied to logarithms: for a lognormal quantity
    this equals the normal index of its logarithm.

    Parameters
    ----------
    values : array_like, shape (n,)
        Positive values, n >= 2. [any]
    upper : float
        Upper limit, positive. [any]

    Returns
    -------
    tuple of float
        Index, mean and standard deviation of the logarithms. [-]

    Examples
    --------
    >>> index, m, s = lognormal_upper_index([2.0, 2.5, 3.1, 2.2, 2.8], 6.0)
    >>> round(index, 4), round(m, 4), round(s, 4)
    (1.6583, 0.9118, 0.1769)
    """
    logs = np.log(np.asarray(values, dtype=np.float64))
    mean, sd = float(logs.mean()), float(logs.std(ddof=1))
    return upper_index(mean, sd, math.log(upper)), mean, sd


@overload
def index_lower_bound(index: float, n: float, confidence: float = ..., df: float | None = ...) -> float: ...
@overload
def index_lower_bound(index: Array, n: float, confidence: float = ..., df: float | None = ...) -> Array: ...
def index_lower_bound(
    index: ArrayLike, n: float, confidence: float = 0.95, df: float | None = None
) -> float | Array:
    r"""Exact lower confidence bound of a one-sided index of normal values.

    ISO 22514-4:2016 (from memory), by the noncentral t distribution; for the smaller of two one-sided
    indices the bound is on the safe side.

    .. math:: P[t'_{\nu}(3\sqrt n\,C_L) \le 3\sqrt n\,\hat C] = \gamma

    Parameters
    ----------
    index : float or ndarray, shape (k,)
        Observed one-sided index. [-]
    n : float
        Values behind the mean; the effective number where they depend. [-]
    confidence : float
        One-sided confidence level. [-]
    df : float, optional
        Degrees of freedom of the standard deviation; n - 1 if not given. [-]

    Returns
    -------
    float or ndarray, shape (k,)
        Lower bound of the true index. [-]

    Examples
    --------
    >>> round(index_lower_bound(1.33, 25), 4)
    0.9908
    """
    scale = 3 * math.sqrt(n)
    nu = n - 1 if df is None else df
    if np.ndim(index) == 0:
        return noncentral_t.noncentrality(confidence, nu, scale * float(np.asarray(index))) / scale
    return noncentral_t.noncentrality(confidence, nu, scale * np.asarray(index, dtype=np.float64)) / scale


def index_needed(bound: float, n: int, confidence: float = 0.95) -> float:
    """Observed one-sided index that a sample must show for its lower bound to reach a value.

    ISO 22514-4:2016 (from memory): the bound of `index_lower_bound` turned round.

    Parameters
    ----------
    bound : float
        Lower bound wanted. [-]
    n : int
        Values. [-]
    confidence : float
        One-sided confidence level. [-]

    Returns
    -------
    float
        Observed index. [-]

    Examples
    --------
    >>> round(index_needed(1.33, 25), 4), round(index_needed(1.33, 10), 4)
    (1.7704, 2.2194)
    """
    scale = 3 * math.sqrt(n)
    return noncentral_t.quantile(confidence, n - 1, scale * bound) / scale


def potential_index_interval(index: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the index of the spread alone, by chi-square.

    ISO 22514-4:2016 (from memory); NIST/SEMATECH e-Handbook 6.1.6.

    Parameters
    ----------
    index : float
        Observed Cp or Pp. [-]
    n : int
        Values. [-]
    confidence : float
        Two-sided confidence level. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit. [-]

    Examples
    --------
    >>> low, high = potential_index_interval(1.33, 25)
    >>> round(low, 4), round(high, 4)
    (0.956, 1.7033)
    """
    df, tail = n - 1, (1 - confidence) / 2
    return index * math.sqrt(float(special.chdtri(df, 1 - tail)) / df), index * math.sqrt(
        float(special.chdtri(df, tail)) / df
    )


def smaller_index_interval(index: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Approximate interval of the smaller of two one-sided indices.

    Bissell, Applied Statistics 39 (1990) 331; ISO 22514-4:2016 (from memory).

    Parameters
    ----------
    index : float
        Observed Cpk or Ppk. [-]
    n : int
        Values. [-]
    confidence : float
        Two-sided confidence level, approximate. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit. [-]

    Examples
    --------
    >>> low, high = smaller_index_interval(1.33, 25)
    >>> round(low, 4), round(high, 4)
    (0.9317, 1.7283)
    """
    half = float(special.ndtri((1 + confidence) / 2)) * math.sqrt(1 / (9 * n) + index**2 / (2 * (n - 1)))
    return index - half, index + half
