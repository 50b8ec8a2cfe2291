"""How ISO 1328-1:2013 rounds a calculated tolerance."""

from __future__ import annotations

from typing import Final, overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NINTH_DECIMAL: Final = 1e9
"""Values are first put on this grid, so that binary noise decides neither a half nor a limit."""


@overload
def round_tolerance(value: float) -> float: ...
@overload
def round_tolerance(value: Array) -> Array: ...
def round_tolerance(value: float | Array) -> float | Array:
    """Round a tolerance: above 10 to 1, from 5 to 10 to 0.5, below 5 to 0.1; halves go up.

    ISO 1328-1:2013, clause 5 (from memory).

    Parameters
    ----------
    value : float or ndarray
        Calculated tolerance, not negative. [um]

    Returns
    -------
    float or ndarray
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
    ninths = np.rint(np.asarray(value, dtype=np.float64) * NINTH_DECIMAL).astype(np.int64)
    per_micrometre = np.where(ninths < 5 * 10**9, 10, np.where(ninths <= 10 * 10**9, 2, 1))
    step = 10**9 // per_micrometre
    rounded = (ninths + step // 2) // step / per_micrometre
    return rounded if isinstance(value, np.ndarray) else float(rounded)
