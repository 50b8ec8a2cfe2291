"""Mean and standard deviation with intervals; order and independence of a series."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special


def mean_interval(mean: float, sd: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a mean by Student's t.

    NIST/SEMATECH e-Handbook 1.3.5.2 (from memory).

    Parameters
    ----------
    mean, sd : float
        Mean of the values and standard deviation. [any]
    n : int
        Independent values. [-]
    confidence : float
        Two-sided confidence level. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit. [any]

    Examples
    --------
    NIST data set ZARR13, 195 values: 9.258242 to 9.264679 (from memory).

    >>> low, high = mean_interval(9.26146, 0.02279, 195)
    >>> round(low, 4), round(high, 4)
    (9.2582, 9.2647)
    """
    half = float(special.stdtrit(n - 1, (1 + confidence) / 2)) * sd / math.sqrt(n)
    return mean - half, mean + half


def sd_interval(sd: float, df: float, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a standard deviation of normal values by chi-square.

    NIST/SEMATECH e-Handbook 1.3.5.8 (from memory).

    Parameters
    ----------
    sd : float
        Standard deviation. [any]
    df : float
        Degrees of freedom, need not be whole. [-]
    confidence : float
        Two-sided confidence level. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit. [any]

    Examples
    --------
    >>> low, high = sd_interval(1.0, 19)
    >>> round(low, 4), round(high, 4)
    (0.7605, 1.4606)
    """
    tail = (1 - confidence) / 2
    low, high = (sd * math.sqrt(df / float(special.chdtri(df, p))) for p in (tail, 1 - tail))
    return low, high


def sd_interval_any_shape(values: ArrayLike, confidence: float = 0.95) -> tuple[float, float]:
    """Approximate interval of a standard deviation without assuming the normal distribution.

    Bonett, Computational Statistics & Data Analysis 50 (2006) 775 (from memory).

    Parameters
    ----------
    values : array_like, shape (n,)
        Independent values, n >= 5. [any]
    confidence : float
        Two-sided confidence level, approximate. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit. [any]

    Examples
    --------
    >>> low, high = sd_interval_any_shape([2.1, 2.4, 2.2, 3.9, 2.6, 2.3, 2.8, 2.2, 2.5, 3.1])
    >>> round(low, 2), round(high, 2)
    (0.24, 1.57)
    """
    x = np.asarray(values, dtype=np.float64)
    n = x.size
    z = float(special.ndtri((1 + confidence) / 2))
    trim = int(n / (2 * math.sqrt(n - 4)))
    centre = np.sort(x)[trim : n - trim].mean() if n > 2 * trim else np.median(x)
    squares = float(np.sum((x - x.mean()) ** 2))
    if squares == 0:
        return 0.0, 0.0
    kurtosis = n * float(np.sum((x - centre) ** 4)) / squares**2
    scale = n / (n - z)
    error = scale * math.sqrt(max(0.0, kurtosis - (n - 3) / n) / (n - 1))
    variance = scale * squares / (n - 1)
    return math.sqrt(variance * math.exp(-z * error)), math.sqrt(variance * math.exp(z * error))


def lognormal_intervals(
    log_mean: float,
    log_sd: float,
    n: int,
    confidence: float = 0.95,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Intervals of mean and standard deviation of a lognormal quantity.

    Zou, Huo, Taleban, Environmetrics 20 (2009) 172, mean of a lognormal by combining the limits of its
    two independent parts (from memory); the same combination for the standard deviation.

    Parameters
    ----------
    log_mean, log_sd : float
        Mean of the logarithms; standard deviation of the logarithms, positive. [-]
    n : int
        Independent values. [-]
    confidence : float
        Two-sided confidence level, approximate. [-]

    Returns
    -------
    tuple of tuple of float
        Limits of the mean, limits of the standard deviation. [any]

    Examples
    --------
    >>> mean, sd = lognormal_intervals(1.0, 0.3, 20)
    >>> [round(v, 2) for v in mean], [round(v, 2) for v in sd]
    ([2.47, 3.30], [0.63, 1.41])
    """
    low_m, high_m = mean_interval(log_mean, log_sd, n, confidence=confidence)
    low_s, high_s = sd_interval(log_sd, n - 1, confidence)

    def part_of_mean(s: float) -> float:
        return s * s / 2

    def part_of_sd(s: float) -> float:
        return s * s / 2 + math.log(math.expm1(s * s)) / 2

    def limits(part: Callable[[float], float]) -> tuple[float, float]:
        here = part(log_sd)
        below = math.hypot(log_mean - low_m, here - part(low_s))
        above = math.hypot(high_m - log_mean, part(high_s) - here)
        return math.exp(log_mean + here - below), math.exp(log_mean + here + above)

    return limits(part_of_mean), limits(part_of_sd)


def runs_test(values: ArrayLike) -> float:
    """Probability of as few or as many runs about the median in a random order.

    NIST/SEMATECH e-Handbook 1.3.5.13, runs test (from memory); exact distribution of the runs of two
    kinds instead of the normal approximation given there. Values equal to the median are left out.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values in order of production. [any]

    Returns
    -------
    float
        Two-sided p-value (twice the smaller tail, at most 1); 1 if one kind is missing. [-]

    Examples
    --------
    >>> round(runs_test([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]), 6)
    0.015873
    """
    x = np.asarray(values, dtype=np.float64)
    above = (x > np.median(x))[x != np.median(x)]
    n1, n2 = int(above.sum()), int(above.size - above.sum())
    if min(n1, n2) == 0:
        return 1.0
    runs = 1 + int(np.count_nonzero(above[1:] != above[:-1]))
    total = math.comb(n1 + n2, n1)

    def ways(r: int) -> int:
        k, odd = divmod(r, 2)
        first, second = ((math.comb(n - 1, k - 1), math.comb(n - 1, k)) for n in (n1, n2))
        return first[0] * second[1] + first[1] * second[0] if odd else 2 * first[0] * second[0]

    few = sum(ways(r) for r in range(2, runs + 1)) / total
    many = sum(ways(r) for r in range(runs, 2 * min(n1, n2) + 2)) / total
    return min(1.0, 2 * min(few, many))


def trend_test(values: ArrayLike) -> float:
    """Probability of at least this rank correlation with the order if there is no trend.

    Mann, Econometrica 13 (1945) 245; Kendall: Rank Correlation Methods (from memory). Normal
    approximation with ties and continuity correction.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values in order of production. [any]

    Returns
    -------
    float
        Two-sided p-value. [-]

    Examples
    --------
    >>> round(trend_test([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]), 5)
    8e-05
    """
    x = np.asarray(values, dtype=np.float64)
    n = x.size
    s = float(np.sum(np.sign(np.subtract.outer(x, x))[np.tril_indices(n, -1)]))
    ties = np.unique(x, return_counts=True)[1]
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1) * (2 * ties + 5)))) / 18
    if variance <= 0 or s == 0:
        return 1.0
    return float(2 * special.ndtr(-(abs(s) - 1) / math.sqrt(variance)))


def effective_sample_size(n: int, group_size: float, correlation: float) -> float:
    """Independent values that carry as much about the mean as n values in groups.

    Kish: Survey Sampling (1965), design effect (from memory).

    Parameters
    ----------
    n : int
        Values. [-]
    group_size, correlation : float
        Values in one group (dress cycle), correlation within a group. [-]

    Returns
    -------
    float
        n / (1 + (group_size - 1) correlation). [-]

    Examples
    --------
    >>> effective_sample_size(20, 4, 0.5)
    8.0
    """
    return n / (1 + (group_size - 1) * correlation)
