"""Departure from the normal distribution: tests, and the points of a probability plot."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from gearqa.arrays import Array


def anderson_darling(values: ArrayLike) -> tuple[float, float]:
    """Anderson-Darling statistic for the normal distribution with estimated parameters, and p-value.

    D'Agostino and Stephens: Goodness-of-Fit Techniques (1986), table 4.9 (from memory);
    NIST/SEMATECH e-Handbook 1.3.5.14.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, n >= 8, not all equal. [any]

    Returns
    -------
    tuple of float
        A^2 (not modified) and the p-value of A^2 (1 + 0.75/n + 2.25/n^2). [-]

    Examples
    --------
    >>> a2, p = anderson_darling([1.2, 3.4, 2.2, 4.8, 3.1, 2.9, 5.5, 3.3, 4.1, 2.4])
    >>> round(a2, 4), round(p, 4)
    (0.1710, 0.9032)
    """
    x = np.sort(np.asarray(values, dtype=np.float64))
    n = x.size
    z = (x - x.mean()) / x.std(ddof=1)
    i = np.arange(1, n + 1)
    a2 = -n - float(np.sum((2 * i - 1) * (special.log_ndtr(z) + special.log_ndtr(-z[::-1])))) / n
    a = a2 * (1 + 0.75 / n + 2.25 / n**2)
    if a < 0.2:
        p = 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    elif a < 0.34:
        p = 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    elif a < 0.6:
        p = math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    elif a < 13:
        p = math.exp(1.2937 - 5.709 * a + 0.0186 * a * a)
    else:
        p = 0.0
    return a2, p


def upper_tail_p(values: ArrayLike) -> float:
    """Whether the upper tail is longer than a normal one: the smaller p-value of two tests.

    Skewness: D'Agostino, Biometrika 57 (1970) 679. Largest value: Grubbs, Technometrics 11 (1969) 1, by
    the union of its n chances (both from memory).

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, n >= 8, not all equal. [any]

    Returns
    -------
    float
        Smaller of two one-sided p-values; each is below p in a share p of normal samples. [-]

    Examples
    --------
    >>> round(upper_tail_p([1.2, 3.4, 2.2, 4.8, 3.1, 2.9, 5.5, 3.3, 4.1, 2.4]), 4)
    0.2934
    """
    x = np.asarray(values, dtype=np.float64)
    n = x.size
    z = (x - x.mean()) / x.std()
    y = float(np.mean(z**3)) * math.sqrt((n + 1) * (n + 3) / (6 * (n - 2)))
    kurtosis = 3 * (n * n + 27 * n - 70) * (n + 1) * (n + 3) / ((n - 2) * (n + 5) * (n + 7) * (n + 9))
    w = math.sqrt(2 * (kurtosis - 1)) - 1
    skewed = math.asinh(y / math.sqrt(2 / (w - 1))) / math.sqrt(math.log(w) / 2)
    g = float(z.max()) * math.sqrt((n - 1) / n)
    rest = (n - 1) ** 2 - n * g * g
    far = special.stdtr(n - 2, -g * math.sqrt(n * (n - 2) / rest)) if rest > 0 else 0.0
    return min(float(special.ndtr(-skewed)), n * float(far), 1.0)


def probability_plot(values: ArrayLike) -> tuple[Array, Array]:
    """Points of a normal probability plot.

    NIST/SEMATECH e-Handbook 1.3.3.21 (from memory): medians of the uniform order statistics
    (Filliben, Technometrics 17 (1975) 111).

    Parameters
    ----------
    values : array_like, shape (n,)
        Values. [any]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Normal quantiles, and the values in rising order. [-, any]

    Examples
    --------
    >>> quantiles, ordered = probability_plot([3.0, 1.0, 2.0])
    >>> quantiles.round(4).tolist(), ordered.tolist()
    ([-0.8193, 0.0, 0.8193], [1.0, 2.0, 3.0])
    """
    x = np.sort(np.asarray(values, dtype=np.float64))
    n = x.size
    u = (np.arange(1, n + 1) - 0.3175) / (n + 0.365)
    u[-1] = 0.5 ** (1 / n)
    u[0] = 1 - u[-1]
    return np.asarray(special.ndtri(u)), x
