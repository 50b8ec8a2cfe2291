"""Bounds from samples in groups (dress cycles): generalised pivotal quantities of a one-way random model."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from gearqa.arrays import Array


@dataclass(frozen=True, slots=True)
class GroupedSpread:
    """Mean and spread of a sample that comes in groups."""

    groups: int
    """C. [-]"""
    group_size: float
    """m: harmonic mean of the values in a group. [-]"""
    mean: float
    """Mean of the group means. [any]"""
    sd_between: float
    """Standard deviation of the group means. [any]"""
    sd_within: float
    """Pooled standard deviation within groups. [any]"""
    df_within: int
    """Degrees of freedom of `sd_within`; 0 with one value in each group. [-]"""

    @property
    def correlation(self) -> float:
        """Share of the variance that values of one group have in common. [-]"""
        within = self.sd_within**2
        common = max(0.0, self.sd_between**2 - within / self.group_size)
        return common / (common + within) if common else 0.0


def grouped_spread(values: ArrayLike, groups: ArrayLike) -> GroupedSpread:
    """Mean and spread between and within groups.

    One-way random model; Searle, Casella, McCulloch: Variance Components (1992), ch. 3 (from memory).

    Parameters
    ----------
    values : array_like, shape (n,)
        Values. [any]
    groups : array_like, shape (n,)
        Label of the group of each value; at least two groups. [-]

    Returns
    -------
    GroupedSpread
        Of groups of unequal size: by unweighted group means, their size the harmonic mean. [any]

    Examples
    --------
    >>> s = grouped_spread([1.0, 3.0, 4.0, 6.0, 7.0, 9.0], [1, 1, 2, 2, 3, 3])
    >>> s.groups, s.group_size, s.mean, s.sd_between, round(s.sd_within**2, 9), s.df_within
    (3, 2.0, 5.0, 3.0, 2.0, 3)
    """
    x = np.asarray(values, dtype=np.float64)
    _, index, sizes = np.unique(np.asarray(groups), return_inverse=True, return_counts=True)
    means = np.bincount(index, weights=x) / sizes
    df = x.size - sizes.size
    within = math.sqrt(float(np.sum((x - means[index]) ** 2)) / df) if df else 0.0
    harmonic = float(sizes.size / np.sum(1 / sizes))
    return GroupedSpread(sizes.size, harmonic, float(means.mean()), float(np.std(means, ddof=1)), within, df)


@dataclass(frozen=True, slots=True, eq=False)
class Pivots:
    """What mean and standard deviation of one value may be, as often as the sample supports it."""

    mean: Array
    sd: Array

    def index_lower_bound(self, upper: float, confidence: float = 0.95) -> float:
        """Lower bound of (upper - mean)/(3 sd). [-]"""
        return float(np.quantile((upper - self.mean) / (3 * self.sd), 1 - confidence))

    def upper_limit(self, coverage: float, confidence: float = 0.95) -> float:
        """One-sided tolerance limit: at least `coverage` of all values lie below. [any]"""
        z = float(special.ndtri(coverage))
        return float(np.quantile(self.mean + z * self.sd, confidence))

    def sd_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Two-sided interval of the standard deviation. [any]"""
        low, high = np.quantile(self.sd, ((1 - confidence) / 2, (1 + confidence) / 2))
        return float(low), float(high)


def pivots(spread: GroupedSpread, uniform: Array) -> Pivots | None:
    r"""Draws of mean and standard deviation of one value, cycles taken as random.

    Generalised pivotal quantities: Weerahandi, J. Amer. Statist. Assoc. 88 (1993) 899; Krishnamoorthy
    and Mathew: Statistical Tolerance Regions (2009), ch. 5 (from memory).

    .. math:: v_B = SS_B/U_1,\quad v_W = SS_W/U_2,\quad
        s^2 = \max(0, (v_B - v_W)/m) + v_W,\quad \mu = \bar x - Z\sqrt{v_B/(mC)}

    with :math:`U_1 \sim \chi^2_{C-1}`, :math:`U_2 \sim \chi^2_{n-C}`, :math:`Z \sim N(0, 1)`.

    Parameters
    ----------
    spread : GroupedSpread
        Of the sample. [any]
    uniform : ndarray, shape (3, k)
        Random numbers between 0 and 1, both excluded: one column a draw. [-]

    Returns
    -------
    Pivots or None
        None where the spread within groups is not known: one value in each, or all alike. [any]

    Examples
    --------
    >>> s = grouped_spread([1.0, 3.0, 4.0, 6.0, 7.0, 9.0], [1, 1, 2, 2, 3, 3])
    >>> some = pivots(s, np.random.default_rng(1).random((3, 10_000)))
    >>> round(some.upper_limit(0.5, 0.5), 1)  # median of the mean
    5.0
    """
    m, count = spread.group_size, spread.groups
    if not spread.df_within or spread.sd_within <= 1e-12 * (abs(spread.mean) + spread.sd_between):
        return None
    chi_between, chi_within, z = _quantiles(uniform.tobytes(), count - 1, spread.df_within)
    v_between = m * (count - 1) * spread.sd_between**2 / chi_between
    v_within = spread.df_within * spread.sd_within**2 / chi_within
    variance = np.maximum(0.0, (v_between - v_within) / m) + v_within
    return Pivots(spread.mean - z * np.sqrt(v_between / (m * count)), np.sqrt(variance))


@lru_cache(maxsize=8)
def _quantiles(uniform: bytes, df_between: int, df_within: int) -> tuple[Array, Array, Array]:
    """Two rows of chi-square numbers and one of normal ones; the series of a lot share them."""
    rows = np.frombuffer(uniform).reshape(3, -1)
    between, within = (
        np.asarray(2 * special.gammaincinv(df / 2, row))
        for df, row in zip((df_between, df_within), rows[:2], strict=True)
    )
    return between, within, np.asarray(special.ndtri(rows[2]))
