"""Ranges of ISO 1328-1:1995, as data. Tolerances are tabled by range; outside, nothing is extrapolated."""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Final

from gearqa.errors import OutOfScopeError

CLAUSE: Final = "ISO 1328-1:1995, clause 1"

D_LIMITS: Final = (5, 20, 50, 125, 280, 560, 1000, 1600, 2500, 4000, 6000, 8000, 10_000)
M_LIMITS: Final = (0.5, 2, 3.5, 6, 10, 16, 25, 40, 70)
B_LIMITS: Final = (4, 10, 20, 40, 80, 160, 250, 400, 650, 1000)


def violations(
    *,
    z: int | None = None,
    m_n: float | None = None,
    d: float | None = None,
    b: float | None = None,
    beta_deg: float | None = None,
) -> tuple[OutOfScopeError, ...]:
    """List what lies outside the tabled ranges; quantities left out are not checked.

    ISO 1328-1:1995, clause 1 (from memory).

    Parameters
    ----------
    z : int, optional
        Number of teeth, not limited. [-]
    m_n, d, b : float, optional
        Normal module, reference diameter and face width. [mm]
    beta_deg : float, optional
        Helix angle, not limited. [deg]

    Returns
    -------
    tuple of OutOfScopeError
        One error (not raised) for each quantity outside. [-]

    Examples
    --------
    >>> [v.symbol for v in violations(m_n=71, d=100, b=3)]
    ['m_n', 'b']
    """
    del z, beta_deg
    asked = (("m_n", m_n, M_LIMITS), ("d", d, D_LIMITS), ("b", b, B_LIMITS))
    return tuple(
        OutOfScopeError(symbol, value, limits[0], limits[-1], CLAUSE)
        for symbol, value, limits in asked
        if value is not None and (math.isnan(value) or not limits[0] <= value <= limits[-1])
    )


def range_mean(value: float, limits: tuple[float, ...]) -> float:
    """Geometric mean of the range in which a value lies.

    ISO 1328-1:1995, clause 6 (from memory): a range holds its upper limit, the first one also its
    lower limit.

    Parameters
    ----------
    value : float
        Diameter, module or face width, inside the limits. [mm]
    limits : tuple of float
        Range limits, rising. [mm]

    Returns
    -------
    float
        Root of lower times upper limit. [mm]

    Examples
    --------
    >>> range_mean(125, D_LIMITS) == math.sqrt(50 * 125)
    True
    >>> range_mean(125.1, D_LIMITS) == math.sqrt(125 * 280)
    True
    """
    upper = max(1, bisect_left(limits, value))
    return math.sqrt(limits[upper - 1] * limits[upper])
