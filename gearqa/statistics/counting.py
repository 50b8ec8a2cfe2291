"""The smallest count that meets a bound."""

from __future__ import annotations

from collections.abc import Callable


def smallest_count(met: Callable[[int], bool], low: int, high: int) -> int:
    r"""Smallest whole number above one that does not meet a condition, up to one that does.

    Bisection, a standard method; `bisect` of the standard library ends at :math:`2^{63}`.

    .. math:: \min\{n: low < n \le high, met(n)\}

    Parameters
    ----------
    met : callable
        Whether a number meets the condition; if one does, all larger ones do. [-]
    low, high : int
        Numbers below all that are looked for, and that is taken without being asked. [-]

    Returns
    -------
    int
        The number. [-]

    Examples
    --------
    >>> smallest_count(lambda n: n * n >= 50, 0, 10**30)
    8
    """
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if met(middle) else (middle, high)
    return high
