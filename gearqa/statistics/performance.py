"""One-sided index of process performance and its lower bound (ISO 22514)."""

from __future__ import annotations

import math
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from gearqa.arrays import Array
from gearqa.statistics import noncentral_t


def upper_index(mean: float, sd: float, upper: float) -> float:
    """One-sided index against an upper limit (PpkU, CpkU).

    ISO 22514-2:2017, normal case (from memory); NIST/SEMATECH e-Handbook 6.1.6.

    Parameters
    ----------
    mean, sd, upper : float
        Mean, standard deviation and upper limit. [any]

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


@overload
def index_lower_bound(index: float, n: int, confidence: float = ...) -> float: ...
@overload
def index_lower_bound(index: Array, n: int, confidence: float = ...) -> Array: ...
def index_lower_bound(index: ArrayLike, n: int, confidence: float = 0.95) -> float | Array:
    r"""Exact lower confidence bound of a one-sided index of normal values.

    ISO 22514-4:2016 (from memory), by the noncentral t distribution; for the smaller of two one-sided
    indices the bound is on the safe side.

    .. math:: P[t'_{n-1}(3\sqrt n\,C_L) \le 3\sqrt n\,\hat C] = \gamma

    Parameters
    ----------
    index : float or ndarray, shape (k,)
        Observed one-sided index. [-]
    n : int
        Independent values. [-]
    confidence : float
        One-sided confidence level. [-]

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
    if np.ndim(index) == 0:
        return noncentral_t.noncentrality(confidence, n - 1, scale * float(np.asarray(index))) / scale
    return noncentral_t.noncentrality(confidence, n - 1, scale * np.asarray(index, dtype=np.float64)) / scale
