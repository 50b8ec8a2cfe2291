"""Cells of DIN 3962-1 and -2:1978, as printed; no formula stands behind a cell here.

A copy of part 1 and the table text of part 2, read by machine: cells that were not legible without doubt
are left out. Ranges include their upper limit.
"""

from __future__ import annotations

from typing import Final

from gearqa.errors import OutOfScopeError
from gearqa.standards.iso1328_1_2013.tolerances import sector_span
from gearqa.standards.rows import ToleranceRow, tabled_row

CLASSES: Final = range(1, 13)
CLAUSE: Final = "the confirmed cells of DIN 3962:1978"
MODULES: Final = (1.0, 2.0)
"""Normal modules of the confirmed cells of part 1. [mm]"""
Cells = tuple[int, tuple[float, ...]]
"""First quality, and the tolerances from there on. [um]"""

PROFILE: Final[dict[str, Cells]] = {
    "profile_form": (1, (1, 1.5, 2, 3, 4.5, 6)),
    "profile_slope": (1, (1, 1.5, 2, 3, 4, 5)),
    "profile_total": (1, (1.5, 2, 3, 4, 6, 8)),
}
"""DIN 3962-1, module 1 to 2, qualities 1 to 6."""
PITCH: Final[dict[str, tuple[tuple[float, float, Cells], ...]]] = {
    "single_pitch": (
        (10, 50, (1, (1, 1.5, 2.5, 3.5, 5, 7))),
        (50, 125, (1, (1.5, 2, 2.5, 4, 5, 7))),
        (125, 280, (1, (1.5, 2, 3, 4))),
        (280, 560, (1, (1.5, 2, 3, 4.5))),
        (560, 1000, (1, (2, 2.5, 3.5, 5))),
    ),
    "adjacent_pitch": (
        (0, 10, (1, (1.5, 2, 3, 4, 5.5, 8))),
        (10, 50, (1, (1.5, 2, 3, 4.5, 6, 9))),
        (50, 125, (1, (2, 2.5, 3, 5, 6, 9))),
    ),
    "cumulative_pitch": (
        (0, 10, (1, (2.5, 4, 5, 7, 10, 14))),
        (10, 50, (1, (3.5, 5, 7, 10, 14, 18))),
    ),
}
"""DIN 3962-1, module 1 to 2: above and up to which reference diameter [mm], and the cells."""
HELIX: Final[dict[str, tuple[tuple[float, float, Cells], ...]]] = {
    "helix_slope": (
        (0, 20, (5, (6, 8, 11, 16, 25, 36, 56, 90))),
        (20, 40, (5, (6.5, 9, 13, 18, 28, 40, 63, 100))),
        (40, 100, (5, (7, 10, 14, 20, 28, 45, 71, 110))),
    ),
    "helix_total": (
        (0, 20, (5, (7, 9, 13, 18, 28, 45, 71, 110))),
        (20, 40, (6, (10, 15, 20, 32, 50, 80, 125))),
        (100, 160, (5, (12, 16, 22, 32, 50, 80, 125, 200))),
    ),
}
"""DIN 3962-2: above and up to which face width [mm], and the cells."""

__all__ = ["CLASSES", "rows", "sector_span", "violations"]


def violations(
    *,
    z: int | None = None,
    m_n: float | None = None,
    d: float | None = None,
    b: float | None = None,
    beta_deg: float | None = None,
) -> tuple[OutOfScopeError, ...]:
    """List what lies outside the confirmed cells; quantities left out are not checked.

    DIN 3962-1:1978 and -2:1978, tables.

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
    >>> [v.symbol for v in violations(m_n=3.0, d=100.0, b=20.0)]
    ['m_n']
    """
    del z, beta_deg
    asked = (("m_n", m_n, MODULES), ("d", d, (0.0, 1000.0)), ("b", b, (0.0, 160.0)))
    return tuple(
        OutOfScopeError(symbol, value, low, high, CLAUSE)
        for symbol, value, (low, high) in asked
        if value is not None and not low <= value <= high
    )


def rows(z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0) -> dict[str, ToleranceRow]:
    """Tolerances over the qualities, of the parameters whose cells are confirmed for this gear.

    DIN 3962-1:1978 and -2:1978, tables.

    Parameters
    ----------
    z : int or None
        Number of teeth; not used. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle; not used. [deg]

    Returns
    -------
    dict of str to ToleranceRow
        By parameter key. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the confirmed cells.

    Examples
    --------
    >>> found = rows(None, 1.5, 40.0, 18.0)
    >>> [found[key].tolerance(5) for key in ("helix_slope", "single_pitch", "profile_form")]
    [6, 5, 4.5]
    """
    for violation in violations(m_n=m_n, d=d, b=b):
        raise violation
    cells = dict(PROFILE)
    for tables, size in ((PITCH, d), (HELIX, b)):
        for key, table in tables.items():
            fitting = [one for above, most, one in table if above < size <= most]
            if fitting:
                cells[key] = fitting[0]
    return {key: tabled_row(first, tolerances) for key, (first, tolerances) in cells.items()}
