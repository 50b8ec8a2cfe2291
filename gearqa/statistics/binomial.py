"""Exact bounds of a share: binomial, and for a finite lot."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from gearqa.statistics.counting import smallest_count


def lower_bound(count: int, n: int, confidence: float = 0.95) -> float:
    """One-sided exact lower bound of a binomial share.

    Clopper and Pearson, Biometrika 26 (1934) 404.

    Parameters
    ----------
    count, n : int
        Items with the property, items looked at. [-]
    confidence : float
        One-sided confidence level. [-]

    Returns
    -------
    float
        Smallest share that the observation does not contradict; 0 for a count of 0. [-]

    Examples
    --------
    >>> round(lower_bound(20, 20), 4), round(lower_bound(59, 59), 4)
    (0.8609, 0.9505)
    """
    return 0.0 if count == 0 else float(special.betaincinv(count, n - count + 1, 1 - confidence))


def upper_bound(count: int, n: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of a binomial share.

    Clopper and Pearson, Biometrika 26 (1934) 404.

    Parameters
    ----------
    count, n : int
        Items with the property, items looked at. [-]
    confidence : float
        One-sided confidence level. [-]

    Returns
    -------
    float
        Largest share that the observation does not contradict; 1 if all have it. [-]

    Examples
    --------
    >>> round(upper_bound(0, 50), 8)
    0.05815508
    """
    return 1.0 if count == n else float(special.betaincinv(count + 1, n - count, confidence))


def hypergeometric_cdf(count: int, lot_size: int, marked: int, n: int) -> float:
    """Probability of at most `count` marked items in a sample drawn without replacement.

    ISO 3534-1, hypergeometric distribution (from memory); sum of exact terms by log gamma.

    Parameters
    ----------
    count, lot_size, marked, n : int
        Marked items in the sample, items and marked items in the lot, sample size. [-]

    Returns
    -------
    float
        P(X <= count). [-]

    Examples
    --------
    A sample of 51 from 200 with 10 bad ones holds none in fewer than 5 of 100 cases.

    >>> hypergeometric_cdf(0, 200, 10, 51) <= 0.05 < hypergeometric_cdf(0, 200, 10, 50)
    True
    """
    lowest, highest = max(0, n - (lot_size - marked)), min(n, marked)
    if count < lowest:
        return 0.0
    if count >= highest:
        return 1.0
    upper = count - lowest + 1 > highest - count
    x = np.arange(count + 1, highest + 1) if upper else np.arange(lowest, count + 1)
    total = math.fsum(np.exp(_log_choose(marked, x) + _log_choose(lot_size - marked, n - x)
                             - _log_choose(lot_size, np.asarray(n))))  # fmt: skip
    return min(1.0, max(0.0, 1 - total if upper else total))


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    k = np.asarray(k, dtype=np.float64)
    return np.asarray(special.gammaln(n + 1.0) - special.gammaln(k + 1) - special.gammaln(n - k + 1))


def lot_lower_bound(count: int, n: int, lot_size: int, confidence: float = 0.95) -> int:
    """One-sided exact lower bound of the items with a property in a finite lot.

    Inversion of the hypergeometric test: the smallest number in the lot at which seeing `count` or
    more of them in the sample has a probability above 1 - confidence.

    Parameters
    ----------
    count, n, lot_size : int
        Items with the property in the sample, sample size, items in the lot. [-]
    confidence : float
        One-sided confidence level. [-]

    Returns
    -------
    int
        Number of items in the lot, at least `count`. [-]

    Examples
    --------
    >>> lot_lower_bound(20, 20, 400) / 400, lot_lower_bound(20, 20, 50) / 50
    (0.865, 0.9)
    """

    def possible(items: int) -> bool:
        return 1 - hypergeometric_cdf(count - 1, lot_size, items, n) > 1 - confidence

    return smallest_count(possible, count - 1, lot_size - (n - count))


def lot_upper_bound(count: int, n: int, lot_size: int, confidence: float = 0.95) -> int:
    """One-sided exact upper bound of the items with a property in a finite lot.

    The lot's items without the property have the lower bound of `lot_lower_bound`.

    Parameters
    ----------
    count, n, lot_size : int
        Items with the property in the sample, sample size, items in the lot. [-]
    confidence : float
        One-sided confidence level. [-]

    Returns
    -------
    int
        Number of items in the lot. [-]

    Examples
    --------
    >>> lot_upper_bound(0, 20, 400)
    54
    """
    return lot_size - lot_lower_bound(n - count, n, lot_size, confidence)
