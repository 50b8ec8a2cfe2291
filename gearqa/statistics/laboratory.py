"""Precision between laboratories (or instruments): repeatability, reproducibility, robust averages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Precision:
    """Repeatability and reproducibility of one level."""

    mean: float
    sd_repeatability: float
    sd_between: float
    sd_reproducibility: float
    repeatability_limit: float
    """2.8 times the repeatability standard deviation."""
    reproducibility_limit: float
    """2.8 times the reproducibility standard deviation."""


@dataclass(frozen=True, slots=True)
class RobustAverage:
    centre: float
    sd: float
    iterations: int


def precision(groups: Sequence[Array]) -> Precision:
    r"""Repeatability and reproducibility from groups of unequal size.

    ISO 5725-2:2019, basic method (from memory).

    .. math::
        s_L^2 = \max\left(0, \frac{s_d^2 - s_r^2}{\bar{\bar n}}\right),\quad s_R^2 = s_L^2 + s_r^2

    Parameters
    ----------
    groups : sequence of ndarray, shape (n_i,)
        Values of each laboratory. [um]

    Returns
    -------
    Precision
        Mean over all values, standard deviations, limits 2.8 s. [um]

    Raises
    ------
    ValueError
        If there are fewer than two laboratories or no laboratory repeats.

    Notes
    -----
    None.

    Examples
    --------
    >>> found = precision([np.array([1.0, 1.2]), np.array([1.4, 1.6]), np.array([1.1, 1.1])])
    >>> round(found.sd_repeatability, 4), round(found.sd_reproducibility, 4)
    (0.1155, 0.2449)
    """
    n = np.array([len(g) for g in groups], dtype=np.float64)
    p, total = len(groups), float(n.sum())
    if p < 2 or total <= p:
        raise ValueError(f"{p} groups with {total:g} values: at least two groups and one repeat are needed")
    means = np.array([np.mean(g) for g in groups])
    mean = float(np.sum(n * means) / total)
    within = sum(float(np.sum((np.asarray(g) - np.mean(g)) ** 2)) for g in groups) / (total - p)
    s_d2 = float(np.sum(n * (means - mean) ** 2)) / (p - 1)
    size = (total - float(np.sum(n * n)) / total) / (p - 1)
    between = max(0.0, (s_d2 - within) / size)
    s_r, s_R = math.sqrt(within), math.sqrt(within + between)
    return Precision(mean, s_r, math.sqrt(between), s_R, 2.8 * s_r, 2.8 * s_R)


def algorithm_a(x: Array, *, tolerance: float = 1e-10, iterations: int = 1000) -> RobustAverage:
    r"""Robust average and standard deviation (Huber, iterated winsorising).

    ISO 13528:2022, Annex C, Algorithm A (from memory).

    .. math::
        x^* = mean(w),\; s^* = 1.134\,sd(w),\quad w_i = clip(x_i, x^* \pm 1.5 s^*),\quad
        s^*_0 = 1.483\,median|x_i - x^*_0|

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values. [um]
    tolerance : float
        Relative change at which the iteration ends. [-]
    iterations : int
        At most so many. [-]

    Returns
    -------
    RobustAverage
        Centre, standard deviation, iterations used. [um]

    Raises
    ------
    ValueError
        If there are fewer than two values.

    Notes
    -----
    The standard deviation is 0 when more than half of the values are equal.

    Examples
    --------
    >>> found = algorithm_a(np.array([1.0, 1.1, 0.9, 1.05, 0.95, 9.0]))
    >>> round(found.centre, 3), round(found.sd, 3)
    (1.044, 0.145)
    """
    values = np.asarray(x, dtype=np.float64)
    if len(values) < 2:
        raise ValueError(f"{len(values)} value: a spread needs at least two")
    centre = float(np.median(values))
    sd = 1.483 * float(np.median(np.abs(values - centre)))
    for step in range(1, iterations + 1):
        w = np.clip(values, centre - 1.5 * sd, centre + 1.5 * sd)
        new_centre, new_sd = float(w.mean()), 1.134 * float(w.std(ddof=1))
        settled = abs(new_centre - centre) + abs(new_sd - sd) <= tolerance * max(new_sd, 1e-300)
        centre, sd = new_centre, new_sd
        if settled or sd == 0:
            return RobustAverage(centre, sd, step)
    return RobustAverage(centre, sd, iterations)
