"""Significance of one of several tests that together keep a chosen rate of false claims."""

from __future__ import annotations

import math


def sidak(significance: float, series: int) -> float:
    r"""Significance of each of several tests so that all together keep the given one.

    Sidak, J. Amer. Statist. Assoc. 62 (1967) 626 (from memory).

    .. math:: 1 - (1 - \alpha)^{1/K}

    Parameters
    ----------
    significance : float
        Probability of any false flag over all series. [-]
    series : int
        Number of series. [-]

    Returns
    -------
    float
        Significance of one series. [-]

    Examples
    --------
    >>> round(sidak(0.01, 16), 7)
    0.0006279
    """
    return -math.expm1(math.log1p(-significance) / series)
