"""Significance of one of several tests that together keep a chosen rate of false claims."""

from __future__ import annotations

import math
from collections.abc import Sequence


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


def holm(p: Sequence[float | None], alpha: float) -> list[float | None]:
    r"""Bound at which each of several tests is accepted, the whole family kept at a rate.

    Holm, Scand. J. Statist. 6 (1979) 65 (from memory).

    .. math:: p_{(i)} \le \frac{\alpha}{N - i + 1} \text{ for every test up to } i

    Parameters
    ----------
    p : sequence of float or None
        p of each test; None where there is no test. [-]
    alpha : float
        Probability of any false claim over all tests. [-]

    Returns
    -------
    list of float or None
        Bound of each accepted test; None for the others. [-]

    Examples
    --------
    >>> holm([0.04, 0.01, None, 0.02], 0.03)
    [None, 0.01, None, None]
    """
    order = sorted((one, i) for i, one in enumerate(p) if one is not None)
    found: list[float | None] = [None] * len(p)
    for rank, (one, i) in enumerate(order):
        bound = alpha / (len(order) - rank)
        if one > bound:
            break
        found[i] = bound
    return found
