r"""Pitch tolerances of JIS B 1702:1976, classes 0 to 8, to a hundredth of a micrometre.

Elements of Metric Gear Technology, table T-132: with :math:`W = \sqrt[3]{d} + 0.65 m`.
"""

from __future__ import annotations

from typing import Final

from gearqa.errors import OutOfScopeError
from gearqa.standards.iso1328_1_2013.tolerances import sector_span
from gearqa.standards.rows import ToleranceRow, tabled_row

CLASSES: Final = range(9)
DECIMALS: Final = 2
"""House rule: the source prints formulas, not how their values are rounded."""
SINGLE_PITCH: Final = (
    (0.5, 1.4), (0.71, 2.0), (1.0, 2.8), (1.4, 4.0), (2.0, 5.6), (2.8, 8.0), (4.0, 11.2), (8.0, 22.4),
    (16.0, 45.0),
)  # fmt: skip
"""Factor of W and constant, by class."""
CUMULATIVE_PITCH: Final = (
    (2.0, 5.6), (2.8, 8.0), (4.0, 11.2), (5.6, 16.0), (8.0, 22.4), (11.2, 31.5), (16.0, 45.0), (32.0, 90.0),
    (64.0, 180.0),
)  # fmt: skip
ADJACENT: Final = (
    (5, 1.00), (10, 1.06), (20, 1.12), (30, 1.18), (50, 1.25), (70, 1.32), (100, 1.40), (150, 1.50),
    (float("inf"), 1.60),
)  # fmt: skip
"""Single pitch tolerance up to, and the factor of the adjacent pitch difference; the last two from memory."""

__all__ = ["CLASSES", "rows", "sector_span", "violations"]


def violations(
    *,
    z: int | None = None,
    m_n: float | None = None,
    d: float | None = None,
    b: float | None = None,
    beta_deg: float | None = None,
) -> tuple[OutOfScopeError, ...]:
    """List what lies outside the range of application: the printed table states none.

    JIS B 1702:1976 as printed in Elements of Metric Gear Technology, table T-132.

    Parameters
    ----------
    z : int, optional
        Number of teeth. [-]
    m_n, d, b : float, optional
        Normal module, reference diameter and face width. [mm]
    beta_deg : float, optional
        Helix angle. [deg]

    Returns
    -------
    tuple of OutOfScopeError
        Empty. [-]

    Examples
    --------
    >>> violations(m_n=2.0)
    ()
    """
    del z, m_n, d, b, beta_deg
    return ()


def rows(z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0) -> dict[str, ToleranceRow]:
    """Tolerances of single, cumulative and adjacent pitch over the classes.

    JIS B 1702:1976 as printed in Elements of Metric Gear Technology, table T-132.

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

    Examples
    --------
    Computed by hand from the printed formulas: m 2, d 100.

    >>> found = rows(None, 2.0, 100.0, 20.0)
    >>> [round(found["single_pitch"].tolerance(k), 2) for k in range(5)]
    [4.37, 6.22, 8.74, 12.32, 17.48]
    """
    del z, b, beta_deg
    W = float(d) ** (1 / 3) + 0.65 * m_n
    single = [factor * W + constant for factor, constant in SINGLE_PITCH]
    cumulative = [factor * W + constant for factor, constant in CUMULATIVE_PITCH]
    adjacent = [next(k for most, k in ADJACENT if most >= T) * T for T in single]
    tables = {"single_pitch": single, "cumulative_pitch": cumulative, "adjacent_pitch": adjacent}
    return {
        key: tabled_row(CLASSES[0], tuple(round(T, DECIMALS) for T in table)) for key, table in tables.items()
    }
