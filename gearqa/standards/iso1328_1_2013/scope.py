"""Range of application of ISO 1328-1:2013, as data. Outside it nothing is extrapolated."""

from __future__ import annotations

import math
from typing import Final

from gearqa.errors import OutOfScopeError
from gearqa.late_dataclass import dataclass

CLAUSE: Final = "ISO 1328-1:2013, clause 1"


@dataclass(frozen=True, slots=True)
class ScopeRange:
    """A closed range of one quantity."""

    symbol: str
    name: str
    low: float
    high: float
    unit: str


RANGES: Final[dict[str, ScopeRange]] = {
    "z": ScopeRange("z", "number of teeth", 5, 1000, ""),
    "m_n": ScopeRange("m_n", "normal module", 0.5, 70, "mm"),
    "d": ScopeRange("d", "reference diameter", 5, 15_000, "mm"),
    "b": ScopeRange("b", "face width", 4, 1200, "mm"),
    "beta_deg": ScopeRange("beta", "helix angle", 0, 45, "deg"),
}


def violations(
    *, z: int | None = None, m_n: float | None = None, d: float | None = None, b: float | None = None,
    beta_deg: float | None = None,
) -> tuple[OutOfScopeError, ...]:  # fmt: skip
    """List what lies outside the range of application; quantities left out are not checked.

    ISO 1328-1:2013, clause 1 (scope).

    Parameters
    ----------
    z : int, optional
        Number of teeth. [-]
    m_n, d, b : float, optional
        Normal module, reference diameter and face width. [mm]
    beta_deg : float, optional
        Helix angle, its magnitude counts. [deg]

    Returns
    -------
    tuple of OutOfScopeError
        One error (not raised) for each quantity outside, in the order of `RANGES`. [-]

    Examples
    --------
    >>> [str(v) for v in violations(z=87, m_n=0.4, d=160.09, b=32, beta_deg=18)]
    ['m_n = 0.4 is outside 0.5 to 70 (ISO 1328-1:2013, clause 1)']
    """
    given = {"z": z, "m_n": m_n, "d": d, "b": b, "beta_deg": None if beta_deg is None else abs(beta_deg)}
    return tuple(
        OutOfScopeError(r.symbol, value, r.low, r.high, CLAUSE)
        for key, r in RANGES.items()
        if (value := given[key]) is not None and (math.isnan(value) or not r.low <= value <= r.high)
    )
