"""Factors of statistical tolerance intervals: normal, distribution-free, and with groups."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from gearqa.statistics import noncentral_t


def one_sided_factor(n: float, coverage: float, confidence: float = 0.95, df: float | None = None) -> float:
    r"""Exact factor k1 of a one-sided tolerance limit of normal values.

    ISO 16269-6:2014, one-sided, both parameters unknown (from memory); NIST/SEMATECH 7.2.6.3.

    .. math:: k_1 = t'_{\gamma;\,\nu}(\sqrt n\,z_p)/\sqrt n

    Parameters
    ----------
    n : float
        Values behind the mean; the effective number where they depend. [-]
    coverage : float
        Share of the population to be covered. [-]
    confidence : float
        Confidence level. [-]
    df : float, optional
        Degrees of freedom of the standard deviation; n - 1 if not given. [-]

    Returns
    -------
    float
        k1: with the given confidence at least `coverage` lie below mean + k1 sd. [-]

    Examples
    --------
    >>> round(one_sided_factor(20, 0.99), 6)
    3.295157
    """
    root = math.sqrt(n)
    return noncentral_t.quantile(
        confidence, n - 1 if df is None else df, root * float(special.ndtri(coverage))
    ) / root  # fmt: skip


def distribution_free_sample_size(coverage: float, confidence: float = 0.95) -> int:
    """Smallest sample whose largest value is a tolerance limit, whatever the distribution.

    ISO 16269-6:2014, distribution-free (from memory); Wilks, Ann. Math. Statist. 12 (1941) 91.

    Parameters
    ----------
    coverage : float
        Share of the population to be covered. [-]
    confidence : float
        Confidence level. [-]

    Returns
    -------
    int
        Smallest n with 1 - coverage^n at least the confidence. [-]

    Examples
    --------
    >>> distribution_free_sample_size(0.99), distribution_free_sample_size(0.95)
    (299, 59)
    """
    n = max(1, math.ceil(math.log1p(-confidence) / math.log(coverage)) - 1)
    while 1 - coverage**n < confidence:
        n += 1
    return n


def distribution_free_coverage(n: int, confidence: float = 0.95) -> float:
    """Share of the population that lies below the largest of n values, with given confidence.

    ISO 16269-6:2014, distribution-free (from memory); Wilks, Ann. Math. Statist. 12 (1941) 91.

    Parameters
    ----------
    n : int
        Sample size. [-]
    confidence : float
        Confidence level. [-]

    Returns
    -------
    float
        (1 - confidence)^(1/n). [-]

    Examples
    --------
    >>> round(distribution_free_coverage(20), 4)
    0.8609
    """
    return float((1 - confidence) ** (1 / n))


@dataclass(frozen=True, slots=True)
class GroupedSpread:
    """Spread of one new item when the sample comes in groups (dress cycles)."""

    groups: int
    """[-]"""
    group_size: float
    """Harmonic mean of the values in a group. [-]"""
    mean: float
    """Mean of the group means. [any]"""
    sd_between: float
    """Standard deviation of the group means, S_B. [any]"""
    sd_within: float
    """Pooled standard deviation within groups, s_w. [any]"""
    sd: float
    """Standard deviation of one item, sqrt(V). [any]"""
    n_effective: float
    """Independent values that would fix the mean as well: V C / S_B^2. [-]"""
    df: float
    """Degrees of freedom of V. [-]"""
    correlation: float
    """Share of the variance that items of one group have in common. [-]"""


def grouped_spread(values: ArrayLike, groups: ArrayLike) -> GroupedSpread:
    r"""Total spread of a sample in groups, with its effective numbers.

    One-way random model; degrees of freedom after Satterthwaite, Biometrics Bull. 2 (1946) 110:

    .. math:: V = S_B^2 + s_w^2(1-1/m),\quad n_e = VC/S_B^2,\quad
        \nu = V^2/\left[\frac{S_B^4}{C-1} + \frac{(s_w^2(1-1/m))^2}{n-C}\right]

    Parameters
    ----------
    values : array_like, shape (n,)
        Values. [any]
    groups : array_like, shape (n,)
        Label of the group of each value; at least two groups. [-]

    Returns
    -------
    GroupedSpread
        Spread, effective numbers. [any]

    Notes
    -----
    For groups of unequal size m is their harmonic mean (then E S_B^2 stays right); with one value in
    each group this is the ordinary standard deviation with C - 1 degrees of freedom.

    Examples
    --------
    >>> s = grouped_spread([1.0, 3.0, 4.0, 6.0, 7.0, 9.0], [1, 1, 2, 2, 3, 3])
    >>> s.groups, s.group_size, round(s.sd**2, 9), round(s.n_effective, 9), round(s.df, 9)
    (3, 2.0, 10.0, 3.333333333, 2.448979592)
    """
    x = np.asarray(values, dtype=np.float64)
    _, index, sizes = np.unique(np.asarray(groups), return_inverse=True, return_counts=True)
    count = sizes.size
    means = np.bincount(index, weights=x) / sizes
    m = float(count / np.sum(1 / sizes))
    between = float(np.var(means, ddof=1))
    df_within = x.size - count
    within = float(np.sum((x - means[index]) ** 2)) / df_within if df_within else 0.0
    share = within * (1 - 1 / m)
    v = between + share
    if v <= (1e-12 * float(np.abs(x).max())) ** 2:
        n_effective, df = float(x.size), float(x.size - 1)
    else:
        n_effective = v * count / between if between > 0 else math.inf
        a, b = between / v, share / v
        df = 1 / (a * a / (count - 1) + (b * b / df_within if df_within else 0.0))
    process = max(0.0, between - within / m)
    total = process + within
    return GroupedSpread(
        count, m, float(means.mean()), math.sqrt(between), math.sqrt(within), math.sqrt(v),
        n_effective, df, process / total if total else 0.0,
    )  # fmt: skip
