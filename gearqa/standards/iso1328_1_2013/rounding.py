"""How ISO 1328-1:2013 rounds a calculated tolerance."""

from __future__ import annotations

from typing import Final

NINTH_DECIMAL: Final = 1e9
"""Values are first put on this grid, so that binary noise decides neither a half nor a limit."""


def round_tolerance(value: float) -> float:
    """Round a tolerance: above 10 to 1, from 5 to 10 to 0.5, below 5 to 0.1; halves go up.

    ISO 1328-1:2013, clause 5 (from memory).

    Parameters
    ----------
    value : float
        Calculated tolerance, not negative. [um]

    Returns
    -------
    float
        Rounded tolerance. [um]

    Notes
    -----
    Which half is met is decided on the value rounded to nine decimals, in whole numbers. Dividing
    by 0.1 in binary instead would turn halves the wrong way.

    Examples
    --------
    Computed by hand.

    >>> [round_tolerance(v) for v in (4.1861, 4.95, 7.25, 9.74, 9.75, 10.5)]
    [4.2, 5.0, 7.5, 9.5, 10.0, 11.0]
    """
    ninths = round(value * NINTH_DECIMAL)
    per_micrometre = 10 if ninths < 5 * 10**9 else 2 if ninths <= 10 * 10**9 else 1
    step = 10**9 // per_micrometre
    return (ninths + step // 2) // step / per_micrometre
