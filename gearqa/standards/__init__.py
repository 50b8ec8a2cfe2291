"""Tolerance standards, one package per edition, found by the title that is printed on a drawing."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from types import ModuleType
from typing import Final

from gearqa.standards.rows import ToleranceRow, table_of

PACKAGES: Final[dict[str, str]] = {
    "ISO 1328-1:2013": "iso1328_1_2013",
    "ANSI/AGMA ISO 1328-1-B14": "iso1328_1_2013",
    "ISO 1328-1:1995": "iso1328_1_1995",
    "GB/T 10095.1-2008": "iso1328_1_1995",
    "JIS B 1702-1:1998": "iso1328_1_1995",
    "DIN 3962:1978": "din3962_1978",
    "JIS B 1702:1976": "jisb1702_1976",
}
"""Printed title -> package; systems of one text share it."""
DEFAULT_STANDARD: Final = "ISO 1328-1:2013"
"""Grades where the drawing names no other."""


def standard(title: str) -> ModuleType:
    """Return the package of a standard by its printed title.

    Every package has `CLASSES`, `violations`, `rows` and `sector_span`.

    Source: the titles are those printed on the standards themselves.

    Parameters
    ----------
    title : str
        Printed title with the year of the edition. [-]

    Returns
    -------
    module
        The package. [-]

    Raises
    ------
    KeyError
        If no edition of that title is here.

    Examples
    --------
    >>> standard("ISO 1328-1:2013").__edition__
    2013
    """
    return importlib.import_module(f"gearqa.standards.{PACKAGES[title]}")


def tolerance_rows(
    title: str, z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0
) -> Mapping[str, ToleranceRow]:
    """Tolerances of every parameter that a standard knows for a gear.

    Source: the standard of that title.

    Parameters
    ----------
    title : str
        Printed title with the year of the edition. [-]
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle. [deg]

    Returns
    -------
    mapping of str to ToleranceRow
        By parameter key. [um]

    Raises
    ------
    OutOfScopeError
        If the gear lies outside the range of the standard.

    Examples
    --------
    >>> tolerance_rows("ISO 1328-1:1995", None, 1.0, 10.0, 5.0)["single_pitch"].tolerance(5)
    4.7
    """
    found: Mapping[str, ToleranceRow] = standard(title).rows(z, m_n, d, b, beta_deg)
    return found


def tolerance_table(
    z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0, *, title: str = DEFAULT_STANDARD
) -> dict[int, dict[str, float]]:
    """Rounded tolerances of every class and parameter.

    Source: the standard of that title.

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle. [deg]
    title : str
        Printed title with the year of the edition. [-]

    Returns
    -------
    dict of int to dict of str to float
        Class -> parameter key -> tolerance; a slope's is its magnitude. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the range of the standard.

    Examples
    --------
    >>> table = tolerance_table(None, 2.0, 100.0, 20.0)
    >>> [table[5][key] for key in ("single_pitch", "cumulative_pitch", "runout", "profile_total")]
    [6.0, 19.0, 17.0, 8.0]
    """
    return table_of(tolerance_rows(title, z, m_n, d, b, beta_deg), standard(title).CLASSES)
