"""Roots of functions of one variable."""

from __future__ import annotations

import math
from collections.abc import Callable


def root(f: Callable[[float], float], low: float, high: float, xtol: float) -> float:
    """Root between two points at which a function has different signs.

    Brent's method with hyperbolic extrapolation: Bus and Dekker, ACM Transactions on Mathematical Software 1
    (1975), algorithm M, as in scipy.optimize.brentq (from memory), which takes longer to load than all else
    that a chart needs.

    Parameters
    ----------
    f : callable
        The function. [-]
    low, high : float
        Where it has different signs. [-]
    xtol : float
        Accuracy of the root; 8.9e-16 of it is added. [-]

    Returns
    -------
    float
        The root. [-]

    Raises
    ------
    ValueError
        The function has one sign at both ends.

    Examples
    --------
    >>> round(root(lambda x: x**2 - 2, 0.0, 2.0, 1e-12), 10)
    1.4142135624
    """
    before, f_before, x, f_x = low, f(low), high, f(high)
    if f_before == 0:
        return before
    if f_x * f_before > 0:
        raise ValueError("the function has one sign at both ends")
    other, f_other, step, last_step = before, f_before, high - low, high - low
    while f_x != 0:
        if f_before * f_x < 0:
            other, f_other = before, f_before
            step = last_step = x - before
        if abs(f_other) < abs(f_x):
            before, x, other = x, other, x
            f_before, f_x, f_other = f_x, f_other, f_x
        delta, half = (xtol + 4 * math.ulp(1.0) * abs(x)) / 2, (other - x) / 2
        if abs(half) < delta:
            break
        attempt = math.inf
        if abs(last_step) > delta and abs(f_x) < abs(f_before):
            if before == other:
                attempt = -f_x * (x - before) / (f_x - f_before)
            else:
                d, e = (f_before - f_x) / (before - x), (f_other - f_x) / (other - x)
                attempt = -f_x * (f_other * e - f_before * d) / (e * d * (f_other - f_before))
        short = 2 * abs(attempt) < min(abs(last_step), 3 * abs(half) - delta)
        last_step, step = (step, attempt) if short else (half, half)
        before, f_before = x, f_x
        x += step if abs(step) > delta else math.copysign(delta, half)
        f_x = f(x)
    return x
