"""From a value to its flank tolerance class, and tables of rounded tolerances."""

from __future__ import annotations

from typing import Final

from gearqa.standards.iso1328_1_2013.scope import violations
from gearqa.standards.iso1328_1_2013.tolerances import (
    F_alpha_T,
    F_beta_T,
    F_p_T,
    F_pk_T,
    F_r_T,
    f_f_alpha_T,
    f_f_beta_T,
    f_H_alpha_T,
    f_H_beta_T,
    f_p_T,
    f_u_T,
    sector_span,
    step_factor,
)
from gearqa.standards.rows import ToleranceRow, geometric_row
from gearqa.standards.terms import half_up

CLASSES: Final = range(1, 12)


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

    Examples
    --------
    Computed by hand.

    >>> [round_tolerance(v) for v in (4.1861, 4.95, 7.25, 9.74, 9.75, 10.5)]
    [4.2, 5.0, 7.5, 9.5, 10.0, 11.0]
    """
    ninths = round(value * 1e9)
    return half_up(value, 10 if ninths < 5 * 10**9 else 2 if ninths <= 10 * 10**9 else 1)


def class_5_tolerances(z: int | None, m_n: float, d: float, b: float, beta_deg: float) -> dict[str, float]:
    """Unrounded tolerances of class 5 for every parameter that can be graded.

    ISO 1328-1:2013, clause 5 and its annexes on sector pitch, runout and adjacent pitch (from memory).

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle; no formula uses it, but the range of application does. [deg]

    Returns
    -------
    dict of str to float
        Parameter key -> tolerance; a slope's is its magnitude. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the range of application.

    Examples
    --------
    >>> t = class_5_tolerances(None, 2.0, 100.0, 25.0, 0.0)
    >>> round(t["single_pitch"], 9), round(t["helix_form"], 9), "sector_pitch" in t
    (5.9, 6.95, False)
    """
    for violation in violations(z=z, m_n=m_n, d=d, b=b, beta_deg=beta_deg):
        raise violation
    return unrounded_class_5(z, m_n, d, b)


def unrounded_class_5(z: int | None, m_n: float, d: float, b: float) -> dict[str, float]:
    """The formulas of class 5 as they are, for any size: what is thinkable on a gear.

    ISO 1328-1:2013, clause 5 and its annexes on sector pitch, runout and adjacent pitch (from memory);
    outside the range of application they grade nothing.

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]

    Returns
    -------
    dict of str to float
        Parameter key -> tolerance; a slope's is its magnitude. [um]

    Examples
    --------
    >>> round(unrounded_class_5(None, 2.0, 100.0, 25.0)["single_pitch"], 9)
    5.9
    """
    sector = {} if z is None else {"sector_pitch": F_pk_T(d, m_n, sector_span(z), z)}
    return {
        "single_pitch": f_p_T(d, m_n),
        "cumulative_pitch": F_p_T(d, m_n),
        **sector,
        "adjacent_pitch": f_u_T(d, m_n),
        "runout": F_r_T(d, m_n),
        "profile_total": F_alpha_T(d, m_n),
        "profile_form": f_f_alpha_T(m_n),
        "profile_slope": f_H_alpha_T(d, m_n),
        "helix_total": F_beta_T(d, b),
        "helix_form": f_f_beta_T(d, b),
        "helix_slope": f_H_beta_T(d, b),
    }


def rounded_tolerances(T_5: float) -> tuple[float, ...]:
    """Rounded tolerances of the classes 1 to 11 from the unrounded one of class 5.

    ISO 1328-1:2013, clause 5 (from memory): scaled first, then rounded.

    Parameters
    ----------
    T_5 : float
        Tolerance of class 5 before rounding. [um]

    Returns
    -------
    tuple of float
        Tolerance of class A at index A - 1. [um]

    Examples
    --------
    >>> rounded_tolerances(5.9)
    (1.5, 2.1, 3.0, 4.2, 6.0, 8.5, 12.0, 17.0, 24.0, 33.0, 47.0)
    """
    return tuple(round_tolerance(T_5 * step_factor(A)) for A in CLASSES)


def rows(z: int | None, m_n: float, d: float, b: float, beta_deg: float = 0.0) -> dict[str, ToleranceRow]:
    """Tolerances of every parameter over the classes.

    ISO 1328-1:2013, clause 5 and its annexes on sector pitch, runout and adjacent pitch (from memory).

    Parameters
    ----------
    z : int or None
        Number of teeth; without it there is no sector pitch tolerance. [-]
    m_n, d, b : float
        Normal module, reference diameter and face width. [mm]
    beta_deg : float
        Helix angle; no formula uses it, but the range of application does. [deg]

    Returns
    -------
    dict of str to ToleranceRow
        By parameter key. [um]

    Raises
    ------
    OutOfScopeError
        If a quantity lies outside the range of application.

    Examples
    --------
    >>> found = rows(None, 2.0, 100.0, 20.0)
    >>> [found[key].tolerance(5) for key in ("single_pitch", "cumulative_pitch", "runout", "profile_total")]
    [6.0, 19.0, 17.0, 8.0]
    """
    return {
        key: geometric_row(CLASSES[0], rounded_tolerances(T_5), T_5)
        for key, T_5 in class_5_tolerances(z, m_n, d, b, beta_deg).items()
    }
